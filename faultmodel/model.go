package faultmodel

import (
	"math"
	"slices"
	"sync"
)

// Model judges readings of one loop. It is safe for use by several goroutines.
type Model struct {
	loop   Loop
	meters Meters
	prior  prior

	mu     sync.Mutex
	tables map[tableKey]*table
	views  [viewsKept]*outlook // the last few, oldest overwritten
	viewed int
	idle   []*judge
	walk   *profile
}

// NewModel checks what is known of a loop and the meters and prepares the
// judgement of readings.
func NewModel(l Loop, m Meters) (*Model, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	md := &Model{loop: l, meters: m, tables: map[tableKey]*table{}}
	md.prior = newPrior(&md.loop, &md.meters)
	md.prior.learn(&md.loop, &md.meters, l.Baseline)
	md.prior.list()
	return md, nil
}

// Loop returns what the model was made from.
func (m *Model) Loop() Loop { return m.loop }

// judge is the working memory of one judgement.
type judge struct {
	c    circuit
	each []*circuit // by reading
	full []row      // of several variants, of readings or of the nodes of a cell
	g    gaussian
}

func (m *Model) judge() *judge {
	m.mu.Lock()
	defer m.mu.Unlock()
	if n := len(m.idle); n > 0 {
		j := m.idle[n-1]
		m.idle = m.idle[:n-1]
		return j
	}
	return new(judge)
}

func (m *Model) release(j *judge) {
	m.mu.Lock()
	m.idle = append(m.idle, j)
	m.mu.Unlock()
}

// arrange puts finite readings before over-range ones and leaves out what
// cannot be judged.
func arrange(readings []Reading) (out []Reading, finite int) {
	for _, r := range readings {
		if r.usable() && !r.OverRange && len(out) < maxReadings {
			out = append(out, r)
		}
	}
	finite = len(out)
	for _, r := range readings {
		if r.usable() && r.OverRange && len(out) < maxReadings {
			out = append(out, r)
		}
	}
	return out, finite
}

// row is a prediction: a value; its derivatives by the standard normals the
// unknowns are made of; and last the standard deviation of what is not straight
// in them, all in the unit of the value.
type row [rowLen]float64

const (
	rowLen    = 1 + int(tagCount) + 1
	bentSlot  = rowLen - 1
	sigmaStep = 1.7320508075688772 // where three-point Gauss-Hermite puts its outer points
)

// prepare lays a circuit out for predictions of a quantity under faults at given
// places, whatever their contacts.
func (m *Model) prepare(c *circuit, faults []Fault, q Quantity, atM float64) {
	c.prepare(&m.prior.median, faults, q, atM, m.meters.capHz())
}

// predict is the reading a circuit is prepared for under one variant of the
// contacts.
//
// Shared unknowns are taken as straight lines of ln(value). A contact spreads
// over e-folds, so that it gets its line through points on either side, and what
// the curve departs from it by becomes a shift and a spread:
//
//	f(z) = a + b z + c z^2:   mean a + c,  slope b,  left over 2 c^2
//
// The corrections for bent curves are left out unless bend is set.
func (m *Model) predict(c *circuit, v *variant, bend bool, out *row) {
	in := m.prior.median
	for i := range v.contacts {
		for k := range v.contacts[i] {
			p := &v.contacts[i][k]
			in.contacts[i][k] = contact{value: p.Median, soil: p.soil}
		}
	}
	var slope [tagCount]float64
	value := c.read(&in, &slope)
	shift := c.asked.q.function().shift(&m.meters)
	f0 := math.Log(value + shift)
	mean, bent := f0, 0.0
	*out = row{}
	scale := value / (value + shift)
	for t := int(tagFault); t < int(tagCount); t++ {
		if slope[t] == 0 {
			continue
		}
		i, k := (t-int(tagFault))/4, (t-int(tagFault))%4
		if k >= 2 {
			out[1+t] = slope[t] * scale * copperEMFSD
			continue
		}
		sd := v.contacts[i][k].SigmaLn
		out[1+t] = slope[t] * scale * sd
		step := v.contacts[i][k].step
		if !bend || bendBound(slope[t]*scale)*sd*sd*step < straight {
			continue
		}
		ohm := &in.contacts[i][k].value
		keep := *ohm
		*ohm = keep / step
		below := math.Log(c.read(&in, nil) + shift)
		*ohm = keep * step
		above := math.Log(c.read(&in, nil) + shift)
		*ohm = keep
		out[1+t] = (above - below) / (2 * sigmaStep)
		curve := (above + below - 2*f0) / 6
		mean += curve
		bent += 2 * curve * curve
	}
	for _, l := range m.prior.loadings {
		out[1+l.normal] += slope[l.unknown] * scale * l.factor
	}
	level := value + shift
	if mean != f0 {
		level *= math.Exp(mean - f0)
	}
	for k := 1; k < bentSlot; k++ {
		out[k] *= level
	}
	out[0] = level - shift
	out[bentSlot] = level * math.Sqrt(bent)
}

// predictAll is predict for several variants. One whose contacts differ only where
// the reading does not depend on them takes over the row of its neighbour.
func (m *Model) predictAll(c *circuit, vs []variant, bend bool, out []row) {
	shift := c.asked.q.function().shift(&m.meters)
	mid := len(vs) / 2 // from where the others are nearest
	next := func(i, neighbour int, from []int) {
		from[i] = i
		if u := from[neighbour]; i != neighbour && vs[u].alike(&vs[i], &out[u], shift) {
			from[i], out[i] = u, out[u]
			return
		}
		m.predict(c, &vs[i], bend, &out[i])
	}
	from := make([]int, len(vs)) // whose row each variant has
	for i := mid; i < len(vs); i++ {
		next(i, max(i-1, mid), from)
	}
	for i := mid - 1; i >= 0; i-- {
		next(i, i+1, from)
	}
}

// alike says whether a reading predicted under v goes for w too. A slope grows
// with the contact no faster than as its square.
func (v *variant) alike(w *variant, p *row, shift float64) bool {
	var differ float64
	for i := range v.contacts {
		for k := range v.contacts[i] {
			a, b := &v.contacts[i][k], &w.contacts[i][k]
			if *a == *b {
				continue
			}
			if a.soil || b.soil || a.SigmaLn == 0 {
				return false
			}
			ratio := max(a.Median/b.Median, b.Median/a.Median)
			slope := p[1+int(tagFault)+4*i+k] / (a.SigmaLn * (p[0] + shift))
			differ += math.Abs(slope) * ratio * ratio
		}
	}
	return differ < sameLn
}

// sameLn is a difference in ln(value) that is none: a hundredth of [straight].
const sameLn = 1e-5

// straight is how much curvature, in ln(value), goes for none: a third of the
// least that any reading has for itself.
const straight = 1e-3

// bendBound bounds the curvature of ln(value) in ln(contact) by its slope. An
// impedance is (a R + b)/(c R + d) in one of its resistances: with u = aR/(aR+b)
// and w = cR/(cR+d) the slope is s = u - w, the curvature s (1 - u - w).
func bendBound(slope float64) float64 {
	s := math.Abs(slope)
	return min(s, math.Abs(1-s))
}

// observed is a reading, or the meter's limit where it showed over-range, on the
// scale on which it is judged.
type observed struct {
	ln, shift, noise float64 // ln(value + shift); variance of that
}

func (m *Model) observe(r Reading) observed {
	s := r.Quantity.function()
	q := s.shift(&m.meters)
	v := r.Value
	if r.OverRange {
		v = m.meters.meter(s).RangeMax
	}
	return observed{math.Log(v + q), q, s.noise(&m.meters, v)}
}

// enter sets reading k of g from a prediction.
func (m *Model) enter(g *gaussian, k int, r Reading, p *row, cols []int) {
	o := m.observe(r)
	value := max(p[0]+o.shift, o.shift)
	g.residual[k] = o.ln - math.Log(value)
	inv := 1 / value
	bent := p[bentSlot] * inv
	g.noise[k] = o.noise + bent*bent
	for c, col := range cols {
		g.load[k][c] = p[col] * inv
	}
}

// allColumns are the columns of a row that hold derivatives.
var allColumns = func() []int {
	c := make([]int, tagCount)
	for i := range c {
		c[i] = 1 + i
	}
	return c
}()

// LogLikelihood is ln p(readings | faults) up to a constant that depends on
// the readings only. No faults is a healthy loop. A [LeadShort] off the lead-in
// is impossible: -Inf. Three faults at most are taken into the circuit.
func (m *Model) LogLikelihood(readings []Reading, faults ...Fault) float64 {
	faults = seenFaults(faults)
	if !m.possible(faults) {
		return math.Inf(-1)
	}
	rs, finite := arrange(readings)
	if len(rs) == 0 {
		return 0
	}
	if len(faults) == 0 || len(faults) == 1 && !faults[0].Kind.placed() {
		return m.sweepStill(readings, faults)
	}
	j := m.judge()
	defer m.release(j)
	total := math.Inf(-1)
	m.weigh(j, rs, m.promising(j, rs, finite, faults), true, func(_ int, l float64) { total = logAdd(total, l) })
	return total
}

// ready prepares a circuit for each reading.
func (m *Model) ready(j *judge, rs []Reading, finite int, faults []Fault) {
	for len(j.each) < len(rs) {
		j.each = append(j.each, new(circuit))
	}
	for k, r := range rs {
		if r.FaultAway {
			m.prepare(j.each[k], nil, r.Quantity, r.AtM)
		} else {
			m.prepare(j.each[k], faults, r.Quantity, r.AtM)
		}
	}
	j.g.n, j.g.finite, j.g.cols = len(rs), finite, len(allColumns)
}

// weigh predicts all readings under every variant, and calls yield with each one's
// share of the likelihood while the judge still holds it.
func (m *Model) weigh(j *judge, rs []Reading, vs []variant, bend bool, yield func(i int, l float64)) {
	n := len(vs)
	j.full = slices.Grow(j.full[:0], n*len(rs))[:n*len(rs)]
	for k, r := range rs {
		if out := j.full[k*n:][:n]; r.FaultAway {
			m.predict(j.each[k], &variant{}, bend, &out[0])
			for i := range out {
				out[i] = out[0]
			}
		} else {
			m.predictAll(j.each[k], vs, bend, out)
		}
	}
	for i := range vs {
		for k, r := range rs {
			m.enter(&j.g, k, r, &j.full[k*n+i], allColumns)
		}
		l := vs[i].lnWeight
		if len(rs) > 0 {
			l += j.g.logEvidence()
		}
		yield(i, l)
	}
}

// promising readies the judge and lists the variants of the contacts worth a full
// judgement: where there are many, those that a judgement by straight lines puts
// near the best.
func (m *Model) promising(j *judge, rs []Reading, finite int, faults []Fault) []variant {
	m.ready(j, rs, finite, faults)
	vs := variants(faults)
	if len(vs) < 6 || len(rs) == 0 {
		return vs
	}
	l := make([]float64, len(vs))
	best := math.Inf(-1)
	m.weigh(j, rs, vs, false, func(i int, share float64) {
		l[i] = share
		best = max(best, share)
	})
	kept := vs[:0]
	for i, v := range vs {
		if l[i] > best-hopeless {
			kept = append(kept, v)
		}
	}
	return kept
}

// possible says whether the faults can be where they are said to be.
func (m *Model) possible(faults []Fault) bool {
	for _, f := range faults {
		if f.Kind == LeadShort {
			if _, on := m.loop.leadDistance(f.AtM); !on {
				return false
			}
		}
	}
	return true
}
