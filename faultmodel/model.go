package faultmodel

import (
	"math"
	"sync"
)

// Model judges readings of one loop. It is safe for use by several goroutines.
type Model struct {
	loop   Loop
	meters Meters
	prior  prior

	mu     sync.Mutex
	tables map[tableKey]*table
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
	return md, nil
}

// Loop returns what the model was made from.
func (m *Model) Loop() Loop { return m.loop }

// judge is the working memory of one judgement.
type judge struct {
	c circuit
	o outcome
	g gaussian
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

// predict solves the circuit for one variant of the faults at given places.
//
// Shared unknowns are taken as straight lines of ln(value). A contact spreads
// over e-folds, so that it gets its line through points on either side, and what
// the curve departs from it by becomes a shift and a spread:
//
//	f(z) = a + b z + c z^2:   mean a + c,  slope b,  left over 2 c^2
func (m *Model) predict(j *judge, faults []Fault, v *variant, q Quantity, atM float64, out *row) {
	m.predictTo(j, faults, v, q, atM, out, true)
}

// predictTo leaves the corrections for bent curves out unless bend is set: three
// to five solves fewer.
func (m *Model) predictTo(j *judge, faults []Fault, v *variant, q Quantity, atM float64, out *row, bend bool) {
	in := m.prior.median
	for i := range v.contacts {
		for k := range v.contacts[i] {
			c := &v.contacts[i][k]
			in.contacts[i][k] = contact{value: c.Median, soil: c.soil}
		}
	}
	hz := m.meters.capHz()
	j.c.measure(&in, faults, q, atM, hz, &j.o)
	o := j.o
	shift := q.function().shift(&m.meters)
	f0 := math.Log(o.value + shift)
	mean, bent := f0, 0.0
	*out = row{}
	scale := o.value / (o.value + shift)
	for t := int(tagFault); t < int(tagCount); t++ {
		if o.slope[t] == 0 {
			continue
		}
		i, k := (t-int(tagFault))/4, (t-int(tagFault))%4
		if k >= 2 {
			out[1+t] = o.slope[t] * scale * copperEMFSD
			continue
		}
		sd := v.contacts[i][k].SigmaLn
		out[1+t] = o.slope[t] * scale * sd
		if !bend || math.Abs(o.slope[t]*scale) < 1e-3 || sd < 0.2 {
			continue
		}
		c := &in.contacts[i][k].value
		keep := *c
		var f [2]float64
		for side, step := range [...]float64{-sigmaStep, sigmaStep} {
			*c = keep * math.Exp(step*sd)
			j.c.measure(&in, faults, q, atM, hz, &j.o)
			f[side] = math.Log(j.o.value + shift)
		}
		*c = keep
		out[1+t] = (f[1] - f[0]) / (2 * sigmaStep)
		curve := (f[1] + f[0] - 2*f0) / 6
		mean += curve
		bent += 2 * curve * curve
	}
	for t := range int(sharedTags) {
		s := o.slope[t] * scale
		if s == 0 {
			continue
		}
		for k, f := range m.prior.factor[t] {
			if f != 0 {
				out[1+k] += s * f
			}
		}
	}
	level := math.Exp(mean)
	for k := 1; k < bentSlot; k++ {
		out[k] *= level
	}
	out[0] = level - shift
	out[bentSlot] = level * math.Sqrt(bent)
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
	j := m.judge()
	defer m.release(j)
	vs := m.promising(j, rs, finite, faults)
	total := math.Inf(-1)
	for i := range vs {
		m.take(j, rs, finite, faults, &vs[i], true)
		total = logAdd(total, vs[i].lnWeight+j.g.logEvidence())
	}
	return total
}

// take enters the predictions of all readings under one variant.
func (m *Model) take(j *judge, rs []Reading, finite int, faults []Fault, v *variant, bend bool) {
	j.g.n, j.g.finite, j.g.cols = len(rs), finite, len(allColumns)
	for k, r := range rs {
		var p row
		if r.FaultAway {
			m.predictTo(j, nil, &variant{}, r.Quantity, r.AtM, &p, bend)
		} else {
			m.predictTo(j, faults, v, r.Quantity, r.AtM, &p, bend)
		}
		m.enter(&j.g, k, r, &p, allColumns)
	}
}

// promising lists the variants of the contacts worth a full judgement: where
// there are many, those that a judgement by straight lines puts near the best.
func (m *Model) promising(j *judge, rs []Reading, finite int, faults []Fault) []variant {
	vs := variants(faults)
	if len(vs) < 6 || len(rs) == 0 {
		return vs
	}
	l := make([]float64, len(vs))
	best := math.Inf(-1)
	for i := range vs {
		m.take(j, rs, finite, faults, &vs[i], false)
		l[i] = vs[i].lnWeight + j.g.logEvidence()
		best = max(best, l[i])
	}
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
