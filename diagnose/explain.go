package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose/quantity"
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

// ClashText says what is odd about an answer, in the role's words.
func (a *Assessment) ClashText(c Clash) string {
	answer := a.log[c.Entry].Answer
	cause := a.against(c)
	return a.phrase("conflict", map[string]string{
		"Answer": a.AnswerText(answer),
		"Usual":  a.usual(c.Check, cause),
		"Cause":  a.causeName(cause),
	})
}

// against is the most probable cause under which the answer is unusual: the one
// that makes it a conflict.
func (a *Assessment) against(c Clash) *kb.Cause {
	t, k := a.desk.engine.tables[c.Check.ID], answerIndex(c.Check, a.log[c.Entry].Answer.Choice)
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

// AnswerText is an answer in the role's words.
func (a *Assessment) AnswerText(ans *Answer) string {
	c := a.desk.engine.kb.Check(ans.Check)
	if c != nil {
		if own := c.Answer(ans.Choice); own != nil {
			return own.Text.For(string(a.desk.c.Role))
		}
	}
	return ans.Choice
}

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
	for _, i := range a.desk.engine.Standing(a.log) {
		rest := slices.Delete(slices.Clone(a.log), i, i+1)
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
	case NextVerify, NextDone:
		return a.phrase("why-"+string(s.Kind), nil)
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
	return a.phrase("why-repair", map[string]string{"Cause": a.causeName(cause), "Chance": a.chance(a.P(cause.ID)),
		"Minutes": quantity.FormatMinutes(s.Minutes)})
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

// splits names the two likely causes that a check tells apart best.
func (a *Assessment) splits(c *kb.Check) (first, second string) {
	leading := a.Ranking[:min(8, len(a.Ranking))]
	best := -1.0
	first, second = a.causeName(leading[0].Cause), a.causeName(leading[1].Cause)
	t := a.desk.engine.tables[c.ID]
	if t == nil {
		return first, second
	}
	b := a.belief
	for i, x := range leading {
		for _, y := range leading[i+1:] {
			var differ float64
			hx, hy := b.index(x.Cause), b.index(y.Cause)
			for k := range c.Answers {
				differ += math.Abs(t.any[k][hx] - t.any[k][hy])
			}
			if score := differ * min(x.P, y.P); score > best {
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
