package trial

import (
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/diagnose/policy"
	"loopfault/kb"
)

// Strategy is a way to lead a call, for many calls.
type Strategy struct {
	ID   string
	Text string // in a line, for the table's key
	// begin makes ready for all calls: an adviser for each case.
	begin func(base *kb.Base) func(*diagnose.Case) (Adviser, error)
}

// Strategies are those that can be compared, ours first.
func Strategies() []Strategy {
	return []Strategy{
		{"ours", "least expected cost, two steps ahead", byRule(nil, leastCost)},
		{"checklist", "a fixed checklist, then halving the wire", byChecklist},
		{"p-over-c", "repairs by probability over cost, without checks", byRule(nil, probabilityOverCost)},
		{"information", "checks by information per cost, then the likeliest repair", byRule(nil, informationPerCost)},
		{"one-step", "ours, one step ahead", byRule(nil, leastCostOneStep)},
		{"no-pairs", "ours, without pairs of faults", byRule(withoutPairs, leastCost)},
		{"no-physics", "ours, without readings judged by the circuit", byRule(withoutReadings, leastCost)},
	}
}

// StrategiesNamed are those of the given ids, in their order; all without ids.
func StrategiesNamed(ids ...string) ([]Strategy, error) {
	all := Strategies()
	if len(ids) == 0 {
		return all, nil
	}
	var out []Strategy
	for _, id := range ids {
		i := slices.IndexFunc(all, func(s Strategy) bool { return s.ID == id })
		if i < 0 {
			var known []string
			for _, s := range all {
				known = append(known, s.ID)
			}
			return nil, fmt.Errorf("no strategy %q: expected one of %v", id, known)
		}
		out = append(out, all[i])
	}
	return out, nil
}

// NewAdviser is our own strategy on a case, as the program runs it.
func NewAdviser(e *diagnose.Engine, c *diagnose.Case) (Adviser, error) {
	d, err := e.At(c)
	if err != nil {
		return nil, err
	}
	return desk{d}, nil
}

type desk struct{ d *diagnose.Desk }

func (d desk) Advise(log []diagnose.Entry) Advice {
	a := d.d.Assess(slices.Clone(log))
	return Advice{Step: a.Step, Assessment: a, Stated: state(a)}
}

// withoutPairs makes two faults at once next to impossible.
func withoutPairs(base *kb.Base) *kb.Base {
	own := *base
	own.Settings.TwoFaults.Value = 1e-12
	return &own
}

// withoutReadings takes away every check that a circuit or field judges.
func withoutReadings(base *kb.Base) *kb.Base {
	own := *base
	own.Checks = slices.Clone(base.Checks)
	for i := range own.Checks {
		if k := own.Checks[i].Kind; k == kb.Reading || k == kb.Widths {
			own.Checks[i].Roles = []string{"nobody"}
		}
	}
	return &own
}

// byRule advises by the engine's belief, on a knowledge base that may be changed,
// and a rule for the next step.
func byRule(change func(*kb.Base) *kb.Base, choose func(*policy.Problem) policy.Decision) func(*kb.Base) func(*diagnose.Case) (Adviser, error) {
	return func(base *kb.Base) func(*diagnose.Case) (Adviser, error) {
		if change != nil {
			base = change(base)
		}
		e := diagnose.New(base, diagnose.Options{Year: thisYear})
		return func(c *diagnose.Case) (Adviser, error) {
			d, err := e.At(c)
			if err != nil {
				return nil, err
			}
			return ruled{d, choose}, nil
		}
	}
}

type ruled struct {
	d      *diagnose.Desk
	choose func(*policy.Problem) policy.Decision
}

func (r ruled) Advise(log []diagnose.Entry) Advice {
	a := r.d.AssessBy(slices.Clone(log), r.choose)
	return Advice{Step: a.Step, Assessment: a, Stated: state(a)}
}

// leastCost is the engine's own rule: [diagnose.Desk.Assess] takes the same step, and
// besides works out what the rest of the case will cost, which is not asked here.
func leastCost(p *policy.Problem) policy.Decision { return p.Decide(policy.Standard) }

func leastCostOneStep(p *policy.Problem) policy.Decision {
	effort := policy.Standard
	effort.Depth = 1
	return p.Decide(effort)
}

// probabilityOverCost repairs in falling p/c and never asks.
func probabilityOverCost(p *policy.Problem) policy.Decision { return p.Decide(policy.Effort{}) }

// settled is the probability at which information per cost stops asking: 0.8 is
// the usual choice in comparisons of such rules.
const settled = 0.8

// informationPerCost asks what lowers the entropy of the hypotheses most for its
// price, until one is settled or nothing tells more, and then repairs in falling p/c.
func informationPerCost(p *policy.Problem) policy.Decision {
	best, rate := -1, 1e-6
	if slices.Max(p.P) < settled {
		for t := range p.Tests {
			if r := information(p, &p.Tests[t]) / max(p.Tests[t].Cost, 0.01); r > rate {
				best, rate = t, r
			}
		}
	}
	if best < 0 {
		return probabilityOverCost(p)
	}
	return policy.Decision{Kind: policy.DoTest, Index: best}
}

// information is the mutual information of a test and the hypotheses, bits.
func information(p *policy.Problem, t *policy.Test) float64 {
	var bits float64
	for _, o := range t.Outcomes {
		var total float64
		for h, ph := range p.P {
			total += ph * o.P[h]
		}
		for h, ph := range p.P {
			if ph > 0 && o.P[h] > 0 {
				bits += ph * o.P[h] * math.Log2(o.P[h]/total)
			}
		}
	}
	return bits
}
