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
	mix := m.newMixture(q)
	for i := range vs {
		m.take(j, rs, finite, faults, &vs[i], true)
		var p row
		m.predict(j, faults, &vs[i], q, atM, &p)
		mix.add(m, &j.g, vs[i].lnWeight, &p, allColumns)
	}
	return mix.predictive()
}

// SweepPredict is PredictGiven for one fault of a kind at each place.
func (m *Model) SweepPredict(given []Reading, q Quantity, tapM float64, kind Kind, atM []float64) []Predictive {
	out := make([]Predictive, len(atM))
	if !q.known() || len(atM) == 0 {
		return out
	}
	if kind == Touch {
		ps := m.partners()
		for i, x := range atM {
			out[i] = m.PredictGiven(given, q, tapM, Fault{Kind: Touch, AtM: x, ToM: ps[(i*7)%len(ps)]})
		}
		return out
	}
	if !kind.seen() {
		kind = Healthy
	}
	h := m.hypothesis(given, kind, Healthy, Healthy)
	defer m.release(h.j)
	key := tableKey{q: q, k1: kind}
	if q.atTap() {
		key.tapM = tapM
	}
	t := m.table(key)
	g := &h.j.g
	for i, x := range atM {
		if !m.possible([]Fault{{Kind: kind, AtM: x}}) {
			continue
		}
		c, w := m.at(h.j, t, x, 0, nil)
		mix := m.newMixture(q)
		for v := range h.variants {
			g.n, g.finite, g.cols = len(h.readings), h.finite, len(allColumns)
			for k, r := range h.readings {
				rc, rw := m.at(h.j, h.tables[k], x, 0, h.weights[:0])
				h.weights = rw
				p := blend(rc.rows[min(v, len(rc.rows)-1)], rw)
				m.enter(g, k, r, &p, allColumns)
			}
			p := blend(c.rows[v], w)
			mix.add(m, g, h.variants[v].lnWeight, &p, allColumns)
		}
		out[i] = mix.predictive()
		if !kind.placed() {
			for k := range out[i:] {
				out[i+k] = out[i]
			}
			break
		}
	}
	return out
}

func blend(rows []row, w []float64) row {
	var p row
	for i, weight := range w {
		for k, x := range rows[i] {
			p[k] += weight * x
		}
	}
	return p
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

// add takes in one variant: g holds the readings already taken under it, p its
// prediction of the new one.
func (x *mixture) add(m *Model, g *gaussian, lnWeight float64, p *row, cols []int) {
	at := max(p[0], 0) + x.shift
	mean := math.Log(at)
	var load [tagCount]float64
	for c, col := range cols {
		load[c] = p[col] / at
	}
	bent := p[bentSlot] / at
	v := dot(load[:len(cols)], load[:len(cols)]) + x.function.noise(&m.meters, max(p[0], 0)) + bent*bent
	if g.n > 0 {
		lnWeight += g.logEvidence()
		var c [maxReadings]float64
		for i := range g.finite {
			c[i] = dot(load[:len(cols)], g.load[i][:len(cols)])
			mean += c[i] * g.alpha[i]
		}
		for i := range g.finite {
			for j := range g.finite {
				v -= c[i] * g.inv[i][j] * c[j]
			}
		}
	}
	x.ln = append(x.ln, lnWeight)
	x.mean = append(x.mean, mean)
	x.sd = append(x.sd, math.Sqrt(max(v, 1e-10)))
}

// predictive cuts every variant at the meter's range, adds the share of readings
// that are wrong altogether, and drops what is too rare to matter.
func (x *mixture) predictive() Predictive {
	out := Predictive{Shift: x.shift}
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
