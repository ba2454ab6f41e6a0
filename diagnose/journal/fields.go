package journal

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// Fields are an answer as files, programs and people write it: every value is
// still text. The empty string is a field not given.
type Fields struct {
	Check    string        `yaml:"check" json:"check"`
	Answer   string        `yaml:"answer" json:"answer"`
	Reading  string        `yaml:"reading" json:"reading"`
	At       string        `yaml:"at" json:"at"`
	From     string        `yaml:"from" json:"from"`
	To       string        `yaml:"to" json:"to"`
	End      string        `yaml:"end" json:"end"`
	ASide    string        `yaml:"a_side" json:"a_side"`
	BSide    string        `yaml:"b_side" json:"b_side"`
	AOhms    string        `yaml:"a_ohms" json:"a_ohms"`
	BOhms    string        `yaml:"b_ohms" json:"b_ohms"`
	AToEarth string        `yaml:"a_to_earth" json:"a_to_earth"`
	BToEarth string        `yaml:"b_to_earth" json:"b_to_earth"`
	Widths   []WidthFields `yaml:"widths" json:"widths"`
	When     string        `yaml:"when" json:"when"`
	Unsure   bool          `yaml:"unsure" json:"unsure"`
	Note     string        `yaml:"note" json:"note"`
}

// WidthFields are one place of a walk along the wire.
type WidthFields struct {
	At    string `yaml:"at" json:"at"`
	Width string `yaml:"width" json:"width"` // 0 ft: silent right at the wire
}

// Problem is one thing wrong with an answer.
type Problem struct {
	// Path leads to the value: a field's name, or "widths", an index and a name.
	Path    []any
	Message string
}

// Error is the message alone; whoever reads a file knows the place.
func (p Problem) Error() string { return p.Message }

// Problems are all the things wrong with one answer.
type Problems []Problem

// Error says them all in one line.
func (p Problems) Error() string {
	messages := make([]string, len(p))
	for i, problem := range p {
		messages[i] = problem.Message
	}
	return strings.Join(messages, "; ")
}

func (p *Problems) add(field, format string, args ...any) {
	*p = append(*p, Problem{Path: []any{field}, Message: fmt.Sprintf(format, args...)})
}

// Limits of what one answer can hold.
const (
	mostWidths  = 5000
	mostNote    = 2000 // characters
	mostWidthM  = 30.0 // a collar is heard 2 to 12 ft from the wire (domain.md)
	mostWireM   = 5000.0
	mostLeadInM = 300.0
	roundingM   = 1e-6 // 560 ft is the very end of a wire of 2 x 40 ft + 480 ft
)

// Bare says what a number without a unit means in an answer. The zero value
// refuses it, as files do.
type Bare struct {
	Typed  bool           // a bare reading is in the check's unit, a bare length in Length
	Length quantity.Units // of a typed length
}

func (b Bare) length() string {
	if !b.Typed {
		return quantity.Strict
	}
	return b.Length.String()
}

func (b Bare) reading(unit string) string {
	if !b.Typed {
		return quantity.Strict
	}
	return unit
}

// AnswerTo reads the fields as an answer to a check of the knowledge base in a
// yard (nil where nothing is known of it). All problems come back at once, as
// [Problems].
func (f Fields) AnswerTo(c *kb.Check, m *yard.Map, bare Bare) (*diagnose.Answer, error) {
	r := &answerReader{f: f, check: c, yard: m, bare: bare}
	a := r.read()
	if len(r.problems) > 0 {
		return nil, r.problems
	}
	return a, nil
}

// answerReader turns fields into an answer and collects what is wrong.
type answerReader struct {
	f        Fields
	check    *kb.Check
	yard     *yard.Map
	bare     Bare
	problems Problems
}

func (r *answerReader) read() *diagnose.Answer {
	a := &diagnose.Answer{Check: r.check.ID, Unsure: r.f.Unsure, When: r.when(), Note: r.note()}
	allowed := []string{"check", "answer", "when", "unsure", "note"}
	switch r.f.Answer {
	case diagnose.Unknown, diagnose.NotApplicable, diagnose.Later:
		a.Choice = r.f.Answer
		r.refuse(fmt.Sprintf("beside answer: %s", r.f.Answer), "check", "answer", "note")
		return a
	}
	r.ownAnswer(a)
	switch r.check.Kind {
	case kb.Choice:
		r.need("answer", r.f.Answer, oneOf(answerIDs(r.check)))
		r.choicePlace(a)
		allowed = append(allowed, "at", "from", "to")
	case kb.Position:
		if r.f.Answer == "" { // an answer of the check's own stands in place of the place
			a.AtM = r.place("at", r.f.At)
			r.need("at", r.f.At, "the place along the wire, such as 210 ft")
			allowed = append(allowed, "at")
		}
		a.End = r.end()
		allowed = append(allowed, "end")
	case kb.Stretch:
		if len(r.check.Answers) > 0 {
			r.need("answer", r.f.Answer, oneOf(answerIDs(r.check)))
		}
		if r.placed() {
			r.stretch(a)
			r.need("from", r.f.From, "where the stretch begins, such as 200 ft")
			r.need("to", r.f.To, "where the stretch ends, such as 240 ft")
		}
		allowed = append(allowed, "from", "to")
	case kb.Reading:
		if r.f.Answer == "" { // an answer of the check's own stands in place of the reading
			a.Reading = r.reading("reading", r.f.Reading, r.check.Unit, faultmodel.Quantity(r.check.Quantity))
			r.need("reading", r.f.Reading, "a reading with its unit, such as "+exampleOf(r.check.Unit))
			allowed = append(allowed, "reading")
		}
	case kb.Tap:
		a.AtM = r.place("at", r.f.At)
		allowed = append(allowed, "at")
		if r.f.Answer == "" {
			r.tap(a)
			allowed = append(allowed, "a_side", "b_side", "a_ohms", "b_ohms", "a_to_earth", "b_to_earth")
		}
	case kb.Widths:
		if r.f.Answer == "" {
			a.Widths = r.widths()
			allowed = append(allowed, "widths")
		}
	}
	r.refuse(fmt.Sprintf("in an answer to %s (%s)", r.check.ID, formOf(r.check.Kind)), allowed...)
	return a
}

// choicePlace reads the place that one of the check's own answers may carry.
func (r *answerReader) choicePlace(a *diagnose.Answer) {
	if r.f.At == "" && r.f.From == "" && r.f.To == "" {
		return
	}
	field := "at"
	if r.f.At == "" {
		field = "from"
		if r.f.From == "" {
			field = "to"
		}
	}
	if own := r.check.Answer(a.Choice); own != nil && !own.Place {
		r.problems.add(field, "no place belongs to %s: %s", r.check.ID, a.Choice)
		return
	}
	if r.f.At != "" && (r.f.From != "" || r.f.To != "") {
		r.problems.add("at", "both at and from or to; expected a point or a stretch")
		return
	}
	if r.f.At != "" {
		a.AtM = r.place("at", r.f.At)
		return
	}
	r.stretch(a)
	if (r.f.From == "") != (r.f.To == "") {
		r.problems.add(field, "a stretch with one end; expected both from and to, or at")
	}
}

// ownAnswer reads an answer that is one of the check's own.
func (r *answerReader) ownAnswer(a *diagnose.Answer) {
	switch {
	case r.f.Answer == "":
	case r.check.Answer(r.f.Answer) != nil:
		a.Choice = r.f.Answer
	case r.check.Kind == kb.Choice:
		r.problems.add("answer", "%s is no answer to %s; expected %s", strconv.Quote(shorten(r.f.Answer)), r.check.ID, r.answersTaken())
	default:
		r.problems.add("answer", "%s is no answer to %s; expected %s, or %s", strconv.Quote(shorten(r.f.Answer)), r.check.ID, r.answersTaken(), formOf(r.check.Kind))
	}
}

// answersTaken lists every answer that the check takes by name.
func (r *answerReader) answersTaken() string {
	all := append(answerIDs(r.check), diagnose.Unknown, diagnose.NotApplicable)
	return strings.Join(all, ", ") + " or " + diagnose.Later
}

// placed tells whether an answer to a check about a place has to name it: not
// where the check knows answers without one, and this is one of them.
func (r *answerReader) placed() bool {
	some := slices.ContainsFunc(r.check.Answers, func(own kb.Answer) bool { return own.Place })
	own := r.check.Answer(r.f.Answer)
	return !some || own == nil || own.Place
}

func (r *answerReader) stretch(a *diagnose.Answer) {
	a.FromM, a.ToM = r.place("from", r.f.From), r.place("to", r.f.To)
	if a.FromM == nil || a.ToM == nil || *a.FromM <= *a.ToM {
		return
	}
	if r.bare.Typed { // a person counts from where they stand
		a.FromM, a.ToM = a.ToM, a.FromM
		return
	}
	r.problems.add("from", "the stretch runs backwards, from %s to %s; expected from below to", r.f.From, r.f.To)
}

func (r *answerReader) tap(a *diagnose.Answer) {
	r.need("at", r.f.At, "the place along the wire, such as 210 ft")
	a.ASide, a.BSide = r.side("a_side", r.f.ASide), r.side("b_side", r.f.BSide)
	a.AOhms = r.reading("a_ohms", r.f.AOhms, "ohm", faultmodel.SideAOhms)
	a.BOhms = r.reading("b_ohms", r.f.BOhms, "ohm", faultmodel.SideBOhms)
	a.AToEarth = r.reading("a_to_earth", r.f.AToEarth, "ohm", faultmodel.SideAToEarth)
	a.BToEarth = r.reading("b_to_earth", r.f.BToEarth, "ohm", faultmodel.SideBToEarth)
	for _, reading := range []*faultmodel.Reading{a.AOhms, a.BOhms, a.AToEarth, a.BToEarth} {
		if reading != nil && a.AtM != nil {
			reading.AtM = *a.AtM
		}
	}
	if r.f.ASide == "" && r.f.BSide == "" && r.f.AOhms == "" && r.f.BOhms == "" && r.f.AToEarth == "" && r.f.BToEarth == "" {
		r.problems.add("a_side", "the tap shows nothing; expected a_side and b_side, each intact, broken or unknown, or ohms")
	}
}

func (r *answerReader) widths() []faultmodel.Width {
	if len(r.f.Widths) == 0 {
		r.problems.add("widths", "no widths given; expected a list such as [{at: 60 ft, width: 5 ft}]")
		return nil
	}
	if len(r.f.Widths) > mostWidths {
		r.problems.add("widths", "%d widths; expected at most %d", len(r.f.Widths), mostWidths)
		return nil
	}
	widths := make([]faultmodel.Width, 0, len(r.f.Widths))
	for i, w := range r.f.Widths {
		before := len(r.problems)
		at := r.place("at", w.At)
		if w.At == "" {
			r.problems.add("at", "a width without its place; expected {at: 60 ft, width: 5 ft}")
		}
		width, err := quantity.ParseLength(w.Width, zeroIsZero(w.Width, r.bare.length()))
		switch {
		case err != nil:
			r.problems.add("width", "%v", err)
		case width > mostWidthM:
			r.problems.add("width", "%s is out of range; expected the distance from the wire to where the collar sounds, at most %s",
				w.Width, quantity.FormatLength(mostWidthM, r.bare.Length))
		}
		for k := before; k < len(r.problems); k++ {
			r.problems[k].Path = append([]any{"widths", i}, r.problems[k].Path...)
		}
		if at != nil {
			widths = append(widths, faultmodel.Width{AtM: *at, WidthM: width, Silent: width == 0})
		}
	}
	return widths
}

// zeroIsZero lets nothing be nothing in any unit: a width of 0 is a silent spot.
func zeroIsZero(text, bare string) string {
	if strings.Trim(text, "0.") == "" && strings.Contains(text, "0") {
		return "m"
	}
	return bare
}

func (r *answerReader) reading(field, text, unit string, q faultmodel.Quantity) *faultmodel.Reading {
	if text == "" {
		return nil
	}
	value, over, err := quantity.ParseReading(text, unit, r.bare.reading(unit))
	if err != nil {
		r.problems.add(field, "%v", err)
		return nil
	}
	return &faultmodel.Reading{Quantity: q, Value: value, OverRange: over, FaultAway: r.f.When == string(diagnose.FaultAbsent)}
}

// place reads a chainage. Where the wire's length is not known only the
// impossible is refused.
func (r *answerReader) place(field, text string) *float64 {
	if text == "" {
		return nil
	}
	at, err := quantity.ParseLength(text, r.bare.length())
	if err != nil {
		r.problems.add(field, "%v", err)
		return nil
	}
	if most := LongestM(r.yard); at > most+roundingM {
		u := r.bare.Length
		if !r.bare.Typed {
			u = r.yard.Units()
		}
		r.problems.add(field, "%s is beyond the wire; expected a distance from terminal A of at most %s (2 x lead-in + loop)%s",
			text, quantity.FormatLength(most, u), r.meantFeet(at, most))
		return nil
	}
	return &at
}

// meantFeet is a hint where a typed place lies beyond the wire in metres and on
// it in feet.
func (r *answerReader) meantFeet(atM, mostM float64) string {
	if feet := atM * quantity.MPerFt; r.bare.Typed && feet <= mostM {
		return fmt.Sprintf("; are feet meant, %s?", quantity.FormatLength(feet, quantity.Feet))
	}
	return ""
}

// LongestM is the chainage that no place on the wire is beyond: its end where its
// length is known, otherwise the end of any wire there could be.
func LongestM(m *yard.Map) float64 {
	boundary, leadIn := m.BoundaryLength(), m.LeadInLength()
	switch {
	case boundary.Known && leadIn.Known:
		return boundary.Value + 2*leadIn.Value
	case boundary.Known:
		return boundary.Value + 2*mostLeadInM
	}
	return mostWireM + 2*mostLeadInM
}

func (r *answerReader) end() locate.End {
	switch e := locate.End(strings.ToLower(r.f.End)); e {
	case "", locate.EndA, locate.EndB:
		return e
	}
	r.problems.add("end", "%s is no end of the wire; expected a or b, the terminal that the signal is fed from", strconv.Quote(shorten(r.f.End)))
	return ""
}

func (r *answerReader) side(field, text string) locate.Side {
	switch s := locate.Side(text); s {
	case "":
		return locate.SideUnknown
	case locate.SideUnknown, locate.Intact, locate.Broken:
		return s
	}
	r.problems.add(field, "%s is not what a side can show; expected intact, broken or unknown", strconv.Quote(shorten(text)))
	return locate.SideUnknown
}

func (r *answerReader) when() diagnose.When {
	switch w := diagnose.When(r.f.When); w {
	case "", diagnose.FaultPresent, diagnose.FaultAbsent:
		return w
	}
	r.problems.add("when", "%s is no moment of an answer; expected %s or %s", strconv.Quote(shorten(r.f.When)), diagnose.FaultPresent, diagnose.FaultAbsent)
	return ""
}

func (r *answerReader) note() string {
	if n := len([]rune(r.f.Note)); n > mostNote {
		r.problems.add("note", "the note has %d characters; expected at most %d", n, mostNote)
	}
	return r.f.Note
}

func (r *answerReader) need(field, text, expected string) {
	if r.f.Answer != "" && r.check.Answer(r.f.Answer) == nil {
		return // told already that this is no answer here
	}
	if text == "" {
		r.problems.add(field, "%s is not answered; expected %s: %s", r.check.ID, field, expected)
	}
}

// refuse notes every field that is given and has no business here.
func (r *answerReader) refuse(where string, allowed ...string) {
	for _, name := range r.f.given() {
		if !slices.Contains(allowed, name) {
			r.problems.add(name, "%s does not belong %s", name, where)
		}
	}
}

// given lists the names of the fields that say something.
func (f Fields) given() []string {
	var names []string
	for _, field := range []struct {
		name string
		set  bool
	}{
		{"check", f.Check != ""}, {"answer", f.Answer != ""}, {"reading", f.Reading != ""},
		{"at", f.At != ""}, {"from", f.From != ""}, {"to", f.To != ""}, {"end", f.End != ""},
		{"a_side", f.ASide != ""}, {"b_side", f.BSide != ""}, {"a_ohms", f.AOhms != ""}, {"b_ohms", f.BOhms != ""},
		{"a_to_earth", f.AToEarth != ""}, {"b_to_earth", f.BToEarth != ""}, {"widths", f.Widths != nil},
		{"when", f.When != ""}, {"unsure", f.Unsure}, {"note", f.Note != ""},
	} {
		if field.set {
			names = append(names, field.name)
		}
	}
	return names
}

// Given tells whether any field besides the check's id says something.
func (f Fields) Given() bool {
	f.Check = ""
	return len(f.given()) > 0
}

func answerIDs(c *kb.Check) []string {
	ids := make([]string, len(c.Answers))
	for i, a := range c.Answers {
		ids[i] = a.ID
	}
	return ids
}

// formOf says in words what an answer of a kind is.
func formOf(k kb.CheckKind) string {
	switch k {
	case kb.Choice:
		return "a choice: answer"
	case kb.Reading:
		return "a reading: reading"
	case kb.Position:
		return "a place: at"
	case kb.Stretch:
		return "a stretch: from and to"
	case kb.Tap:
		return "a tap: at, a_side and b_side"
	case kb.Widths:
		return "a walk: widths"
	}
	return string(k)
}

func exampleOf(unit string) string {
	switch unit {
	case "ohm":
		return "12.3 ohm or over-range"
	case "nF":
		return "22 nF"
	case "V":
		return "12.1 V"
	case "mA":
		return "38 mA"
	}
	return "12 " + unit
}

func oneOf(ids []string) string {
	if len(ids) == 0 {
		return "an answer"
	}
	return "one of " + strings.Join(ids, ", ")
}

// shorten keeps a wrong word from filling the screen.
func shorten(text string) string {
	const most = 40
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "..."
	}
	return text
}

// PlaceM reads a place along the wire, in metres of chainage.
func PlaceM(text string, m *yard.Map, bare Bare) (float64, error) {
	r := &answerReader{yard: m, bare: bare}
	at := r.place("at", text)
	if len(r.problems) > 0 {
		return 0, r.problems
	}
	if at == nil {
		return 0, Problems{{Path: []any{"at"}, Message: "no place given; expected one such as 210 ft"}}
	}
	return *at, nil
}
