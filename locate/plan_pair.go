package locate

import "math"

// pairSpots is the number of spots for two breaks: each split needs two single
// searches behind it, and 48 keep the whole below 10 ms.
const pairSpots = 48

// PlanPair is [Planner.Plan] for two breaks. When a tap shows both sides broken
// the plan parts in two; after each repair the end-to-end check says whether to go on.
func (p *Planner) PlanPair(b PairBelief, hereM float64, opts ...Option) Plan {
	var o options
	for _, f := range opts {
		f(&o)
	}
	if math.IsNaN(hereM) {
		hereM = 0
	}
	s, w := p.pairProblem(b, &o)
	s.solve()
	_, k := s.at(0, s.one.n, p.walksFrom(w, hereM))
	t := pairTree{treeBuilder{p: p, o: &o, spots: w.spots, s: &s.one}, s}
	t.total = s.one.within(0, s.one.n) + s.pairWithin(0, s.one.n)
	plan := Plan{Repeats: p.noise.lead, Tree: t.node(0, s.one.n, k, hereM)}
	return t.finish(plan, hereM)
}

// ValuePair is [Planner.Value] for two breaks; it takes as long as a plan.
func (p *Planner) ValuePair(b PairBelief, opts ...Option) float64 {
	var o options
	for _, f := range opts {
		f(&o)
	}
	s, _ := p.pairProblem(b, &o)
	s.solve()
	return s.value[s.one.n] / max(s.one.within(0, s.one.n)+s.pairWithin(0, s.one.n), 1e-300)
}

// pairProblem states the search for two breaks on a coarse choice of spots.
func (p *Planner) pairProblem(b PairBelief, o *options) (*pairSearch, *workspace) {
	axis := NewAxis(p.lines.site.LengthM, p.lines.site.StepM)
	left, right := b.Left(axis), b.Right(axis)
	share := 0.0 // of a single fault
	single := Belief{Axis: axis, P: make([]float64, axis.Cells)}
	if o.single != nil {
		share = o.share
		for i := range single.P {
			single.P[i] = share * o.single.Mass(axis.Edge(i), axis.Edge(i+1))
		}
	}
	either := Belief{Axis: axis, P: make([]float64, axis.Cells)}
	for i := range either.P {
		either.P[i] = single.P[i] + (1-share)*(left.P[i]+right.P[i])/2
	}
	w := new(workspace)
	w.cumulate(either)
	lo, hi := p.support(w, axis, 1e-6)
	w.spots = p.choose(w, axis, lo, hi, pairSpots, spliceSpots/4, nil)
	w.cumulate(single)
	p.place(o)
	o.cover = true // a wrong end with two breaks is not reckoned with
	p.fill(w, axis, o)

	n := len(w.spots) - 1
	pair := make([]float64, n*n)
	b.onto(pair, n, func(k int) float64 { return p.lines.xM[w.spots[k]] })
	for i := range pair {
		pair[i] *= 1 - share
	}
	s := &pairSearch{one: w.s}
	s.first, s.second, s.same = productForm(pair, n)
	return s, w
}

// pairTree builds nodes with the third answer.
type pairTree struct {
	treeBuilder
	pair *pairSearch
}

func (t *pairTree) node(i, j, k int, hereM float64) *Node {
	p := t.pair
	m := p.one.within(i, j) + p.pairWithin(i, j)
	if m <= 1e-15*t.total {
		return nil
	}
	n := t.head(i, j, k, m, hereM)
	if n.Replace != nil {
		return n
	}
	N := p.one.n + 1
	n.ABroken = t.node(i, k, int(p.cutR[i*N+k]), n.AtM)
	n.BBroken = t.node(k, j, int(p.cut[k*N+j]), n.AtM)
	f, s := p.sumFirst[k]-p.sumFirst[i], p.sumSec[j]-p.sumSec[k]
	if both := f * s / t.total; both > 1e-12 {
		if p.earlier.right(i, k)*s+p.later.left(k, j)*f > f*s*p.one.leaf[i*N+j] {
			n.Both = []*Node{{FromM: n.FromM, ToM: n.ToM, Probability: both, Replace: t.leaf(i, j, both)}}
			return n
		}
		// Each side is a search for one fault, every node of it reached with the
		// probability of the split.
		a := treeBuilder{p: t.p, o: t.o, spots: t.spots, s: &p.earlier, total: f / both}
		c := treeBuilder{p: t.p, o: t.o, spots: t.spots, s: &p.later, total: s / both}
		n.Both = []*Node{
			a.node(i, k, int(p.earlier.cutRight[i*N+k]), n.AtM),
			c.node(k, j, int(p.later.cutLeft[j*N+k]), n.AtM),
		}
		t.sum.add(1, a.sum)
		t.sum.add(1, c.sum)
	}
	return n
}
