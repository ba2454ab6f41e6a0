package policy

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"sync"
)

// Effort bounds the look-ahead.
type Effort struct {
	Depth   int // steps ahead: 0 never asks, 1 is one test and then repair
	Breadth int // how many tests are followed deeper than one step at each node
	// Inner is how many tests are weighed at nodes below the first; the first
	// weighs all. The best by one step are the ones kept.
	Inner int
	// Acts is how many acts are tried first at each node, in the order of repair.
	Acts int
}

// Standard is enough for a full knowledge base within 20 ms. Small problems are
// searched deeper at the same price; see [EffortFor].
var Standard = Effort{Depth: 2, Breadth: 6, Inner: 10, Acts: 1}

// EffortFor gives the look-ahead for a number of tests: the fewer there are, the
// deeper.
func EffortFor(tests int) Effort {
	if tests <= 8 {
		return Effort{Depth: 3, Breadth: 8, Inner: 8, Acts: 3}
	}
	return Standard
}

// tieShare is how much dearer than the best a step may be and still count as
// tied with it: below the error of any of the numbers that went in.
const tieShare = 0.01

// Decide returns the step with the least expected total cost. Steps within
// one percent of the best are tied. Of tied steps one that ends something goes
// before one that only asks, and of two that ask the one that saves more by itself
// for what it costs: a quick look before a long walk, and what pays only by what
// may be asked afterwards last.
func (p *Problem) Decide(e Effort) Decision {
	options := p.Options(e)
	repair := p.RepairCost()
	rate := func(d Decision) float64 { return (repair - d.alone) / (p.Tests[d.Index].Cost + minTestCost) }
	best := options[0]
	for _, o := range options[1:] {
		if o.Cost > options[0].Cost*(1+tieShare) {
			break
		}
		asks, asked := o.Kind == DoTest, best.Kind == DoTest
		if asked && !asks || asks && asked && rate(o) > rate(best) {
			best = o
		}
	}
	return best
}

// minTestCost keeps a free test from an infinite rate, in money.
const minTestCost = 1e-3

// Options returns every step worth considering, cheapest whole job first. The
// first is the optimum as far as the look-ahead of e sees.
func (p *Problem) Options(e Effort) []Decision {
	s := newSearch(p, e)
	root := s.root()
	base := s.repair(root.mass, root.cost, 0)
	options := []Decision{base}
	if e.Depth > 0 {
		options = append(options, s.ahead(root, base, e.Depth, len(p.Tests))...)
	}
	slices.SortStableFunc(options, func(a, b Decision) int {
		return cmp.Or(cmp.Compare(a.Cost, b.Cost), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Index, b.Index))
	})
	return options
}

// RepairCost is the expected cost of repair without asking anything more.
func (p *Problem) RepairCost() float64 {
	s := newSearch(p, Effort{})
	root := s.root()
	return s.repair(root.mass, root.cost, 0).Cost
}

// Leg is one act of the repair order with the chance that it is reached.
type Leg struct {
	Act   int
	Reach float64
}

// Path is the order of repair without asking anything more, and the chance that
// the job ends by giving up.
func (p *Problem) Path() (legs []Leg, givenUp float64) {
	s := newSearch(p, Effort{})
	root := s.root()
	s.repair(root.mass, root.cost, 0)
	left := root.total
	for k, i := range s.order[:s.cut] {
		legs = append(legs, Leg{i, left / root.total})
		left = max(0, left-s.finished[k])
	}
	return legs, left / root.total
}

// node is a state of knowledge: unnormalised probabilities of the hypotheses
// still open, the price of each act, and what has been asked and done.
type node struct {
	mass  []float64
	total float64
	cost  []float64
	asked []bool
	done  Hypothesis // causes ended by acts already taken
	below bool       // not the first
}

type search struct {
	*Problem
	effort  Effort
	endedBy [][]int // acts that end each cause
	// scratch for repair, reused at every call
	score    []float64
	fresh    []Hypothesis // what of each act its score counts
	ranked   []int        // acts by score
	weight   [MaxCauses]float64
	order    []int
	finished []float64
	cut      int // how many acts of the order come before giving up
}

func newSearch(p *Problem, e Effort) *search {
	s := &search{Problem: p, effort: e}
	s.endedBy = make([][]int, MaxCauses)
	for i, a := range p.Acts {
		for h := uint64(a.Ends); h != 0; h &= h - 1 {
			c := bits.TrailingZeros64(h)
			s.endedBy[c] = append(s.endedBy[c], i)
		}
	}
	s.score = make([]float64, len(p.Acts))
	s.fresh = make([]Hypothesis, len(p.Acts))
	s.ranked = make([]int, len(p.Acts))
	for i := range s.ranked {
		s.ranked[i] = i
	}
	s.order = make([]int, len(p.Acts))
	s.finished = make([]float64, len(p.Acts))
	return s
}

func (s *search) root() node {
	n := node{mass: s.P, asked: make([]bool, len(s.Tests)), cost: make([]float64, len(s.Acts))}
	for i, a := range s.Acts {
		n.cost[i] = a.Cost
	}
	for _, m := range n.mass {
		n.total += m
	}
	return n
}

// repair is the best order of acts without further tests, cut where giving up
// is cheaper. mass need not be normalised; the cost returned is for its total,
// that is cost times total mass, so that branches add up. Causes in done have
// ended already.
func (s *search) repair(mass, cost []float64, done Hypothesis) Decision {
	// A cause's weight is the mass it stands in, shared among the causes that
	// must end together: the numerator of probability over cost.
	clear(s.weight[:])
	var total float64
	for i, m := range mass {
		if m == 0 {
			continue
		}
		total += m
		h := uint64(s.Hypotheses[i] &^ done)
		share := m
		if n := bits.OnesCount64(h); n > 1 {
			share = m / float64(n)
		}
		for ; h != 0; h &= h - 1 {
			s.weight[bits.TrailingZeros64(h)] += share
		}
	}
	// Take the act with the most fresh weight for its cost, again and again: scores
	// only fall, so that one still up to date at the head of the ranking is the best.
	// ends says at which place of the order each cause ends.
	var ends [MaxCauses]int8
	for i := range ends {
		ends[i] = -1
	}
	for i := range s.Acts {
		s.fresh[i] = s.Acts[i].Ends &^ done
		s.score[i] = s.worth(s.fresh[i]) / cost[i]
	}
	s.rank()
	order := s.order[:0]
	rest := total // weight of the causes not ended
	for k, ended := 0, done; k < len(s.ranked) && rest > total*rare; k++ {
		next := s.ranked[k]
		if fresh := s.Acts[next].Ends &^ ended; fresh != s.fresh[next] {
			// It is worth less by now, and others may go first.
			s.fresh[next] = fresh
			s.score[next] = s.worth(fresh) / cost[next]
			if s.sink(k) {
				k--
				continue
			}
		}
		if s.score[next] == 0 {
			break
		}
		ended |= s.fresh[next]
		for h := uint64(s.fresh[next]); h != 0; h &= h - 1 {
			c := bits.TrailingZeros64(h)
			rest -= s.weight[c]
			ends[c] = int8(len(order))
		}
		order = append(order, next)
	}
	s.order = order

	s.finished = s.finished[:len(order)]
	clear(s.finished)
	for i, m := range mass {
		if m == 0 {
			continue
		}
		last := int8(0)
		for h := uint64(s.Hypotheses[i] &^ done); h != 0; h &= h - 1 {
			e := ends[bits.TrailingZeros64(h)]
			if e < 0 {
				last = -1
				break
			}
			last = max(last, e)
		}
		if last >= 0 && len(order) > 0 {
			s.finished[last] += m
		}
	}

	// Walk the order; after each prefix the rest may be handed on.
	best := Decision{Kind: DoGiveUp, Index: -1, Cost: s.giveUp(total)}
	left, spent := total, 0.0
	s.cut = 0
	for k, i := range order {
		spent += cost[i] * left
		left = max(0, left-s.finished[k])
		if left < total*1e-12 {
			left = 0
		}
		if c := spent + s.giveUp(left); c < best.Cost {
			best = Decision{Kind: DoAct, Index: order[0], Cost: c}
			s.cut = k + 1
		}
	}
	return best
}

// rare is the share of the hypotheses at which the order of repair ends: what is
// left is given up, or would cost less than that.
const rare = 1e-6

// worth is the weight of some causes.
func (s *search) worth(causes Hypothesis) float64 {
	var w float64
	for h := uint64(causes); h != 0; h &= h - 1 {
		w += s.weight[bits.TrailingZeros64(h)]
	}
	return w
}

// rank sorts the acts by score, of equals the first first. It begins with the
// ranking of the last node, which is seldom much different.
func (s *search) rank() {
	for k := 1; k < len(s.ranked); k++ {
		i, at := s.ranked[k], k
		for ; at > 0 && s.before(i, s.ranked[at-1]); at-- {
			s.ranked[at] = s.ranked[at-1]
		}
		s.ranked[at] = i
	}
}

func (s *search) before(i, j int) bool {
	return s.score[i] > s.score[j] || s.score[i] == s.score[j] && i < j
}

// sink moves the act at k to behind those that now go before it, and tells whether
// there were any.
func (s *search) sink(k int) bool {
	i, at := s.ranked[k], k
	for ; at+1 < len(s.ranked) && s.before(s.ranked[at+1], i); at++ {
		s.ranked[at] = s.ranked[at+1]
	}
	s.ranked[at] = i
	return at > k
}

func (s *search) giveUp(mass float64) float64 {
	if mass == 0 {
		return 0
	}
	return s.GiveUp * mass
}

// bound is [Problem.Bound] for a node, times its mass.
func (s *search) bound(n node) float64 {
	var sum float64
	for i, m := range n.mass {
		if m == 0 {
			continue
		}
		sum += m * min(s.GiveUp, s.cover(s.Hypotheses[i]&^n.done, n.cost))
	}
	return sum
}

// cover is the least cost of ending every cause of h one act a cause, or by one act for all.
func (s *search) cover(h Hypothesis, cost []float64) float64 {
	var each float64
	whole := math.Inf(1)
	for first, rest := true, uint64(h); rest != 0; rest &= rest - 1 {
		least := math.Inf(1)
		for _, a := range s.endedBy[bits.TrailingZeros64(rest)] {
			least = min(least, cost[a])
			if first && h&^s.Acts[a].Ends == 0 {
				whole = min(whole, cost[a])
			}
		}
		each += least
		first = false
	}
	return min(each, whole)
}

// ahead weighs the tests, and the first acts of the repair order followed by more
// looking, down to a depth of at least 1. It follows the repair call that gave
// base, whose order it reads. Costs are times the node's mass.
func (s *search) ahead(n node, base Decision, depth, inner int) []Decision {
	acts := slices.Clone(s.order[:min(len(s.order), s.effort.Acts)]) // before s.repair is called again
	saving := base.Cost - s.bound(n)
	var options []Decision
	child := make([]float64, len(n.mass))
	for t := range s.Tests {
		test := &s.Tests[t]
		if n.asked[t] || test.Cost*n.total >= saving {
			continue
		}
		cost := test.Cost * n.total
		for o := range test.Outcomes {
			out := &test.Outcomes[o]
			s.posterior(child, n.mass, out.P)
			cost += s.repair(child, s.costAfter(n, out), n.done).Cost
		}
		options = append(options, Decision{Kind: DoTest, Index: t, Cost: cost, alone: cost})
	}
	if depth == 1 {
		return options
	}
	slices.SortStableFunc(options, func(a, b Decision) int { return cmp.Compare(a.Cost, b.Cost) })
	options = options[:min(len(options), inner)]
	// Deeper nodes weigh only the tests that did best here.
	narrow := make([]bool, len(s.Tests))
	for t := range narrow {
		narrow[t] = true
	}
	for _, o := range options[:min(len(options), s.effort.Inner)] {
		narrow[o.Index] = n.asked[o.Index]
	}
	wide := options[:min(len(options), s.effort.Breadth)]
	followed := make([]Decision, len(acts))
	s.each(n, len(wide)+len(acts), func(s *search, k int) {
		if k < len(wide) {
			wide[k].Cost = min(wide[k].Cost, s.testThenLook(n, wide[k].Index, narrow, depth))
		} else {
			followed[k-len(wide)] = s.actThenLook(n, acts[k-len(wide)], narrow, depth)
		}
	})
	return append(options, followed...)
}

// each does the branches of a node: at the first node side by side, each with a
// scratch of its own, below it one after the other.
func (s *search) each(n node, branches int, work func(s *search, k int)) {
	if n.below {
		for k := range branches {
			work(s, k)
		}
		return
	}
	var wait sync.WaitGroup
	for k := range branches {
		wait.Go(func() { work(newSearch(s.Problem, s.effort), k) })
	}
	wait.Wait()
}

// testThenLook is the cost of a test followed by more looking.
func (s *search) testThenLook(n node, t int, asked []bool, depth int) float64 {
	test := &s.Tests[t]
	cost := test.Cost * n.total
	asked = slices.Clone(asked)
	asked[t] = true
	for v := range test.Outcomes {
		out := &test.Outcomes[v]
		next := node{mass: make([]float64, len(n.mass)), asked: asked, cost: s.costAfter(n, out), done: n.done, below: true}
		next.total = s.posterior(next.mass, n.mass, out.P)
		cost += s.value(next, depth-1)
	}
	return cost
}

// actThenLook is the act followed, where the job is not over, by looking on.
func (s *search) actThenLook(n node, act int, asked []bool, depth int) Decision {
	next := node{mass: make([]float64, len(n.mass)), asked: asked, cost: n.cost, done: n.done | s.Acts[act].Ends, below: true}
	for i, m := range n.mass {
		if s.Hypotheses[i]&^next.done != 0 {
			next.mass[i] = m
			next.total += m
		}
	}
	return Decision{Kind: DoAct, Index: act, Cost: n.cost[act]*n.total + s.value(next, depth-1)}
}

// value is the least expected cost from a node, times its mass.
func (s *search) value(n node, depth int) float64 {
	if n.total == 0 {
		return 0
	}
	base := s.repair(n.mass, n.cost, n.done)
	best := base.Cost
	if depth > 0 {
		for _, o := range s.ahead(n, base, depth, s.effort.Inner) {
			best = min(best, o.Cost)
		}
	}
	return best
}

func (s *search) costAfter(n node, out *Outcome) []float64 {
	if out.ActCost == nil {
		return n.cost
	}
	return out.ActCost
}

// posterior writes mass times likelihood into dst and returns the sum.
func (s *search) posterior(dst, mass, likelihood []float64) float64 {
	var total float64
	for i, m := range mass {
		v := m * likelihood[i]
		dst[i] = v
		total += v
	}
	return total
}
