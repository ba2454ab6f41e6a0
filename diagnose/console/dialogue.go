package console

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// Dialogue is the interview for programs: one JSON object a line each way
// (design.md section 6). Every line in gets at least one line out, and the last
// line out is the result, also where the input just ends.
type Dialogue struct {
	In     io.Reader
	Out    io.Writer
	Engine Engine
	Base   *kb.Base
	Log    Log
	Units  quantity.Units

	view   View
	result diagnose.Result
	words  speech
}

// longestLine is the longest line taken, in bytes: a walk of a thousand widths fits.
const longestLine = 256 << 10

// line is what the other side writes.
type line struct {
	journal.Fields
	Command string `json:"command"`
	Fixed   *bool  `json:"fixed"`
}

// The lines that the program writes.
type (
	askLine struct {
		Type     string                 `json:"type"`
		Check    string                 `json:"check"`
		Kind     kb.CheckKind           `json:"kind"`
		Text     string                 `json:"text"`
		Options  []string               `json:"options,omitempty"`
		Unit     string                 `json:"unit,omitempty"`
		At       *float64               `json:"at,omitempty"` // a tap's place, in the unit
		How      []string               `json:"how,omitempty"`
		Minutes  float64                `json:"minutes"`
		Cautions []diagnose.CautionText `json:"cautions"`
	}
	repairLine struct {
		Type     string                 `json:"type"`
		Repair   string                 `json:"repair"` // as next.id of the result
		Text     string                 `json:"text"`
		Unit     string                 `json:"unit,omitempty"`
		At       *float64               `json:"at,omitempty"`
		From     *float64               `json:"from,omitempty"`
		To       *float64               `json:"to,omitempty"`
		How      []string               `json:"how,omitempty"`
		Minutes  float64                `json:"minutes"`
		Cautions []diagnose.CautionText `json:"cautions"`
	}
	whyLine struct {
		Type string `json:"type"`
		Text string `json:"text"`
	}
	rankingLine struct {
		Type      string                 `json:"type"`
		Ranking   []diagnose.RankedCause `json:"ranking"`
		Parts     []diagnose.RankedPart  `json:"parts"`
		TwoFaults float64                `json:"two_faults"`
		Position  *diagnose.Position     `json:"position"`
		Expected  diagnose.Expected      `json:"expected"`
	}
	errorLine struct {
		Type    string `json:"type"`
		Message string `json:"message"`
	}
	resultLine struct {
		Type string `json:"type"`
		diagnose.Result
	}
)

// Run holds the dialogue until there is nothing more to ask, the other side
// stops, or its lines end. Every answer is in the log before the next line out.
func (d *Dialogue) Run(ctx context.Context) error {
	d.words = speech{diagnose.Wording{Base: d.Base, Role: d.Log.Case().Role, Units: d.Units}}
	in := newLineReader(d.In, longestLine)
	for {
		d.view = d.Engine.Assess(d.Log.Case().Log)
		d.result = d.view.Result(d.Units)
		more, err := d.exchange(ctx, in)
		if err != nil {
			return err
		}
		if !more {
			if err := d.conclude(); err != nil {
				return err
			}
			return d.write(resultLine{"result", d.result})
		}
	}
}

// conclude puts on record what it was, once the boundary is proved.
func (d *Dialogue) conclude() error {
	if d.result.Next.Kind != diagnose.NextDone {
		return nil
	}
	o := conclusion(d.Base, d.Log.Case().Log)
	if o == nil {
		return nil
	}
	return d.Log.Append(diagnose.Entry{Outcome: o})
}

// exchange asks the next step until a line changes the log; more is false where
// the dialogue is over.
func (d *Dialogue) exchange(ctx context.Context, in *lineReader) (more bool, err error) {
	question, err := d.question()
	if err != nil || question == nil {
		return false, err
	}
	for {
		if err := d.write(question); err != nil {
			return false, err
		}
		text, err := ask(ctx, in.next)
		switch {
		case errors.Is(err, ErrEnded):
			return false, nil
		case errors.Is(err, errLongLine):
			if err := d.fail("the line is too long; expected at most %d bytes", longestLine); err != nil {
				return false, err
			}
			continue
		case err != nil:
			return false, err
		}
		l, err := parseLine(text)
		did := again
		if err == nil {
			did, err = d.take(l)
		}
		var ours *journal.Error
		switch {
		case errors.As(err, &ours) && !errors.Is(err, journal.ErrFull), errors.Is(err, errWrite):
			return false, err // neither the other side's fault nor to be mended by it
		case err != nil:
			if err := d.fail("%s", err.Error()); err != nil {
				return false, err
			}
		case did != again:
			return did == answered, nil
		}
	}
}

// question is the next step as a line; nil where there is nothing to ask.
func (d *Dialogue) question() (any, error) {
	next := d.result.Next
	role := string(d.words.Role)
	switch next.Kind {
	case diagnose.NextDone, diagnose.NextRefer:
		return nil, nil
	case diagnose.NextCheck, diagnose.NextTap:
		c := d.Base.Check(next.ID)
		if c == nil {
			return nil, fmt.Errorf("the engine asks for check %q, which the knowledge base does not have", next.ID)
		}
		l := askLine{Type: "ask", Check: c.ID, Kind: c.Kind, Text: d.words.of(c.Ask), Unit: c.Unit, At: next.At,
			How: c.How.For(role), Minutes: next.Minutes, Cautions: d.result.Cautions}
		if c.Kind != kb.Reading {
			l.Unit = ""
			if c.Kind != kb.Choice {
				l.Unit = d.Units.String()
			}
		}
		for _, a := range c.Answers {
			l.Options = append(l.Options, a.ID)
		}
		return l, nil
	}
	r := d.Base.Repair(next.ID)
	if r == nil {
		return nil, fmt.Errorf("the engine asks for repair %q, which the knowledge base does not have", next.ID)
	}
	l := repairLine{Type: "repair", Repair: next.ID, Text: d.words.of(r.Name), At: next.At, From: next.From, To: next.To,
		How: r.Do.For(role), Minutes: next.Minutes, Cautions: d.result.Cautions}
	if next.At != nil || next.From != nil {
		l.Unit = d.Units.String()
	}
	return l, nil
}

// take does what a line says. An error is the other side's, to be told.
func (d *Dialogue) take(l line) (deed, error) {
	if l.Command != "" {
		if l.Given() || l.Check != "" || l.Fixed != nil {
			return again, errors.New("a command and an answer in one line; expected one of them")
		}
		return d.command(l.Command)
	}
	if l.Check != "" && l.Fixed != nil {
		return again, errors.New("check and fixed in one line; expected an answer to a check, or what came of a repair")
	}
	asksRepair := d.result.Next.Kind != diagnose.NextCheck && d.result.Next.Kind != diagnose.NextTap
	if l.Check == "" && asksRepair {
		return d.repaired(l)
	}
	if l.Fixed != nil {
		return again, errors.New("fixed answers a repair; expected an answer to the check")
	}
	if l.Check == "" {
		l.Check = d.result.Next.ID
	}
	c := d.Base.Check(l.Check)
	switch {
	case c == nil:
		return again, fmt.Errorf("%q is not a check", cleanLine(l.Check))
	case !l.Given():
		return again, errors.New(`nothing is answered; expected a line such as {"answer": "unknown"}`)
	}
	if c.Kind == kb.Tap && l.At == "" && l.Answer == "" && l.Check == d.result.Next.ID && d.result.Next.At != nil {
		// The place asked for, unless another is given.
		l.At = quantity.WriteLength(*d.metres(d.result.Next.At), d.Units)
	}
	a, err := l.AnswerTo(c, d.Log.Case().Yard, journal.Bare{})
	if err != nil {
		return again, err
	}
	return answered, d.Log.Append(diagnose.Entry{Answer: a})
}

func (d *Dialogue) command(name string) (deed, error) {
	switch name {
	case "stop":
		return stop, nil
	case "why":
		return again, d.write(whyLine{"why", d.view.Why()})
	case "ranking":
		r := d.result
		return again, d.write(rankingLine{"ranking", r.Ranking, r.Parts, r.TwoFaults, r.Position, r.Expected})
	case "back":
		if len(diagnose.Kept(d.Log.Case().Log)) == 0 {
			return again, errors.New("nothing to go back to; this is the first question")
		}
		return answered, d.Log.Append(diagnose.Entry{Undo: true})
	}
	return again, fmt.Errorf("%q is not a command; expected why, ranking, back or stop", cleanLine(name))
}

// repaired logs what came of a repair. Who cannot do it has nothing more to be
// asked, so that the dialogue ends with the repair still the next step.
func (d *Dialogue) repaired(l line) (deed, error) {
	next := d.result.Next
	if l.Fixed == nil {
		if diagnose.Unanswered(l.Answer) {
			return stop, nil
		}
		return again, errors.New(`a repair is answered by {"fixed": true} or {"fixed": false}`)
	}
	done := &diagnose.RepairDone{Repair: strings.TrimPrefix(next.ID, "repair:"), Fixed: *l.Fixed}
	given := l.Fields
	given.At, given.From, given.To, given.Note = "", "", "", ""
	if given.Given() {
		return again, errors.New("a repair takes fixed and its place only; expected fixed, at, from and to")
	}
	if next.Kind == diagnose.NextReplaceSection {
		done.FromM, done.ToM = d.metres(next.From), d.metres(next.To)
	} else {
		done.AtM = d.metres(next.At)
	}
	for _, place := range []struct {
		text string
		into **float64
	}{{l.At, &done.AtM}, {l.From, &done.FromM}, {l.To, &done.ToM}} {
		if place.text == "" {
			continue
		}
		m, err := journal.PlaceM(place.text, d.Log.Case().Yard, journal.Bare{})
		if err != nil {
			return again, err
		}
		*place.into = &m
	}
	return answered, d.Log.Append(diagnose.Entry{Repair: done})
}

func (d *Dialogue) metres(length *float64) *float64 {
	return onWire(length, d.Units, d.Log.Case().Yard)
}

// parseLine reads one line from the other side.
func parseLine(text string) (line, error) {
	var l line
	if !utf8.ValidString(text) {
		return l, errors.New("the line is not UTF-8")
	}
	decoder := json.NewDecoder(strings.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&l); err != nil {
		return l, plainJSON(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return l, errors.New("more than one object in a line; expected one")
	}
	if strings.TrimSpace(text) == "null" {
		return l, errors.New(`expected one JSON object, such as {"answer": "unknown"}`)
	}
	return l, nil
}

// plainJSON says what is wrong with a line in the words of this page.
func plainJSON(err error) error {
	var kind *json.UnmarshalTypeError
	switch {
	case errors.Is(err, io.EOF):
		return errors.New(`the line is empty; expected one JSON object, such as {"answer": "unknown"}`)
	case errors.As(err, &kind) && kind.Field == "":
		return fmt.Errorf(`the line holds a JSON %s; expected one object, such as {"answer": "unknown"}`, kind.Value)
	case errors.As(err, &kind) && kind.Value == "number":
		return fmt.Errorf(`%s holds a bare number; expected text with its unit, such as "12.4 ohm" or "210 ft"`, kind.Field)
	case errors.As(err, &kind):
		return fmt.Errorf("%s holds a JSON %s; expected %s", kind.Field, kind.Value, expectedJSON(kind.Type.String()))
	}
	return fmt.Errorf("the line cannot be read: %s", cleanLine(strings.TrimPrefix(err.Error(), "json: ")))
}

func expectedJSON(goType string) string {
	switch goType {
	case "bool":
		return "true or false"
	case "string":
		return "text in quotes"
	}
	return `a list such as [{"at": "60 ft", "width": "5 ft"}]`
}

// errWrite is an output that takes no more lines.
var errWrite = errors.New("the dialogue cannot be written")

func (d *Dialogue) fail(format string, args ...any) error {
	return d.write(errorLine{"error", fmt.Sprintf(format, args...)})
}

// write writes one object as one line. Control characters past ASCII, which JSON
// leaves as they are, are escaped: the line may end up on a terminal.
func (d *Dialogue) write(v any) error {
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(v); err != nil {
		return fmt.Errorf("%w: %w", errWrite, err)
	}
	var out strings.Builder
	for _, r := range b.String() {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)) {
			fmt.Fprintf(&out, `\u%04x`, r)
			continue
		}
		out.WriteRune(r)
	}
	if _, err := io.WriteString(d.Out, out.String()); err != nil {
		return fmt.Errorf("%w: %w", errWrite, err)
	}
	return nil
}
