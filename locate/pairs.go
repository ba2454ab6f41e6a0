package locate

import (
	"math"
	"slices"

	"loopfault/faultmodel"
)

// PairBelief is where two faults may be together, on a grid of unequal cells
// that is fine where the faults are likely. Kind1 lies in cell i and Kind2 in
// cell j with probability P[i*Cells()+j]. Two faults of the same kind from the
// same prior are one pair whichever is named first: then only i <= j is used.
type PairBelief struct {
	Kind1, Kind2 faultmodel.Kind
	Same         bool      // only i <= j
	EdgesM       []float64 // Cells()+1 chainages, rising
	P            []float64
}

// Cells is the number of cells along the wire.
func (b PairBelief) Cells() int { return len(b.EdgesM) - 1 }

// Mid is the chainage of the middle of cell i.
func (b PairBelief) Mid(i int) float64 { return (b.EdgesM[i] + b.EdgesM[i+1]) / 2 }

// NewPairBelief is the prior of two faults: of kind1 where prior1 says and,
// independently, of kind2 where prior2 says. same says that both are draws of
// one thing. At most about cells cells are used: half of them share the length, half the
// probability of both priors, and every chainage in focusM becomes a line between two.
func NewPairBelief(kind1 faultmodel.Kind, prior1 Belief, kind2 faultmodel.Kind, prior2 Belief, same bool, cells int, focusM ...float64) PairBelief {
	return pairPrior(kind1, prior1, kind2, prior2, same, adaptiveEdges(prior1, prior2, cells, focusM))
}

func pairPrior(kind1 faultmodel.Kind, prior1 Belief, kind2 faultmodel.Kind, prior2 Belief, same bool, edges []float64) PairBelief {
	b := PairBelief{Kind1: kind1, Kind2: kind2, Same: same, EdgesM: edges}
	n := b.Cells()
	p1, p2 := make([]float64, n), make([]float64, n)
	for i := range n {
		p1[i] = prior1.Mass(b.EdgesM[i], b.EdgesM[i+1])
		p2[i] = prior2.Mass(b.EdgesM[i], b.EdgesM[i+1])
	}
	b.P = make([]float64, n*n)
	for i := range n {
		for j := range n {
			switch {
			case !same || i == j:
				b.P[i*n+j] = p1[i] * p2[j]
			case i < j:
				b.P[i*n+j] = p1[i]*p2[j] + p1[j]*p2[i]
			}
		}
	}
	normalise(b.P)
	return b
}

// adaptiveEdges shares cells between length and probability and adds the focus.
func adaptiveEdges(b1, b2 Belief, cells int, focusM []float64) []float64 {
	a := b1.Axis
	cells = min(max(cells, 2), a.Cells)
	edges := []float64{0, a.LengthM}
	for _, x := range focusM {
		if x > 0 && x < a.LengthM {
			edges = append(edges, x)
		}
	}
	// Weight of a cell of the axis: half its share of the length, a quarter of each belief.
	w := func(i int) float64 { return 0.5/float64(a.Cells) + 0.25*(b1.P[i]+b2.P[i]) }
	seen, next := 0.0, 1
	for i := range a.Cells {
		seen += w(i)
		for next < cells && seen >= float64(next)/float64(cells)-1e-12 {
			edges = append(edges, a.Edge(i+1))
			next++
		}
	}
	slices.Sort(edges)
	// Lines nearer than a tenth of the axis step are one line.
	out := edges[:1]
	for _, e := range edges[1:] {
		if e-out[len(out)-1] > a.StepM()/10 {
			out = append(out, e)
		}
	}
	out[len(out)-1] = a.LengthM
	return out
}

// Mids lists the middles of all cells.
func (b PairBelief) Mids() []float64 {
	m := make([]float64, b.Cells())
	for i := range m {
		m[i] = b.Mid(i)
	}
	return m
}

// LogLikelihood is evidence as [PairBelief.Update] wants it.
func (b PairBelief) LogLikelihood(e Evidence) []float64 {
	n := b.Cells()
	l := make([]float64, n*n)
	if s, ok := e.(PairSweeper); ok {
		for i, row := range s.SweepPairs(b.Kind1, b.Kind2, b.Mids()) {
			copy(l[i*n:], row)
		}
		return l
	}
	for i := range n {
		from := 0
		if b.Same {
			from = i
		}
		for j := from; j < n; j++ {
			l[i*n+j] = e.AtPair(b.Kind1, b.Mid(i), b.Kind2, b.Mid(j))
		}
	}
	return l
}

// Update is [Belief.Update] for pairs; logL is laid out as P.
func (b PairBelief) Update(logL []float64) (PairBelief, float64) {
	if len(logL) != len(b.P) {
		panic("locate: log-likelihood does not fit the grid of pairs")
	}
	post := make([]float64, len(b.P))
	ln := bayes(post, b.P, logL)
	if math.IsInf(ln, -1) {
		return b, ln
	}
	b.P = post
	return b, ln
}

// Focuser is evidence whose likelihood steps or peaks at known places.
type Focuser interface{ Focus() []float64 }

// Pairs is the belief of two faults after all evidence, with ln of its
// probability. The grid is fitted twice: to the priors first, half as fine, then to what
// the evidence made of them, so that it is fine where the faults now are.
func Pairs(kind1 faultmodel.Kind, prior1 Belief, kind2 faultmodel.Kind, prior2 Belief, same bool, cells int, evidence ...Evidence) (PairBelief, float64) {
	var focus []float64
	for _, e := range evidence {
		if f, ok := e.(Focuser); ok {
			focus = append(focus, f.Focus()...)
		}
	}
	run := func(edges []float64) (PairBelief, float64) {
		b := pairPrior(kind1, prior1, kind2, prior2, same, edges)
		total := 0.0
		for _, e := range evidence {
			var ln float64
			b, ln = b.Update(b.LogLikelihood(e))
			total += ln
		}
		return b, total
	}
	b, ln := run(adaptiveEdges(prior1, prior2, max(cells/2, 2), focus))
	if math.IsInf(ln, -1) {
		return b, ln
	}
	axis := prior1.Axis
	return run(adaptiveEdges(b.First(axis), b.Second(axis), cells, focus))
}

// Left is where the break nearer terminal A is, Right the other one, on axis a.
func (b PairBelief) Left(a Axis) Belief {
	return b.marginal(a, func(i, j int) int { return min(i, j) })
}

// Right is where the break nearer terminal B is.
func (b PairBelief) Right(a Axis) Belief {
	return b.marginal(a, func(i, j int) int { return max(i, j) })
}

// First is where the fault of Kind1 is. Of two faults that are draws of one
// thing it is either, with equal chance.
func (b PairBelief) First(a Axis) Belief { return b.each(a, func(i, _ int) int { return i }) }

// Second is where the fault of Kind2 is.
func (b PairBelief) Second(a Axis) Belief { return b.each(a, func(_, j int) int { return j }) }

func (b PairBelief) each(a Axis, which func(i, j int) int) Belief {
	if !b.Same {
		return b.marginal(a, which)
	}
	l, r := b.Left(a), b.Right(a)
	for i := range l.P {
		l.P[i] = (l.P[i] + r.P[i]) / 2
	}
	return l
}

func (b PairBelief) marginal(a Axis, which func(i, j int) int) Belief {
	n := b.Cells()
	m := make([]float64, n)
	for i := range n {
		for j := range n {
			m[which(i, j)] += b.P[i*n+j]
		}
	}
	out := Belief{Axis: a, P: make([]float64, a.Cells)}
	for c, q := range m {
		if q == 0 {
			continue
		}
		from, to := b.EdgesM[c], b.EdgesM[c+1]
		for i := a.Cell(from); i <= a.Cell(to) && a.Edge(i) < to; i++ {
			overlap := min(a.Edge(i+1), to) - max(a.Edge(i), from)
			out.P[i] += q * max(overlap, 0) / (to - from)
		}
	}
	normalise(out.P)
	return out
}

// Modes is [Belief.Modes] for the places of either fault; each mode's
// probability is that of at least one fault in it, and mass is the share of the
// expected number of faults that the modes hold.
func (b PairBelief) Modes(a Axis, mass float64) []Mode {
	l, r := b.Left(a), b.Right(a)
	either := Belief{Axis: a, P: make([]float64, a.Cells)}
	for i := range either.P {
		either.P[i] = (l.P[i] + r.P[i]) / 2
	}
	modes := either.Modes(mass)
	n := b.Cells()
	for k := range modes {
		m := &modes[k]
		in := make([]float64, n)
		for c := range in {
			from, to := b.EdgesM[c], b.EdgesM[c+1]
			in[c] = max(min(to, m.ToM)-max(from, m.FromM), 0) / (to - from)
		}
		m.Probability = 0
		for i := range n {
			for j := range n {
				m.Probability += b.P[i*n+j] * (1 - (1-in[i])*(1-in[j]))
			}
		}
	}
	slices.SortStableFunc(modes, func(u, v Mode) int {
		if u.FromM < v.FromM {
			return -1
		}
		return 1
	})
	return modes
}

// onto adds the probability of each pair to the n by n table of segments between
// the chainages edge(0) to edge(n), i <= j, each cell shared out by length.
func (b PairBelief) onto(pair []float64, n int, edge func(int) float64) {
	type piece struct {
		segment int
		share   float64
	}
	pieces := make([][]piece, b.Cells())
	for c := range pieces {
		from, to := b.EdgesM[c], b.EdgesM[c+1]
		for s := range n {
			lo, hi := edge(s), edge(s+1)
			if s == 0 {
				lo = math.Inf(-1)
			}
			if s == n-1 {
				hi = math.Inf(1)
			}
			if overlap := min(to, hi) - max(from, lo); overlap > 0 {
				pieces[c] = append(pieces[c], piece{s, overlap / (to - from)})
			}
		}
	}
	N := b.Cells()
	for i := range N {
		for j := range N {
			q := b.P[i*N+j]
			if q == 0 {
				continue
			}
			for _, u := range pieces[i] {
				for _, v := range pieces[j] {
					pair[min(u.segment, v.segment)*n+max(u.segment, v.segment)] += q * u.share * v.share
				}
			}
		}
	}
}
