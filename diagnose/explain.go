package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

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
	return a.phrase("conflict", map[string]string{
		"Check":  c.Check.Ask.For(string(a.desk.c.Role)),
		"Answer": a.AnswerText(a.log[c.Entry].Answer),
		"Cause":  a.causeName(a.Ranking[0].Cause),
	})
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
	role := string(a.desk.c.Role)
	s := a.Step
	if s.Rule != nil {
		return s.Rule.Text.For(role)
	}
	top, second := a.Ranking[0], a.Ranking[1]
	fields := map[string]string{
		"Cause":  a.causeName(top.Cause),
		"Other":  a.causeName(second.Cause),
		"Chance": percent(top.P),
		"Word":   a.desk.engine.kb.Word("chance", role, top.P),
	}
	switch s.Kind {
	case NextCheck:
		for_, against := a.splits(s.Check)
		fields["Cause"], fields["Other"] = for_, against
		return a.phrase("why-check", fields)
	case NextTap:
		return a.phrase("why-tap", fields)
	case NextReplaceSection:
		return a.phrase("why-replace", fields)
	case NextRefer:
		return a.phrase("why-refer", fields)
	case NextVerify:
		return a.phrase("why-verify", fields)
	case NextDone:
		return a.phrase("why-done", fields)
	}
	return a.phrase("why-repair", fields)
}

func percent(p float64) string {
	switch {
	case p > 0.99:
		return "over 99 %"
	case p < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
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
