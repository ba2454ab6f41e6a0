package locate

import "math"

// pairSearch is [search] where there may be one fault or two. A tap read both
// ways has three answers: the faults are all before it, all after it, or one on
// each side, which parts the problem into two of one fault each.
//
// Two faults lie in segments i <= j with probability first[i] second[j], or
// same[i] for i = j. With that product the two parts of a split are independent
// of each other, so that the values of the two single searches add up.
type pairSearch struct {
	one           search    // a single fault: its mass, and all prices
	first, second []float64 // n, weights of the earlier and the later of two
	same          []float64 // n, probability of both in one segment
	leafPair      []float64 // as one.leaf, where two faults may be inside; nil is one.leaf

	earlier, later search // single searches with weights first and second

	value    []float64 // fromLeft and fromRight as in search, [i*(n+1)+j]
	valueR   []float64
	cut      []int32
	cutR     []int32
	sumFirst []float64 // n+1 running sums
	sumSec   []float64
	sumCross []float64
}

// prepare fills in the searches for one fault on each side.
func (p *pairSearch) prepare() {
	n := p.one.n
	N := n + 1
	for _, s := range []struct {
		s *search
		w []float64
	}{{&p.earlier, p.first}, {&p.later, p.second}} {
		s.s.reset(n)
		copy(s.s.cost, p.one.cost)
		copy(s.s.leaf, p.one.leaf)
		if p.one.walk == nil {
			s.s.walk = nil
		} else {
			copy(s.s.walk, p.one.walk)
		}
		s.s.found, s.s.miss = p.one.found, p.one.miss
		copy(s.s.newEnd, p.one.newEnd)
		s.s.spread(s.w, make([]float64, N))
		s.s.solve()
	}
	for i := range n {
		for j := i + 1; j <= n; j++ {
			p.one.stretch[i*N+j] = [2]int32{int32(i), int32(j)}
		}
	}
	p.sumFirst, p.sumSec, p.sumCross = make([]float64, N), make([]float64, N), make([]float64, N)
	for i := range n {
		p.sumFirst[i+1] = p.sumFirst[i] + p.first[i]
		p.sumSec[i+1] = p.sumSec[i] + p.second[i]
		// What second faults at or before segment i take away from first[i], less those in the same segment.
		p.sumCross[i+1] = p.sumCross[i] + p.first[i]*p.sumSec[i+1] - p.same[i]
	}
}

// pairWithin is the probability of two faults, both between spots i and j.
func (p *pairSearch) pairWithin(i, j int) float64 {
	return max((p.sumFirst[j]-p.sumFirst[i])*p.sumSec[j]-(p.sumCross[j]-p.sumCross[i]), 0)
}

// split is the cost of going on when spot k showed one fault on each side.
func (p *pairSearch) split(i, k, j int) float64 {
	f, s := p.sumFirst[k]-p.sumFirst[i], p.sumSec[j]-p.sumSec[k]
	if f <= 0 || s <= 0 {
		return 0
	}
	apart := p.earlier.right(i, k)*s + p.later.left(k, j)*f
	return min(apart, f*s*p.one.leaf[i*(p.one.n+1)+j])
}

// solve fills the tables.
func (p *pairSearch) solve() {
	p.prepare()
	n, N := p.one.n, p.one.n+1
	p.value, p.valueR = make([]float64, N*N), make([]float64, N*N)
	p.cut, p.cutR = make([]int32, N*N), make([]int32, N*N)
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j <= n; j++ {
			l, cutL := p.at(i, j, p.walkRow(i))
			r, cutR := p.at(i, j, p.walkRow(j))
			p.value[i*N+j], p.valueR[i*N+j] = l, r
			p.cut[i*N+j], p.cutR[i*N+j] = int32(cutL), int32(cutR)
		}
	}
}

func (p *pairSearch) walkRow(i int) []float64 {
	if p.one.walk == nil {
		return nil
	}
	N := p.one.n + 1
	return p.one.walk[i*N : i*N+N]
}

// at is the least cost over all between spots i and j, and the spot to test
// first, for a person from whom the walk to each spot is from (nil: free).
func (p *pairSearch) at(i, j int, from []float64) (float64, int) {
	N := p.one.n + 1
	m1, m2 := p.one.within(i, j), p.pairWithin(i, j)
	m := m1 + m2
	if m == 0 {
		return 0, leafCut
	}
	leaf := p.one.leaf[i*N+j]
	leafPair := leaf
	if p.leafPair != nil {
		leafPair = p.leafPair[i*N+j]
	}
	best, cut := 0.0, leafCut
	if m1 > 0 {
		best += m1 * leaf
	}
	if m2 > 0 {
		best += m2 * leafPair
	}
	for k := i + 1; k < j; k++ {
		v := m*p.one.cost[k] + p.valueR[i*N+k] + p.value[k*N+j] + p.split(i, k, j) +
			p.one.found*(p.one.after[k]-p.one.before[k])
		if from != nil {
			v += m * from[k]
		}
		if v < best {
			best, cut = v, k
		}
	}
	return best, cut
}

// productForm finds weights first and second with first[i] second[j] for i < j
// (and i == j) as near as may be to the joint probability pair[i*n+j], by
// matching both its marginals in turn (iterative proportional fitting). Where
// the pair is a product restricted to i <= j the fit is exact.
func productForm(pair []float64, n int) (first, second, same []float64) {
	first, second, same = make([]float64, n), make([]float64, n), make([]float64, n)
	row, col := make([]float64, n), make([]float64, n)
	for i := range n {
		same[i] = pair[i*n+i]
		for j := i + 1; j < n; j++ {
			row[i] += pair[i*n+j]
			col[j] += pair[i*n+j]
		}
	}
	for i := range n {
		if col[i] > 0 {
			second[i] = 1
		}
	}
	for range 60 {
		tail, change := 0.0, 0.0
		for i := n - 1; i >= 0; i-- {
			f := 0.0
			if tail > 0 {
				f = row[i] / tail
			}
			if first[i] > 0 {
				change = max(change, math.Abs(f/first[i]-1))
			} else if f > 0 {
				change = 1
			}
			first[i] = f
			tail += second[i]
		}
		head := 0.0
		for j := range n {
			second[j] = 0
			if head > 0 {
				second[j] = col[j] / head
			}
			head += first[j]
		}
		if change < 1e-9 {
			break
		}
	}
	return first, second, same
}
