package faultmodel

import (
	"cmp"
	"math"
	"slices"
)

// hypothesis is a family of faults to be judged at many places against one set
// of readings.
type hypothesis struct {
	m        *Model
	j        *judge
	readings []Reading
	finite   int
	tables   []*table // by reading
	variants []variant
	live     []int       // variants still in the running
	thinned  bool        // those without a chance are not among them
	cols     []int       // slots of a [row] on which any reading depends
	column   [rowLen]int // where a slot is in cols, or -1
	cells    []*cell     // by table, where the hypothesis stands
	weights  []float64   // of their nodes
	starts   [maxReadings + 1]int
	each     []float64 // log-likelihood of every variant at the last place
	terms    []float64
	observed []observed
	lnWeight []float64 // of the variants
	noted    []float64 // the same, while notes were taken
	notes    [][]float64
}

func (m *Model) hypothesis(readings []Reading, k1, k2, still Kind) *hypothesis {
	h := &hypothesis{m: m, j: m.judge()}
	h.readings, h.finite = arrange(readings)
	for _, r := range h.readings {
		key := tableKey{q: r.Quantity, k1: k1, k2: k2, still: still}
		if r.FaultAway {
			key.k1, key.k2, key.still = Healthy, Healthy, Healthy
		}
		if key.q.atTap() {
			key.tapM = r.AtM
		}
		h.tables = append(h.tables, m.table(key))
	}
	fs := []Fault{{Kind: k1}, {Kind: k2, AtM: 1}, {Kind: still}}
	if k1 == Touch && k2 == Touch {
		fs = fs[:1]
	}
	h.variants = variants(seenFaults(fs))
	for k := range h.column {
		h.column[k] = -1
	}
	h.revive()
	h.each = make([]float64, len(h.variants))
	h.cells = make([]*cell, len(h.tables))
	for _, r := range h.readings {
		h.observed = append(h.observed, m.observe(r))
	}
	return h
}

// revive puts every variant back in the running.
func (h *hypothesis) revive() {
	h.live, h.lnWeight, h.noted, h.thinned = h.live[:0], h.lnWeight[:0], h.noted[:0], false
	clear(h.cells)
	for v := range h.variants {
		h.live = append(h.live, v)
		h.lnWeight = append(h.lnWeight, h.variants[v].lnWeight)
		h.noted = append(h.noted, h.variants[v].lnWeight)
	}
}

// stand takes up a place, or pair of places: the cells it lies in and the weights
// of their nodes, by table.
func (h *hypothesis) stand(x1, x2 float64) {
	w := h.weights[:0]
	for k, t := range h.tables {
		var c *cell
		c, w = h.m.at(h.j, t, x1, x2, h.live, w)
		h.starts[k+1] = len(w)
		if c != h.cells[k] {
			h.cells[k] = c
			h.widen(c)
		}
	}
	h.weights = w
	h.j.g.n, h.j.g.finite, h.j.g.cols = len(h.readings), h.finite, len(h.cols)
}

// widen adds to the columns in use those of the unknowns that a cell depends on.
func (h *hypothesis) widen(c *cell) {
	for _, v := range h.live {
		for _, k := range c.of(v).cols {
			if h.column[k] < 0 {
				h.column[k] = len(h.cols)
				h.cols = append(h.cols, k)
			}
		}
	}
}

// blend appends to p the sum of a variant's rows under the weights of its nodes.
func (r *rows) blend(weights, p []float64) []float64 {
	n := 2 + len(r.cols)
	at := len(p)
	p = append(p, r.values[:n]...)
	sum := p[at:]
	for c := range sum {
		sum[c] *= weights[0]
	}
	for i, w := range weights[1:] {
		for c, x := range r.values[(i+1)*n:][:n] {
			sum[c] += w * x
		}
	}
	return p
}

// judge is the log-likelihood of variant v where h stands.
func (h *hypothesis) judge(v int) float64 {
	g := &h.j.g
	var buf row
	for k := range h.readings {
		r := h.cells[k].of(v)
		p := r.blend(h.weights[h.starts[k]:h.starts[k+1]], buf[:0])
		o := &h.observed[k]
		value := max(p[0]+o.shift, o.shift)
		g.residual[k] = o.ln - math.Log(value)
		inv := 1 / value
		bent := p[1] * inv
		g.noise[k] = o.noise + bent*bent
		load := g.load[k][:len(h.cols)]
		clear(load)
		for c, col := range r.cols {
			load[h.column[col]] = p[2+c] * inv
		}
	}
	if len(h.readings) == 0 {
		return h.lnWeight[v]
	}
	return h.lnWeight[v] + g.logEvidence()
}

// logLikelihood judges one place, or pair of places, from the tables.
func (h *hypothesis) logLikelihood(x1, x2 float64) float64 {
	h.stand(x1, x2)
	l := h.terms[:0]
	for _, v := range h.live {
		h.each[v] = h.judge(v)
		l = append(l, h.each[v])
	}
	h.terms = l
	return logSum(l)
}

// How far a parabola through three places may miss the two between them before
// closer places are judged; what is then filled in is the quartic through all
// five, several times better. And how far below the best place or variant
// anything stops to matter. In log-likelihood.
const (
	sweepTolerance = 0.03
	farBelow       = 25
	hopeless       = 12
	alike          = 2e-3
)

// Sweep is the LogLikelihood of one fault of a kind at each place. A [Touch]
// is averaged over where along the conductor its other place may be.
func (m *Model) Sweep(readings []Reading, kind Kind, atM []float64) []float64 {
	out := make([]float64, len(atM))
	if kind == Touch {
		return m.sweepTouch(readings, atM)
	}
	m.sweep(readings, kind, Healthy, atM, out)
	return out
}

// sweepStill judges a fault whose place does not matter, or none.
func (m *Model) sweepStill(readings []Reading, faults []Fault) float64 {
	var l [1]float64
	kind := Healthy
	if len(faults) > 0 {
		kind = faults[0].Kind
	}
	m.sweep(readings, kind, Healthy, []float64{0}, l[:])
	return l[0]
}

// sweep judges one placed fault, or none, with another whose place does not matter.
func (m *Model) sweep(readings []Reading, kind, still Kind, atM, out []float64) {
	if len(atM) == 0 {
		return
	}
	if !kind.seen() {
		kind = Healthy
	}
	h := m.hypothesis(readings, kind, Healthy, still)
	defer m.release(h.j)
	if len(h.readings) == 0 {
		if kind == LeadShort {
			for i, x := range atM {
				if _, on := m.loop.leadDistance(x); !on {
					out[i] = math.Inf(-1)
				}
			}
		}
		return
	}
	if !kind.placed() {
		l := h.logLikelihood(0, 0)
		for i := range out {
			out[i] = l
		}
		return
	}
	h.along(atM, out, kind == LeadShort, func(x float64) (float64, float64) { return x, 0 })
}

// along fills out with the log-likelihood at each place. Places are judged on a
// coarse comb first; between its teeth a parabola serves where it predicts the
// places halfway, and the rest is judged at ever closer places.
func (h *hypothesis) along(atM, out []float64, leadOnly bool, at func(x float64) (float64, float64)) {
	order := make([]int, len(atM))
	for i := range order {
		order[i] = i
	}
	if !slices.IsSorted(atM) {
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(atM[a], atM[b]) })
	}
	// Runs of places with no corner between them.
	var runs [][]int
	lo := 0
	for _, c := range append(h.corners(), math.Inf(1)) {
		hi := lo
		for hi < len(order) && atM[order[hi]] <= c {
			hi++
		}
		if hi > lo {
			run := order[lo:hi]
			if _, on := h.m.loop.leadDistance(atM[run[len(run)/2]]); leadOnly && !on {
				for _, i := range run {
					out[i] = math.Inf(-1)
				}
			} else {
				runs = append(runs, run)
			}
		}
		lo = hi
	}
	const step = 128
	best := math.Inf(-1)
	eval := func(i int) float64 {
		out[i] = h.logLikelihood(at(atM[i]))
		best = max(best, out[i])
		return out[i]
	}
	if !h.thinned {
		for _, run := range runs {
			// A contact may fit halfway along a short run and at neither of its ends.
			tooth := max(1, min(step, (len(run)-1)/3))
			for k := 0; k < len(run)+tooth-1; k += tooth {
				eval(run[min(k, len(run)-1)])
				h.note()
			}
		}
		h.thin()
	}
	for _, run := range runs {
		last := len(run) - 1
		for k := 0; k < last; k += step {
			eval(run[k])
			eval(run[(k+min(k+step, last))/2])
		}
		eval(run[last])
	}
	for _, run := range runs {
		last := len(run) - 1
		for k := 0; k < last; k += step {
			hi := min(k+step, last)
			h.bend(run[k:hi+1], atM, out, (hi-k)/2, &best, eval)
		}
	}
}

// corners are the places where predictions may have one.
func (h *hypothesis) corners() []float64 {
	var at []float64
	for _, t := range h.tables {
		for _, s := range t.stretches {
			at = append(at, s.hiM)
		}
	}
	slices.Sort(at)
	return slices.Compact(at)
}

// bend fills in a run whose first, mid and last places are judged.
func (h *hypothesis) bend(run []int, atM, out []float64, mid int, best *float64, eval func(int) float64) {
	last := len(run) - 1
	if last < 2 {
		return
	}
	if last < 8 {
		for i := 1; i < last; i++ {
			if i != mid {
				eval(run[i])
			}
		}
		return
	}
	knots := [5]int{0, mid / 2, mid, (mid + last) / 2, last}
	good := atM[run[0]] < atM[run[1]]
	for k := 1; k < len(knots); k++ {
		good = good && atM[run[knots[k-1]]] < atM[run[knots[k]]]
	}
	var parabola polynomial
	if good {
		parabola = through(atM, out, run[0], run[mid], run[last])
	}
	for _, q := range [...]int{knots[1], knots[3]} {
		got := eval(run[q])
		if !good {
			continue
		}
		tol := sweepTolerance
		if below := *best - max(got, out[run[0]], out[run[mid]], out[run[last]]); below > farBelow {
			tol = 3
		} else if below > 6 {
			tol *= math.Exp((below - 6) / 4)
		}
		good = math.Abs(parabola.at(atM[run[q]])-got) < tol
	}
	if good {
		quartic := through(atM, out, run[knots[0]], run[knots[1]], run[knots[2]], run[knots[3]], run[knots[4]])
		for i := 1; i < last; i++ {
			if i != knots[1] && i != knots[2] && i != knots[3] {
				out[run[i]] = quartic.at(atM[run[i]])
			}
		}
		return
	}
	h.bend(run[:mid+1], atM, out, knots[1], best, eval)
	h.bend(run[mid:], atM, out, knots[3]-mid, best, eval)
}

// polynomial is one in Newton's form, of up to five points.
type polynomial struct {
	n        int
	x, slope [5]float64 // the points, and the divided differences from the first on
}

// through is the polynomial through the given points of x and y.
func through(x, y []float64, points ...int) polynomial {
	p := polynomial{n: len(points)}
	for i, k := range points {
		p.x[i], p.slope[i] = x[k], y[k]
	}
	for order := 1; order < p.n; order++ {
		for i := p.n - 1; i >= order; i-- {
			p.slope[i] = (p.slope[i] - p.slope[i-1]) / (p.x[i] - p.x[i-order])
		}
	}
	return p
}

func (p *polynomial) at(x float64) float64 {
	v := p.slope[p.n-1]
	for i := p.n - 2; i >= 0; i-- {
		v = v*(x-p.x[i]) + p.slope[i]
	}
	return v
}

// note remembers what every variant said of the last place.
func (h *hypothesis) note() { h.notes = append(h.notes, slices.Clone(h.each)) }

// dropHopeless leaves out the variants that no noted place gives a chance, and
// returns the best of every noted place.
func (h *hypothesis) dropHopeless() (hope []float64) {
	hope = make([]float64, len(h.notes))
	for p, each := range h.notes {
		hope[p] = math.Inf(-1)
		for _, v := range h.live {
			hope[p] = max(hope[p], each[v])
		}
	}
	h.live = slices.DeleteFunc(h.live, func(v int) bool {
		for p, each := range h.notes {
			if each[v] >= hope[p]-hopeless {
				return false
			}
		}
		return true
	})
	return hope
}

// thin leaves out the variants without a chance, and lets one stand for several
// that say the same of every noted place.
func (h *hypothesis) thin() {
	hope := h.dropHopeless()
	notes := h.notes
	h.notes = nil
	var kept []int
next:
	for _, v := range h.live {
		for _, u := range kept {
			same := true
			for p, each := range notes {
				d := (each[u] - h.noted[u]) - (each[v] - h.noted[v])
				low := max(each[u], each[v]) < hope[p]-hopeless
				if !low && math.Abs(d) > alike {
					same = false
					break
				}
			}
			if same {
				h.lnWeight[u] = logAdd(h.lnWeight[u], h.lnWeight[v])
				continue next
			}
		}
		kept = append(kept, v)
	}
	h.live = kept
	h.thinned = true
}

// SweepPairs is the LogLikelihood of a fault of kind k1 at atM[i] together
// with one of kind k2 at atM[j], at [i][j]. Two of kind [Touch] are one touch
// between the two places.
func (m *Model) SweepPairs(readings []Reading, k1, k2 Kind, atM []float64) [][]float64 {
	n := len(atM)
	flat := make([]float64, n*n)
	out := make([][]float64, n)
	for i := range out {
		out[i] = flat[i*n : (i+1)*n : (i+1)*n]
	}
	if n == 0 {
		return out
	}
	switch {
	case (k1 == Touch) != (k2 == Touch) && k1.placed() && k2.placed():
		m.touchPairs(readings, k1, k2, atM, out)
	case !k2.placed():
		row := make([]float64, n)
		m.sweepWith(readings, k1, k2, atM, row)
		for i := range out {
			for j := range out[i] {
				out[i][j] = row[i]
			}
		}
	case !k1.placed():
		row := make([]float64, n)
		m.sweepWith(readings, k2, k1, atM, row)
		for i := range out {
			copy(out[i], row)
		}
	default:
		m.pairs(readings, k1, k2, atM, out)
	}
	return out
}

// Couples is the LogLikelihood of a fault of kind k1 at each of at1 together with
// one of k2 at each of at2, in [i][j]. It solves the circuit for every couple, which
// for a few places is quicker than filling the tables of [Model.SweepPairs]. A
// [Touch] is averaged over a few places that its other side may be at.
func (m *Model) Couples(readings []Reading, k1 Kind, at1 []float64, k2 Kind, at2 []float64) [][]float64 {
	const few = 2
	partners := m.partners()
	out := make([][]float64, len(at1))
	for i, x := range at1 {
		for k, y := range at2 {
			one, two := Fault{Kind: k1, AtM: x}, Fault{Kind: k2, AtM: y}
			if k1 != Touch && k2 != Touch {
				out[i] = append(out[i], m.LogLikelihood(readings, one, two))
				continue
			}
			var each []float64
			for n := (3*i + k) % (len(partners) / few); n < len(partners); n += len(partners) / few {
				one.ToM, two.ToM = partners[n], partners[n]
				each = append(each, m.LogLikelihood(readings, one, two))
			}
			out[i] = append(out[i], logMean(each))
		}
	}
	return out
}

// sweepWith is a sweep of a kind together with one that has no place.
func (m *Model) sweepWith(readings []Reading, kind, still Kind, atM, out []float64) {
	if !still.seen() {
		still = Healthy
	}
	if kind == Touch && still == Healthy {
		copy(out, m.sweepTouch(readings, atM))
		return
	}
	if kind == Touch {
		m.coarse(atM, out, func(x float64) float64 {
			var sum []float64
			for _, y := range m.partners() {
				sum = append(sum, m.LogLikelihood(readings, Fault{Kind: Touch, AtM: x, ToM: y}, Fault{Kind: still}))
			}
			return logMean(sum)
		})
		return
	}
	m.sweep(readings, kind, still, atM, out)
}

// pairs judges two placed faults on the whole grid of places: first on a coarse
// comb with every variant of the contacts, then with those that matter.
func (m *Model) pairs(readings []Reading, k1, k2 Kind, atM []float64, out [][]float64) {
	h := m.hypothesis(readings, k1, k2, Healthy)
	defer m.release(h.j)
	n := len(atM)
	twice := k1 == k2
	ok := func(k Kind, x float64) bool {
		if k != LeadShort {
			return true
		}
		_, on := m.loop.leadDistance(x)
		return on
	}
	possible := func(i, j int) bool { return ok(k1, atM[i]) && ok(k2, atM[j]) }
	set := func(i, j int, l float64) {
		out[i][j] = l
		if twice {
			out[j][i] = l
		}
	}
	if len(h.readings) == 0 {
		for i := range n {
			for j := range n {
				if !possible(i, j) {
					out[i][j] = math.Inf(-1)
				}
			}
		}
		return
	}
	step := max(1, n/6)
	for i := 0; i < n; i += step {
		for j := 0; j < n; j += step {
			if possible(i, j) && !(twice && j < i) {
				h.logLikelihood(atM[i], atM[j])
				h.note()
			}
		}
	}
	h.thin()
	// Every other place of either fault is judged, and those between where a plane
	// through them would not do.
	corners := h.corners()
	known := make([]bool, n*n)
	judge := func(i, j int) float64 {
		if twice && j < i {
			i, j = j, i
		}
		if !known[i*n+j] {
			known[i*n+j] = true
			if possible(i, j) {
				set(i, j, h.logLikelihood(atM[i], atM[j]))
			} else {
				set(i, j, math.Inf(-1))
			}
		}
		return out[i][j]
	}
	for i := 0; i < n; i += 2 {
		for j := 0; j < n; j += 2 {
			if twice && j+2 < i {
				continue
			}
			i2, j2 := min(i+2, n-1), min(j+2, n-1)
			four := [4]float64{judge(i, j), judge(i, j2), judge(i2, j), judge(i2, j2)}
			low, high := slices.Min(four[:]), slices.Max(four[:])
			flat := high-low < flatPairs && m.smooth(corners, atM[i], atM[i2], atM[j], atM[j2])
			for a := i; a <= i2; a++ {
				for b := j; b <= j2; b++ {
					switch {
					case known[min(a, b)*n+max(a, b)] && twice, known[a*n+b] && !twice:
					case flat:
						u, v := share(atM[i], atM[a], atM[i2]), share(atM[j], atM[b], atM[j2])
						set(a, b, (1-u)*((1-v)*four[0]+v*four[1])+u*((1-v)*four[2]+v*four[3]))
					default:
						judge(a, b)
					}
				}
			}
		}
	}
}

// flatPairs is how far, in log-likelihood, the corners of a patch of pairs may
// differ for the pairs inside to be read off between them.
const flatPairs = 0.5

// share is how far x is from a to b, from 0 to 1.
func share(a, x, b float64) float64 {
	if a == b {
		return 0
	}
	return (x - a) / (b - a)
}

// smooth tells whether no corner of the predictions lies inside a patch of pairs on
// the boundary, nor places that pass one another.
func (m *Model) smooth(corners []float64, x1, x2, y1, y2 float64) bool {
	l, total := m.loop.LeadInM, m.loop.TotalM()
	if min(x1, y1) < l || max(x2, y2) > total-l || x1 <= y2 && y1 <= x2 {
		return false
	}
	for _, c := range corners {
		if x1 < c && c < x2 || y1 < c && c < y2 {
			return false
		}
	}
	return true
}

// partners are the places at which the other side of a touch is tried.
func (m *Model) partners() []float64 {
	const n = 16
	out := make([]float64, n)
	for i := range out {
		out[i] = m.loop.TotalM() * (float64(i) + 0.5) / n
	}
	return out
}

// sweepTouch averages a touch over its other place.
func (m *Model) sweepTouch(readings []Reading, atM []float64) []float64 {
	out := make([]float64, len(atM))
	h := m.hypothesis(readings, Touch, Touch, Healthy)
	defer m.release(h.j)
	if len(h.readings) == 0 {
		return out
	}
	at := m.partners()
	one := make([]float64, len(atM))
	each := make([]float64, len(atM)*len(at)) // by place, then partner
	// Which variants matter is judged for all partners at once.
	const few = 5
	for k := 0; k < len(at); k += 2 {
		for i := range few {
			h.logLikelihood(atM[i*(len(atM)-1)/(few-1)], at[k])
			h.note()
		}
	}
	h.thin()
	for k, y := range at {
		h.along(atM, one, false, func(x float64) (float64, float64) { return x, y })
		for i, l := range one {
			each[i*len(at)+k] = l
		}
	}
	for i := range out {
		out[i] = logMean(each[i*len(at):][:len(at)])
	}
	return out
}

// touchPairs judges a touch together with another placed fault: on a coarse
// grid, the touch averaged over its other place, and straight lines between.
func (m *Model) touchPairs(readings []Reading, k1, k2 Kind, atM []float64, out [][]float64) {
	other := k1
	if k1 == Touch {
		other = k2
	}
	const n = 12
	grid := make([]float64, n)
	for i := range grid {
		grid[i] = m.loop.TotalM() * float64(i) / (n - 1)
	}
	partners := m.partners()
	var values [n][n]float64 // touch, other
	for i, x := range grid {
		for j, y := range grid {
			f := Fault{Kind: other, AtM: y}
			var sum []float64
			for k := i % 4; k < len(partners); k += 4 {
				sum = append(sum, m.LogLikelihood(readings, Fault{Kind: Touch, AtM: x, ToM: partners[k]}, f))
			}
			values[i][j] = logMean(sum)
		}
	}
	split := func(x float64) (int, float64) {
		f := min(max(x/m.loop.TotalM(), 0), 1) * (n - 1)
		i := min(int(f), n-2)
		return i, f - float64(i)
	}
	for a, x := range atM {
		for b, y := range atM {
			t, o := x, y
			if k1 != Touch {
				t, o = y, x
			}
			i, u := split(t)
			j, v := split(o)
			if !m.possible([]Fault{{Kind: other, AtM: o}}) {
				out[a][b] = math.Inf(-1)
				continue
			}
			l := 0.0
			for _, c := range [...]struct {
				w float64
				l float64
			}{{(1 - u) * (1 - v), values[i][j]}, {u * (1 - v), values[i+1][j]}, {(1 - u) * v, values[i][j+1]}, {u * v, values[i+1][j+1]}} {
				if c.w > 0 && !math.IsInf(c.l, -1) {
					l += c.w * c.l
				}
			}
			out[a][b] = l
		}
	}
}

// coarse fills out by straight lines between 24 places.
func (m *Model) coarse(atM, out []float64, f func(float64) float64) {
	const n = 24
	var v [n]float64
	for i := range v {
		v[i] = f(m.loop.TotalM() * float64(i) / (n - 1))
	}
	for k, x := range atM {
		p := min(max(x/m.loop.TotalM(), 0), 1) * (n - 1)
		i := min(int(p), n-2)
		u := p - float64(i)
		out[k] = (1-u)*v[i] + u*v[i+1]
	}
}

// logMean is ln of the mean of e^l.
func logMean(l []float64) float64 { return logSum(l) - math.Log(float64(len(l))) }
