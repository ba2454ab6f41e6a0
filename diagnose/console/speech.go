package console

import (
	"fmt"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/kb"
)

// speech puts findings into a role's words and units.
type speech struct{ diagnose.Wording }

func (s speech) of(w kb.Words) string { return w.For(string(s.Role)) }

// cause is a cause's name; its id where the base has none.
func (s speech) cause(id string) string {
	if c := s.Base.Cause(id); c != nil {
		return s.of(c.Name)
	}
	return id
}

// chance is a probability as a figure, with the word for it where that helps:
// whoever does not work with figures.
func (s speech) chance(p float64) string {
	if word := s.Base.Word("chance", string(s.Role), p); word != "" && s.Role != diagnose.Technician {
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
	length := func(v float64) string { return quantity.FormatLength(s.Units.M(v), s.Units) }
	return s.phrase("place", map[string]string{"Best": length(p.Best), "From": length(p.Interval90[0]), "To": length(p.Interval90[1]), "Near": p.Near})
}

// phrase is a sentence of the knowledge base. The loader has checked them all, so
// that a missing one is a mistake in this program.
func (s speech) phrase(id string, fields map[string]string) string {
	text, err := s.Base.Phrase(id, string(s.Role), fields)
	if err != nil {
		panic(fmt.Sprintf("console: %v", err))
	}
	return text
}

// onWire turns a length of a result back into metres, as a person notes it.
// Rounding may lift the end of the wire past itself.
func onWire(length *float64, u quantity.Units, m *yard.Map) *float64 {
	if length == nil {
		return nil
	}
	at := min(u.Noted(u.M(*length)), journal.LongestM(m))
	return &at
}

// outlook says what the case still takes; taps to those who make them.
func (s speech) outlook(e diagnose.Expected) string {
	text := "about " + quantity.FormatMinutes(e.Minutes)
	if e.Taps >= 0.05 && s.Role == diagnose.Technician {
		text += fmt.Sprintf(", %.1f taps", e.Taps)
	}
	return text
}

// places tells whether a distance along the wire means anything to the person:
// to a technician always, to others where they have a map or know the length.
func (s speech) places(m *yard.Map) bool {
	return s.Role == diagnose.Technician || m.BoundaryLength().Known
}

// ranking lists what is likely, place and all.
func (s speech) ranking(r diagnose.Result, m *yard.Map) string {
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
	if r.Position != nil && s.places(m) {
		fmt.Fprintf(&b, "Where: %s\n", s.position(r.Position))
		if len(r.Position.Modes) > 1 {
			for _, m := range r.Position.Modes {
				fmt.Fprintf(&b, "  - %s: %s\n", quantity.FormatRange(s.Units.M(m.From), s.Units.M(m.To), s.Units), s.chance(m.Probability))
			}
		}
	}
	if r.Next.Kind != diagnose.NextRefer { // whose minutes are those of the hand-over itself
		fmt.Fprintf(&b, "Still to do, on average: %s", s.outlook(r.Expected))
	}
	return strings.TrimRight(b.String(), "\n")
}

// entry is one line of the log, in full.
func (s speech) entry(e diagnose.Entry) string {
	switch {
	case e.Answer != nil:
		c := s.Base.Check(e.Answer.Check)
		if c == nil {
			return e.Answer.Check
		}
		return s.of(c.Ask) + " Answer: " + s.said(e.Answer)
	case e.Repair != nil:
		return capital(s.Repair(e.Repair)) + ": " + came(e.Repair)
	case e.Outcome != nil:
		return "it was " + s.Outcome(e.Outcome)
	}
	return ""
}

// said is an answer with the note that goes with it.
func (s speech) said(a *diagnose.Answer) string {
	switch {
	case a.Note == "":
		return s.Answer(a)
	case a.Choice == diagnose.Unknown: // told in words alone
		return a.Note
	}
	return s.Answer(a) + " (" + a.Note + ")"
}

// came says what came of a repair, or of the acceptance walk.
func came(r *diagnose.RepairDone) string {
	switch verify := r.Repair == string(diagnose.NextVerify); {
	case verify && r.Fixed:
		return "passed"
	case verify:
		return "not passed"
	case r.Fixed:
		return "done, the fault is gone"
	}
	return "done, the fault is still there"
}

// steps are instructions, numbered.
func (s speech) steps(steps kb.Steps) string {
	lines := steps.For(string(s.Role))
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
	if r.Position != nil && s.places(c.Yard) {
		place = quantity.FormatRange(s.Units.M(r.Position.Interval90[0]), s.Units.M(r.Position.Interval90[1]), s.Units)
	}
	if len(r.Ranking) > 0 {
		fmt.Fprintf(&b, "%s\n", s.phrase("handover", map[string]string{
			"Cause": s.cause(r.Ranking[0].Cause), "Chance": s.figure(r.Ranking[0].Probability), "Place": place}))
	}
	if len(r.Ranking) > 1 && r.Ranking[1].Probability >= worthNaming {
		fmt.Fprintf(&b, "Else: %s\n", s.leading(diagnose.Result{Ranking: r.Ranking[1:]}))
	}
	if c.YardFile != "" {
		fmt.Fprintf(&b, "Map: %s\n", c.YardFile)
	}
	b.WriteString("Known so far:\n")
	some := false
	for _, i := range diagnose.Kept(c.Log) {
		e := c.Log[i]
		if e.Answer != nil && diagnose.Unanswered(e.Answer.Choice) && e.Answer.Note == "" {
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
	if r.Next.Kind != diagnose.NextRefer { // whose minutes are those of the hand-over itself
		fmt.Fprintf(&b, "Still to do, on average: %s", s.outlook(r.Expected))
	}
	return strings.TrimRight(b.String(), "\n")
}
