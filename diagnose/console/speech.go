package console

import (
	"fmt"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// speech puts findings into a role's words and units.
type speech struct {
	base  *kb.Base
	role  diagnose.Role
	units quantity.Units
}

func (s speech) of(w kb.Words) string { return w.For(string(s.role)) }

// cause is a cause's name; its id where the base has none.
func (s speech) cause(id string) string {
	if c := s.base.Cause(id); c != nil {
		return s.of(c.Name)
	}
	return id
}

// chance is a probability as a figure, with the word for it where that helps:
// whoever does not work with figures.
func (s speech) chance(p float64) string {
	if word := s.base.Word("chance", string(s.role), p); word != "" && s.role != diagnose.Technician {
		return s.figure(p) + ", " + word
	}
	return s.figure(p)
}

func (s speech) figure(p float64) string { return quantity.FormatPercent(p) }

// worthNaming is the probability below which a cause is not worth a place in the
// line that says where we are, and mostNamed how many have one.
const (
	worthNaming = 0.05
	mostNamed   = 3
)

// leading names the likeliest causes: "a cut wire (62 %), an open splice (20 %)".
func (s speech) leading(r diagnose.Result) string {
	var names []string
	for i, c := range r.Ranking {
		if i > 0 && c.Probability < worthNaming || i >= mostNamed {
			break
		}
		names = append(names, fmt.Sprintf("%s (%s)", s.cause(c.Cause), s.figure(c.Probability)))
	}
	return strings.Join(names, ", ")
}

// position says where along the wire.
func (s speech) position(p *diagnose.Position) string {
	if p == nil {
		return ""
	}
	length := func(v float64) string { return quantity.FormatLength(s.units.M(v), s.units) }
	return s.phrase("place", map[string]string{"Best": length(p.Best), "From": length(p.Interval90[0]), "To": length(p.Interval90[1]), "Near": p.Near})
}

// phrase is a sentence of the knowledge base. The loader has checked them all, so
// that a missing one is a mistake in this program.
func (s speech) phrase(id string, fields map[string]string) string {
	text, err := s.base.Phrase(id, string(s.role), fields)
	if err != nil {
		panic(fmt.Sprintf("console: %v", err))
	}
	return text
}

// onWire turns a length of a result back into metres. Results are rounded, which
// may lift the end of the wire past itself.
func onWire(length *float64, u quantity.Units, m *yard.Map) *float64 {
	if length == nil {
		return nil
	}
	at := min(u.M(*length), journal.LongestM(m))
	return &at
}

// outlook says what the case still takes.
func (s speech) outlook(e diagnose.Expected) string {
	text := "about " + quantity.FormatMinutes(e.Minutes)
	if e.Taps >= 0.05 {
		text += fmt.Sprintf(", %.1f taps", e.Taps)
	}
	return text
}

// ranking lists what is likely, place and all.
func (s speech) ranking(r diagnose.Result) string {
	var b strings.Builder
	b.WriteString("The ranking so far:\n")
	for i, c := range r.Ranking {
		const most, least = 8, 0.005
		if i >= most || i > 0 && c.Probability < least {
			break
		}
		fmt.Fprintf(&b, "%3d. %s: %s\n", i+1, s.cause(c.Cause), s.chance(c.Probability))
	}
	if r.TwoFaults >= worthNaming {
		fmt.Fprintf(&b, "Two faults at once: %s\n", s.chance(r.TwoFaults))
	}
	if r.Position != nil {
		fmt.Fprintf(&b, "Where: %s\n", s.position(r.Position))
		if len(r.Position.Modes) > 1 {
			for _, m := range r.Position.Modes {
				fmt.Fprintf(&b, "  - %s: %s\n", quantity.FormatRange(s.units.M(m.From), s.units.M(m.To), s.units), s.chance(m.Probability))
			}
		}
	}
	fmt.Fprintf(&b, "Still to do, on average: %s", s.outlook(r.Expected))
	return b.String()
}

// nonAnswers are the answers that any check takes, in words.
var nonAnswers = map[string]string{
	diagnose.Unknown:       "don't know, or can't do it",
	diagnose.NotApplicable: "does not apply here",
	diagnose.Later:         "later",
}

// answer is what a person said, in full.
func (s speech) answer(c *kb.Check, a *diagnose.Answer) string {
	var parts []string
	if words, ok := nonAnswers[a.Choice]; ok {
		parts = append(parts, words)
	} else if own := c.Answer(a.Choice); own != nil {
		parts = append(parts, s.of(own.Text))
	}
	if a.Reading != nil {
		parts = append(parts, s.reading(a.Reading, c.Unit))
	}
	switch {
	case a.FromM != nil && a.ToM != nil:
		parts = append(parts, quantity.FormatRange(*a.FromM, *a.ToM, s.units)+" along the wire")
	case a.AtM != nil:
		parts = append(parts, "at "+quantity.FormatLength(*a.AtM, s.units)+" along the wire")
	}
	if a.End != "" {
		parts = append(parts, "fed from terminal "+strings.ToUpper(string(a.End)))
	}
	if c.Kind == kb.Tap && a.Choice == "" {
		parts = append(parts, "towards A "+s.side(a.ASide)+", towards B "+s.side(a.BSide))
	}
	for _, side := range []struct {
		name string
		r    *faultmodel.Reading
	}{{"A side", a.AOhms}, {"B side", a.BOhms}, {"A side to earth", a.AToEarth}, {"B side to earth", a.BToEarth}} {
		if side.r != nil {
			parts = append(parts, side.name+" "+s.reading(side.r, "ohm"))
		}
	}
	for _, w := range a.Widths {
		width := quantity.FormatLength(w.WidthM, s.units)
		if w.Silent {
			width = "silent"
		}
		parts = append(parts, quantity.FormatLength(w.AtM, s.units)+": "+width)
	}
	switch a.When {
	case diagnose.FaultPresent:
		parts = append(parts, "while the fault showed")
	case diagnose.FaultAbsent:
		parts = append(parts, "while the fault was away")
	}
	if a.Unsure {
		parts = append(parts, "not sure")
	}
	return strings.Join(parts, ", ")
}

func (s speech) reading(r *faultmodel.Reading, unit string) string {
	return quantity.FormatReading(r.Value, r.OverRange, unit)
}

func (s speech) side(side locate.Side) string {
	switch side {
	case locate.Intact, locate.Broken:
		return string(side)
	}
	return "not tested"
}

// entry is one line of the log, in full.
func (s speech) entry(e diagnose.Entry) string {
	switch {
	case e.Answer != nil:
		c := s.base.Check(e.Answer.Check)
		if c == nil {
			return e.Answer.Check
		}
		return s.of(c.Ask) + " Answer: " + s.answer(c, e.Answer)
	case e.Repair != nil:
		text := s.repair(e.Repair.Repair)
		switch {
		case e.Repair.FromM != nil && e.Repair.ToM != nil:
			text += ", " + quantity.FormatRange(*e.Repair.FromM, *e.Repair.ToM, s.units)
		case e.Repair.AtM != nil:
			text += ", at " + quantity.FormatLength(*e.Repair.AtM, s.units)
		}
		if e.Repair.Fixed {
			return text + ": done, the fault is gone"
		}
		return text + ": done, the fault is still there"
	case e.Outcome != nil:
		text := "it was " + s.cause(e.Outcome.Cause)
		if e.Outcome.AtM != nil {
			text += ", at " + quantity.FormatLength(*e.Outcome.AtM, s.units)
		}
		return text
	}
	return ""
}

// repair is the name of a repair as a log holds it.
func (s speech) repair(id string) string {
	r := repairOf(s.base, id)
	if r == nil {
		return id
	}
	return s.of(r.Name)
}

func repairOf(b *kb.Base, id string) *kb.Repair {
	if r := b.Repair("repair:" + id); r != nil {
		return r
	}
	return b.Repair(id)
}

// steps are instructions, numbered.
func (s speech) steps(steps kb.Steps) string {
	lines := steps.For(string(s.role))
	out := make([]string, len(lines))
	for i, line := range lines {
		out[i] = fmt.Sprintf("  %d. %s", i+1, line)
	}
	return strings.Join(out, "\n")
}

// handOver is what the next person has to know.
func (s speech) handOver(c *diagnose.Case, r diagnose.Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Hand-over: %s\n", c.Name)
	place := ""
	if r.Position != nil {
		place = quantity.FormatRange(s.units.M(r.Position.Interval90[0]), s.units.M(r.Position.Interval90[1]), s.units)
	}
	if len(r.Ranking) > 0 {
		fmt.Fprintf(&b, "%s\n", s.phrase("handover", map[string]string{
			"Cause": s.cause(r.Ranking[0].Cause), "Chance": s.figure(r.Ranking[0].Probability), "Place": place}))
	}
	fmt.Fprintf(&b, "Most likely: %s\n", s.leading(r))
	if c.YardFile != "" {
		fmt.Fprintf(&b, "Map: %s\n", c.YardFile)
	}
	b.WriteString("Known so far:\n")
	some := false
	for _, i := range diagnose.Kept(c.Log) {
		e := c.Log[i]
		if e.Answer != nil && nonAnswers[e.Answer.Choice] != "" {
			continue
		}
		some = true
		fmt.Fprintf(&b, "  - %s\n", s.entry(e))
	}
	if !some {
		b.WriteString("  - nothing yet\n")
	}
	for _, k := range r.Conflicts {
		fmt.Fprintf(&b, "To ask again: %s\n", k.Message)
	}
	fmt.Fprintf(&b, "Still to do, on average: %s", s.outlook(r.Expected))
	return b.String()
}
