package diagnose

import (
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
	plan   *locate.Plan
}

// act is one act of the problem: a repair, or the search for a group.
type act struct {
	repair  *kb.Repair
	group   *group
	minutes float64
	second  bool // the group's second fault
}

// test is one test of the problem.
type test struct {
	check   *kb.Check
	minutes float64
}

// decide finds the next step.
func (a *Assessment) decide() {
	e, d := a.desk.engine, a.desk
	if step, ok := a.closing(); ok {
		a.take(step)
		return
	}
	stopped, forced := a.rules()
	if forced != nil {
		a.take(forced.step)
		return
	}
	a.group()
	m := a.problem(stopped)
	if len(m.Acts) == 0 && len(m.Tests) == 0 {
		a.take(a.general(refer))
		return
	}
	effort := policy.Standard
	if e.options.Shallow {
		effort.Depth = 1
	}
	choice := m.Decide(effort)
	repairs := m.RepairCost()
	a.expect(m, choice, repairs)
	switch choice.Kind {
	case policy.DoTest:
		t := m.tests[choice.Index]
		step := a.checkStep(t.check, t.minutes)
		a.take(step)
	case policy.DoAct:
		x := m.acts[choice.Index]
		if x.group != nil {
			a.take(a.searchStep(x.group, stopped))
			break
		}
		a.take(a.repairStep(x.repair, x.minutes))
	default:
		// Before giving up, what was put off is asked after all.
		if c := a.putOff(stopped); c != nil {
			a.take(a.checkStep(c, c.Minutes.For(string(d.c.Role))))
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
	case h.outcome != nil && h.outcome.Confirmed:
		return a.general(done), true
	case last == nil || !last.Fixed:
		return Step{}, false
	case last.Repair == verify || last.Repair == done || last.Repair == refer:
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

// forced is a step a hard rule takes.
type forced struct{ step Step }

// rules applies the hard safety rules: what may not be offered, and the step
// that one of them takes at once.
func (a *Assessment) rules() (stopped map[string]*kb.Rule, at *forced) {
	stopped = map[string]*kb.Rule{}
	for i := range a.desk.engine.kb.Rules {
		r := &a.desk.engine.kb.Rules[i]
		if !a.holds(r.When) {
			continue
		}
		for _, s := range r.Stops {
			stopped[s] = r
		}
		if r.Then != "" && at == nil {
			step := a.general(r.Then)
			step.Rule = r
			at = &forced{step}
		}
	}
	return stopped, at
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
	if answer == nil {
		return c.OrUnanswered
	}
	if len(c.Answers) == 0 {
		return answer.Choice != Unknown && answer.Choice != Later && answer.Choice != NotApplicable
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

// able tells whether the person may and can do a thing, and what getting the
// missing tools costs in minutes and money.
func (a *Assessment) able(roles, tools []string, onWire, digs bool, needs []kb.Condition, stopped map[string]*kb.Rule) (minutes, money float64, ok bool) {
	role := string(a.desk.c.Role)
	if len(roles) > 0 && !slices.Contains(roles, role) ||
		onWire && stopped["wire-work"] != nil || digs && stopped["digging"] != nil || !a.all(needs) {
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
		if g.kind == string(faultmodel.Open) && a.Where != nil && a.Where.TwoBreaks {
			g.place = a.Where.Belief
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
	minutes, money, ok := a.able(tap.Roles, tap.Tools, tap.OnWire, tap.Digs, tap.Needs, stopped)
	if !ok {
		return
	}
	rate := a.desk.engine.perMinute(a.desk.c.Role)
	planner := a.desk.Planner()
	for i := range a.groups {
		g := &a.groups[i]
		if g.p < negligible {
			continue
		}
		cost := planner.Value(g.place) + money + minutes*rate
		var ends policy.Hypothesis
		for _, c := range g.causes {
			ends |= policy.Of(c)
		}
		add(act{group: g, minutes: cost / rate}, cost, ends)
		add(act{group: g, minutes: cost / rate, second: true}, cost, policy.Of(second(i)))
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
		minutes, money, ok := a.able(r.Roles, r.Tools, r.OnWire, r.Digs, r.Needs, stopped)
		if !ok || a.tried(r) {
			continue
		}
		minutes += r.Minutes.For(string(a.desk.c.Role))
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
			add(act{repair: r, minutes: minutes}, cost, ends)
		}
	}
}

// tried tells whether a repair was done already in this case without success:
// it is not offered twice in a row of evidence that has not moved.
func (a *Assessment) tried(r *kb.Repair) bool {
	last := a.belief.h.last()
	return last != nil && !last.Fixed && a.desk.engine.repair(last.Repair) == r
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
	for i := range e.kb.Checks {
		c := &e.kb.Checks[i]
		if c.Kind == kb.Tap || a.belief.h.asked[c.ID] || a.belief.h.later[c.ID] {
			continue
		}
		minutes, money, ok := a.able(c.Roles, c.Tools, c.OnWire, c.Digs, c.Needs, stopped)
		if !ok {
			continue
		}
		minutes += c.Minutes.For(string(a.desk.c.Role))
		outcomes := a.outcomes(m, c)
		if outcomes == nil {
			continue
		}
		m.tests = append(m.tests, test{c, minutes})
		m.Tests = append(m.Tests, policy.Test{Cost: minutes*rate + money, Outcomes: outcomes})
	}
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
			out[k].ActCost = a.narrowed(m, func(x float64) locate.Evidence {
				return locate.Stretch{FromM: x, ToM: x, Share: c.PlaceShare.Value,
					SpreadM: c.SpreadFt.Value * quantity.MPerFt, LengthM: a.belief.axis.LengthM}
			})
		}
	}
	return out
}

// looks is how many places stand for all a place might turn out to be.
const looks = 3

// narrowed is the price of each act when evidence of a place comes in, averaged
// over where it may point: quantiles of the group's belief.
func (a *Assessment) narrowed(m *problem, at func(xM float64) locate.Evidence) []float64 {
	cost := make([]float64, len(m.Acts))
	for i := range cost {
		cost[i] = m.Acts[i].Cost
	}
	planner := a.desk.Planner()
	logL := make([]float64, a.belief.axis.Cells)
	for i, x := range m.acts {
		if x.group == nil || x.second || x.group.p < negligible {
			continue
		}
		var sum float64
		for q := range looks {
			ev := at(quantile(x.group.place, (float64(q)+0.5)/looks))
			for k, mid := range a.belief.mids {
				logL[k] = ev.At(faultmodel.Kind(x.group.kind), mid)
			}
			after, _ := x.group.place.Update(logL)
			sum += planner.Value(after)
		}
		saved := planner.Value(x.group.place) - sum/looks
		cost[i] = max(0.01, cost[i]-max(0, saved))
	}
	return cost
}

// traceOutcomes are "lost it somewhere", which places a break, and "heard it all
// the way", which speaks against one.
func (a *Assessment) traceOutcomes(m *problem, c *kb.Check) []policy.Outcome {
	length := a.belief.axis.LengthM
	trace := func(x float64) locate.Evidence {
		return locate.Trace{AtM: x, End: locate.EndA, SpreadM: c.SpreadFt.Value * quantity.MPerFt, MissProb: 1 - c.PlaceShare.Value, LengthM: length}
	}
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
	lost.ActCost = a.narrowed(m, trace)
	return []policy.Outcome{lost, heard}
}

// readingBins is into how many ranges a reading is cut to weigh it beforehand.
const readingBins = 5

// readingOutcomes cuts what a meter might show into ranges of about equal
// chance under the present belief, with over-range apart, and weighs each.
func (a *Assessment) readingOutcomes(m *problem, c *kb.Check) []policy.Outcome {
	b := a.belief
	q := faultmodel.Quantity(c.Quantity)
	type shape struct {
		at []faultmodel.Predictive
		w  []float64
	}
	shapes := map[int]*shape{} // by cause
	of := func(cause int) *shape {
		if s := shapes[cause]; s != nil {
			return s
		}
		s := &shape{}
		kind := faultmodel.Kind(b.space.causes[cause].Kind)
		if b.place[cause] == nil || kind == faultmodel.Healthy {
			s.at, s.w = []faultmodel.Predictive{b.model.Predict(q, faults(kind, 0)...)}, []float64{1}
		} else {
			for i := range looks {
				x := quantile(*b.place[cause], (float64(i)+0.5)/looks)
				s.at = append(s.at, b.model.Predict(q, faults(kind, x)...))
				s.w = append(s.w, 1.0/looks)
			}
		}
		shapes[cause] = s
		return s
	}
	// A pair is weighed by the one of its causes that moves the reading more:
	// the one less like a sound loop.
	sound := b.model.Predict(q)
	seen := make([]int, len(m.hyps))
	for i, h := range m.hyps {
		hyp := b.space.hyps[h]
		seen[i] = hyp.a
		if hyp.b >= 0 && distance(of(hyp.b).at[0], sound) > distance(of(hyp.a).at[0], sound) {
			seen[i] = hyp.b
		}
	}
	chance := func(s *shape, lo, hi float64) float64 {
		var p float64
		for i := range s.at {
			p += s.w[i] * s.at[i].Probability(lo, hi)
		}
		return p
	}
	// Edges: quantiles of the predictive mixture.
	edges := []float64{0}
	var over float64
	for i := range m.hyps {
		s := of(seen[i])
		for k := range s.at {
			over += m.P[i] * s.w[k] * s.at[k].OverRange
		}
	}
	mixture := func(hi float64) float64 {
		var p float64
		for c, s := range shapes {
			var w float64
			for i := range m.hyps {
				if seen[i] == c {
					w += m.P[i]
				}
			}
			if w > 0 {
				p += w * chance(s, 0, hi)
			}
		}
		return p
	}
	for k := 1; k < readingBins; k++ {
		edges = append(edges, invert(mixture, (1-over)*float64(k)/readingBins))
	}
	edges = append(edges, math.Inf(1))

	out := make([]policy.Outcome, 0, readingBins+1)
	for k := 0; k+1 < len(edges); k++ {
		if edges[k+1] <= edges[k] {
			continue
		}
		p := make([]float64, len(m.hyps))
		for i := range p {
			p[i] = chance(of(seen[i]), edges[k], edges[k+1])
		}
		out = append(out, policy.Outcome{P: p, ActCost: a.afterReading(m, q, edges[k], edges[k+1])})
	}
	beyond := make([]float64, len(m.hyps))
	for i := range beyond {
		beyond[i] = 1
		for _, o := range out {
			beyond[i] -= o.P[i]
		}
		beyond[i] = max(0, beyond[i])
	}
	return append(out, policy.Outcome{P: beyond})
}

// afterReading is the price of each act when a reading falls into a range: a
// reading that depends on the place makes the search cheaper.
func (a *Assessment) afterReading(m *problem, q faultmodel.Quantity, lo, hi float64) []float64 {
	b := a.belief
	cost := make([]float64, len(m.Acts))
	planner := a.desk.Planner()
	for i := range cost {
		cost[i] = m.Acts[i].Cost
		x := m.acts[i]
		if x.group == nil || x.second {
			continue
		}
		const coarse = 24
		like := make([]float64, coarse)
		flat := true
		for k := range like {
			at := (float64(k) + 0.5) / coarse * b.axis.LengthM
			like[k] = math.Log(b.model.Predict(q, faults(faultmodel.Kind(x.group.kind), at)...).Probability(lo, hi) + 1e-9)
			flat = flat && math.Abs(like[k]-like[0]) < 0.05
		}
		if flat {
			continue
		}
		logL := make([]float64, b.axis.Cells)
		for c := range logL {
			f := (float64(c)+0.5)/float64(b.axis.Cells)*coarse - 0.5
			k := min(max(int(math.Floor(f)), 0), coarse-2)
			t := min(max(f-float64(k), 0), 1)
			logL[c] = (1-t)*like[k] + t*like[k+1]
		}
		after, _ := x.group.place.Update(logL)
		cost[i] = max(0.01, cost[i]+planner.Value(after)-planner.Value(x.group.place))
	}
	return cost
}

// distance is how far apart two predictions lie, in standard deviations of ln
// value; over-range against a value is far.
func distance(p, q faultmodel.Predictive) float64 {
	if (p.OverRange > 0.5) != (q.OverRange > 0.5) {
		return 100
	}
	m1, m2 := math.Log(p.Quantile(0.5*(1-p.OverRange))), math.Log(q.Quantile(0.5*(1-q.OverRange)))
	if math.IsNaN(m1 - m2) {
		return 0
	}
	return math.Abs(m1 - m2)
}

// invert finds x with f(x) = want for a rising f, over the range of any reading.
func invert(f func(float64) float64, want float64) float64 {
	lo, hi := math.Log(1e-14), math.Log(1e12)
	for range 60 {
		mid := (lo + hi) / 2
		if f(math.Exp(mid)) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp(hi)
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
func (a *Assessment) searchStep(g *group, stopped map[string]*kb.Rule) Step {
	e := a.desk.engine
	here := math.NaN()
	for i := len(a.log) - 1; i >= 0; i-- {
		if ans := a.log[i].Answer; ans != nil && ans.AtM != nil {
			here = *ans.AtM
			break
		}
	}
	var plan locate.Plan
	if g.kind == string(faultmodel.Open) && a.Where != nil && a.Where.TwoBreaks && a.belief.pairs != nil {
		plan = a.desk.Planner().PlanPair(a.belief.pairs.belief, here)
	} else {
		plan = a.desk.Planner().Plan(g.place, here)
	}
	g.plan = &plan
	a.Plan = &plan
	act := plan.Next
	s := Step{Minutes: act.Minutes, Cost: act.Money}
	if s.Minutes == 0 {
		s.Minutes, s.Cost = plan.Expected.Minutes, plan.Expected.Money
	}
	point := func(v float64) *float64 { return &v }
	switch act.Kind {
	case locate.ActReplace:
		s.Kind, s.ID, s.Repair = NextReplaceSection, replaceSection, e.kb.Repair(replaceSection)
		s.FromM, s.ToM = point(act.FromM), point(act.ToM)
	case locate.ActOpen:
		cause := e.kb.Causes[g.likely].ID
		s.Kind, s.ID, s.Repair = NextRepair, "repair:"+cause, e.repair(cause)
		s.FromM, s.ToM, s.AtM = point(act.FromM), point(act.ToM), point((act.FromM+act.ToM)/2)
	default:
		s.Kind, s.ID, s.Check = NextTap, "tap", a.tapCheck()
		s.AtM = point(act.AtM)
	}
	return s
}

// putOff is the cheapest check that was answered "later" and can be asked now.
func (a *Assessment) putOff(stopped map[string]*kb.Rule) *kb.Check {
	var best *kb.Check
	for i := range a.desk.engine.kb.Checks {
		c := &a.desk.engine.kb.Checks[i]
		if !a.belief.h.later[c.ID] {
			continue
		}
		if _, _, ok := a.able(c.Roles, c.Tools, c.OnWire, c.Digs, c.Needs, stopped); !ok {
			continue
		}
		if role := string(a.desk.c.Role); best == nil || c.Minutes.For(role) < best.Minutes.For(role) {
			best = c
		}
	}
	return best
}

// expect fills in what the case will still take.
func (a *Assessment) expect(m *problem, choice policy.Decision, repairs float64) {
	rate := a.desk.engine.perMinute(a.desk.c.Role)
	a.Expected.Cost = choice.Cost
	// Minutes: the same plan of repairs priced in time alone, scaled by what
	// asking saves.
	timed := m.Problem
	timed.Acts = slices.Clone(m.Acts)
	for i := range timed.Acts {
		timed.Acts[i].Cost = max(m.acts[i].minutes, 0.01)
	}
	timed.GiveUp = a.desk.engine.kb.Settings.ReferMinutes.For(string(a.desk.c.Role))
	a.Expected.Minutes = timed.RepairCost()
	if repairs > 0 {
		a.Expected.Minutes *= min(1, choice.Cost/repairs)
	}
	a.Expected.Minutes = min(a.Expected.Minutes, choice.Cost/rate)
	for i := range a.groups {
		g := &a.groups[i]
		if g.plan == nil && g.p > positionMatters && slices.ContainsFunc(m.acts, func(x act) bool { return x.group == g }) {
			plan := a.desk.Planner().Plan(g.place, math.NaN())
			g.plan = &plan
		}
		if g.plan != nil {
			a.Expected.Taps += g.p * g.plan.Expected.Taps
		}
	}
}
