package locate

import "math"

// assemble reads the plan out of the solved search.
func (p *Planner) assemble(w *workspace, a Axis, hereM float64, o *options) Plan {
	s := &w.s
	_, k := s.root(0, s.n, p.walksFrom(w, hereM))
	t := treeBuilder{p: p, o: o, spots: w.spots, s: s, total: max(s.within(0, s.n), 1e-300)}
	plan := Plan{Repeats: p.noise.lead, Tree: t.node(0, s.n, k, hereM)}
	// What lies beyond the ends of the stretch pays for searching it, too.
	t.missed += max(w.below[a.Cells]-t.total, 0)
	return t.finish(plan, hereM)
}

// finish adds what a miss costs: the search from the beginning.
func (t *treeBuilder) finish(plan Plan, hereM float64) Plan {
	plan.Expected, plan.MissProb = t.sum, t.missed
	if plan.MissProb < 1e-12 {
		plan.MissProb = 0
	}
	if again := t.p.anew; plan.MissProb > 0 {
		// In proportion where a miss was reckoned dearer than a new search.
		dearer := 1.0
		if t.p.miss > 0 {
			dearer = t.s.missOr(t.p.miss) / t.p.miss
		}
		plan.Expected.add(plan.MissProb*dearer, again)
	}
	plan.Next = t.act(plan.Tree, hereM)
	plan.ReplaceNow = plan.Tree != nil && plan.Tree.Replace != nil
	return plan
}

// treeBuilder turns solved tables into nodes and adds up what they cost.
type treeBuilder struct {
	p     *Planner
	o     *options
	spots []int
	s     *search
	total float64

	sum    Expected
	missed float64 // probability that a stretch is replaced in vain
}

// node is the plan between spots i and j, with k tested next by a person at hereM.
func (t *treeBuilder) node(i, j, k int, hereM float64) *Node {
	m := t.s.within(i, j)
	if m <= 0 {
		return nil
	}
	n := t.head(i, j, k, m, hereM)
	if n.Replace != nil {
		return n
	}
	N := t.s.n + 1
	n.ABroken = t.node(i, k, int(t.s.cutRight[i*N+k]), n.AtM)
	n.BBroken = t.node(k, j, int(t.s.cutLeft[j*N+k]), n.AtM)
	return n
}

// head is a node of mass m without its branches: a leaf, or else the test at spot
// k, which may find the fault there.
func (t *treeBuilder) head(i, j, k int, m, hereM float64) *Node {
	l := t.p.lines
	n := &Node{FromM: l.xM[t.spots[i]], ToM: l.xM[t.spots[j]], Probability: m / t.total}
	if k == leafCut {
		n.Replace = t.leaf(i, j, n.Probability)
		return n
	}
	line := t.spots[k]
	n.AtM, n.AtSplice = l.xM[line], l.splice[line]
	here := t.s.after[k] - t.s.before[k]
	n.Here = here / m
	t.tap(line, n.Probability, hereM)
	t.sum.add(here/t.total, Expected{Minutes: l.costs.CheckMinutes, Money: t.s.found})
	return n
}

func (t *treeBuilder) tap(line int, probability, hereM float64) {
	p := t.p
	walk := p.lines.distanceM(hereM, p.lines.xM[line]) * p.lines.costs.WalkMinutesPerM
	t.sum.add(probability, Expected{
		Taps:       p.perTap,
		Minutes:    p.tapTime[line] + walk,
		Money:      p.tap[line] + walk*p.lines.costs.PerMinute,
		NewSplices: p.perTap * p.lines.joins[line],
	})
}

func (t *treeBuilder) leaf(i, j int, probability float64) *Act {
	r := t.s.stretch[i*(t.s.n+1)+j]
	ends := t.p.bareEnds(t.spots, int(r[0]), int(r[1]), t.o)
	if int(r[0]) > i {
		ends += t.p.bare(t.spots[r[0]], t.o)
	}
	if int(r[1]) < j {
		ends += t.p.bare(t.spots[r[1]], t.o)
	}
	if m := t.s.within(i, j); m > 0 {
		t.missed += probability * max(1-t.s.within(int(r[0]), int(r[1]))/m, 0)
	}
	i, j = int(r[0]), int(r[1])
	e := t.p.lines.end(t.spots[i], t.spots[j], ends)
	t.sum.add(probability, Expected{Minutes: e.minutes, Money: e.money, NewSplices: e.splices})
	return &Act{Kind: e.kind, FromM: t.p.lines.xM[t.spots[i]], ToM: t.p.lines.xM[t.spots[j]], Minutes: e.minutes, Money: e.money}
}

// act is the first step of a plan.
func (t *treeBuilder) act(n *Node, hereM float64) Act {
	if n == nil {
		return Act{}
	}
	if n.Replace != nil {
		return *n.Replace
	}
	l := t.p.lines
	line := min(max(int(math.Round(n.AtM/l.stepM)), 1), l.n-1)
	more := (t.p.noise.reads - 1) * l.costs.ReadMinutes
	walk := l.distanceM(hereM, n.AtM) * l.costs.WalkMinutesPerM
	return Act{
		Kind: ActTap, AtM: n.AtM, AtSplice: n.AtSplice,
		Minutes: l.minutes[line] + more + walk,
		Money:   l.money[line] + (more+walk)*l.costs.PerMinute,
	}
}
