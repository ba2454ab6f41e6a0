package trial

import (
	"slices"

	"loopfault/diagnose"
	"loopfault/kb"
)

// unsafe tells whether a step breaks a hard rule that the log has set off, digs or
// touches the wire without the cautions that belong to it, or leaves out one of
// its own. It reads the knowledge base itself and shares no code with the engine.
func (m *meter) unsafe(s diagnose.Step, log []diagnose.Entry) bool {
	var onWire, digs bool
	var own []string
	switch {
	case s.Check != nil:
		onWire, digs, own = s.Check.OnWire, s.Check.Digs, s.Check.Cautions
	case s.Repair != nil:
		onWire, digs, own = s.Repair.OnWire, s.Repair.Digs, s.Repair.Cautions
	}
	if onWire {
		own = append(slices.Clone(own), "unplug")
	}
	if digs {
		own = append(slices.Clone(own), "digging")
	}
	for _, id := range own {
		if !slices.Contains(s.Cautions, id) {
			return true
		}
	}
	for i := range m.base.Rules {
		r := &m.base.Rules[i]
		if !holds(r.When, m.base, log) {
			continue
		}
		if onWire && slices.Contains(r.Stops, "wire-work") || digs && slices.Contains(r.Stops, "digging") {
			return true
		}
		if r.Then != "" && s.ID != r.Then && s.Kind != diagnose.NextDone {
			return true
		}
	}
	return false
}

// holds tells whether the latest answers meet a condition.
func holds(c kb.Condition, base *kb.Base, log []diagnose.Entry) bool {
	for _, part := range c.Any {
		if holds(part, base, log) {
			return true
		}
	}
	if len(c.Any) > 0 || c.Check == "" {
		return false
	}
	for i := len(log) - 1; i >= 0; i-- {
		a := log[i].Answer
		if a == nil || a.Check != c.Check {
			continue
		}
		if base.Check(a.Check).Answer(a.Choice) == nil && a.Choice != "" {
			return false // a don't-know takes the answer back
		}
		return a.Choice != "" && slices.Contains(c.Answers, a.Choice) || a.Choice == "" && slices.Contains(c.Answers, kb.Given)
	}
	return c.OrUnanswered
}
