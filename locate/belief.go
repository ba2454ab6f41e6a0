package locate

import (
	"math"
	"slices"

	"loopfault/faultmodel"
)

// Belief is where one fault may be: the probability of each cell, summing to 1.
// Within a cell the fault is taken as equally likely everywhere.
type Belief struct {
	Axis Axis
	P    []float64
}

// Part is one part of a mixture prior: uniform between FromM and ToM with
// Gaussian shoulders of standard deviation SpreadM, as if the ends of the
// stretch were known only so well. FromM == ToM is a point (a splice) of that
// width. What falls off the ends of the wire is folded back into the part.
type Part struct {
	Weight float64 // relative to the other parts; they need not sum to 1
	FromM  float64
	ToM    float64
	// SpreadM is one standard deviation of each end; 0 is a sharp end.
	SpreadM float64
}

// Uniform is the belief of someone who knows nothing but the wire's length.
func Uniform(a Axis) Belief {
	b := Belief{Axis: a, P: make([]float64, a.Cells)}
	for i := range b.P {
		b.P[i] = 1 / float64(a.Cells)
	}
	return b
}

// Mixture is the weighted sum of parts. Parts without weight, or wholly off the
// wire, count for nothing; if none is left the belief is [Uniform].
func Mixture(a Axis, parts ...Part) Belief {
	b := Belief{Axis: a, P: make([]float64, a.Cells)}
	share := make([]float64, a.Cells)
	for _, part := range parts {
		if !(part.Weight > 0) || !part.masses(a, share) {
			continue
		}
		for i, s := range share {
			b.P[i] += part.Weight * s
		}
	}
	if !normalise(b.P) {
		return Uniform(a)
	}
	return b
}

// Mirrored gives each part's mirror image about the middle of the conductor
// half of its weight: a fault x metres into the twisted lead-in lies at x in one
// leg and at total - x in the other, and neither reading nor eye tells which.
func Mirrored(a Axis, parts ...Part) []Part {
	both := make([]Part, 0, 2*len(parts))
	for _, p := range parts {
		p.Weight /= 2
		both = append(both, p, Part{p.Weight, a.LengthM - p.ToM, a.LengthM - p.FromM, p.SpreadM})
	}
	return both
}

// masses fills share with the part's probability of each cell and says whether
// any of it lies on the wire.
func (p Part) masses(a Axis, share []float64) bool {
	if p.ToM < p.FromM {
		p.FromM, p.ToM = p.ToM, p.FromM
	}
	// A sharp point on the line between two cells belongs to the later one.
	if p.SpreadM <= 0 && p.FromM == p.ToM {
		if p.FromM < 0 || p.FromM > a.LengthM {
			return false
		}
		clear(share)
		share[a.Cell(p.FromM)] = 1
		return true
	}
	below := p.distribution(0)
	for i := range share {
		upTo := p.distribution(a.Edge(i + 1))
		share[i] = max(upTo-below, 0)
		below = upTo
	}
	return normalise(share)
}

// distribution is the part's probability of lying before x.
//
// The uniform stretch with both ends blurred by the same Gaussian is the
// convolution of the two, whose distribution is s (G((x-from)/s) - G((x-to)/s)) / (to-from)
// with G(z) = z Phi(z) + phi(z), the integral of the normal distribution function.
func (p Part) distribution(x float64) float64 {
	length, s := p.ToM-p.FromM, p.SpreadM
	switch {
	case length == 0:
		return normalCDF((x - p.FromM) / s)
	case s <= 0:
		return min(max((x-p.FromM)/length, 0), 1)
	}
	return s * (normalCDFIntegral((x-p.FromM)/s) - normalCDFIntegral((x-p.ToM)/s)) / length
}

func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

func normalCDFIntegral(z float64) float64 {
	return z*normalCDF(z) + math.Exp(-0.5*z*z)/math.Sqrt(2*math.Pi)
}

// normalise scales p to sum to 1 and says whether there was anything to scale.
func normalise(p []float64) bool {
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	if !(sum > 0) || math.IsInf(sum, 0) {
		return false
	}
	for i := range p {
		p[i] /= sum
	}
	return true
}

// Update multiplies in evidence given as its log-likelihood in each cell (nats)
// and returns the new belief with ln P(evidence) under the old one. Evidence
// that is impossible everywhere the belief allows leaves the belief as it is,
// with -Inf: the caller has met a contradiction. It panics if logL does not fit
// the axis.
func (b Belief) Update(logL []float64) (Belief, float64) {
	if len(logL) != len(b.P) {
		panic("locate: log-likelihood does not fit the axis")
	}
	post := make([]float64, len(b.P))
	ln := bayes(post, b.P, logL)
	if math.IsInf(ln, -1) {
		return b, ln
	}
	return Belief{Axis: b.Axis, P: post}, ln
}

// bayes sets post to the normalised product of prior and exp(logL) and returns
// ln of its sum. NaN counts as impossible, so that one bad number cannot poison
// a belief.
func bayes(post, prior, logL []float64) float64 {
	top := math.Inf(-1)
	for i, l := range logL {
		if prior[i] > 0 && l > top {
			top = l
		}
	}
	if math.IsInf(top, 0) {
		return math.Inf(-1)
	}
	sum := 0.0
	for i, l := range logL {
		post[i] = 0
		if prior[i] > 0 && l > top-lost {
			post[i] = prior[i] * math.Exp(l-top)
			sum += post[i]
		}
	}
	if !(sum > 0) {
		return math.Inf(-1)
	}
	for i := range post {
		post[i] /= sum
	}
	return top + math.Log(sum)
}

// lost is how far below the best place, in nats, a place is not worth its
// exponential: what is left there is 1e-26 of it.
const lost = 60

// LogLikelihood is evidence as [Belief.Update] wants it, for one fault of kind k.
func (a Axis) LogLikelihood(e Evidence, k faultmodel.Kind) []float64 {
	if s, ok := e.(Sweeper); ok {
		return s.Sweep(k, a.Mids())
	}
	l := make([]float64, a.Cells)
	for i := range l {
		l[i] = e.At(k, a.Mid(i))
	}
	return l
}

// Mass is the probability that the fault lies between fromM and toM.
func (b Belief) Mass(fromM, toM float64) float64 {
	if toM < fromM {
		fromM, toM = toM, fromM
	}
	step := b.Axis.StepM()
	lo, hi := max(fromM/step, 0), min(toM/step, float64(b.Axis.Cells))
	m := 0.0
	for i := int(lo); i < b.Axis.Cells && float64(i) < hi; i++ {
		m += b.P[i] * (min(float64(i+1), hi) - max(float64(i), lo))
	}
	return m
}

// Mean is the expected chainage in metres.
func (b Belief) Mean() float64 {
	m := 0.0
	for i, p := range b.P {
		m += p * b.Axis.Mid(i)
	}
	return m
}

// SD is the standard deviation of the position in metres.
func (b Belief) SD() float64 {
	mean, v, step := b.Mean(), 0.0, b.Axis.StepM()
	for i, p := range b.P {
		d := b.Axis.Mid(i) - mean
		v += p * (d*d + step*step/12)
	}
	return math.Sqrt(v)
}

// Median is the chainage with as much probability before as after it.
func (b Belief) Median() float64 { return b.Quantile(0.5) }

// Quantile is the chainage below which a share q of the belief lies.
func (b Belief) Quantile(q float64) float64 { return b.quantileWithin(0, b.Axis.Cells, q) }

// quantileWithin is the q-quantile of the belief restricted to cells [from, to).
func (b Belief) quantileWithin(from, to int, q float64) float64 {
	total := 0.0
	for _, p := range b.P[from:to] {
		total += p
	}
	want, seen := q*total, 0.0
	for i := from; i < to; i++ {
		if p := b.P[i]; seen+p >= want && p > 0 {
			return b.Axis.Edge(i) + (want-seen)/p*b.Axis.StepM()
		}
		seen += b.P[i]
	}
	return b.Axis.Edge(to)
}

// Best is the single place to name: the median of the most probable connected
// part of the 90 % set. The median has the least expected miss of any point;
// taking it within one part keeps it from falling between two mirrored places,
// where the fault is known not to be.
func (b Belief) Best() float64 {
	var best Mode
	for _, m := range b.Modes(0.9) {
		if m.Probability > best.Probability {
			best = m
		}
	}
	step := b.Axis.StepM()
	return b.quantileWithin(int(math.Round(best.FromM/step)), int(math.Round(best.ToM/step)), 0.5)
}

// Entropy is the information still missing about the cell, in bits.
func (b Belief) Entropy() float64 {
	h := 0.0
	for _, p := range b.P {
		if p > 0 {
			h -= p * math.Log2(p)
		}
	}
	return h
}

// Interval is a stretch of wire, in metres of chainage.
type Interval struct{ FromM, ToM float64 }

// LengthM is the length of the stretch.
func (v Interval) LengthM() float64 { return v.ToM - v.FromM }

// Holds says whether xM lies in the stretch.
func (v Interval) Holds(xM float64) bool { return v.FromM <= xM && xM <= v.ToM }

// Interval is the shortest single stretch that holds the given probability
// (0 to 1). It is cut to that probability within a cell, so that it does not
// hold more by the width of a cell; of several equally short ones it is the
// middle one.
func (b Belief) Interval(mass float64) Interval {
	n, step := b.Axis.Cells, b.Axis.StepM()
	mass = min(max(mass, 0), 1)
	var ties []Interval
	shortest := math.Inf(1)
	try := func(v Interval) {
		switch l := v.LengthM(); {
		case l < shortest-1e-9*step:
			shortest, ties = l, append(ties[:0], v)
		case l <= shortest+1e-9*step:
			ties = append(ties, v)
		}
	}
	// A shortest stretch can be moved until one of its ends is the line between
	// two cells, so both kinds are tried: those that begin on a line, those that end on one.
	const slack = 1e-12 // rounding in the sums
	j, held := 0, 0.0
	for i := range n {
		for j < n && held < mass-slack {
			held += b.P[j]
			j++
		}
		if held < mass-slack {
			break
		}
		end := b.Axis.Edge(j)
		if j > i && b.P[j-1] > 0 {
			end -= max(held-mass, 0) / b.P[j-1] * step
		}
		try(Interval{b.Axis.Edge(i), max(end, b.Axis.Edge(i))})
		held -= b.P[i]
		if j == i {
			j, held = i+1, 0
		}
	}
	i, held := n, 0.0
	for j := n; j > 0; j-- {
		for i > 0 && held < mass-slack {
			i--
			held += b.P[i]
		}
		if held < mass-slack {
			break
		}
		start := b.Axis.Edge(i)
		if i < j && b.P[i] > 0 {
			start += max(held-mass, 0) / b.P[i] * step
		}
		try(Interval{min(start, b.Axis.Edge(j)), b.Axis.Edge(j)})
		held -= b.P[j-1]
		if i == j {
			i, held = j-1, 0
		}
	}
	if len(ties) == 0 {
		return Interval{0, b.Axis.LengthM}
	}
	slices.SortFunc(ties, func(u, v Interval) int {
		switch {
		case u.FromM < v.FromM:
			return -1
		case u.FromM > v.FromM:
			return 1
		}
		return 0
	})
	return ties[len(ties)/2]
}

// Mode is one connected part of the shortest set of places that holds a given probability.
type Mode struct {
	FromM, ToM  float64
	Probability float64
}

// Modes is the shortest set of whole cells that holds the given probability, as
// its connected parts in order along the wire. Cells as probable as the last one
// needed are all in, so a flat belief is one part and not an arbitrary piece of one.
func (b Belief) Modes(mass float64) []Mode {
	byP := make([]float64, len(b.P))
	copy(byP, b.P)
	slices.Sort(byP)
	held, least := 0.0, 0.0
	for i := len(byP) - 1; i >= 0 && held < mass-1e-12; i-- {
		held += byP[i]
		least = byP[i]
	}
	least *= 1 - 1e-9
	var modes []Mode
	open := false
	for i, p := range b.P {
		if p < least || p == 0 {
			open = false
			continue
		}
		if !open {
			modes = append(modes, Mode{FromM: b.Axis.Edge(i)})
			open = true
		}
		m := &modes[len(modes)-1]
		m.ToM = b.Axis.Edge(i + 1)
		m.Probability += p
	}
	return modes
}
