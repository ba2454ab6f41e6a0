package trial

import (
	"fmt"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/trial/bif"
	"loopfault/kb"
)

// faultVariable is the name of the exported network's variable over all hypotheses.
const faultVariable = "fault"

// Network is the knowledge about a desk's yard as a Bayesian network: one variable
// over all hypotheses, a yes-no variable for each cause that it implies, and one
// for each check that tables judge. Checks that look at the same fact stand as if
// independent, which the engine does not take them for; readings and places have
// no tables and are left out. Only, where given, names the causes to keep: then the
// network speaks of the cases in which nothing else is wrong.
func Network(d *diagnose.Desk, only ...string) *bif.Network {
	base := d.Engine().Base()
	n := &bif.Network{Name: "loopfault", Notes: []string{
		"knowledge base of loopfault; the states of " + faultVariable + " are all single causes and pairs",
		"checks that look at the same fact stand as independent here and are discounted by the program",
		"a state that would begin with a digit has an underscore before it",
	}}
	keep := map[string]bool{}
	for _, id := range only {
		keep[id] = true
	}
	var hyps []diagnose.Hypothesis
	var total float64
next:
	for _, h := range d.Prior() {
		for _, c := range h.Causes {
			if len(only) > 0 && !keep[c] {
				continue next
			}
		}
		hyps = append(hyps, h)
		total += h.P
	}
	fault := bif.Variable{Name: faultVariable}
	for _, h := range hyps {
		fault.States = append(fault.States, bif.Word(strings.Join(h.Causes, "_and_")))
		fault.P = append(fault.P, h.P/total)
	}
	n.Variables = append(n.Variables, fault)
	for i := range base.Causes {
		if id := base.Causes[i].ID; len(only) == 0 || keep[id] {
			n.Variables = append(n.Variables, causeVariable(id, hyps))
		}
	}
	for i := range base.Checks {
		if v, ok := checkVariable(d.Engine(), &base.Checks[i], hyps); ok {
			n.Variables = append(n.Variables, v)
		}
	}
	return n
}

func causeVariable(id string, hyps []diagnose.Hypothesis) bif.Variable {
	v := bif.Variable{Name: bif.Word(id), States: []string{"yes", "no"}, Parents: []int{0}}
	for _, h := range hyps {
		p := []float64{0, 1}
		for _, c := range h.Causes {
			if c == id {
				p = []float64{1, 0}
			}
		}
		v.P = append(v.P, p...)
	}
	return v
}

func checkVariable(e *diagnose.Engine, c *kb.Check, hyps []diagnose.Hypothesis) (bif.Variable, bool) {
	v := bif.Variable{Name: CheckVariable(c.ID), Parents: []int{0}}
	for _, a := range c.Answers {
		v.States = append(v.States, bif.Word(a.ID))
	}
	for _, h := range hyps {
		causes := h.Causes
		p := e.AnswerChances(c.ID, "", causes...)
		if p == nil {
			return v, false
		}
		v.P = append(v.P, p...)
	}
	return v, true
}

// CheckVariable is the name of a check in the exported network; causes and checks
// have names of their own.
func CheckVariable(check string) string { return bif.Word(fmt.Sprintf("check_%s", check)) }
