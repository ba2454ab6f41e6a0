package console

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// Ending is how an interview came to its end.
type Ending int

// The endings of an interview.
const (
	Stopped    Ending = iota // saved, to be gone on with
	HandedOver               // saved, for someone else to go on with
	Finished                 // the fault is gone and the boundary proved
)

// Interview asks one person the engine's questions until the fault is gone, the
// case is handed over or the person stops.
type Interview struct {
	Prompter Prompter
	Engine   Engine
	Base     *kb.Base
	Log      Log
	Units    quantity.Units
	Resume   string           // the command that goes on with the case, shown when it stops; may be empty
	Now      func() time.Time // stamps the entries; nil stamps none

	view     View
	result   diagnose.Result
	words    speech
	mentions map[string]bool // conflicts and notes that were shown already
	said     map[string]bool // cautions that were said in full, by id
}

// Run asks. With [ErrInterrupted] or [ErrEnded] everything answered so far is in
// the log, and the person has been told how to go on.
func (iv *Interview) Run(ctx context.Context) (Ending, error) {
	iv.words = speech{diagnose.Wording{Base: iv.Base, Role: iv.Log.Case().Role, Units: iv.Units}}
	iv.mentions, iv.said = map[string]bool{}, map[string]bool{}
	for {
		iv.assess()
		iv.whereWeAre()
		did, err := iv.step(ctx)
		switch {
		case errors.Is(err, ErrInterrupted), errors.Is(err, ErrEnded):
			iv.sayHowToResume()
			return Stopped, err
		case errors.Is(err, journal.ErrFull):
			iv.tellError(err) // nothing is lost but this answer: ask again
			continue
		case err != nil:
			return Stopped, err
		}
		switch did {
		case stop:
			iv.sayHowToResume()
			return Stopped, nil
		case handOver:
			iv.tell(Body, "%s", iv.words.handOver(iv.Log.Case(), iv.result))
			iv.sayHowToResume()
			return HandedOver, nil
		case finish:
			return Finished, nil
		}
	}
}

func (iv *Interview) assess() {
	iv.view = iv.Engine.Assess(iv.Log.Case().Log)
	iv.result = iv.view.Result(iv.Units)
}

func (iv *Interview) tell(style Style, format string, args ...any) {
	text := format
	if len(args) > 0 {
		text = fmt.Sprintf(format, args...)
	}
	iv.Prompter.Tell(style, text)
}

func (iv *Interview) tellError(err error) {
	iv.tell(Trouble, "%s", err.Error())
	var hinted interface{ Hint() string }
	if errors.As(err, &hinted) {
		iv.tell(Trouble, "hint: %s", hinted.Hint())
	}
}

func (iv *Interview) sayHowToResume() {
	if iv.Resume == "" {
		iv.tell(Body, "Stopped.")
		return
	}
	iv.tell(Body, "Saved. Go on with: %s", iv.Resume)
}

// worthPlacing is the share of the wire that the likely stretch must be shorter
// than to be told with every question; "anywhere" helps nobody.
const worthPlacing = 0.5

// whereWeAre heads every screen: how far, what is likely now, what contradicts.
func (iv *Interview) whereWeAre() {
	c := iv.Log.Case()
	iv.tell(Body, "")
	iv.tell(Heading, "Step %d, still %s", len(diagnose.Kept(c.Log))+1, iv.words.outlook(iv.result.Expected))
	iv.tell(Aside, "Likely now: %s", iv.words.leading(iv.result))
	if p := iv.result.Position; p != nil && iv.words.places(c.Yard) && iv.Units.M(p.Interval90[1]-p.Interval90[0]) < worthPlacing*c.Yard.TotalM() {
		iv.tell(Aside, "Where: %s", iv.words.position(p))
	}
	now := map[string]bool{}
	for _, c := range iv.result.Conflicts {
		now[c.Check] = true
		if !iv.mentions[c.Check] {
			iv.tell(Trouble, "Does not fit: %s", c.Message)
		}
	}
	for _, note := range iv.result.Notes {
		now[note] = true
		if !iv.mentions[note] {
			iv.tell(Aside, "Note: %s", note)
		}
	}
	iv.mentions = now
}

// deed is what a screen led to.
type deed int

const (
	again    deed = iota // the same step, shown again
	answered             // something was logged or taken back
	stop
	handOver
	finish
)

// step takes the next step, whatever sort it is.
func (iv *Interview) step(ctx context.Context) (deed, error) {
	switch next := iv.result.Next; next.Kind {
	case diagnose.NextCheck, diagnose.NextTap:
		c := iv.Base.Check(next.ID)
		if c == nil {
			return stop, fmt.Errorf("the engine asks for check %q, which the knowledge base does not have", next.ID)
		}
		return iv.ask(ctx, c, iv.proposed())
	case diagnose.NextRefer:
		return iv.refer(ctx)
	case diagnose.NextDone:
		return iv.done(ctx)
	default:
		return iv.repair(ctx)
	}
}

// proposed is the place the engine has in mind for the next step, m.
func (iv *Interview) proposed() *float64 { return iv.onWire(iv.result.Next.At) }

func (iv *Interview) onWire(length *float64) *float64 {
	return onWire(length, iv.Units, iv.Log.Case().Yard)
}

// log adds an entry with its time.
func (iv *Interview) log(e diagnose.Entry) error {
	if iv.Now != nil {
		e.Time = iv.Now().Truncate(time.Second)
	}
	return iv.Log.Append(e)
}

// before is said before a step: its cautions, then how to do it. A technician has
// a caution in full once and by its name from then on; the others every time.
func (iv *Interview) before(cautions []diagnose.CautionText, how kb.Steps) {
	var known []string
	for _, c := range cautions {
		if iv.words.Role == diagnose.Technician && iv.said[c.ID] {
			known = append(known, strings.ReplaceAll(c.ID, "-", " "))
			continue
		}
		iv.said[c.ID] = true
		iv.tell(Caution, "Caution: %s", c.Text)
	}
	if len(known) > 0 {
		iv.tell(Caution, "Caution, as before: %s", strings.Join(known, ", "))
	}
	if steps := iv.words.steps(how); steps != "" {
		iv.tell(Body, "%s", steps)
	}
}

// cautionsOf are cautions in words.
func (iv *Interview) cautionsOf(ids []string) []diagnose.CautionText {
	out := make([]diagnose.CautionText, len(ids))
	for i, id := range ids {
		out[i] = diagnose.CautionText{ID: id, Text: iv.Base.CautionText(id, string(iv.words.Role))}
	}
	return out
}

// asking is one check being asked.
type asking struct {
	check  *kb.Check
	at     *float64 // the place that the engine proposes, m
	index  int      // of the answer that is changed; -1 for a new one
	unsure bool
	when   diagnose.When
}

// ask asks one check until it is answered or the person turns elsewhere.
func (iv *Interview) ask(ctx context.Context, c *kb.Check, at *float64) (deed, error) {
	iv.before(iv.result.Cautions, c.How)
	return iv.askUntilDone(ctx, &asking{check: c, at: at, index: -1})
}

// askUntilDone asks until there is an answer or the person turns elsewhere.
func (iv *Interview) askUntilDone(ctx context.Context, q *asking) (deed, error) {
	for {
		fields, choice, err := iv.answerOrChoice(ctx, q)
		if err != nil {
			return again, err
		}
		did := again
		if choice != "" {
			did, err = iv.choose(ctx, q, choice)
		} else {
			did, err = iv.accept(ctx, q, fields)
		}
		if err != nil || did != again {
			return did, err
		}
	}
}

// accept reads the fields of an answer, echoes it, asks back where it looks like
// a slip, and logs it.
func (iv *Interview) accept(ctx context.Context, q *asking, f journal.Fields) (deed, error) {
	f.Check, f.Unsure, f.When = q.check.ID, q.unsure, string(q.when)
	if diagnose.Unanswered(f.Answer) {
		f.Unsure, f.When = false, ""
	}
	a, err := f.AnswerTo(q.check, iv.Log.Case().Yard, iv.bare())
	if err != nil {
		iv.tell(Trouble, "%s", err.Error())
		return again, nil
	}
	if why := doubt(iv.words, q.check, a, iv.view, iv.Log.Case().Meters.Ohms.LeadsOhm); why != "" {
		iv.tell(Trouble, "%s", why)
		i, err := iv.Prompter.Select(ctx, Question{Text: "Take it as " + iv.words.Answer(a) + "?",
			Options: []Option{{Text: "Type it again"}, {Text: "Yes, that is what it shows"}}})
		if err != nil || i == 0 {
			return again, err
		}
	}
	entry := diagnose.Entry{Answer: a}
	if q.index >= 0 {
		entry.Time = iv.Log.Case().Log[q.index].Time
		err = iv.Log.Replace(q.index, entry)
	} else {
		err = iv.log(entry)
	}
	if err != nil {
		return again, err
	}
	iv.tell(Aside, "Noted: %s", iv.words.said(a))
	return answered, nil
}

// answerOrChoice has the person answer, or choose what else to do.
func (iv *Interview) answerOrChoice(ctx context.Context, q *asking) (journal.Fields, string, error) {
	switch {
	case q.check.Kind == kb.Tap:
		return iv.askTap(ctx, q)
	case q.check.Kind == kb.Reading, q.check.Kind == kb.Position, q.check.Kind == kb.Widths, len(q.check.Answers) == 0:
		return iv.askTyped(ctx, q)
	}
	return iv.askChoice(ctx, q)
}

// question is the check's question in the role's words, with the spot that it is
// asked for and how long it takes.
func (iv *Interview) question(q *asking, spot ...string) string {
	text := strings.Join(append([]string{iv.words.of(q.check.Ask)}, spot...), " ")
	if iv.words.Role == diagnose.Support {
		text = "Read aloud: " + text
	}
	minutes := q.check.Minutes.For(string(iv.words.Role))
	if next := iv.result.Next; next.ID == q.check.ID { // with what getting there takes
		minutes = next.Minutes
	}
	if minutes >= 1 && q.index < 0 {
		text += " (about " + quantity.FormatMinutes(minutes) + ")"
	}
	return text
}

func (iv *Interview) askChoice(ctx context.Context, q *asking) (f journal.Fields, choice string, err error) {
	var options []Option
	for _, a := range q.check.Answers {
		o := Option{Text: capital(iv.words.of(a.Text)), ID: a.ID}
		if iv.words.Role == diagnose.Support { // who has to know what the caller's answer says
			o.Note = iv.words.of(a.Means)
		}
		options = append(options, o)
	}
	options = append(options, iv.navigation(q)...)
	i, err := iv.Prompter.Select(ctx, Question{Text: iv.question(q), Options: options, Default: iv.given(q), Fold: iv.fold()})
	if err != nil {
		return f, "", err
	}
	if i >= len(q.check.Answers) {
		return f, options[i].Key, nil
	}
	own := q.check.Answers[i]
	f.Answer = own.ID
	some := slices.ContainsFunc(q.check.Answers, func(a kb.Answer) bool { return a.Place })
	switch {
	case q.check.Kind == kb.Choice && own.Place:
		err = iv.askPlace(ctx, &f, ifKnown)
	case some && !own.Place:
	case q.check.Kind == kb.Position:
		if err = iv.askPlace(ctx, &f, point); err == nil {
			err = iv.askEnd(ctx, &f)
		}
	case q.check.Kind == kb.Stretch:
		err = iv.askPlace(ctx, &f, stretch)
	}
	if errors.Is(err, errBack) {
		return iv.askChoice(ctx, q)
	}
	return f, "", err
}

// given is the option of the answer that is being changed.
func (iv *Interview) given(q *asking) int {
	if q.index < 0 {
		return 0
	}
	for i, a := range q.check.Answers {
		if a.ID == iv.Log.Case().Log[q.index].Answer.Choice {
			return i
		}
	}
	return 0
}

// placeForm is what sort of place has to be typed.
type placeForm int

const (
	ifKnown placeForm = iota // a point, a stretch, or nothing
	point
	stretch
)

// errBack turns from a place back to the question that it belongs to.
var errBack = errors.New("back to the question")

// askPlace adds a place or stretch to an answer; [errBack] where the person turns
// back. To whom a distance along the wire means nothing tells the place in words,
// for whoever comes to look.
func (iv *Interview) askPlace(ctx context.Context, f *journal.Fields, form placeForm) error {
	if form == ifKnown && !iv.words.places(iv.Log.Case().Yard) {
		return iv.askPlaceInWords(ctx, f)
	}
	back := "; " + keyBack + " alone: back"
	examples := map[placeForm]string{
		ifKnown: fmt.Sprintf("Type a place such as %s, or a stretch such as 200 to %s; Enter alone if nobody knows", example(iv.Units, 210), example(iv.Units, 240)) + back,
		point:   fmt.Sprintf("Type a place such as %s", example(iv.Units, 210)) + back,
		stretch: fmt.Sprintf("Type a stretch such as 200 to %s", example(iv.Units, 240)) + back,
	}
	iv.gloss()
	turned := false
	_, err := iv.Prompter.Line(ctx, "Where along the wire, from terminal A? "+examples[form], func(line string) error {
		f.At, f.From, f.To = "", "", ""
		if turned = strings.EqualFold(line, keyBack); turned || line == "" && form == ifKnown {
			return nil
		}
		if err := typedPlace(f, line); err != nil {
			return err
		}
		if form == point && f.At == "" || form == stretch && f.From == "" || line == "" {
			return errors.New(examples[form])
		}
		for _, place := range []string{f.At, f.From, f.To} {
			if place == "" {
				continue
			}
			if _, err := journal.PlaceM(place, iv.Log.Case().Yard, iv.bare()); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil && turned {
		return errBack
	}
	return err
}

// askPlaceInWords takes the place as a person tells it; measured along the wire
// all the same, it counts as that.
func (iv *Interview) askPlaceInWords(ctx context.Context, f *journal.Fields) error {
	line, err := iv.Prompter.Line(ctx, "Where was it? In plain words, such as: by the drive. Enter alone if nobody knows", nil)
	if err != nil || line == "" {
		return err
	}
	var measured journal.Fields
	if typedPlace(&measured, line) == nil {
		known := true
		for _, place := range []string{measured.At, measured.From, measured.To} {
			_, err := journal.PlaceM(place, iv.Log.Case().Yard, journal.Bare{})
			known = known && (place == "" || err == nil)
		}
		if known {
			f.At, f.From, f.To = measured.At, measured.From, measured.To
			return nil
		}
	}
	f.Note = line
	return nil
}

// gloss says what a place along the wire is, to whoever does not say it daily.
func (iv *Interview) gloss() {
	if iv.words.Role != diagnose.Technician {
		iv.tell(Aside, "%s", iv.words.phrase("chainage", nil))
	}
}

// bare is what figures without a unit mean to this person.
func (iv *Interview) bare() journal.Bare { return journal.Bare{Typed: true, Length: iv.Units} }

func example(u quantity.Units, v float64) string { return fmt.Sprintf("%g %s", v, u) }

// ownKeys are the letters of the answers that a check takes in place of a reading.
var ownKeys = []string{"x", "y", "z"}

// ownOptions are those answers.
func (iv *Interview) ownOptions(c *kb.Check) []Option {
	var options []Option
	for i, a := range c.Answers {
		if i < len(ownKeys) {
			options = append(options, Option{Text: capital(iv.words.of(a.Text)), Key: ownKeys[i], ID: a.ID})
		}
	}
	return options
}

// askTyped has an answer typed, or the letter of something else to do.
func (iv *Interview) askTyped(ctx context.Context, q *asking) (f journal.Fields, choice string, err error) {
	switch q.check.Kind {
	case kb.Position, kb.Stretch, kb.Widths:
		if iv.words.places(iv.Log.Case().Yard) {
			iv.gloss()
		}
	}
	own := iv.ownOptions(q.check)
	letters := Question{Options: append(own, iv.navigation(q)...)}
	inWords := q.check.Kind != kb.Reading && !iv.words.places(iv.Log.Case().Yard)
	form := iv.form(q.check)
	if inWords {
		form = strings.TrimSuffix(form, ". Or a letter:") + ", or tell it in plain words. Or a letter:"
	}
	prompt := iv.question(q) + "\n" + form
	for _, o := range own {
		prompt += fmt.Sprintf("\n%3s. %s", o.Key, o.Text)
	}
	prompt += "\n" + inOneLine(letters.Options[len(own):])
	_, err = iv.Prompter.Line(ctx, prompt, func(line string) error {
		choice = ""
		switch i, ok := letters.pick(line); {
		case ok && i < len(own):
			line = own[i].ID
		case ok:
			choice = letters.Options[i].Key
			return nil
		}
		if line == "" {
			return fmt.Errorf("type the answer, or one of the letters")
		}
		f, err = typedFields(q.check, line)
		if err == nil {
			// What cannot be read is asked for at once, with the question still in view.
			_, err = f.AnswerTo(q.check, iv.Log.Case().Yard, iv.bare())
		}
		if err != nil && inWords {
			// The engine has no place for it; whoever takes the case on will.
			f, err = journal.Fields{Answer: diagnose.Unknown, Note: line}, nil
		}
		return err
	})
	if err == nil && choice == "" && q.check.Kind == kb.Position && f.At != "" && f.End == "" {
		err = iv.askEnd(ctx, &f)
	}
	return f, choice, err
}

// inOneLine is what the letters mean, short, under a question that is typed.
func inOneLine(options []Option) string {
	parts := make([]string, len(options))
	for i, o := range options {
		text := strings.TrimSuffix(o.Text, "?")
		parts[i] = fmt.Sprintf("%s. %s", o.Key, strings.ToLower(text[:1])+text[1:])
	}
	return "  " + strings.Join(parts, "; ")
}

// askEnd asks which terminal a signal was fed from.
func (iv *Interview) askEnd(ctx context.Context, f *journal.Fields) error {
	ends := []string{"a", "b", ""}
	i, err := iv.Prompter.Select(ctx, Question{Text: "From which terminal was the signal fed?",
		Options: []Option{{Text: "Terminal A", ID: "a"}, {Text: "Terminal B", ID: "b"}, {Text: "Nobody knows"}}})
	if err == nil {
		f.End = ends[i]
	}
	return err
}

// form says how an answer of a kind is typed.
func (iv *Interview) form(c *kb.Check) string {
	switch c.Kind {
	case kb.Reading:
		switch c.Unit {
		case "ohm":
			return "Type the reading with its unit, such as 12.3 ohm or 35 k, or OL for over-range. Or a letter:"
		case "nF":
			return "Type the reading with its unit, such as 13.9 nF. Or a letter:"
		case "mA":
			return "Type the reading with its unit, such as 38 mA. Or a letter:"
		}
		return fmt.Sprintf("Type the reading in %s, such as 12.1 %s. Or a letter:", c.Unit, c.Unit)
	case kb.Position:
		return fmt.Sprintf("Type the place along the wire and the terminal that feeds it, such as %s a. Or a letter:", example(iv.Units, 210))
	case kb.Stretch:
		return fmt.Sprintf("Type where it begins and ends along the wire, such as 200 to %s. Or a letter:", example(iv.Units, 240))
	case kb.Widths:
		return fmt.Sprintf("Type each place and its width, such as %s: %s, %s: 0 (0: silent). Or a letter:",
			example(iv.Units, 60), example(iv.Units, 5), example(iv.Units, 70))
	}
	return "Type the answer. Or a letter:"
}

// taps are what a tap shows most often, ready to be picked.
var taps = []struct{ text, a, b string }{
	{"Towards A intact, towards B broken", "intact", "broken"},
	{"Towards A broken, towards B intact", "broken", "intact"},
	{"Both sides broken", "broken", "broken"},
	{"Both sides intact", "intact", "intact"},
}

const elsewhere = "o"

func (iv *Interview) askTap(ctx context.Context, q *asking) (f journal.Fields, choice string, err error) {
	var options []Option
	var spot []string
	at := q.at
	if q.index >= 0 {
		at = iv.Log.Case().Log[q.index].Answer.AtM
	}
	if at != nil {
		spot = []string{"The spot: " + quantity.FormatLength(*at, iv.Units) + " along the wire from terminal A."}
		for _, t := range taps {
			options = append(options, Option{Text: t.text})
		}
	}
	ready := len(options)
	for _, a := range q.check.Answers {
		options = append(options, Option{Text: capital(iv.words.of(a.Text)), ID: a.ID})
	}
	if q.index < 0 {
		options = append(options, Option{Text: "The fault is to be seen here, and is mended", Key: keyMended, Aside: true})
	}
	options = append(options, Option{Text: "At another place, one side only, or with ohms", Key: elsewhere, Aside: true})
	options = append(options, iv.navigation(q)...)
	i, err := iv.Prompter.Select(ctx, Question{Text: iv.question(q, spot...), Options: options, Fold: iv.fold("t. mended here", "o. elsewhere, or ohms")})
	switch {
	case err != nil:
		return f, "", err
	case i < ready:
		f.At, f.ASide, f.BSide = quantity.WriteLength(*at, iv.Units), taps[i].a, taps[i].b
		return f, "", nil
	case options[i].Key == "":
		f.Answer = options[i].ID
		return f, "", nil
	case options[i].Key != elsewhere:
		return f, options[i].Key, nil
	}
	return iv.askTapInFull(ctx, at)
}

// askTapInFull asks for everything that a tap can show, one after the other.
func (iv *Interview) askTapInFull(ctx context.Context, at *float64) (f journal.Fields, choice string, err error) {
	iv.gloss()
	prompt := fmt.Sprintf("Where along the wire, from terminal A, such as %s?", example(iv.Units, 210))
	if at != nil {
		prompt += fmt.Sprintf(" Enter alone: %s", quantity.FormatLength(*at, iv.Units))
	}
	f.At, err = iv.Prompter.Line(ctx, prompt, func(line string) error {
		if line == "" && at == nil {
			return fmt.Errorf("type a place, such as %s", example(iv.Units, 210))
		}
		return nil
	})
	if err != nil {
		return f, "", err
	}
	if f.At == "" {
		f.At = quantity.WriteLength(*at, iv.Units)
	}
	for _, side := range []struct {
		name       string
		shows, ohm *string
	}{{"A", &f.ASide, &f.AOhms}, {"B", &f.BSide, &f.BOhms}} {
		sides := []string{"intact", "broken", "unknown"}
		i, err := iv.Prompter.Select(ctx, Question{Text: "What does the wire show towards terminal " + side.name + "?",
			Options: []Option{{Text: "Intact", ID: "intact"}, {Text: "Broken", ID: "broken"}, {Text: "Not tested", ID: "unknown"}}})
		if err != nil {
			return f, "", err
		}
		*side.shows = sides[i]
		*side.ohm, err = iv.Prompter.Line(ctx, "Ohms towards terminal "+side.name+", such as 2.4 ohm or OL? Enter alone for none", func(line string) error {
			if line == "" {
				return nil
			}
			_, _, err := quantity.ParseReading(line, "ohm", "ohm")
			return err
		})
		if err != nil {
			return f, "", err
		}
	}
	return f, "", nil
}

func capital(text string) string {
	for i, r := range text {
		if i == 0 {
			return strings.ToUpper(string(r)) + text[len(string(r)):]
		}
	}
	return text
}
