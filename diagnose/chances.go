package diagnose

import (
	"math"
	"slices"

	"loopfault/diagnose/policy"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// What follows is the engine's view of the world before anybody answers: for
// simulated callers, who must live in the world that the engine reasons about,
// for exporting the knowledge, and for comparing other strategies with its own.

// Hypothesis is one state of affairs: a set of causes present together, and how
// likely it is.
type Hypothesis struct {
	Causes []string // one, or two; two alike for two faults of one kind
	P      float64
}

// Prior lists every hypothesis with its probability on the desk's yard before
// any answer, the single causes first.
func (d *Desk) Prior() []Hypothesis {
	s := d.engine.space
	logP := s.prior(d.wire.facts, d.engine.kb.Settings.TwoFaults.Value, d.engine.kb.Settings.SameAgain.Value)
	out := make([]Hypothesis, len(s.hyps))
	for i, h := range s.hyps {
		out[i].P = math.Exp(logP[i])
		out[i].Causes = append(out[i].Causes, s.causes[h.a].ID)
		if h.b >= 0 {
			out[i].Causes = append(out[i].Causes, s.causes[h.b].ID)
		}
	}
	return out
}

// hypothesis is the index of a set of causes in the space, -1 where there is
// none; no causes are nothing wrong.
func (e *Engine) hypothesis(causes []string) int {
	var at [2]int
	for k, id := range causes {
		at[k] = slices.IndexFunc(e.kb.Causes, func(c kb.Cause) bool { return c.ID == id })
		if at[k] < 0 {
			return -1
		}
	}
	switch len(causes) {
	case 0:
		return e.space.nothing
	case 1:
		return at[0]
	}
	if h, ok := e.space.pair[hypothesis{min(at[0], at[1]), max(at[0], at[1])}]; ok {
		return h
	}
	return -1
}

// AnswerChances is the probability of each of a check's own answers, in their
// order, when exactly the causes named are present (at most two; none is nothing
// wrong). It is nil for a check that no table judges.
func (e *Engine) AnswerChances(check string, when When, causes ...string) []float64 {
	t, h := e.tables[check], -1
	if len(causes) <= 2 {
		h = e.hypothesis(causes)
	}
	if t == nil || h < 0 {
		return nil
	}
	table := t.any
	switch when {
	case FaultPresent:
		table = t.present
	case FaultAbsent:
		table = t.absent
	}
	p := make([]float64, len(table))
	for k := range p {
		p[k] = table[k][h]
	}
	return p
}

// SpeaksFor tells whether a place given with an answer bears on a cause.
func (e *Engine) SpeaksFor(check, answer, cause string) bool {
	c, t, h := e.kb.Check(check), e.tables[check], e.hypothesis([]string{cause})
	if c == nil || h < 0 {
		return false
	}
	k := c.AnswerIndex(answer)
	return t == nil || k < 0 || t.present[k][h] > speaksFor*t.present[k][e.space.nothing]
}

// Ends tells whether a repair, by its id or its cause's, ends a cause.
func (e *Engine) Ends(repair, cause string) bool {
	return e.ended[repair][slices.IndexFunc(e.kb.Causes, func(c kb.Cause) bool { return c.ID == cause })]
}

// Success is the chance that a repair of the right thing holds.
func (e *Engine) Success(repair string) float64 { return e.success(repair) }

// RepairReachM is how far from the place written down a repair takes in a fault.
const RepairReachM = repairReachM

// PlacePrior is where a cause is likely on the desk's yard before any answer; ok
// is false for a cause without a position.
func (d *Desk) PlacePrior(cause string) (b locate.Belief, ok bool) {
	h := d.engine.hypothesis([]string{cause})
	if h < 0 || d.wire.prior[h] == nil {
		return locate.Belief{}, false
	}
	return *d.wire.prior[h], true
}

// Engine is the one at work.
func (d *Desk) Engine() *Engine { return d.engine }

// Model is the physics of the desk's wire.
func (d *Desk) Model() *faultmodel.Model { return d.wire.model }

// Axis is the desk's wire.
func (d *Desk) Axis() locate.Axis { return d.wire.axis }

// Site is the desk's yard as the person with the spade meets it.
func (d *Desk) Site() locate.Site { return d.wire.site }

// Costs are what work along the wire takes the desk's person.
func (d *Desk) Costs() locate.Costs { return d.engine.costs(d.c.Role) }

// Believe judges a log without deciding on a step: ranking and place alone.
func (d *Desk) Believe(log []Entry) *Assessment {
	a := &Assessment{desk: d, log: log, belief: d.engine.believe(d.wire, log)}
	a.rank()
	a.locate()
	return a
}

// AssessBy judges a log with another rule for the next step in place of the
// least expected cost: choose sees the problem that the engine has set up, after
// the safety rules. What the rest of the case will cost is not worked out.
func (d *Desk) AssessBy(log []Entry, choose func(*policy.Problem) policy.Decision) *Assessment {
	a := d.Believe(log)
	a.next(func(m *problem) policy.Decision { return choose(&m.Problem) })
	return a
}
