package faultmodel

import (
	"math"
	"slices"
)

// Component is one normal density over ln(value + shift) in a mixture.
type Component struct {
	Weight, MeanLn, SDLn float64
}

// Predictive is what a reading would show: a mixture over ln(value + Shift) and
// the chance of over-range. Weights and OverRange sum to 1. Shift, in SI units,
// is a few of the meter's last digits and gives a reading of zero a logarithm.
type Predictive struct {
	Components []Component
	OverRange  float64
	Shift      float64
}

// Probability is the chance of a finite reading from lo to hi, SI.
func (p Predictive) Probability(lo, hi float64) float64 {
	var total float64
	l, h := math.Log(max(lo, 0)+p.Shift), math.Log(max(hi, 0)+p.Shift)
	if lo <= 0 {
		l = math.Inf(-1)
	}
	for _, c := range p.Components {
		total += c.Weight * (normalAbove((l-c.MeanLn)/c.SDLn) - normalAbove((h-c.MeanLn)/c.SDLn))
	}
	return total
}

// CutLn appends to out the chance of a finite reading below each z, an
// ln(value + Shift). It is for weighing readings not yet taken: right to 1e-4 for
// each of the larger components, and the smaller ones are left out.
func (p Predictive) CutLn(z, out []float64) []float64 {
	at := len(out)
	out = append(out, z...)
	below := out[at:]
	clear(below)
	for _, c := range p.Components {
		if c.Weight < 1e-4 {
			continue
		}
		perSD := 1 / c.SDLn
		for i, x := range z {
			below[i] += c.Weight * normalBelow((x-c.MeanLn)*perSD)
		}
	}
	return out
}

// LogDensity is ln of the density over ln(value + Shift) at a finite value v, SI.
func (p Predictive) LogDensity(v float64) float64 {
	total := math.Inf(-1)
	z := math.Log(max(v, 0) + p.Shift)
	for _, c := range p.Components {
		d := (z - c.MeanLn) / c.SDLn
		total = logAdd(total, math.Log(c.Weight/c.SDLn)-d*d/2-lnSqrt2Pi)
	}
	return total
}

// Quantile is the value below which the reading lies with probability q, SI;
// +Inf where that is over-range.
func (p Predictive) Quantile(q float64) float64 {
	if q >= 1-p.OverRange || len(p.Components) == 0 {
		return math.Inf(1)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range p.Components {
		lo = min(lo, c.MeanLn-9*c.SDLn)
		hi = max(hi, c.MeanLn+9*c.SDLn)
	}
	for range 60 {
		mid := (lo + hi) / 2
		var below float64
		for _, c := range p.Components {
			below += c.Weight * (1 - normalAbove((mid-c.MeanLn)/c.SDLn))
		}
		if below < q {
			lo = mid
		} else {
			hi = mid
		}
	}
	return max(0, math.Exp((lo+hi)/2)-p.Shift)
}

// Predict is what a reading of q would show. For a quantity taken at a tap see
// [Model.PredictGiven].
func (m *Model) Predict(q Quantity, faults ...Fault) Predictive {
	return m.PredictGiven(nil, q, 0, faults...)
}

// PredictGiven is what a reading of q would show after others have been taken,
// the unknowns they share being known better by then. atM is the place of a tap,
// and not used otherwise.
func (m *Model) PredictGiven(given []Reading, q Quantity, atM float64, faults ...Fault) Predictive {
	faults = seenFaults(faults)
	if !q.known() || !m.possible(faults) {
		return Predictive{}
	}
	rs, finite := arrange(given)
	j := m.judge()
	defer m.release(j)
	vs := m.promising(j, rs, finite, faults)
	m.prepare(&j.c, faults, q, atM)
	mix := m.newMixture(q)
	ps := make([]row, len(vs))
	m.predictAll(&j.c, vs, true, ps)
	m.weigh(j, rs, vs, true, func(i int, share float64) {
		l, p := j.g.learn(i, share), &ps[i]
		mix.add(m, &l, p[0], p[bentSlot], p[1:bentSlot], 0)
	})
	return mix.predictive()
}

// SweepPredict is PredictGiven for one fault of a kind at each place. A [Touch]
// has its other place anywhere.
func (m *Model) SweepPredict(given []Reading, q Quantity, tapM float64, kind Kind, atM []float64) []Predictive {
	out := make([]Predictive, len(atM))
	if !q.known() || len(atM) == 0 {
		return out
	}
	if !kind.seen() {
		kind = Healthy
	}
	o := m.outlook(given, kind, atM)
	key := tableKey{q: q, k1: kind}
	if kind == Touch {
		key.k2 = Touch
	}
	if q.atTap() {
		key.tapM = tapM
	}
	t := m.table(key)
	j := m.judge()
	defer m.release(j)
	mix := m.newMixture(q)
	var buf, load row
	var weights [64]float64
	for i, lessons := range o.lessons {
		if lessons == nil {
			continue
		}
		c, w := m.at(j, t, atM[i], o.otherM[i], o.live, weights[:0])
		mix.reset()
		for k := range lessons {
			l := &lessons[k]
			r := c.of(l.variant)
			p := r.blend(w, buf[:0])
			shared, own := load[:len(l.mean)], 0.0
			clear(shared)
			for n, x := range p[2:] {
				if k := o.column[r.cols[n]]; k >= 0 && k < len(shared) {
					shared[k] = x
				} else {
					own += x * x
				}
			}
			mix.add(m, l, p[0], p[1], shared, own)
		}
		out[i] = mix.predictive()
		if !kind.placed() {
			for k := range out {
				out[k] = out[i]
			}
		}
	}
	return out
}

// outlook is what readings taught, supposing one fault of a kind at each of some
// places: all that a prediction after them needs to know of them.
type outlook struct {
	kind    Kind
	given   []Reading
	atM     []float64
	otherM  []float64   // the other place of a [Touch]
	column  [rowLen]int // where a slot of a [row] is in a lesson, or -1
	live    []int       // variants of which there is a lesson
	lessons [][]lesson  // by place; the columns of later ones may be more
}

// viewsKept is how many outlooks a model remembers: those of every kind on the
// last two sets of readings or so, which are asked for once for each quantity.
const viewsKept = 24

// outlook judges the readings, or finds that it has done so before.
func (m *Model) outlook(given []Reading, kind Kind, atM []float64) *outlook {
	m.mu.Lock()
	for _, o := range m.views {
		if o != nil && o.kind == kind && slices.Equal(o.given, given) && slices.Equal(o.atM, atM) {
			m.mu.Unlock()
			return o
		}
	}
	m.mu.Unlock()
	o := m.newOutlook(given, kind, atM)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.views[m.viewed] = o
	m.viewed = (m.viewed + 1) % viewsKept
	return o
}

func (m *Model) newOutlook(given []Reading, kind Kind, atM []float64) *outlook {
	n := len(atM)
	o := &outlook{kind: kind, given: slices.Clone(given), atM: slices.Clone(atM), otherM: make([]float64, n), lessons: make([][]lesson, n)}
	second := Healthy
	if kind == Touch {
		second = Touch
		ps := m.partners()
		for i := range o.otherM {
			o.otherM[i] = ps[(i*7)%len(ps)]
		}
	}
	h := m.hypothesis(given, kind, second, Healthy)
	defer m.release(h.j)
	var at []int
	for i, x := range atM {
		if m.possible([]Fault{{Kind: kind, AtM: x}}) && (kind.placed() || i == 0) {
			at = append(at, i)
		}
	}
	if len(h.readings) > 0 && len(h.live) > 4 && len(at) > 8 {
		// What has been read leaves no chance to most variants anywhere.
		for k := range 4 {
			i := at[k*(len(at)-1)/3]
			h.logLikelihood(atM[i], o.otherM[i])
			h.note()
		}
		h.dropHopeless()
	}
	used := make([]bool, len(h.variants))
	for _, i := range at {
		h.logLikelihood(atM[i], o.otherM[i])
		best := math.Inf(-1)
		for _, v := range h.live {
			best = max(best, h.each[v])
		}
		for _, v := range h.live {
			if h.each[v] >= best-hopeless {
				used[v] = true
				o.lessons[i] = append(o.lessons[i], h.j.g.learn(v, h.judge(v)))
			}
		}
	}
	o.column = h.column
	for v, u := range used {
		if u {
			o.live = append(o.live, v)
		}
	}
	return o
}

// mixture gathers the prediction of one reading over variants.
type mixture struct {
	function function
	shift    float64
	limitLn  float64
	ln       []float64 // weights, not normalised
	mean, sd []float64
}

func (m *Model) newMixture(q Quantity) *mixture {
	s := q.function()
	shift := s.shift(&m.meters)
	return &mixture{function: s, shift: shift, limitLn: math.Log(m.meters.meter(s).RangeMax + shift)}
}

func (x *mixture) reset() { x.ln, x.mean, x.sd = x.ln[:0], x.mean[:0], x.sd[:0] }

// add takes in one variant: what was learned under it, and its prediction of the
// new reading: value, what is bent, loadings by the columns of the lesson, and the
// variance of what the lesson has nothing on, all in the unit of the value.
func (x *mixture) add(m *Model, l *lesson, value, bent float64, load []float64, own float64) {
	value = max(value, 0)
	at := value + x.shift
	perAt := 1 / at
	mean := math.Log(at) + dot(load, l.mean)*perAt
	v := dot(load, load) + own + bent*bent
	for _, k := range l.known {
		d := dot(load, k)
		v -= d * d
	}
	v = v*perAt*perAt + x.function.noise(&m.meters, value)
	x.ln = append(x.ln, l.lnWeight)
	x.mean = append(x.mean, mean)
	x.sd = append(x.sd, math.Sqrt(max(v, 1e-10)))
}

// predictive cuts every variant at the meter's range, adds the share of readings
// that are wrong altogether, and drops what is too rare to matter.
func (x *mixture) predictive() Predictive {
	out := Predictive{Shift: x.shift, Components: make([]Component, 0, len(x.ln)+1)}
	top := slices.Max(x.ln)
	var sum float64
	for _, l := range x.ln {
		sum += math.Exp(l - top)
	}
	for i, l := range x.ln {
		w := math.Exp(l-top) / sum * (1 - outlierShare)
		b := (x.limitLn - x.mean[i]) / x.sd[i]
		over := normalAbove(b)
		out.OverRange += w * over
		w *= 1 - over
		if w < 1e-6 {
			continue
		}
		c := Component{Weight: w, MeanLn: x.mean[i], SDLn: x.sd[i]}
		if over > 1e-3 { // a normal with the moments of the part below the limit
			ratio := math.Exp(-b*b/2-lnSqrt2Pi) / (1 - over)
			c.MeanLn -= x.sd[i] * ratio
			c.SDLn *= math.Sqrt(max(1-b*ratio-ratio*ratio, 1e-4))
		}
		out.Components = append(out.Components, c)
	}
	out.OverRange += outlierShare * outlierOver
	wide := 1 / outlierDensity / math.Sqrt(12)
	out.Components = append(out.Components, Component{outlierShare * (1 - outlierOver), x.limitLn - 2*wide, wide})
	total := out.OverRange
	for _, c := range out.Components {
		total += c.Weight
	}
	out.OverRange /= total
	for i := range out.Components {
		out.Components[i].Weight /= total
	}
	return out
}
