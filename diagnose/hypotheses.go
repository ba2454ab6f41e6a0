package diagnose

import (
	"math"

	"loopfault/kb"
)

// The two hypotheses that are no single known cause.
const (
	nothingWrong  = "nothing-wrong"
	somethingElse = "something-else"
)

// hypothesis is a set of one or two causes, as indexes into the knowledge base;
// b is -1 for a single cause, and equal to a for two faults of one kind.
type hypothesis struct{ a, b int }

func (h hypothesis) has(c int) bool { return h.a == c || h.b == c }

// space is every hypothesis, in a fixed order: the causes singly in the order
// of the knowledge base, then the pairs.
type space struct {
	causes  []kb.Cause
	hyps    []hypothesis
	nothing int // the hypothesis that nothing is wrong
	pair    map[hypothesis]int
}

func newSpace(causes []kb.Cause) *space {
	s := &space{causes: causes, pair: map[hypothesis]int{}}
	for i := range causes {
		s.hyps = append(s.hyps, hypothesis{i, -1})
		if causes[i].ID == nothingWrong {
			s.nothing = i
		}
	}
	alone := func(i int) bool { return causes[i].ID == nothingWrong || causes[i].ID == somethingElse }
	for i := range causes {
		for j := i; j < len(causes); j++ {
			if alone(i) || alone(j) || i == j && !causes[i].Repeats {
				continue
			}
			s.pair[hypothesis{i, j}] = len(s.hyps)
			s.hyps = append(s.hyps, hypothesis{i, j})
		}
	}
	return s
}

// without is the hypothesis left after one instance of a cause is gone.
func (s *space) without(h, cause int) int {
	switch hyp := s.hyps[h]; {
	case hyp.b < 0 && hyp.a == cause:
		return s.nothing
	case hyp.b >= 0 && hyp.a == cause:
		return hyp.b // singles come first, so a cause's index is its hypothesis
	case hyp.b >= 0 && hyp.b == cause:
		return hyp.a
	}
	return h
}

// prior is ln of the prior probability of each hypothesis, given the facts that
// hold of the yard: shares of single causes, and the share of double faults
// spread over pairs by the product of their shares, two of one cause being
// sameAgain times likelier than that.
func (s *space) prior(facts map[string]bool, twoFaults, sameAgain float64) []float64 {
	w := make([]float64, len(s.causes))
	var singles float64
	for i, c := range s.causes {
		w[i] = c.Prior.Value
		for _, f := range c.Given {
			if facts[f.Fact] {
				w[i] *= f.Times
			}
		}
		singles += w[i]
	}
	out := make([]float64, len(s.hyps))
	var pairs float64
	for i, h := range s.hyps {
		switch {
		case h.b < 0:
			out[i] = w[h.a] / singles * (1 - twoFaults)
		case h.a == h.b:
			// Unordered: two alike come in one way, two unlike in two.
			out[i] = w[h.a] * w[h.a] / 2 * sameAgain
		default:
			out[i] = w[h.a] * w[h.b]
		}
		if h.b >= 0 {
			pairs += out[i]
		}
	}
	for i, h := range s.hyps {
		if h.b >= 0 && pairs > 0 {
			out[i] *= twoFaults / pairs
		}
		out[i] = math.Log(out[i])
	}
	return out
}

// tables are the probabilities of a check's answers under every hypothesis.
// Index: answer, hypothesis.
type tables struct {
	any     [][]float64 // nothing said about whether the fault was showing
	present [][]float64 // the fault was showing
	absent  [][]float64 // it was not: the answers of a sound system
}

// tabulate works out the tables of a check from its rows.
func (s *space) tabulate(c *kb.Check) *tables {
	n := len(c.Answers)
	if n == 0 || len(c.Baseline.P) == 0 {
		return nil
	}
	baseline := distribution(c, c.Baseline.P)
	row := make([][]float64, len(s.causes))
	for i := range s.causes {
		row[i] = baseline
	}
	for _, r := range c.Rows {
		for _, id := range r.Causes {
			for i := range s.causes {
				if s.causes[i].ID == id {
					row[i] = distribution(c, r.P)
				}
			}
		}
	}
	combine := noisyMax
	if c.Combine == "product" {
		silent := make([]bool, n)
		for k := range silent {
			silent[k] = c.Answers[k].Share.Value > 0
		}
		combine = func(p1, p2, base []float64) []float64 { return product(p1, p2, base, silent) }
	}
	showing := func(i int, away float64) []float64 {
		p := make([]float64, n)
		for k := range p {
			p[k] = (1-away)*row[i][k] + away*baseline[k]
		}
		return p
	}
	build := func(away func(i int) float64) [][]float64 {
		out := make([][]float64, n)
		for k := range out {
			out[k] = make([]float64, len(s.hyps))
		}
		for h, hyp := range s.hyps {
			p := showing(hyp.a, away(hyp.a))
			if hyp.b >= 0 {
				p = combine(p, showing(hyp.b, away(hyp.b)), baseline)
			}
			for k := range p {
				// A wrong answer is spread evenly over all.
				out[k][h] = (1-c.Mistake.Value)*p[k] + c.Mistake.Value/float64(n)
			}
		}
		return out
	}
	return &tables{
		any: build(func(i int) float64 {
			if c.Lasting {
				return 0
			}
			return s.causes[i].Intermittent.Value
		}),
		present: build(func(int) float64 { return 0 }),
		absent:  build(func(int) float64 { return 1 }),
	}
}

func distribution(c *kb.Check, p map[string]float64) []float64 {
	out := make([]float64, len(c.Answers))
	for k, a := range c.Answers {
		out[k] = p[a.ID]
	}
	return out
}

// noisyMax combines the answers under two causes and the baseline, ordered
// from normal to telling: F(k) = F1(k) F2(k) / F0(k), where each F includes the
// leak F0 (Diez, "Parameter adjustment in Bayes networks: the generalized noisy
// OR-gate", UAI 1993). For two answers it is the noisy-OR. Where a cause makes
// answers more normal than the baseline the quotient is cut at 1.
func noisyMax(p1, p2, base []float64) []float64 {
	out := make([]float64, len(p1))
	var f1, f2, f0, before float64
	for k := range out {
		f1, f2, f0 = f1+p1[k], f2+p2[k], f0+base[k]
		f := 1.0
		if k < len(out)-1 {
			f = min(1, f1, f2)
			if f0 > 0 {
				f = min(f, f1*f2/f0)
			}
			f = max(f, before)
		}
		out[k] = f - before
		before = f
	}
	return out
}

// product combines the answers under two causes where they have no order: each
// cause's odds against the baseline multiply. Silent answers, which say nothing
// of the fault, keep their share.
func product(p1, p2, base []float64, silent []bool) []float64 {
	out := make([]float64, len(p1))
	var sum, kept float64
	for k := range out {
		switch {
		case silent[k]:
			out[k] = base[k]
			kept += base[k]
			continue
		case base[k] > 0:
			out[k] = p1[k] * p2[k] / base[k]
		default:
			out[k] = (p1[k] + p2[k]) / 2
		}
		sum += out[k]
	}
	for k := range out {
		if !silent[k] {
			out[k] *= (1 - kept) / sum
		}
	}
	return out
}
