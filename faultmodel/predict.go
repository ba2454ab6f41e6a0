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
	m.prepare(&j.c, faults, q, atM)
	mix := m.newMixture(q)
	var r row
	for i := range vs {
		w := m.weigh(j, rs, &vs[i], true)
		m.predict(&j.c, &vs[i], true, &r)
		p := append([]float64{r[0], r[bentSlot]}, r[1:bentSlot]...)
		mix.add(m, &j.g, w, p)
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
	h.tables = append(h.tables, m.table(key)) // the last table is of what is to come
	var buf row
	weights := make([]float64, len(h.variants))
	mix := m.newMixture(q)
	weigh := func(x float64) (best float64) {
		h.widen(x, 0)
		h.stand(x, 0)
		best = math.Inf(-1)
		for _, v := range h.live {
			weights[v] = h.lnWeight[v]
			if len(h.readings) > 0 {
				weights[v] = h.judge(v)
			}
			best = max(best, weights[v])
		}
		return best
	}
	if len(h.readings) > 0 && len(h.live) > 4 && len(atM) > 8 {
		// What has been read leaves no chance to most variants anywhere.
		keep := make([]bool, len(h.variants))
		for k := range 4 {
			if x := atM[k*(len(atM)-1)/3]; m.possible([]Fault{{Kind: kind, AtM: x}}) {
				best := weigh(x)
				for _, v := range h.live {
					keep[v] = keep[v] || weights[v] > best-hopeless
				}
			}
		}
		if slices.Contains(keep, true) {
			h.live = slices.DeleteFunc(h.live, func(v int) bool { return !keep[v] })
		}
	}
	for i, x := range atM {
		if !m.possible([]Fault{{Kind: kind, AtM: x}}) {
			continue
		}
		best := weigh(x)
		mix.reset()
		p := buf[:2+len(h.cols)]
		for _, v := range h.live {
			w := weights[v]
			if w < best-hopeless {
				continue
			}
			if len(h.readings) > 0 {
				h.judge(v)
			}
			h.blend(len(h.readings), v, p)
			mix.add(m, &h.j.g, w, p)
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

// add takes in one variant: g holds the readings already taken, judged under it;
// p is its prediction of the new one, value and bend first, then g's columns.
func (x *mixture) add(m *Model, g *gaussian, lnWeight float64, p []float64) {
	at := max(p[0], 0) + x.shift
	mean := math.Log(at)
	var buf row
	load := buf[:g.cols]
	for c := range load {
		load[c] = p[2+c] / at
	}
	bent := p[1] / at
	v := dot(load, load) + x.function.noise(&m.meters, max(p[0], 0)) + bent*bent
	if g.finite > 0 {
		var c [maxReadings]float64
		for i := range g.finite {
			c[i] = dot(load, g.load[i][:g.cols])
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
