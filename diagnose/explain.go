package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
)

// clashBelow is the chance below which an answer, given all the others, is named
// as a conflict; it must also be this many times less likely than an even guess.
const (
	clashBelow = 0.05
	clashTimes = 8
)

// conflicts names the answers that sit badly with the rest, the worst first.
func (a *Assessment) conflicts() {
	b := a.belief
	for _, t := range b.terms {
		if b.confirmed(t.fact) {
			continue // asking a third time would tell nothing
		}
		// The belief without the answer gives its chance.
		rest := make([]float64, len(b.logP))
		for h := range rest {
			rest[h] = b.logP[h] - t.logL[h]
		}
		p := make([]float64, len(rest))
		normaliseLog(p, rest)
		var chance float64
		for h := range p {
			chance += p[h] * math.Exp(t.logL[h])
		}
		if chance < clashBelow && chance*clashTimes < 1/t.norm {
			a.Clashes = append(a.Clashes, Clash{t.fact.entry, a.desk.engine.kb.Check(t.fact.answer.Check), chance})
		}
	}
	slices.SortStableFunc(a.Clashes, func(x, y Clash) int { return cmp.Compare(x.P, y.P) })
}

// confirmed tells whether an answer was given alike before another repair or after it.
func (b *belief) confirmed(f fact) bool {
	return slices.ContainsFunc(b.h.facts, func(g fact) bool {
		return g.epoch != f.epoch && g.answer.Check == f.answer.Check && g.answer.Choice == f.answer.Choice && g.answer.When == f.answer.When
	})
}

// ClashText says what is odd about an answer, in the role's words.
func (a *Assessment) ClashText(c Clash) string {
	cause := a.against(c)
	return a.phrase("conflict", map[string]string{
		"Answer": c.Check.Answer(a.log[c.Entry].Answer.Choice).Text.For(string(a.desk.c.Role)),
		"Usual":  a.usual(c.Check, cause),
		"Cause":  a.causeName(cause),
	})
}

// against is the most probable cause under which the answer is unusual: the one
// that makes it a conflict.
func (a *Assessment) against(c Clash) *kb.Cause {
	t, k := a.desk.engine.tables[c.Check.ID], c.Check.AnswerIndex(a.log[c.Entry].Answer.Choice)
	for _, r := range a.Ranking {
		if h := a.belief.index(r.Cause); t != nil && k >= 0 && t.any[k][h] < 1/float64(len(c.Check.Answers)) {
			return r.Cause
		}
	}
	return a.Ranking[0].Cause
}

// usual is the answer mostly given when a cause is there.
func (a *Assessment) usual(c *kb.Check, cause *kb.Cause) string {
	t, h, best := a.desk.engine.tables[c.ID], a.belief.index(cause), 0
	for k := range c.Answers {
		if t.any[k][h] > t.any[best][h] {
			best = k
		}
	}
	return c.Answers[best].Text.For(string(a.desk.c.Role))
}

func (a *Assessment) causeName(c *kb.Cause) string { return c.Name.For(string(a.desk.c.Role)) }

// Weight is what one answer says for (positive) or against a cause, in decibans:
// ten times the common logarithm of how far it moved the odds.
type Weight struct {
	Entry    int // index in the log
	Decibans float64
}

// Weights are the weights of every standing entry for a cause, by leaving each
// out and judging the case again.
func (a *Assessment) Weights(cause string) []Weight {
	with := odds(a.Initial(cause))
	var out []Weight
	kept := Kept(a.log)
	for _, i := range a.desk.engine.Standing(a.log) {
		var rest []Entry
		for _, k := range kept {
			if k != i {
				rest = append(rest, a.log[k])
			}
		}
		less := &Assessment{desk: a.desk, log: rest, belief: a.desk.engine.believe(a.desk.wire, rest)}
		without := odds(less.Initial(cause))
		out = append(out, Weight{i, 10 * math.Log10(with/without)})
	}
	return out
}

func odds(p float64) float64 {
	const least = 1e-9
	p = min(max(p, least), 1-least)
	return p / (1 - p)
}

// Why says why this step is the next one.
func (a *Assessment) Why() string {
	s := a.Step
	if s.Rule != nil {
		return s.Rule.Text.For(string(a.desk.c.Role))
	}
	length := func(m *float64) string {
		if m == nil {
			return ""
		}
		return quantity.FormatLength(*m, a.units())
	}
	top := a.Ranking[0]
	switch s.Kind {
	case NextCheck:
		if before, after, ok := a.narrows(s.Check); ok {
			return a.phrase("why-locate", map[string]string{"Minutes": quantity.FormatMinutes(s.Minutes), "Before": length(&before), "After": length(&after)})
		}
		this, that := a.splits(s.Check)
		return a.phrase("why-check", map[string]string{"This": this, "That": that,
			"Minutes": quantity.FormatMinutes(s.Minutes), "Saving": ""})
	case NextTap:
		return a.phrase("why-tap", map[string]string{"At": length(s.AtM), "Near": a.desk.c.Yard.Near(*s.AtM, a.units()),
			"Chance": a.chance(a.before(*s.AtM)), "Taps": taps(a.Plan.Expected.Taps)})
	case NextReplaceSection:
		long := math.Abs(*s.ToM - *s.FromM)
		return a.phrase("why-replace-section", map[string]string{"From": length(s.FromM), "To": length(s.ToM),
			"Chance": a.chance(a.within(*s.FromM, *s.ToM)), "Length": length(&long)})
	case NextRefer:
		return a.phrase("why-refer", map[string]string{"Cause": a.causeName(top.Cause), "Chance": a.chance(top.P)})
	case NextVerify:
		return a.phrase("why-verify", nil)
	case NextDone:
		return a.phrase(a.whyDone(), nil)
	}
	switch s.ID {
	case replaceLeadIn, replaceLoop:
		var p float64
		for _, r := range a.Ranking {
			if a.desk.engine.ended[s.ID][a.belief.index(r.Cause)] {
				p += r.P
			}
		}
		return a.phrase("why-"+s.ID, map[string]string{"Chance": a.chance(min(p, 1))})
	}
	cause := a.desk.engine.kb.Cause(s.Repair.Cause)
	p, minutes := a.P(cause.ID), quantity.FormatMinutes(s.Minutes)
	if p < top.P { // a cheap act may come first for a cause that is not the likeliest
		return a.phrase("why-repair-first", map[string]string{"Cause": a.causeName(cause), "Chance": a.chance(p),
			"Leading": a.causeName(top.Cause), "Minutes": minutes})
	}
	return a.phrase("why-repair", map[string]string{"Cause": a.causeName(cause), "Chance": a.chance(p), "Minutes": minutes})
}

// whyDone is the phrase for why nothing is left to do: only a passed walk proves
// that all works.
func (a *Assessment) whyDone() string {
	switch h := &a.belief.h; {
	case h.handed && (h.outcome == nil || !h.outcome.Confirmed):
		return "why-handed-over"
	case h.last() != nil && h.last().Repair == verify && h.last().Fixed:
		return "why-done"
	}
	return "why-unwalked"
}

func (a *Assessment) units() quantity.Units { return a.desk.engine.options.Units }

// chance is a probability in the role's words.
func (a *Assessment) chance(p float64) string { return ChanceText(p, a.desk.c.Role) }

// ChanceText is a probability as a person of the role reads it: "8 in 10", "83 %".
func ChanceText(p float64, r Role) string {
	if r == Technician {
		switch {
		case p > 0.99:
			return "over 99 %"
		case p < 0.01:
			return "under 1 %"
		}
		return fmt.Sprintf("%.0f %%", 100*p)
	}
	switch {
	case p > 0.97:
		return "more than 97 in 100"
	case p < 0.03:
		return "less than 3 in 100"
	case p < 0.1 || p > 0.9:
		return fmt.Sprintf("about %.0f in 100", 100*p)
	}
	return fmt.Sprintf("about %.0f in 10", 10*p)
}

func taps(n float64) string {
	if n < 1.05 {
		return "one tap"
	}
	return fmt.Sprintf("about %.1f taps", n)
}

// before is the chance that the fault lies between terminal A and a chainage.
func (a *Assessment) before(xM float64) float64 { return a.within(0, xM) }

func (a *Assessment) within(fromM, toM float64) float64 {
	if a.Where == nil {
		return 0
	}
	return a.Where.Belief.Mass(min(fromM, toM), max(fromM, toM))
}

// narrows tells whether a check is asked for the place of a likely wire fault
// above all: the length of wire that holds it in nine cases of ten, now and on
// average afterwards.
func (a *Assessment) narrows(c *kb.Check) (beforeM, afterM float64, ok bool) {
	const mostly = 0.8 // a group this likely leaves the cause little to tell apart
	for i := range a.groups {
		g := &a.groups[i]
		if g.p < mostly {
			continue
		}
		beforeM = g.place.Interval(0.9).LengthM()
		switch {
		case c.Kind == kb.Reading:
			r := a.forecast(faultmodel.Quantity(c.Quantity)).ranges([]int{g.likely}, map[int]float64{g.likely: 1})
			var total float64
			for k := range r.len() {
				w := r.chance(g.likely, k)
				after, _ := r.update(g, k)
				afterM += w * after.Interval(0.9).LengthM()
				total += w
			}
			afterM /= max(total, 1e-9)
		case c.Kind == kb.Position || slices.ContainsFunc(c.Answers, func(x kb.Answer) bool { return x.Place }):
			for _, after := range a.pointed(g, c) {
				afterM += after.Interval(0.9).LengthM() / looks
			}
		default:
			return 0, 0, false
		}
		return beforeM, afterM, afterM < 0.9*beforeM
	}
	return 0, 0, false
}

// splits names the two likely causes that a check tells apart best.
func (a *Assessment) splits(c *kb.Check) (first, second string) {
	leading := a.Ranking[:min(8, len(a.Ranking))]
	differ := func(x, y int) float64 { return 1 }
	if t := a.desk.engine.tables[c.ID]; t != nil {
		differ = func(x, y int) (sum float64) {
			for k := range c.Answers {
				sum += math.Abs(t.any[k][x] - t.any[k][y])
			}
			return sum
		}
	} else if c.Kind == kb.Reading {
		f := a.forecast(faultmodel.Quantity(c.Quantity))
		differ = func(x, y int) float64 { return min(distance(f.typical(x), f.typical(y)), 2) }
	}
	best := -1.0
	for i, x := range leading {
		for _, y := range leading[i+1:] {
			score := differ(a.belief.index(x.Cause), a.belief.index(y.Cause)) * min(x.P, y.P)
			if score > best {
				best, first, second = score, a.causeName(x.Cause), a.causeName(y.Cause)
			}
		}
	}
	return first, second
}

// index is a cause's number, which is also that of the hypothesis of it alone.
func (b *belief) index(c *kb.Cause) int {
	for i := range b.space.causes {
		if b.space.causes[i].ID == c.ID {
			return i
		}
	}
	return -1
}

// WhyNot lists the answers that speak against a cause, the heaviest first.
func (a *Assessment) WhyNot(cause string) []Weight {
	var out []Weight
	for _, w := range a.Weights(cause) {
		if w.Decibans < -0.5 {
			out = append(out, w)
		}
	}
	slices.SortStableFunc(out, func(x, y Weight) int { return cmp.Compare(x.Decibans, y.Decibans) })
	return out
}
