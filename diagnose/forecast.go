package diagnose

import (
	"math"
	"slices"

	"loopfault/diagnose/policy"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// worthForecasting is the probability of a cause below which no reading is
// forecast for it.
const worthForecasting = 0.004

// readingBins is into how many ranges a reading is cut to weigh it beforehand.
const readingBins = 8

// places is how many places stand for the wire when a reading is weighed
// beforehand.
const places = 16

// sample is the places that stand for the wire, in order, and what lies nearest to each.
type sample struct {
	atM     []float64
	nearest []int       // by cell
	mass    [][]float64 // by cause: its share at each place; nil without a position
}

// forecast is what a reading would show under each cause, given what has been
// read already.
type forecast struct {
	b     *belief
	q     faultmodel.Quantity
	given []faultmodel.Reading
	kinds map[string][]faultmodel.Predictive // as asked for: at each place, or one without a position
	*sample
}

func (a *Assessment) forecast(q faultmodel.Quantity) *forecast {
	return &forecast{b: a.belief, q: q, given: a.given(), kinds: map[string][]faultmodel.Predictive{}, sample: a.sampled()}
}

// of is the prediction under a cause at each sampled place, or one alone for a
// cause without a position.
func (f *forecast) of(cause int) []faultmodel.Predictive {
	name := f.b.space.causes[cause].Kind
	if f.kinds[name] == nil {
		kind := faultmodel.Kind(name)
		f.kinds[name] = f.b.memo.forecast(f.q, f.given, kind, f.atM, func() []faultmodel.Predictive {
			if f.b.place[cause] == nil || kind == faultmodel.Healthy {
				return []faultmodel.Predictive{f.b.model.PredictGiven(f.given, f.q, 0, faults(kind, 0)...)}
			}
			return f.b.model.SweepPredict(f.given, f.q, 0, kind, f.atM)
		})
	}
	return f.kinds[name]
}

// given is what has been read since the last repair.
func (a *Assessment) given() []faultmodel.Reading {
	var out []faultmodel.Reading
	for _, f := range a.belief.h.facts {
		h := &a.belief.h
		if f.epoch >= a.desk.engine.circuitEpoch(h, len(h.repairs)) && f.answer.Reading != nil && f.answer.When != FaultAbsent {
			out = append(out, *f.answer.Reading)
		}
	}
	return out
}

// sampled places are spread evenly, and half of them over where the likeliest wire
// fault is, once that is narrow: evenly spaced ones would step over it.
func (a *Assessment) sampled() *sample {
	if a.sample != nil {
		return a.sample
	}
	axis := a.belief.axis
	s := &sample{nearest: make([]int, axis.Cells), mass: make([][]float64, len(a.belief.space.causes))}
	even := places
	const narrow, likely = 0.25, 0.3 // of the wire; of a group
	for i := range a.groups {
		if g := &a.groups[i]; g.p > likely && g.place.Interval(0.9).LengthM() < narrow*axis.LengthM {
			even = places / 2
			for k := range places - even {
				s.atM = append(s.atM, axis.Mid(axis.Cell(g.place.Quantile((float64(k)+0.5)/float64(places-even)))))
			}
			break
		}
	}
	for k := range even {
		s.atM = append(s.atM, (float64(k)+0.5)/float64(even)*axis.LengthM)
	}
	slices.Sort(s.atM)
	s.atM = slices.Compact(s.atM)
	k := 0
	for x := range s.nearest {
		for k+1 < len(s.atM) && axis.Mid(x)-s.atM[k] > s.atM[k+1]-axis.Mid(x) {
			k++
		}
		s.nearest[x] = k
	}
	for c, place := range a.belief.place {
		if place == nil {
			continue
		}
		s.mass[c] = make([]float64, len(s.atM))
		for x, p := range place.P {
			s.mass[c][s.nearest[x]] += p
		}
	}
	a.sample = s
	return s
}

// typical is the prediction at the cause's most likely place.
func (f *forecast) typical(cause int) faultmodel.Predictive {
	at := f.of(cause)
	if len(at) == 1 {
		return at[0]
	}
	best := 0
	for k, w := range f.mass[cause] {
		if w > f.mass[cause][best] {
			best = k
		}
	}
	return at[best]
}

// ranges are what a meter might show, cut into ranges of about equal chance, with
// over-range apart.
type ranges struct {
	*forecast
	edgesLn []float64              // ln(value + shift): from -Inf to +Inf
	below   map[string][][]float64 // by kind and place: the chance of a value below each edge
}

func (r *ranges) len() int { return len(r.edgesLn) - 1 }

// histogram is the weight of values by ln: bins of equal width between two ends.
type histogram struct {
	lo, perBin float64
	weight     [2048]float64
	total      float64
}

func (h *histogram) add(z, w float64) {
	k := int((z - h.lo) * h.perBin)
	h.weight[min(max(k, 0), len(h.weight)-1)] += w
	h.total += w
}

// ranges cuts the readings foreseen under the given causes: each part of a
// prediction counts at its mean and a standard deviation to each side.
func (f *forecast) ranges(causes []int, weight map[int]float64) *ranges {
	// Causes of a kind are foreseen alike; what each place of it weighs is summed.
	kinds := map[string][]float64{}
	var order []string
	for _, cause := range causes {
		kind, at := f.b.space.causes[cause].Kind, f.of(cause)
		if kinds[kind] == nil {
			kinds[kind] = make([]float64, len(at))
			order = append(order, kind)
		}
		if len(at) == 1 {
			kinds[kind][0] += weight[cause]
			continue
		}
		for k, w := range f.mass[cause] {
			kinds[kind][k] += weight[cause] * w
		}
	}
	each := func(yield func(c *faultmodel.Component, w float64)) {
		for _, kind := range order {
			for k, w := range kinds[kind] {
				for i := range f.kinds[kind][k].Components {
					if c := &f.kinds[kind][k].Components[i]; w*c.Weight > 1e-4 {
						yield(c, w*c.Weight/3)
					}
				}
			}
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	each(func(c *faultmodel.Component, _ float64) {
		lo, hi = min(lo, c.MeanLn-c.SDLn), max(hi, c.MeanLn+c.SDLn)
	})
	r := &ranges{forecast: f, edgesLn: []float64{math.Inf(-1)}, below: map[string][][]float64{}}
	if lo < hi {
		h := histogram{lo: lo}
		h.perBin = float64(len(h.weight)) / (hi - lo)
		each(func(c *faultmodel.Component, w float64) {
			h.add(c.MeanLn-c.SDLn, w)
			h.add(c.MeanLn, w)
			h.add(c.MeanLn+c.SDLn, w)
		})
		var seen float64
		for k, w := range h.weight[:len(h.weight)-1] {
			seen += w
			if n := len(r.edgesLn); n < readingBins && seen >= h.total*float64(n)/readingBins {
				r.edgesLn = append(r.edgesLn, lo+float64(k+1)/h.perBin)
			}
		}
	}
	r.edgesLn = append(r.edgesLn, math.Inf(1))
	for _, kind := range order {
		for _, p := range f.kinds[kind] {
			r.below[kind] = append(r.below[kind], p.CutLn(r.edgesLn, nil))
		}
	}
	return r
}

// share is the probability of range k at a place; r.len() is over-range.
func (r *ranges) share(kind string, place, k int) float64 {
	if k == r.len() {
		return r.kinds[kind][place].OverRange
	}
	below := r.below[kind][place]
	return below[k+1] - below[k]
}

// chance is the probability of range k, or of over-range, under a cause; 0 for one of
// a kind that was not foreseen.
func (r *ranges) chance(cause, k int) (p float64) {
	kind := r.b.space.causes[cause].Kind
	switch len(r.below[kind]) {
	case 0:
		return 0
	case 1: // without a position
		return r.share(kind, 0, k)
	}
	for x, w := range r.mass[cause] {
		p += w * r.share(kind, x, k)
	}
	return p
}

// update is where a group would be if the reading fell into range k; says is
// false where that says nothing of the place.
func (r *ranges) update(g *group, k int) (after locate.Belief, says bool) {
	kind := r.b.space.causes[g.likely].Kind
	like := make([]float64, len(r.below[kind]))
	least, most := math.Inf(1), math.Inf(-1)
	for x := range like {
		like[x] = math.Log(r.share(kind, x, k) + 1e-9)
		least, most = min(least, like[x]), max(most, like[x])
	}
	if most-least < 0.05 {
		return g.place, false
	}
	logL := make([]float64, r.b.axis.Cells)
	for c := range logL {
		// A straight line between the places on either side.
		x, k := r.b.axis.Mid(c), r.nearest[c]
		if x < r.atM[k] {
			k--
		}
		k = min(max(k, 0), len(r.atM)-2)
		t := min(max((x-r.atM[k])/(r.atM[k+1]-r.atM[k]), 0), 1)
		logL[c] = (1-t)*like[k] + t*like[k+1]
	}
	after, _ = g.place.Update(logL)
	return after, true
}

// readingOutcomes weighs each range of what a meter might show under the present
// belief, and over-range.
func (a *Assessment) readingOutcomes(m *problem, c *kb.Check) []policy.Outcome {
	b := a.belief
	f := a.forecast(faultmodel.Quantity(c.Quantity))
	// A cause too unlikely to matter for the decision is taken for a sound loop. A
	// pair is weighed by the one of its causes that moves the reading more: the one
	// less like a sound loop.
	share := make([]float64, len(b.space.causes))
	for i, h := range m.hyps {
		hyp := b.space.hyps[h]
		share[hyp.a] += m.P[i]
		if hyp.b >= 0 && hyp.b != hyp.a {
			share[hyp.b] += m.P[i]
		}
	}
	as := make([]int, len(b.space.causes))
	moved := make([]float64, len(b.space.causes))
	for cause := range as {
		as[cause] = cause
		if share[cause] < worthForecasting {
			as[cause] = b.space.nothing
		} else {
			moved[cause] = distance(f.typical(cause), f.typical(b.space.nothing))
		}
	}
	seen := make([]int, len(m.hyps))
	weight := map[int]float64{} // probability by cause seen
	for i, h := range m.hyps {
		hyp := b.space.hyps[h]
		seen[i] = as[hyp.a]
		if hyp.b >= 0 && moved[hyp.b] > moved[hyp.a] {
			seen[i] = as[hyp.b]
		}
		weight[seen[i]] += m.P[i]
	}
	var causes []int
	for cause := range b.space.causes { // in a fixed order, so that sums repeat
		if weight[cause] > 0 {
			causes = append(causes, cause)
		}
	}
	r := f.ranges(causes, weight)

	chance := make([]float64, len(b.space.causes))
	row := func() []float64 {
		p := make([]float64, len(m.hyps))
		for i := range p {
			p[i] = chance[seen[i]]
		}
		return p
	}
	var out []policy.Outcome
	for k := range r.len() + 1 {
		for _, cause := range causes {
			chance[cause] = r.chance(cause, k)
		}
		out = append(out, policy.Outcome{P: row(), ActCost: a.afterReading(m, r, k)})
	}
	settle(out)
	return out
}

// afterReading is the price of each act when a reading falls into range k: a
// reading that depends on the place makes the search cheaper.
func (a *Assessment) afterReading(m *problem, r *ranges, k int) []float64 {
	cost := make([]float64, len(m.Acts))
	for i := range cost {
		cost[i] = m.Acts[i].Cost
		x := m.acts[i]
		if x.group == nil || x.second || x.group.p*r.chance(x.group.likely, k) < worthNarrowing/readingBins {
			continue
		}
		if after, says := r.update(x.group, k); says {
			cost[i] = max(0.01, cost[i]+a.desk.Planner().Value(after)-x.group.value)
		}
	}
	return cost
}

// distance is how far apart two predictions lie in ln value; over-range against a
// value is far.
func distance(p, q faultmodel.Predictive) float64 {
	if (p.OverRange > 0.5) != (q.OverRange > 0.5) {
		return 100
	}
	return math.Abs(centre(p) - centre(q))
}

// centre is the mean of ln value where there is one to read.
func centre(p faultmodel.Predictive) float64 {
	var sum, weight float64
	for _, c := range p.Components {
		sum += c.Weight * c.MeanLn
		weight += c.Weight
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}
