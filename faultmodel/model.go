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

// row is a prediction: a value, and its derivatives by the standard normals the
// unknowns are made of.
type row [1 + tagCount]float64

// predict solves the circuit for one variant of the faults at given places.
func (m *Model) predict(j *judge, faults []Fault, v *variant, q Quantity, atM float64, out *row) {
	in := m.prior.median
	for i := range v.contacts {
		for k := range v.contacts[i] {
			c := &v.contacts[i][k]
			in.contacts[i][k] = contact{value: c.Median, soil: c.soil}
		}
	}
	j.c.measure(&in, faults, q, atM, m.meters.capHz(), &j.o)
	o := &j.o
	*out = row{o.value}
	for t := range int(sharedTags) {
		s := o.slope[t] * o.value
		if s == 0 {
			continue
		}
		for k, f := range m.prior.factor[t] {
			if f != 0 {
				out[1+k] += s * f
			}
		}
	}
	for t := int(tagFault); t < int(tagCount); t++ {
		if o.slope[t] == 0 {
			continue
		}
		i, k := (t-int(tagFault))/4, (t-int(tagFault))%4
		sd := copperEMFSD
		if k < 2 {
			sd = v.contacts[i][k].SigmaLn
		}
		out[1+t] = o.slope[t] * o.value * sd
	}
}

// enter sets reading k of g from a prediction.
func (m *Model) enter(g *gaussian, k int, r Reading, p *row, cols []int) {
	s := r.Quantity.sort()
	q := s.shift(&m.meters)
	at := p[0] + q
	if at <= 0 { // no interpolation leaves this far from a value of zero
		at = q
	}
	v := r.Value
	if r.OverRange {
		v = m.meters.meter(s).RangeMax
	}
	g.residual[k] = math.Log((v + q) / at)
	g.noise[k] = s.noise(&m.meters, v)
	inv := 1 / at
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
	vs := variants(faults)
	away := variant{}
	total := math.Inf(-1)
	for i := range vs {
		j.g.n, j.g.finite, j.g.cols = len(rs), finite, len(allColumns)
		for k, r := range rs {
			var p row
			if r.FaultAway {
				m.predict(j, nil, &away, r.Quantity, r.AtM, &p)
			} else {
				m.predict(j, faults, &vs[i], r.Quantity, r.AtM, &p)
			}
			m.enter(&j.g, k, r, &p, allColumns)
		}
		total = logAdd(total, vs[i].lnWeight+j.g.logEvidence())
	}
	return total
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
