package diagnose

import (
	"slices"

	"loopfault/diagnose/policy"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// test is one test of the problem.
type test struct {
	check   *kb.Check
	minutes float64
}

// tests adds every check that can be asked now.
func (a *Assessment) tests(m *problem, stopped map[string]*kb.Rule) {
	e := a.desk.engine
	rate := e.perMinute(a.desk.c.Role)
	type candidate struct {
		test
		cost     float64
		outcomes []policy.Outcome
	}
	var can []candidate
	for i := range e.kb.Checks {
		c := &e.kb.Checks[i]
		if c.Kind == kb.Tap || a.belief.h.asked[c.ID] || a.belief.h.later[c.ID] || a.known(c) {
			continue
		}
		minutes, money, ok := a.able(c.Roles, c.Tools, c.OnWire, c.Digs, stopped)
		if !ok || !a.all(c.Needs) {
			continue
		}
		minutes += a.minutes(c)
		can = append(can, candidate{test: test{c, minutes}, cost: minutes*rate + money})
	}
	a.sampled() // before it is read from several sides
	parallel(len(can), func(i int) { can[i].outcomes = a.outcomes(m, can[i].check) })
	for _, c := range can {
		if c.outcomes != nil {
			m.tests = append(m.tests, c.test)
			m.Tests = append(m.Tests, policy.Test{Cost: c.cost, Outcomes: c.outcomes})
		}
	}
}

// known tells whether the yard answers a check already, in a way that the priors
// take in.
func (a *Assessment) known(c *kb.Check) bool {
	return slices.ContainsFunc(c.KnownBy, func(fact string) bool { return a.belief.facts[fact] })
}

// outcomes are a check's results and their chances under each hypothesis.
func (a *Assessment) outcomes(m *problem, c *kb.Check) []policy.Outcome {
	switch {
	case c.Kind == kb.Reading:
		return a.readingOutcomes(m, c)
	case c.Kind == kb.Position:
		return a.traceOutcomes(m, c)
	case a.desk.engine.tables[c.ID] != nil:
		return a.choiceOutcomes(m, c)
	}
	return nil
}

// choiceOutcomes reads the tables. Where another answer has looked at the same
// fact, only the share that is news counts. A place given with an answer makes
// the search cheaper.
func (a *Assessment) choiceOutcomes(m *problem, c *kb.Check) []policy.Outcome {
	t := a.desk.engine.tables[c.ID]
	news := 1.0
	for _, f := range a.belief.h.facts {
		if other := a.desk.engine.kb.Check(f.answer.Check); other.ID == c.ID || c.Fact != "" && other.Fact == c.Fact {
			news = a.desk.engine.kb.Settings.SameFactShare.Value
		}
	}
	var narrowed []float64 // the same for every answer that names a place
	out := make([]policy.Outcome, len(c.Answers))
	for k := range out {
		p := make([]float64, len(m.hyps))
		var mean float64
		for i, h := range m.hyps {
			p[i] = t.any[k][h]
			mean += m.P[i] * p[i]
		}
		for i := range p {
			p[i] = news*p[i] + (1-news)*mean
		}
		out[k].P = p
		if c.Answers[k].Place && c.PlaceShare.Value > 0 {
			if narrowed == nil {
				narrowed = a.narrowed(m, c)
			}
			out[k].ActCost = narrowed
		}
	}
	return out
}

// worthNarrowing is the probability of a group below which it is not worked out
// how much cheaper its search would become.
const worthNarrowing = 0.02

// looks is how many places stand for all a place might turn out to be.
const looks = 3

// narrowed is the price of each act when a check names a place, averaged over
// where it may point: quantiles of the group's belief.
func (a *Assessment) narrowed(m *problem, c *kb.Check) []float64 {
	cost := make([]float64, len(m.Acts))
	for i, x := range m.acts {
		cost[i] = m.Acts[i].Cost
		if x.group == nil || x.second || x.group.p < worthNarrowing {
			continue
		}
		var mean float64
		for _, after := range a.pointed(x.group, c) {
			mean += a.desk.Planner().Value(after) / looks
		}
		cost[i] = max(0.01, cost[i]+min(0, mean-x.group.value))
	}
	return cost
}

// pointed is where a group would be if a check named a place, for each of the
// places that stand for all.
func (a *Assessment) pointed(g *group, c *kb.Check) []locate.Belief {
	var out []locate.Belief
	for q := range looks {
		e := a.placeEvidence(c, g.place.Quantile((float64(q)+0.5)/looks))
		after, _ := g.place.Update(g.place.Axis.LogLikelihood(e, faultmodel.Kind(g.kind)))
		out = append(out, after)
	}
	return out
}

// placeEvidence is what a check says when it names a place.
func (a *Assessment) placeEvidence(c *kb.Check, x float64) locate.Evidence {
	spread, length := c.SpreadFt.Value*quantity.MPerFt, a.belief.axis.LengthM
	if c.Kind == kb.Position {
		return locate.Trace{AtM: x, End: locate.EndA, SpreadM: spread, MissProb: 1 - c.PlaceShare.Value, LengthM: length}
	}
	return locate.Stretch{FromM: x, ToM: x, Share: c.PlaceShare.Value, SpreadM: spread, LengthM: length}
}

// traceOutcomes are "lost it somewhere", which places a break, and "heard it all
// the way", which speaks against one.
func (a *Assessment) traceOutcomes(m *problem, c *kb.Check) []policy.Outcome {
	lost, heard := policy.Outcome{P: make([]float64, len(m.hyps))}, policy.Outcome{P: make([]float64, len(m.hyps))}
	for i, h := range m.hyps {
		hyp := a.belief.space.hyps[h]
		lost.P[i] = locate.Trace{}.Lost(a.belief.isBreak(hyp.a) || hyp.b >= 0 && a.belief.isBreak(hyp.b))
		heard.P[i] = 1 - lost.P[i]
	}
	lost.ActCost = a.narrowed(m, c)
	return []policy.Outcome{lost, heard}
}

// settle scales the chances of a test's outcomes to sum to 1 under each
// hypothesis; where physics says nothing, every outcome is as good as another.
func settle(out []policy.Outcome) {
	for i := range out[0].P {
		var sum float64
		for _, o := range out {
			sum += o.P[i]
		}
		for _, o := range out {
			if sum > 1e-9 {
				o.P[i] /= sum
			} else {
				o.P[i] = 1 / float64(len(out))
			}
		}
	}
}
