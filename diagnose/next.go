package diagnose

import (
	"cmp"
	"math"
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
}

// test is one test of the problem.
type test struct {
	check   *kb.Check
	minutes float64
}

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
	if step, ok := a.closing(); ok {
		a.take(step)
		return
	}
	stopped, forced := a.rules()
	if forced != nil {
		a.take(*forced)
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
			a.take(a.checkStep(x.first, x.first.Minutes.For(string(a.desk.c.Role))))
		case x.group != nil:
			a.take(a.searchStep(x.group))
		default:
			a.take(a.repairStep(x.repair, x.minutes))
		}
	default:
		// Before giving up, what was put off is asked after all.
		if c := a.putOff(stopped); c != nil {
			a.take(a.checkStep(c, c.Minutes.For(string(a.desk.c.Role))))
			break
		}
		a.take(a.general(refer))
	}
}

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
	case h.outcome != nil && h.outcome.Confirmed || h.handed:
		return a.general(done), true
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
	minutes := func(c *kb.Check) float64 { return c.Minutes.For(string(a.desk.c.Role)) }
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
			if best == nil || minutes(check) < minutes(best) {
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
// missing tools costs in minutes and money.
func (a *Assessment) able(roles, tools []string, onWire, digs bool, stopped map[string]*kb.Rule) (minutes, money float64, ok bool) {
	role := string(a.desk.c.Role)
	if len(roles) > 0 && !slices.Contains(roles, role) ||
		onWire && stopped["wire-work"] != nil || digs && stopped["digging"] != nil {
		return 0, 0, false
	}
	for _, t := range tools {
		if a.desk.hand[t] {
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
		minutes += first.Minutes.For(string(a.desk.c.Role))
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
	}
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
		minutes, money, ok := a.able(r.Roles, r.Tools, r.OnWire, r.Digs, stopped)
		first, possible := a.pending(r.Needs, stopped)
		if !ok || !possible || a.tried(r) {
			continue
		}
		if first == nil && cause != nil {
			first = a.placing(cause, stopped)
		}
		minutes += r.Minutes.For(string(a.desk.c.Role))
		if first != nil {
			minutes += first.Minutes.For(string(a.desk.c.Role))
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
	var best *kb.Check
	for i := range a.desk.engine.kb.Checks {
		c := &a.desk.engine.kb.Checks[i]
		places := c.Kind == kb.Widths || c.Kind == kb.Stretch && a.desk.engine.tables[c.ID] == nil
		if cause.Mirror {
			places = c.Quantity == string(faultmodel.LeadInOhmsOpen)
		}
		if !places || a.belief.h.asked[c.ID] || !a.can(c, stopped) {
			continue
		}
		if role := string(a.desk.c.Role); best == nil || c.Minutes.For(role) < best.Minutes.For(role) {
			best = c
		}
	}
	return best
}

// tried tells whether a repair was done already in this case without success:
// nobody changes the same battery twice.
func (a *Assessment) tried(r *kb.Repair) bool {
	return slices.ContainsFunc(a.belief.h.repairs, func(done *RepairDone) bool {
		return !done.Fixed && a.desk.engine.repair(done.Repair) == r
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
		minutes += c.Minutes.For(string(a.desk.c.Role))
		can = append(can, candidate{test: test{c, minutes}, cost: minutes*rate + money})
	}
	a.sampledMass() // before it is read from several sides
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
	if c.Fact != "" {
		for _, f := range a.belief.h.facts {
			if other := a.desk.engine.kb.Check(f.answer.Check); other.Fact == c.Fact {
				news = a.desk.engine.kb.Settings.SameFactShare.Value
			}
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

// worthForecasting is the probability of a cause below which no reading is
// forecast for it.
const worthForecasting = 0.004

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
	logL := make([]float64, a.belief.axis.Cells)
	for q := range looks {
		e := a.placeEvidence(c, quantile(g.place, (float64(q)+0.5)/looks))
		for k, mid := range a.belief.mids {
			logL[k] = e.At(faultmodel.Kind(g.kind), mid)
		}
		after, _ := g.place.Update(logL)
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
	length := a.belief.axis.LengthM
	lost, heard := policy.Outcome{P: make([]float64, len(m.hyps))}, policy.Outcome{P: make([]float64, len(m.hyps))}
	whole := math.Exp(locate.Trace{LengthM: length}.Healthy()) * length
	for i, h := range m.hyps {
		hyp := a.belief.space.hyps[h]
		lost.P[i] = whole
		if a.belief.isBreak(hyp.a) || hyp.b >= 0 && a.belief.isBreak(hyp.b) {
			lost.P[i] = 1
		}
		heard.P[i] = 1 - lost.P[i]
	}
	lost.ActCost = a.narrowed(m, c)
	return []policy.Outcome{lost, heard}
}

// readingBins is into how many ranges a reading is cut to weigh it beforehand.
const readingBins = 8

// sampled is how many evenly spaced places stand for the wire when a reading is
// weighed beforehand.
const sampled = 16

// forecast is what a reading would show under each cause, given what has been
// read already.
type forecast struct {
	b     *belief
	q     faultmodel.Quantity
	given []faultmodel.Reading
	at    []float64                          // the sampled places
	kinds map[string][]faultmodel.Predictive // as asked for: at each place, or one without a position
	mass  [][]float64                        // by cause: its share at each place; nil without a position
}

func (a *Assessment) forecast(q faultmodel.Quantity) *forecast {
	f := &forecast{b: a.belief, q: q, given: a.given(), at: make([]float64, sampled),
		kinds: map[string][]faultmodel.Predictive{}, mass: a.sampledMass()}
	for k := range f.at {
		f.at[k] = (float64(k) + 0.5) / sampled * a.belief.axis.LengthM
	}
	return f
}

// of is the prediction under a cause at each sampled place, or one alone for a
// cause without a position.
func (f *forecast) of(cause int) []faultmodel.Predictive {
	name := f.b.space.causes[cause].Kind
	if f.kinds[name] == nil {
		kind := faultmodel.Kind(name)
		f.kinds[name] = f.b.memo.forecast(f.q, f.given, kind, func() []faultmodel.Predictive {
			if f.b.place[cause] == nil || kind == faultmodel.Healthy {
				return []faultmodel.Predictive{f.b.model.PredictGiven(f.given, f.q, 0, faults(kind, 0)...)}
			}
			return f.b.model.SweepPredict(f.given, f.q, 0, kind, f.at)
		})
	}
	return f.kinds[name]
}

// given is what has been read since the last repair.
func (a *Assessment) given() []faultmodel.Reading {
	var out []faultmodel.Reading
	for _, f := range a.belief.h.facts {
		h := &a.belief.h
		if f.epoch >= a.desk.engine.circuitEpoch(h, len(h.repairs)) && f.answer.Reading != nil && f.answer.When != FaultAbsent {
			out = append(out, *f.answer.Reading)
		}
	}
	return out
}

// sampledMass is each cause's place cut into the sampled stretches.
func (a *Assessment) sampledMass() [][]float64 {
	if a.mass == nil {
		a.mass = make([][]float64, len(a.belief.space.causes))
		for c, place := range a.belief.place {
			if place == nil {
				continue
			}
			m := make([]float64, sampled)
			for x, p := range place.P {
				m[x*sampled/len(place.P)] += p
			}
			a.mass[c] = m
		}
	}
	return a.mass
}

// chance is the probability of a reading from lo to hi under a cause.
func (f *forecast) chance(cause int, lo, hi float64) float64 {
	at := f.of(cause)
	if len(at) == 1 {
		return at[0].Probability(lo, hi)
	}
	var p float64
	for k, w := range f.mass[cause] {
		if w > 1e-6 {
			p += w * at[k].Probability(lo, hi)
		}
	}
	return p
}

func (f *forecast) over(cause int) float64 {
	at := f.of(cause)
	if len(at) == 1 {
		return at[0].OverRange
	}
	var p float64
	for k, w := range f.mass[cause] {
		p += w * at[k].OverRange
	}
	return p
}

// typical is the prediction at the cause's most likely place.
func (f *forecast) typical(cause int) faultmodel.Predictive {
	at := f.of(cause)
	if len(at) == 1 {
		return at[0]
	}
	best := 0
	for k, w := range f.mass[cause] {
		if w > f.mass[cause][best] {
			best = k
		}
	}
	return at[best]
}

// edges cut what the meter might show into ranges of about equal chance: each
// part of a prediction counts at its mean and a standard deviation to each side.
func (f *forecast) edges(causes []int, weight map[int]float64) []float64 {
	type point struct{ value, weight float64 }
	var points []point
	var total float64
	add := func(p faultmodel.Predictive, w float64) {
		for _, c := range p.Components {
			for _, z := range []float64{-1, 0, 1} {
				points = append(points, point{math.Exp(c.MeanLn+z*c.SDLn) - p.Shift, w * c.Weight / 3})
			}
			total += w * c.Weight
		}
	}
	for _, cause := range causes {
		at := f.of(cause)
		if len(at) == 1 {
			add(at[0], weight[cause])
			continue
		}
		for k, w := range f.mass[cause] {
			if w > 0.01 {
				add(at[k], weight[cause]*w)
			}
		}
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(a.value, b.value) })
	var out []float64
	var seen float64
	for i, p := range points {
		seen += p.weight
		if k := len(out) + 1; k < readingBins && seen >= total*float64(k)/readingBins && i+1 < len(points) {
			out = append(out, (p.value+points[i+1].value)/2)
		}
	}
	return out
}

// readingOutcomes cuts what a meter might show into ranges of about equal
// chance under the present belief, with over-range apart, and weighs each.
func (a *Assessment) readingOutcomes(m *problem, c *kb.Check) []policy.Outcome {
	b := a.belief
	f := a.forecast(faultmodel.Quantity(c.Quantity))
	// A cause too unlikely to matter for the decision is taken for a sound loop. A
	// pair is weighed by the one of its causes that moves the reading more: the one
	// less like a sound loop.
	share := make([]float64, len(b.space.causes))
	for i, h := range m.hyps {
		hyp := b.space.hyps[h]
		share[hyp.a] += m.P[i]
		if hyp.b >= 0 && hyp.b != hyp.a {
			share[hyp.b] += m.P[i]
		}
	}
	as := func(cause int) int {
		if share[cause] < worthForecasting {
			return b.space.nothing
		}
		return cause
	}
	sound := f.typical(b.space.nothing)
	seen := make([]int, len(m.hyps))
	weight := map[int]float64{} // probability by cause seen
	for i, h := range m.hyps {
		hyp := b.space.hyps[h]
		seen[i] = as(hyp.a)
		if hyp.b >= 0 && distance(f.typical(as(hyp.b)), sound) > distance(f.typical(seen[i]), sound) {
			seen[i] = as(hyp.b)
		}
		weight[seen[i]] += m.P[i]
	}
	var causes []int
	for cause := range b.space.causes { // in a fixed order, so that sums repeat
		if weight[cause] > 0 {
			causes = append(causes, cause)
		}
	}
	edges := append(append([]float64{0}, f.edges(causes, weight)...), math.Inf(1))

	chance := make([]float64, len(b.space.causes))
	row := func() []float64 {
		p := make([]float64, len(m.hyps))
		for i := range p {
			p[i] = chance[seen[i]]
		}
		return p
	}
	var out []policy.Outcome
	for k := 0; k+1 < len(edges); k++ {
		if edges[k+1] <= edges[k] {
			continue
		}
		for _, cause := range causes {
			chance[cause] = f.chance(cause, edges[k], edges[k+1])
		}
		out = append(out, policy.Outcome{P: row(), ActCost: a.afterReading(m, f, edges[k], edges[k+1])})
	}
	for _, cause := range causes {
		chance[cause] = f.over(cause)
	}
	out = append(out, policy.Outcome{P: row()})
	settle(out)
	return out
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

// afterReading is the price of each act when a reading falls into a range: a
// reading that depends on the place makes the search cheaper.
func (a *Assessment) afterReading(m *problem, f *forecast, lo, hi float64) []float64 {
	cost := make([]float64, len(m.Acts))
	for i := range cost {
		cost[i] = m.Acts[i].Cost
		x := m.acts[i]
		if x.group == nil || x.second || x.group.p < worthNarrowing {
			continue
		}
		if after, says := f.update(x.group, lo, hi); says {
			cost[i] = max(0.01, cost[i]+a.desk.Planner().Value(after)-x.group.value)
		}
	}
	return cost
}

// update is where a group would be if the reading fell between lo and hi; says is
// false where that says nothing of the place.
func (f *forecast) update(g *group, lo, hi float64) (after locate.Belief, says bool) {
	at := f.of(g.likely)
	like := make([]float64, len(at))
	least, most := math.Inf(1), math.Inf(-1)
	for k := range like {
		like[k] = math.Log(at[k].Probability(lo, hi) + 1e-9)
		least, most = min(least, like[k]), max(most, like[k])
	}
	if most-least < 0.05 {
		return g.place, false
	}
	logL := make([]float64, f.b.axis.Cells)
	for c := range logL {
		x := (float64(c)+0.5)/float64(f.b.axis.Cells)*sampled - 0.5
		k := min(max(int(math.Floor(x)), 0), sampled-2)
		t := min(max(x-float64(k), 0), 1)
		logL[c] = (1-t)*like[k] + t*like[k+1]
	}
	after, _ = g.place.Update(logL)
	return after, true
}

// distance is how far apart two predictions lie in ln value; over-range against a
// value is far.
func distance(p, q faultmodel.Predictive) float64 {
	if (p.OverRange > 0.5) != (q.OverRange > 0.5) {
		return 100
	}
	return math.Abs(centre(p) - centre(q))
}

// centre is the mean of ln value where there is one to read.
func centre(p faultmodel.Predictive) float64 {
	var sum, weight float64
	for _, c := range p.Components {
		sum += c.Weight * c.MeanLn
		weight += c.Weight
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

// checkStep is a check as the next step.
func (a *Assessment) checkStep(c *kb.Check, minutes float64) Step {
	return Step{Kind: NextCheck, ID: c.ID, Check: c, Minutes: minutes, Cost: minutes * a.desk.engine.perMinute(a.desk.c.Role)}
}

// repairStep is a repair as the next step, with the place where the cause has one.
func (a *Assessment) repairStep(r *kb.Repair, minutes float64) Step {
	s := Step{Kind: NextRepair, ID: r.ID, Repair: r, Minutes: minutes, Cost: a.price(r, minutes)}
	switch r.ID {
	case verify:
		s.Kind = NextVerify
	}
	if place, ok := a.Place(r.Cause); ok {
		at := place.Best()
		s.AtM = &at
	}
	return s
}

// searchStep is the planner's next act: a tap, opening and repairing at once, or a new section.
func (a *Assessment) searchStep(g *group) Step {
	if g.plan == nil {
		g.plan = a.plan(g)
	}
	plan := g.plan
	a.Plan = plan
	act := plan.Next
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
		s.Kind, s.ID, s.Repair = NextRepair, "repair:"+cause, a.desk.engine.repair(cause)
		s.FromM, s.ToM, s.AtM = point(act.FromM), point(act.ToM), point((act.FromM+act.ToM)/2)
	default:
		s.Kind, s.ID, s.Check = NextTap, "tap", a.tapCheck()
		s.AtM = point(act.AtM)
	}
	return s
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
	var best *kb.Check
	for i := range a.desk.engine.kb.Checks {
		c := &a.desk.engine.kb.Checks[i]
		if !a.belief.h.later[c.ID] {
			continue
		}
		if !a.can(c, stopped) {
			continue
		}
		if role := string(a.desk.c.Role); best == nil || c.Minutes.For(role) < best.Minutes.For(role) {
			best = c
		}
	}
	return best
}

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
	for i := range a.groups {
		g := &a.groups[i]
		searched := func(x act) bool { return x.group == g }
		switch {
		case choice.Kind == policy.DoAct && searched(m.acts[choice.Index]):
			g.plan = a.plan(g) // wanted for the step itself
			a.Expected.Taps += g.p * g.plan.Expected.Taps
		case g.p > positionMatters && slices.ContainsFunc(m.acts, searched):
			a.Expected.Taps += g.p * a.plan(g, locate.Coarse()).Expected.Taps
		}
	}
}
