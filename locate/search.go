package locate

import "math"

// search is the bare problem behind a plan: a fault in one of n segments or at
// one of the spots between them, spots that can be tested at a price, and a
// price for ending the search by replacing everything between two spots.
//
// Spots are numbered 0 to n; 0 and n are the ends of the stretch and cannot be
// tested. Testing spot k tells whether the fault lies before it, after it, or,
// with the spot's own mass, right there (an old splice that is opened): then
// the search is over. With M(i,j) the probability strictly between spots i and
// j, the least expected cost of going on from there, not divided by M, is
//
//	V(i,j) = min( M(i,j) leaf(i,j),
//	              min over k of M(i,j) (cost(k) + walk(here,k)) + V(i,k) + atom(k) found + V(k,j) )
//
// The person stands at one end of the interval, at the spot tested last, so
// there are two values for each interval. This is the optimal search tree with
// keys and gaps (Knuth 1971) with a cost to each key, travel and a stop; with
// these its root need no longer move monotonically, so every k is tried: O(n^3).
type search struct {
	n      int
	before []float64 // n+1: probability before the spot
	after  []float64 // n+1: the same with the spot's own
	cost   []float64 // n+1: of testing the spot, travel apart; +Inf cannot be tested
	found  float64   // cost that remains when the spot itself was the fault
	beyond float64   // what a test costs more when the fault turns out to lie after the spot
	leaf   []float64 // (n+1)^2, [i*(n+1)+j]: replacing from spot i to spot j; +Inf is not allowed
	walk   []float64 // (n+1)^2, symmetric; nil is free

	fromLeft  []float64 // V standing at the left end, at [j*(n+1)+i]
	fromRight []float64 // V standing at the right end, at [i*(n+1)+j]
	cutLeft   []int32   // the spot to test; leafCut to replace
	cutRight  []int32
}

const leafCut = -1

// reset sizes the problem for n segments and reuses what memory there is.
func (s *search) reset(n int) {
	N := n + 1
	s.n = n
	grow := func(v []float64, n int) []float64 {
		if cap(v) < n {
			return make([]float64, n)
		}
		return v[:n]
	}
	s.before, s.after, s.cost = grow(s.before, N), grow(s.after, N), grow(s.cost, N)
	s.leaf, s.walk = grow(s.leaf, N*N), grow(s.walk, N*N)
	s.fromLeft, s.fromRight = grow(s.fromLeft, N*N), grow(s.fromRight, N*N)
	if cap(s.cutLeft) < N*N {
		s.cutLeft, s.cutRight = make([]int32, N*N), make([]int32, N*N)
	}
	s.cutLeft, s.cutRight = s.cutLeft[:N*N], s.cutRight[:N*N]
}

// spread sets before and after from the mass of the n segments and n+1 spots.
func (s *search) spread(segment, atom []float64) {
	sum := 0.0
	for k := range s.n + 1 {
		s.before[k] = sum
		sum += atom[k]
		s.after[k] = sum
		if k < s.n {
			sum += segment[k]
		}
	}
}

// within is M(i,j).
func (s *search) within(i, j int) float64 { return max(s.before[j]-s.after[i], 0) }

func (s *search) left(i, j int) float64  { return s.fromLeft[j*(s.n+1)+i] }
func (s *search) right(i, j int) float64 { return s.fromRight[i*(s.n+1)+j] }

// solve fills the tables.
func (s *search) solve() {
	N := s.n + 1
	cheapest, cheapestLeaf := math.Inf(1), s.found
	for k := 1; k < s.n; k++ {
		cheapest = min(cheapest, s.cost[k])
	}
	for i := range s.n {
		cheapestLeaf = min(cheapestLeaf, s.leaf[i*N+i+1])
	}
	for i := s.n - 1; i >= 0; i-- {
		rightRow := s.fromRight[i*N : i*N+N]
		for j := i + 1; j <= s.n; j++ {
			m := s.within(i, j)
			leftRow := s.fromLeft[j*N : j*N+N]
			leaf := s.leaf[i*N+j]
			bestL, bestR := m*leaf, m*leaf
			if m == 0 {
				bestL, bestR = 0, 0
			}
			cutL, cutR := int32(leafCut), int32(leafCut)
			// One more test and the cheapest end that could follow already cost
			// more than replacing: no need to look.
			if m > 0 && leaf > cheapest+cheapestLeaf {
				cost := s.cost[:j]
				rr, lr := rightRow[:j], leftRow[:j]
				if s.walk == nil {
					for k := i + 1; k < j; k++ {
						v := rr[k] + lr[k] + m*cost[k] + s.found*(s.after[k]-s.before[k])
						if v < bestL {
							bestL, cutL = v, int32(k)
						}
					}
					bestR, cutR = bestL, cutL
				} else {
					wl, wr := s.walk[i*N:i*N+j], s.walk[j*N:j*N+j]
					for k := i + 1; k < j; k++ {
						v := rr[k] + lr[k] + m*cost[k] + s.found*(s.after[k]-s.before[k])
						if l := v + m*wl[k]; l < bestL {
							bestL, cutL = l, int32(k)
						}
						if r := v + m*wr[k]; r < bestR {
							bestR, cutR = r, int32(k)
						}
					}
				}
			}
			// Standing at the left end means having come past it.
			leftRow[i], rightRow[j] = bestL+s.beyond*m, bestR
			s.cutLeft[j*N+i], s.cutRight[i*N+j] = cutL, cutR
		}
	}
}

// root is the least cost over all between spots i and j for a person elsewhere,
// not divided by M, and the spot to test first or leafCut. from is the walk from
// that person to each spot; nil is free.
func (s *search) root(i, j int, from []float64) (float64, int) {
	m := s.within(i, j)
	best, cut := m*s.leaf[i*(s.n+1)+j], leafCut
	for k := i + 1; k < j; k++ {
		v := m*s.cost[k] + s.right(i, k) + s.found*(s.after[k]-s.before[k]) + s.left(k, j)
		if from != nil {
			v += m * from[k]
		}
		if v < best {
			best, cut = v, k
		}
	}
	return best, cut
}

// edgeLeaf is the probability that the search between spots i and j, begun at
// i's end, ends with the stretch at its left or right end.
func (s *search) edgeLeaf(i, j int, leftEnd bool) float64 {
	N := s.n + 1
	k := s.cutLeft[j*N+i]
	for k != leafCut {
		if leftEnd {
			j = int(k)
			k = s.cutRight[i*N+j]
		} else {
			i = int(k)
			k = s.cutLeft[j*N+i]
		}
	}
	return s.within(i, j)
}
