package diagnose

import (
	"cmp"
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

// sampled is how many evenly spaced places stand for the wire when a reading is
// weighed beforehand.
const sampled = 16

// forecast is what a reading would show under each cause, given what has been
// read already.
type forecast struct {
	b     *belief
	q     faultmodel.Quantity
	given []faultmodel.Reading
	at    []float64                          // the sampled places
	kinds map[string][]faultmodel.Predictive // as asked for: at each place, or one without a position
	mass  [][]float64                        // by cause: its share at each place; nil without a position
}

func (a *Assessment) forecast(q faultmodel.Quantity) *forecast {
	f := &forecast{b: a.belief, q: q, given: a.given(), at: make([]float64, sampled),
		kinds: map[string][]faultmodel.Predictive{}, mass: a.sampledMass()}
	for k := range f.at {
		f.at[k] = (float64(k) + 0.5) / sampled * a.belief.axis.LengthM
	}
	return f
}

// of is the prediction under a cause at each sampled place, or one alone for a
// cause without a position.
func (f *forecast) of(cause int) []faultmodel.Predictive {
	name := f.b.space.causes[cause].Kind
	if f.kinds[name] == nil {
		kind := faultmodel.Kind(name)
		f.kinds[name] = f.b.memo.forecast(f.q, f.given, kind, func() []faultmodel.Predictive {
			if f.b.place[cause] == nil || kind == faultmodel.Healthy {
				return []faultmodel.Predictive{f.b.model.PredictGiven(f.given, f.q, 0, faults(kind, 0)...)}
			}
			return f.b.model.SweepPredict(f.given, f.q, 0, kind, f.at)
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

// sampledMass is each cause's place cut into the sampled stretches.
func (a *Assessment) sampledMass() [][]float64 {
	if a.mass == nil {
		a.mass = make([][]float64, len(a.belief.space.causes))
		for c, place := range a.belief.place {
			if place == nil {
				continue
			}
			m := make([]float64, sampled)
			for x, p := range place.P {
				m[x*sampled/len(place.P)] += p
			}
			a.mass[c] = m
		}
	}
	return a.mass
}

// chance is the probability of a reading from lo to hi under a cause.
func (f *forecast) chance(cause int, lo, hi float64) float64 {
	at := f.of(cause)
	if len(at) == 1 {
		return at[0].Probability(lo, hi)
	}
	var p float64
	for k, w := range f.mass[cause] {
		if w > 1e-6 {
			p += w * at[k].Probability(lo, hi)
		}
	}
	return p
}

func (f *forecast) over(cause int) float64 {
	at := f.of(cause)
	if len(at) == 1 {
		return at[0].OverRange
	}
	var p float64
	for k, w := range f.mass[cause] {
		p += w * at[k].OverRange
	}
	return p
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

// edges cut what the meter might show into ranges of about equal chance: each
// part of a prediction counts at its mean and a standard deviation to each side.
func (f *forecast) edges(causes []int, weight map[int]float64) []float64 {
	type point struct{ value, weight float64 }
	var points []point
	var total float64
	add := func(p faultmodel.Predictive, w float64) {
		for _, c := range p.Components {
			for _, z := range []float64{-1, 0, 1} {
				points = append(points, point{math.Exp(c.MeanLn+z*c.SDLn) - p.Shift, w * c.Weight / 3})
			}
			total += w * c.Weight
		}
	}
	for _, cause := range causes {
		at := f.of(cause)
		if len(at) == 1 {
			add(at[0], weight[cause])
			continue
		}
		for k, w := range f.mass[cause] {
			if w > 0.01 {
				add(at[k], weight[cause]*w)
			}
		}
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(a.value, b.value) })
	var out []float64
	var seen float64
	for i, p := range points {
		seen += p.weight
		if k := len(out) + 1; k < readingBins && seen >= total*float64(k)/readingBins && i+1 < len(points) {
			out = append(out, (p.value+points[i+1].value)/2)
		}
	}
	return out
}

// readingOutcomes cuts what a meter might show into ranges of about equal
// chance under the present belief, with over-range apart, and weighs each.
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
	as := func(cause int) int {
		if share[cause] < worthForecasting {
			return b.space.nothing
		}
		return cause
	}
	sound := f.typical(b.space.nothing)
	seen := make([]int, len(m.hyps))
	weight := map[int]float64{} // probability by cause seen
	for i, h := range m.hyps {
		hyp := b.space.hyps[h]
		seen[i] = as(hyp.a)
		if hyp.b >= 0 && distance(f.typical(as(hyp.b)), sound) > distance(f.typical(seen[i]), sound) {
			seen[i] = as(hyp.b)
		}
		weight[seen[i]] += m.P[i]
	}
	var causes []int
	for cause := range b.space.causes { // in a fixed order, so that sums repeat
		if weight[cause] > 0 {
			causes = append(causes, cause)
		}
	}
	edges := append(append([]float64{0}, f.edges(causes, weight)...), math.Inf(1))

	chance := make([]float64, len(b.space.causes))
	row := func() []float64 {
		p := make([]float64, len(m.hyps))
		for i := range p {
			p[i] = chance[seen[i]]
		}
		return p
	}
	var out []policy.Outcome
	for k := 0; k+1 < len(edges); k++ {
		if edges[k+1] <= edges[k] {
			continue
		}
		for _, cause := range causes {
			chance[cause] = f.chance(cause, edges[k], edges[k+1])
		}
		out = append(out, policy.Outcome{P: row(), ActCost: a.afterReading(m, f, edges[k], edges[k+1])})
	}
	for _, cause := range causes {
		chance[cause] = f.over(cause)
	}
	out = append(out, policy.Outcome{P: row()})
	settle(out)
	return out
}

// afterReading is the price of each act when a reading falls into a range: a
// reading that depends on the place makes the search cheaper.
func (a *Assessment) afterReading(m *problem, f *forecast, lo, hi float64) []float64 {
	cost := make([]float64, len(m.Acts))
	for i := range cost {
		cost[i] = m.Acts[i].Cost
		x := m.acts[i]
		if x.group == nil || x.second || x.group.p < worthNarrowing {
			continue
		}
		if after, says := f.update(x.group, lo, hi); says {
			cost[i] = max(0.01, cost[i]+a.desk.Planner().Value(after)-x.group.value)
		}
	}
	return cost
}

// update is where a group would be if the reading fell between lo and hi; says is
// false where that says nothing of the place.
func (f *forecast) update(g *group, lo, hi float64) (after locate.Belief, says bool) {
	at := f.of(g.likely)
	like := make([]float64, len(at))
	least, most := math.Inf(1), math.Inf(-1)
	for k := range like {
		like[k] = math.Log(at[k].Probability(lo, hi) + 1e-9)
		least, most = min(least, like[k]), max(most, like[k])
	}
	if most-least < 0.05 {
		return g.place, false
	}
	logL := make([]float64, f.b.axis.Cells)
	for c := range logL {
		x := (float64(c)+0.5)/float64(f.b.axis.Cells)*sampled - 0.5
		k := min(max(int(math.Floor(x)), 0), sampled-2)
		t := min(max(x-float64(k), 0), 1)
		logL[c] = (1-t)*like[k] + t*like[k+1]
	}
	after, _ = g.place.Update(logL)
	return after, true
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
