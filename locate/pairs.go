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
