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
	live     []int // variants still in the running
	cols     []int
	weights  []float64
	places   [2]float64
	each     []float64 // log-likelihood of every variant at the last place
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
	for v := range h.variants {
		h.live = append(h.live, v)
	}
	h.each = make([]float64, len(h.variants))
	return h
}

// columns lists the unknowns any reading depends on. It looks at one place.
func (h *hypothesis) columns(x1, x2 float64) {
	var active [1 + tagCount]bool
	for _, t := range h.tables {
		h.m.at(h.j, t, x1, x2, h.weights[:0])
		h.m.mu.Lock()
		for k, a := range t.active {
			active[k] = active[k] || a
		}
		h.m.mu.Unlock()
	}
	h.cols = h.cols[:0]
	for k := 1; k < len(active); k++ {
		if active[k] {
			h.cols = append(h.cols, k)
		}
	}
}

// logLikelihood judges one place, or pair of places, from the tables.
func (h *hypothesis) logLikelihood(x1, x2 float64) float64 {
	n := len(h.readings)
	var cells [maxReadings]*cell
	var starts [maxReadings + 1]int
	w := h.weights[:0]
	for k, t := range h.tables {
		cells[k], w = h.m.at(h.j, t, x1, x2, w)
		starts[k+1] = len(w)
	}
	h.weights = w
	g := &h.j.g
	g.n, g.finite, g.cols = n, h.finite, len(h.cols)
	total := math.Inf(-1)
	for _, v := range h.live {
		for k := range n {
			var p row
			rows := cells[k].rows[min(v, len(cells[k].rows)-1)]
			for i, weight := range w[starts[k]:starts[k+1]] {
				r := &rows[i]
				p[0] += weight * r[0]
				for _, c := range h.cols {
					p[c] += weight * r[c]
				}
			}
			h.m.enter(g, k, h.readings[k], &p, h.cols)
		}
		l := h.variants[v].lnWeight + g.logEvidence()
		h.each[v] = l
		total = logAdd(total, l)
	}
	return total
}

// Loss allowed to interpolation between places, in log-likelihood, and how far
// below the best place or variant anything stops to matter.
const (
	sweepTolerance = 1e-3
	farBelow       = 30
	hopeless       = 18
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
		h.columns(0, 0)
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
	var cuts []float64
	for _, t := range h.tables {
		for _, s := range t.stretches {
			cuts = append(cuts, s.hiM)
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var runs [][]int
	lo := 0
	for _, c := range append(cuts, math.Inf(1)) {
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
	for _, run := range runs {
		h.columns2(at(atM[run[0]]))
	}
	const step = 32
	best := math.Inf(-1)
	keep := make([]bool, len(h.variants))
	eval := func(i int) float64 {
		out[i] = h.logLikelihood(at(atM[i]))
		best = max(best, out[i])
		return out[i]
	}
	for _, run := range runs {
		for k := 0; k < len(run); k += step / 2 {
			l := eval(run[k])
			for _, v := range h.live {
				keep[v] = keep[v] || h.each[v] > l-hopeless
			}
		}
		if last := len(run) - 1; last%(step/2) != 0 {
			eval(run[last])
		}
	}
	h.live = slices.DeleteFunc(h.live, func(v int) bool { return !keep[v] })
	for _, run := range runs {
		for k := 0; k < len(run)-1; k += step {
			hi := min(k+step, len(run)-1)
			mid := k + step/2
			if mid >= hi {
				for i := k + 1; i < hi; i++ {
					eval(run[i])
				}
				continue
			}
			h.bend(run[k:hi+1], atM, out, mid-k, &best, eval)
		}
	}
}

// bend fills in a run whose first, mid and last places are judged.
func (h *hypothesis) bend(run []int, atM, out []float64, mid int, best *float64, eval func(int) float64) {
	last := len(run) - 1
	if last <= 2 {
		return
	}
	parabola := func(i int) float64 {
		x0, x1, x2, x := atM[run[0]], atM[run[mid]], atM[run[last]], atM[run[i]]
		if x0 == x1 || x1 == x2 {
			return out[run[mid]]
		}
		return out[run[0]]*(x-x1)*(x-x2)/((x0-x1)*(x0-x2)) +
			out[run[mid]]*(x-x0)*(x-x2)/((x1-x0)*(x1-x2)) +
			out[run[last]]*(x-x0)*(x-x1)/((x2-x0)*(x2-x1))
	}
	good := true
	qs := [2]int{mid / 2, (mid + last) / 2}
	for _, q := range qs {
		if q == 0 || q == mid || q == last {
			continue
		}
		guess := parabola(q)
		got := eval(run[q])
		tol := sweepTolerance
		if below := *best - max(got, out[run[0]], out[run[mid]], out[run[last]]); below > farBelow {
			tol = 1
		} else if below > 8 {
			tol *= math.Exp((below - 8) / 3)
		}
		good = good && math.Abs(guess-got) < tol
	}
	if good {
		for i := 1; i < last; i++ {
			if i != mid && i != qs[0] && i != qs[1] {
				out[run[i]] = parabola(i)
			}
		}
		return
	}
	h.bend(run[:mid+1], atM, out, qs[0], best, eval)
	h.bend(run[mid:], atM, out, qs[1]-mid, best, eval)
}

func (h *hypothesis) columns2(x1, x2 float64) {
	old := slices.Clone(h.cols)
	h.columns(x1, x2)
	for _, c := range old {
		if !slices.Contains(h.cols, c) {
			h.cols = append(h.cols, c)
		}
	}
	slices.Sort(h.cols)
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
	alike := k1 == k2
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
		if alike {
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
	step := max(1, n/12)
	for i := 0; i < n; i += step {
		for j := 0; j < n; j += step {
			if possible(i, j) {
				h.columns2(atM[i], atM[j])
			}
		}
	}
	keep := make([]bool, len(h.variants))
	for i := 0; i < n; i += step {
		for j := 0; j < n; j += step {
			if !possible(i, j) || alike && j < i {
				continue
			}
			l := h.logLikelihood(atM[i], atM[j])
			for _, v := range h.live {
				keep[v] = keep[v] || h.each[v] > l-hopeless
			}
		}
	}
	h.live = slices.DeleteFunc(h.live, func(v int) bool { return !keep[v] })
	for i := range n {
		for j := range n {
			switch {
			case alike && j < i:
			case !possible(i, j):
				set(i, j, math.Inf(-1))
			default:
				set(i, j, h.logLikelihood(atM[i], atM[j]))
			}
		}
	}
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
	for k, y := range at {
		h.live = h.live[:0]
		for v := range h.variants {
			h.live = append(h.live, v)
		}
		h.along(atM, one, false, func(x float64) (float64, float64) { return x, y })
		for i := range out {
			if k == 0 {
				out[i] = one[i]
			} else {
				out[i] = logAdd(out[i], one[i])
			}
		}
	}
	for i := range out {
		out[i] -= math.Log(float64(len(at)))
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
func logMean(l []float64) float64 {
	total := math.Inf(-1)
	for _, x := range l {
		total = logAdd(total, x)
	}
	return total - math.Log(float64(len(l)))
}
