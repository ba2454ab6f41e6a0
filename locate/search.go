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
// leaf(i,j) is the price of replacing from i to j, or, where that is cheaper, of
// replacing a shorter stretch inside and paying miss when the fault was not in it:
// the stretch to stop at is Kadane's run, the one of greatest sum of miss p - price.
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
	miss   float64   // cost of replacing a stretch that does not hold the fault; +Inf: never risked
	newEnd []float64 // n+1: what an end of such a stretch adds to its price where it is not i or j

	fromLeft  []float64 // V standing at the left end, at [j*(n+1)+i]
	fromRight []float64 // V standing at the right end, at [i*(n+1)+j]
	cutLeft   []int32   // the spot to test; leafCut to replace
	cutRight  []int32
	here      []float64  // found times the spot's own probability
	stretch   [][2]int32 // what to replace in [i*(n+1)+j], if it comes to that
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
	s.newEnd, s.here = grow(s.newEnd, N), grow(s.here, N)
	s.leaf, s.walk = grow(s.leaf, N*N), grow(s.walk, N*N)
	s.fromLeft, s.fromRight = grow(s.fromLeft, N*N), grow(s.fromRight, N*N)
	if cap(s.cutLeft) < N*N {
		s.cutLeft, s.cutRight = make([]int32, N*N), make([]int32, N*N)
	}
	s.cutLeft, s.cutRight = s.cutLeft[:N*N], s.cutRight[:N*N]
	if cap(s.stretch) < N*N {
		s.stretch = make([][2]int32, N*N)
	}
	s.stretch = s.stretch[:N*N]
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
		s.here[k] = s.found * (s.after[k] - s.before[k])
	}
	for i := range s.n {
		cheapestLeaf = min(cheapestLeaf, s.leaf[i*N+i+1])
	}
	for i := s.n - 1; i >= 0; i-- {
		rightRow := s.fromRight[i*N : i*N+N]
		for j := i + 1; j <= s.n; j++ {
			m := s.within(i, j)
			leftRow := s.fromLeft[j*N : j*N+N]
			whole := m * s.leaf[i*N+j]
			if m == 0 {
				whole = 0
			}
			bestL, bestR := whole, whole
			cutL, cutR := int32(leafCut), int32(leafCut)
			// One more test and the cheapest end that could follow already cost
			// more than replacing: no need to look.
			if m > 0 && whole > m*(cheapest+cheapestLeaf) {
				// Slices of one length, so that the loop checks no bounds.
				cost, here := s.cost[i+1:j], s.here[i+1:j]
				rr, lr := rightRow[i+1:j], leftRow[i+1:j]
				here, rr, lr = here[:len(cost)], rr[:len(cost)], lr[:len(cost)]
				first := int32(i + 1)
				if s.walk == nil {
					for k, c := range cost {
						if v := rr[k] + lr[k] + m*c + here[k]; v < bestL {
							bestL, cutL = v, first+int32(k)
						}
					}
					bestR, cutR = bestL, cutL
				} else {
					wl, wr := s.walk[i*N+i+1:i*N+j], s.walk[j*N+i+1:j*N+j]
					wl, wr = wl[:len(cost)], wr[:len(cost)]
					for k, c := range cost {
						v := rr[k] + lr[k] + m*c + here[k]
						if l := v + m*wl[k]; l < bestL {
							bestL, cutL = l, first+int32(k)
						}
						if r := v + m*wr[k]; r < bestR {
							bestR, cutR = r, first+int32(k)
						}
					}
				}
			}
			if stop := s.stop(i, j, m, min(bestL, bestR)); stop < whole {
				if stop < bestL {
					bestL, cutL = stop, leafCut
				}
				if stop < bestR {
					bestR, cutR = stop, leafCut
				}
			}
			// Standing at the left end means having come past it.
			leftRow[i], rightRow[j] = bestL+s.beyond*m, bestR
			s.cutLeft[j*N+i], s.cutRight[i*N+j] = cutL, cutR
		}
	}
}

// stop is the cost of replacing now, over all between spots i and j, of
// probability m; other is what the best of the alternatives costs. Not all shorter
// stretches are tried, which would be quadratic for each of n^2 intervals, but those found
// best one segment before, and from the best of these on, where it comes near the
// alternative, each end moved while that helps. What comes out can be followed as it
// stands, so the value is never too low.
func (s *search) stop(i, j int, m, other float64) float64 {
	N := s.n + 1
	best, at := m*s.leaf[i*N+j], [2]int32{int32(i), int32(j)}
	if m <= 0 {
		best = 0
	} else if j > i+1 && !math.IsInf(s.miss, 1) {
		try := func(from, to int32) bool {
			if from < int32(i) || to > int32(j) || from >= to {
				return false
			}
			v := s.stopShort(i, j, m, [2]int32{from, to})
			if !(v < best) {
				return false
			}
			best, at = v, [2]int32{from, to}
			return true
		}
		a, b := s.stretch[(i+1)*N+j], s.stretch[i*N+j-1]
		try(a[0], a[1])
		try(b[0], b[1])
		const near = 1.5
		for step := int32(j-i) / 2; step > 0 && best < near*other; step /= 3 {
			for try(at[0]+step, at[1]) || try(at[0], at[1]-step) ||
				try(at[0]-step, at[1]) || try(at[0], at[1]+step) ||
				try(at[0]+step, at[1]+step) || try(at[0]-step, at[1]-step) {
			}
			if step == 2 {
				step = 3 // so that single steps come last
			}
		}
	}
	s.stretch[i*N+j] = at
	return best
}

// stopShort is the cost of replacing only stretch r of what lies between spots i
// and j. A stretch likelier to miss the fault than to hold it is no repair but a
// bet that the price of a miss is right; that is not on offer.
func (s *search) stopShort(i, j int, m float64, r [2]int32) float64 {
	held := s.within(int(r[0]), int(r[1]))
	if held < m/2 {
		return math.Inf(1)
	}
	price := s.leaf[int(r[0])*(s.n+1)+int(r[1])]
	if int(r[0]) > i {
		price += s.newEnd[r[0]]
	}
	if int(r[1]) < j {
		price += s.newEnd[r[1]]
	}
	return m*price + (m-held)*s.miss
}

// root is the least cost over all between spots i and j for a person elsewhere,
// not divided by M, and the spot to test first or leafCut. from is the walk from
// that person to each spot; nil is free.
func (s *search) root(i, j int, from []float64) (float64, int) {
	m := s.within(i, j)
	best, cut := s.stop(i, j, m, math.Inf(1)), leafCut
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

// missOr is the price of a miss, or v where none is ever risked.
func (s *search) missOr(v float64) float64 {
	if math.IsInf(s.miss, 1) {
		return v
	}
	return s.miss
}
