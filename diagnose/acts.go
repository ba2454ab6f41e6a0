package diagnose

import (
	"slices"

	"loopfault/diagnose/policy"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// group is the causes that one search along the wire finds together, such as
// every kind of break.
type group struct {
	kind   string
	causes []int
	likely int           // the most probable of them
	place  locate.Belief // where, if it is one of them
	p      float64       // probability that one of them is present
	value  float64       // the planner's price of finding and mending it
	plan   *locate.Plan
}

// act is one act of the problem: a repair, or the search for a group.
type act struct {
	repair  *kb.Repair
	group   *group
	minutes float64
	second  bool      // the group's second fault
	first   *kb.Check // must be asked before it; nil where it can be done at once
	damage  *Answer   // of a repair at what was seen: the answer that tells of it
}

// group gathers the causes that a search finds together.
func (a *Assessment) group() {
	b := a.belief
	now := a.remaining()
	at := map[string]int{}
	for c := range b.space.causes {
		cause := &b.space.causes[c]
		if !searched(cause) {
			continue
		}
		i, ok := at[cause.Kind]
		if !ok {
			i = len(a.groups)
			at[cause.Kind] = i
			a.groups = append(a.groups, group{kind: cause.Kind, likely: c,
				place: locate.Belief{Axis: b.axis, P: make([]float64, b.axis.Cells)}})
		}
		g := &a.groups[i]
		g.causes = append(g.causes, c)
		var p float64
		for h, ph := range now {
			if b.space.hyps[h].has(c) {
				p += ph
			}
		}
		for x, q := range b.place[c].P {
			g.place.P[x] += p * q
		}
		if p > a.P(b.space.causes[g.likely].ID) {
			g.likely = c
		}
	}
	for i := range a.groups {
		g := &a.groups[i]
		for h, ph := range now {
			if slices.ContainsFunc(g.causes, b.space.hyps[h].has) {
				g.p += ph
			}
		}
		if g.p > 0 {
			normalise(g.place.P)
		}
	}
}

// problem is a case as the policy sees it, with what its numbers stand for.
type problem struct {
	policy.Problem
	acts  []act
	tests []test
	hyps  []int // index in the space of each of the problem's hypotheses
}

// negligible is the probability below which a hypothesis is left out of the decision.
const negligible = 2e-4

// problem sets up the decision.
func (a *Assessment) problem(stopped map[string]*kb.Rule) *problem {
	b, e := a.belief, a.desk.engine
	m := &problem{}
	m.GiveUp = e.kb.Settings.ReferCost.For(string(a.desk.c.Role))

	// Causes are numbered as in the knowledge base; a second fault of a group has
	// a number of its own after them, since it takes a second search.
	second := func(g int) int { return len(b.space.causes) + g }
	now := a.remaining()
	var total float64
	for h, p := range now {
		if p < negligible {
			continue
		}
		hyp := b.space.hyps[h]
		set := policy.Of(hyp.a)
		if hyp.b >= 0 {
			set |= policy.Of(hyp.b)
			for g := range a.groups {
				if slices.Contains(a.groups[g].causes, hyp.a) && slices.Contains(a.groups[g].causes, hyp.b) {
					set |= policy.Of(second(g))
				}
			}
		}
		m.hyps = append(m.hyps, h)
		m.Hypotheses = append(m.Hypotheses, set)
		m.P = append(m.P, p)
		total += p
	}
	for i := range m.P {
		m.P[i] /= total
	}

	add := func(x act, cost float64, ends policy.Hypothesis) {
		m.acts = append(m.acts, x)
		m.Acts = append(m.Acts, policy.Act{Cost: max(cost, 0.01), Ends: ends})
	}
	a.searches(m, add, second, stopped)
	a.repairs(add, stopped)
	a.tests(m, stopped)
	return m
}

// searches adds the search of each group, at the planner's price.
func (a *Assessment) searches(m *problem, add func(act, float64, policy.Hypothesis), second func(int) int, stopped map[string]*kb.Rule) {
	tap := a.tapCheck()
	if tap == nil {
		return
	}
	minutes, money, ok := a.able(tap.Roles, tap.Tools, tap.OnWire, tap.Digs, stopped)
	first, possible := a.pending(tap.Needs, stopped)
	if !ok || !possible {
		return
	}
	if first != nil {
		minutes += a.minutes(first)
	}
	rate := a.desk.engine.perMinute(a.desk.c.Role)
	planner := a.desk.Planner()
	for i := range a.groups {
		g := &a.groups[i]
		if g.p < negligible {
			continue
		}
		g.value = planner.Value(g.place)
		cost := g.value + money + minutes*rate
		var ends policy.Hypothesis
		for _, c := range g.causes {
			ends |= policy.Of(c)
		}
		add(act{group: g, minutes: cost / rate, first: first}, cost, ends)
		add(act{group: g, minutes: cost / rate, second: true, first: first}, cost, policy.Of(second(i)))
		if g.kind == string(faultmodel.Open) {
			a.mendSeen(g, cost, ends, add, stopped)
		}
	}
}

// mendSeen adds the mending of a break at damage that was seen since the last repair:
// dearer by the search where it turns out not to be the fault.
func (a *Assessment) mendSeen(g *group, search float64, ends policy.Hypothesis, add func(act, float64, policy.Hypothesis), stopped map[string]*kb.Rule) {
	seen := a.belief.h.seenDamage()
	r := a.desk.engine.kb.RepairMade(a.belief.space.causes[g.likely].ID)
	if seen == nil || r == nil {
		return
	}
	minutes, money, first, ok := a.ready(r, stopped)
	if !ok {
		return
	}
	if first != nil {
		minutes += a.minutes(first)
	}
	hit := a.desk.engine.kb.Check(seen.Check).PlaceShare.Value
	add(act{repair: r, minutes: minutes, first: first, damage: seen}, a.price(r, minutes)+money+(1-hit)*search, ends)
}

// ready tells whether a repair can be made, what it takes with the missing tools in
// minutes and in money, its materials apart, and the check that must come before it.
func (a *Assessment) ready(r *kb.Repair, stopped map[string]*kb.Rule) (minutes, money float64, first *kb.Check, ok bool) {
	minutes, money, ok = a.able(r.Roles, r.Tools, r.OnWire, r.Digs, stopped)
	first, possible := a.pending(r.Needs, stopped)
	return minutes + r.Minutes.For(string(a.desk.c.Role)), money, first, ok && possible
}

func (a *Assessment) tapCheck() *kb.Check {
	for i := range a.desk.engine.kb.Checks {
		if c := &a.desk.engine.kb.Checks[i]; c.Kind == kb.Tap {
			return c
		}
	}
	return nil
}

// repairs adds the repairs that need no search, and the general acts.
func (a *Assessment) repairs(add func(act, float64, policy.Hypothesis), stopped map[string]*kb.Rule) {
	e := a.desk.engine
	for i := range e.kb.Repairs {
		r := &e.kb.Repairs[i]
		switch r.ID {
		case refer, done, replaceSection:
			continue
		}
		cause := e.kb.Cause(r.Cause)
		if cause != nil && searched(cause) {
			continue
		}
		minutes, money, first, ok := a.ready(r, stopped)
		if !ok || a.tried(r) {
			continue
		}
		if first == nil && cause != nil {
			first = a.placing(cause, stopped)
		}
		if first != nil {
			minutes += a.minutes(first)
		}
		cost := a.price(r, minutes) + money
		var ends policy.Hypothesis
		for c := range e.ended[r.ID] {
			ends |= policy.Of(c)
		}
		if r.ID == verify {
			ends = policy.Of(a.belief.space.nothing)
		}
		if r.ID == replaceLoop {
			for g := range a.groups {
				ends |= policy.Of(len(e.kb.Causes) + g)
			}
			minutes += a.belief.axis.LengthM / quantity.MPerFt * e.kb.Settings.TrenchMinutesPerFt.Value
			cost = a.price(r, minutes) + money
			if w := e.kb.Item("boundary-wire"); w != nil {
				cost += a.belief.axis.LengthM / quantity.MPerFt * w.Price.Value
			}
		}
		if ends != 0 {
			add(act{repair: r, minutes: minutes, first: first}, cost, ends)
		}
	}
}

// placedM is how short the likely places of a cause together must be for a repair
// to go there straight away: 30 ft.
const placedM = 30 * quantity.MPerFt

// placing is the cheapest check that finds out where a cause is, before its repair
// is begun at a place that nobody knows; nil where the place is known, or no check
// is left. Causes found by opening the wire have the tap planner instead.
func (a *Assessment) placing(cause *kb.Cause, stopped map[string]*kb.Rule) *kb.Check {
	place, ok := a.Place(cause.ID)
	if !ok {
		return nil
	}
	var long float64
	for _, m := range place.Modes(0.5) {
		long += m.ToM - m.FromM
	}
	if long <= placedM {
		return nil
	}
	return a.cheapest(func(c *kb.Check) bool {
		places := c.Kind == kb.Widths || c.Kind == kb.Stretch && a.desk.engine.tables[c.ID] == nil
		if cause.Mirror {
			places = c.Quantity == string(faultmodel.LeadInOhmsOpen)
		}
		return places && !a.belief.h.asked[c.ID] && a.can(c, stopped)
	})
}

// tried tells whether a repair was done already in this case without success:
// nobody changes the same battery twice. A walk may be walked again.
func (a *Assessment) tried(r *kb.Repair) bool {
	return r.ID != verify && slices.ContainsFunc(a.belief.h.repairs, func(done *RepairDone) bool {
		return !done.Fixed && a.desk.engine.kb.RepairMade(done.Repair) == r
	})
}

// price is what a repair costs in money: time, material.
func (a *Assessment) price(r *kb.Repair, minutes float64) float64 {
	cost := minutes * a.desk.engine.perMinute(a.desk.c.Role)
	for _, u := range r.Uses {
		if item := a.desk.engine.kb.Item(u.Item); item != nil {
			cost += u.Quantity * item.Price.Value
		}
	}
	return cost
}
