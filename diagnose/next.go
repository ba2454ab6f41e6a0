package diagnose

import (
	"math"
	"slices"

	"loopfault/diagnose/policy"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// decide finds the next step: the one with the least expected cost of the whole
// job.
func (a *Assessment) decide() {
	a.next(func(m *problem) policy.Decision {
		effort := policy.Standard
		if a.desk.engine.options.Shallow {
			effort.Depth = 1
		}
		choice := m.Decide(effort)
		a.expect(m, choice)
		return choice
	})
}

// next takes the step that the state of the case or a hard rule demands, and else
// the one chosen.
func (a *Assessment) next(choose func(*problem) policy.Decision) {
	if h := &a.belief.h; h.handed || h.outcome != nil && h.outcome.Confirmed {
		a.take(a.general(done))
		return
	}
	stopped, forced := a.rules()
	if forced != nil {
		a.take(*forced)
		return
	}
	if step, ok := a.closing(); ok {
		a.take(step)
		return
	}
	a.group()
	m := a.problem(stopped)
	choice := policy.Decision{Kind: policy.DoGiveUp}
	if len(m.Acts)+len(m.Tests) > 0 {
		choice = choose(m)
	}
	switch choice.Kind {
	case policy.DoTest:
		t := m.tests[choice.Index]
		a.take(a.checkStep(t.check, t.minutes))
	case policy.DoAct:
		switch x := m.acts[choice.Index]; {
		case x.first != nil:
			a.take(a.checkStep(x.first, a.minutes(x.first)))
		case x.group != nil:
			a.take(a.searchStep(x.group))
		default:
			a.take(a.repairStep(x))
		}
	default:
		// Before giving up, what was put off is asked after all, and what whoever
		// comes would ask first about the place.
		c := a.putOff(stopped)
		if c == nil {
			c = a.toHandOn(stopped)
		}
		if c != nil {
			a.take(a.checkStep(c, a.minutes(c)))
			break
		}
		a.take(a.general(refer))
	}
}

// contain is the caution that the pet is not left to a boundary that may be dead.
const contain = "contain"

// take makes a step the next one and adds its cautions.
func (a *Assessment) take(s Step) {
	switch {
	case s.Check != nil:
		s.Cautions = append(s.Cautions, s.Check.Cautions...)
	case s.Repair != nil:
		s.Cautions = append(s.Cautions, s.Repair.Cautions...)
	}
	if s.Rule != nil {
		s.Cautions = append(slices.Clone(s.Rule.Cautions), s.Cautions...)
	}
	if len(a.belief.h.facts)+len(a.belief.h.repairs) == 0 {
		s.Cautions = append(s.Cautions, contain) // from the first minute on
	}
	s.Cautions = unique(s.Cautions)
	a.Step = s
}

func unique(ids []string) []string {
	var out []string
	for _, id := range ids {
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// closing is the step after the fault is gone: prove it, then stop.
func (a *Assessment) closing() (Step, bool) {
	h := &a.belief.h
	last := h.last()
	switch {
	case last == nil || !last.Fixed:
		return Step{}, false
	case last.Repair == verify || last.Repair == done:
		return a.general(done), true
	}
	// A repair that worked is proved by the acceptance walk, unless an answer
	// given since speaks against it.
	if now := a.remaining(); now[a.belief.space.nothing] < 0.5 {
		return Step{}, false
	}
	return a.general(verify), true
}

// general is a general act of the knowledge base as a step.
func (a *Assessment) general(id string) Step {
	r := a.desk.engine.kb.Repair(id)
	s := Step{Kind: NextKind(id), ID: id, Repair: r}
	if r != nil {
		s.Minutes = r.Minutes.For(string(a.desk.c.Role))
		s.Cost = a.price(r, s.Minutes)
	}
	if id == refer {
		s.Minutes = a.desk.engine.kb.Settings.ReferMinutes.For(string(a.desk.c.Role))
		s.Cost = a.desk.engine.kb.Settings.ReferCost.For(string(a.desk.c.Role))
	}
	if a.Expected == (Expected{}) {
		a.Expected = Expected{Minutes: s.Minutes, Cost: s.Cost}
	}
	return s
}

// rules applies the hard safety rules: what may not be offered, and the step
// that one of them takes at once.
func (a *Assessment) rules() (stopped map[string]*kb.Rule, forced *Step) {
	stopped = map[string]*kb.Rule{}
	for i := range a.desk.engine.kb.Rules {
		r := &a.desk.engine.kb.Rules[i]
		if !a.holds(r.When) {
			continue
		}
		for _, s := range r.Stops {
			stopped[s] = r
		}
		if r.Then != "" && forced == nil {
			step := a.general(r.Then)
			step.Rule = r
			forced = &step
		}
	}
	return stopped, forced
}

// holds tells whether a condition of the knowledge base is met by the log.
func (a *Assessment) holds(c kb.Condition) bool {
	if len(c.Any) > 0 {
		return slices.ContainsFunc(c.Any, a.holds)
	}
	if c.Check == "" { // any check at all
		for _, f := range a.belief.h.facts {
			if slices.Contains(c.Answers, f.answer.Choice) {
				return true
			}
		}
		return false
	}
	answer := a.belief.h.latest[c.Check]
	if answer == nil || answer.Choice == Unknown || answer.Choice == NotApplicable || answer.Choice == Later {
		return c.OrUnanswered
	}
	if answer.Choice == "" {
		return slices.Contains(c.Answers, kb.Given)
	}
	return slices.Contains(c.Answers, answer.Choice)
}

func (a *Assessment) all(cs []kb.Condition) bool {
	for _, c := range cs {
		if !a.holds(c) {
			return false
		}
	}
	return true
}

// pending is the cheapest check that may yet make the conditions hold, nil where
// they hold already. ok is false where they cannot: an answer given stands against
// them, or the check they want cannot be asked.
func (a *Assessment) pending(cs []kb.Condition, stopped map[string]*kb.Rule) (first *kb.Check, ok bool) {
	for _, c := range cs {
		if a.holds(c) {
			continue
		}
		var best *kb.Check
		for _, part := range append([]kb.Condition{c}, c.Any...) {
			check := a.desk.engine.kb.Check(part.Check)
			if check == nil || a.belief.h.asked[check.ID] || !a.can(check, stopped) {
				continue
			}
			if best == nil || a.minutes(check) < a.minutes(best) {
				best = check
			}
		}
		if best == nil {
			return nil, false
		}
		if first == nil {
			first = best
		}
	}
	return first, true
}

// can tells whether a check may be asked now.
func (a *Assessment) can(c *kb.Check, stopped map[string]*kb.Rule) bool {
	_, _, ok := a.able(c.Roles, c.Tools, c.OnWire, c.Digs, stopped)
	return ok && a.all(c.Needs)
}

// able tells whether the person may and can do a thing, and what getting the
// missing tools costs in minutes and money. Tools used so far are not bought again.
func (a *Assessment) able(roles, tools []string, onWire, digs bool, stopped map[string]*kb.Rule) (minutes, money float64, ok bool) {
	role := string(a.desk.c.Role)
	if len(roles) > 0 && !slices.Contains(roles, role) ||
		onWire && stopped["wire-work"] != nil || digs && stopped["digging"] != nil {
		return 0, 0, false
	}
	for _, t := range tools {
		if a.desk.hand[t] || a.belief.h.used[t] {
			continue
		}
		tool := a.desk.engine.kb.Tool(t)
		if tool == nil || tool.ObtainMinutes.For(role) < 0 {
			return 0, 0, false
		}
		minutes += tool.ObtainMinutes.For(role)
		money += tool.ObtainPrice.Value
	}
	return minutes, money, true
}

// checkStep is a check as the next step.
func (a *Assessment) checkStep(c *kb.Check, minutes float64) Step {
	return Step{Kind: NextCheck, ID: c.ID, Check: c, Minutes: minutes, Cost: minutes * a.desk.engine.perMinute(a.desk.c.Role)}
}

// repairStep is a repair as the next step, at a spot: a stretch would say that the
// work runs all along it.
func (a *Assessment) repairStep(x act) Step {
	s := Step{Kind: NextRepair, ID: x.repair.ID, Repair: x.repair, Minutes: x.minutes, Cost: a.price(x.repair, x.minutes), AtM: a.spot(x)}
	if x.repair.ID == verify {
		s.Kind = NextVerify
	}
	return s
}

// spot is where a repair is to be made: where damage was seen, or else where its cause
// is likeliest; nil where nobody said, or the cause has no place.
func (a *Assessment) spot(x act) *float64 {
	if x.damage != nil {
		lo, hi, ok := span(x.damage.AtM, x.damage.FromM, x.damage.ToM)
		if !ok {
			return nil
		}
		at := (lo + hi) / 2
		return &at
	}
	place, ok := a.Place(x.repair.Cause)
	if !ok {
		return nil
	}
	at := place.Best()
	return &at
}

// searchStep is the planner's next act: a tap, opening and repairing at once, or a new section.
func (a *Assessment) searchStep(g *group) Step {
	if g.plan == nil {
		g.plan = a.plan(g)
	}
	plan := g.plan
	a.Plan = plan
	act := plan.Next
	if act.Kind == locate.ActTap && a.taps() >= mostTaps(g) {
		// Taps have stopped telling: what is left is laid anew.
		v := g.place.Interval(0.9)
		act = locate.Act{Kind: locate.ActReplace, FromM: v.FromM, ToM: v.ToM}
	}
	s := Step{Minutes: act.Minutes, Cost: act.Money}
	if s.Minutes == 0 {
		s.Minutes, s.Cost = plan.Expected.Minutes, plan.Expected.Money
	}
	point := func(v float64) *float64 { return &v }
	switch act.Kind {
	case locate.ActReplace:
		s.Kind, s.ID, s.Repair = NextReplaceSection, replaceSection, a.desk.engine.kb.Repair(replaceSection)
		s.FromM, s.ToM = point(act.FromM), point(act.ToM)
	case locate.ActOpen:
		cause := a.desk.engine.kb.Causes[g.likely].ID
		s.Kind, s.ID, s.Repair = NextRepair, "repair:"+cause, a.desk.engine.kb.RepairMade(cause)
		s.FromM, s.ToM, s.AtM = point(act.FromM), point(act.ToM), point((act.FromM+act.ToM)/2)
	default:
		s.Kind, s.ID, s.Check = NextTap, "tap", a.tapCheck()
		s.AtM = point(act.AtM)
	}
	return s
}

// mostTaps is after how many taps without a repair a search is given up for a new
// section: for a break twice what halving 1,000 ft to a foot takes; for a leak, a
// touch or a poor joint, which a tap shows by ohms at best, as many as halve it once.
func mostTaps(g *group) int {
	if g.kind == string(faultmodel.Open) {
		return 20
	}
	return 10
}

// taps is how many taps were made since the last repair.
func (a *Assessment) taps() (n int) {
	for _, f := range a.belief.h.facts {
		if f.epoch == len(a.belief.h.repairs) && (f.answer.ASide != "" || f.answer.BSide != "") {
			n++
		}
	}
	return n
}

// plan is the tap plan for a group, from where the person last stood.
func (a *Assessment) plan(g *group, how ...locate.Option) *locate.Plan {
	here := math.NaN()
	var opened []float64
	for _, f := range a.belief.h.facts {
		if f.answer.AtM == nil {
			continue
		}
		here = *f.answer.AtM
		if f.answer.ASide != "" || f.answer.BSide != "" {
			opened = append(opened, here)
		}
	}
	how = append(how, locate.Opened(opened...))
	var plan locate.Plan
	if g.kind == string(faultmodel.Open) && a.Where != nil && a.Where.TwoBreaks {
		plan = a.desk.Planner().PlanPair(a.belief.pairs.belief, here, append(how, locate.AlsoSingle(g.place, 1-a.Where.Two))...)
	} else {
		plan = a.desk.Planner().Plan(g.place, here, how...)
	}
	return &plan
}

// putOff is the cheapest check that was answered "later" and can be asked now.
func (a *Assessment) putOff(stopped map[string]*kb.Rule) *kb.Check {
	return a.cheapest(func(c *kb.Check) bool { return a.belief.h.later[c.ID] && a.can(c, stopped) })
}

// toHandOn is the cheapest quick question that may tell where on the wire the fault
// is, where it is the wire that will be handed on. The price of handing on does not
// depend on the place, so that the optimisation would not ask.
func (a *Assessment) toHandOn(stopped map[string]*kb.Rule) *kb.Check {
	const likely, quick = 0.5, 5.0 // judgement; minutes
	var wire float64
	for i := range a.groups {
		wire += a.groups[i].p
	}
	if wire < likely {
		return nil
	}
	return a.cheapest(func(c *kb.Check) bool {
		return c.Kind == kb.Choice && slices.ContainsFunc(c.Answers, func(x kb.Answer) bool { return x.Place }) &&
			len(c.Tools) == 0 && a.minutes(c) <= quick && !a.belief.h.asked[c.ID] && a.can(c, stopped)
	})
}

// cheapest is the check that takes the person the fewest minutes of those that serve;
// nil where none does.
func (a *Assessment) cheapest(serves func(*kb.Check) bool) *kb.Check {
	var best *kb.Check
	for i := range a.desk.engine.kb.Checks {
		c := &a.desk.engine.kb.Checks[i]
		if serves(c) && (best == nil || a.minutes(c) < a.minutes(best)) {
			best = c
		}
	}
	return best
}

func (a *Assessment) minutes(c *kb.Check) float64 { return c.Minutes.For(string(a.desk.c.Role)) }

// expect fills in what the case will still take.
func (a *Assessment) expect(m *problem, choice policy.Decision) {
	a.Expected.Cost = choice.Cost
	// Minutes: those of the repair order, scaled by what asking saves of its cost.
	legs, givenUp := m.Path()
	for _, leg := range legs {
		a.Expected.Minutes += leg.Reach * m.acts[leg.Act].minutes
	}
	a.Expected.Minutes += givenUp * a.desk.engine.kb.Settings.ReferMinutes.For(string(a.desk.c.Role))
	if repairs := m.RepairCost(); repairs > 0 {
		a.Expected.Minutes *= min(1, choice.Cost/repairs)
	}
	taps := make([]float64, len(a.groups))
	parallel(len(a.groups), func(i int) {
		g := &a.groups[i]
		searched := func(x act) bool { return x.group == g }
		switch {
		case choice.Kind == policy.DoAct && searched(m.acts[choice.Index]):
			g.plan = a.plan(g) // wanted for the step itself
			taps[i] = g.p * g.plan.Expected.Taps
		case g.p > positionMatters && slices.ContainsFunc(m.acts, searched):
			taps[i] = g.p * a.plan(g, locate.Coarse()).Expected.Taps
		}
	})
	for _, n := range taps {
		a.Expected.Taps += n
	}
}
