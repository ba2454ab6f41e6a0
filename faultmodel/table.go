package faultmodel

import (
	"math"
	"slices"
)

// Predictions are smooth in the place of a fault along each stretch of wire
// between the lead-in's far ends and taps. A table holds them on Chebyshev nodes
// of each stretch, for every variant of the contacts; it depends on no reading,
// so that it is filled once and serves every judgement of the loop.

// tableKey names a table: what is measured, where, and the kinds of fault.
type tableKey struct {
	q      Quantity
	tapM   float64
	k1, k2 Kind // k2 is Healthy with one fault
	still  Kind // a fault whose place does not matter
}

// Orders of nodes on a stretch. Direct currents are straight lines in the place,
// nearly; alternating ones bend. The loss is below 1e-3 in log-likelihood (see
// the tests).
const (
	leadNodes     = 4
	boundaryNodes = 6
	pairNodes     = 4
)

// stretch is a piece of wire on which predictions are smooth. A stretch of leg B
// runs backwards, so that equal fractions of twin stretches lie side by side.
type stretch struct {
	loM, hiM float64
	leg      int8
}

func (s stretch) place(f float64) float64 {
	if s.leg == 2 {
		return s.hiM - f*(s.hiM-s.loM)
	}
	return s.loM + f*(s.hiM-s.loM)
}

func (s stretch) fraction(x float64) float64 {
	f := (x - s.loM) / (s.hiM - s.loM)
	if s.leg == 2 {
		f = 1 - f
	}
	return min(max(f, 0), 1)
}

type cellKey struct {
	s1, s2 int
	order  int8 // twins only: 1 where the first fault lies nearer the start, 2 where the second does
}

// cell holds the predictions on one stretch, or pair of them, for the variants
// that were asked for. It is never changed: another takes its place when more are.
type cell struct {
	basis, other []float64 // nodes along the first place and the second
	rows         []*rows   // by variant; nil if not asked for
}

// of is the predictions of a variant; a reading the fault has no part in has but one.
func (c *cell) of(v int) *rows { return c.rows[min(v, len(c.rows)-1)] }

func (c *cell) covers(variants []int) bool {
	for _, v := range variants {
		if c.of(v) == nil {
			return false
		}
	}
	return true
}

// rows are the predictions of one variant, node after node: the value, what is
// not straight, and the derivatives that are not nought at every node.
type rows struct {
	cols   []int // the slots of a [row] they come from
	values []float64
}

// pack leaves out what is nought of every step-th row.
func pack(full []row, step int) *rows {
	var active [rowLen]bool
	for i := 0; i < len(full); i += step {
		for k := 1; k < bentSlot; k++ {
			if full[i][k] != 0 {
				active[k] = true
			}
		}
	}
	r := &rows{cols: make([]int, 0, rowLen)}
	for k, a := range active {
		if a {
			r.cols = append(r.cols, k)
		}
	}
	r.values = make([]float64, 0, (len(full)+step-1)/step*(2+len(r.cols)))
	for i := 0; i < len(full); i += step {
		r.values = append(r.values, full[i][0], full[i][bentSlot])
		for _, k := range r.cols {
			r.values = append(r.values, full[i][k])
		}
	}
	return r
}

type table struct {
	key       tableKey
	stretches []stretch
	cells     map[cellKey]*cell
	variants  []variant
}

// stretches cuts the conductor where predictions have corners.
func (m *Model) stretches(tapM float64, tapped bool) []stretch {
	l, total := m.loop.LeadInM, m.loop.TotalM()
	cuts := []float64{0, l, total - l, total}
	if tapped {
		cuts = append(cuts, tapM)
		if tapM < l || tapM > total-l {
			cuts = append(cuts, total-tapM) // a tap on one leg sees a short pass it on the other
		}
	}
	slices.Sort(cuts)
	var out []stretch
	for i := 1; i < len(cuts); i++ {
		lo, hi := cuts[i-1], cuts[i]
		if hi-lo < 1e-9*total || lo < 0 || hi > total*(1+1e-12) {
			continue
		}
		leg := int8(1)
		switch mid := (lo + hi) / 2; {
		case mid < l:
			leg = 0
		case mid > total-l:
			leg = 2
		}
		out = append(out, stretch{lo, hi, leg})
	}
	return out
}

// twins says whether two places on stretches a and b can pass one another: the
// same stretch, or the two legs of one piece of lead-in.
func (m *Model) twins(a, b stretch) bool {
	if a.leg == 1 || b.leg == 1 {
		return a == b
	}
	return math.Abs(m.near(a)-m.near(b)) < 1e-9*m.loop.TotalM()
}

// near is how far from the terminals a stretch of lead-in begins.
func (m *Model) near(s stretch) float64 {
	if s.leg == 2 {
		return m.loop.TotalM() - s.hiM
	}
	return s.loM
}

func (m *Model) table(key tableKey) *table {
	m.mu.Lock()
	defer m.mu.Unlock()
	t := m.tables[key]
	if t == nil {
		t = &table{key: key, cells: map[cellKey]*cell{}, stretches: m.stretches(key.tapM, key.q.atTap())}
		fs := []Fault{{Kind: key.k1}, {Kind: key.k2, AtM: 1}, {Kind: key.still}}
		if key.k1 == Touch && key.k2 == Touch {
			fs = fs[:1]
		}
		t.variants = variants(seenFaults(fs))
		m.tables[key] = t
	}
	return t
}

// chebyshev are the n roots of the Chebyshev polynomial on 0 to 1.
func chebyshev(n int) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = 0.5 - 0.5*math.Cos(math.Pi*(float64(k)+0.5)/float64(n))
	}
	return x
}

var chebyshevNodes = [...][]float64{1: chebyshev(1), 4: chebyshev(4), 6: chebyshev(6), 8: chebyshev(8)}

// lagrange appends to w the weights of the values at the nodes in the
// interpolating polynomial at x.
func lagrange(w []float64, nodes []float64, x float64) []float64 {
	for i, a := range nodes {
		l := 1.0
		for j, b := range nodes {
			if i != j {
				l *= (x - b) / (a - b)
			}
		}
		w = append(w, l)
	}
	return w
}

// find returns the stretch a place is on.
func (t *table) find(x float64) int {
	for i := range t.stretches {
		if x <= t.stretches[i].hiM {
			return i
		}
	}
	return len(t.stretches) - 1
}

// at returns the cell for fault places x1 and x2, with at least the variants
// given, and appends the weights of its nodes to w.
func (m *Model) at(j *judge, t *table, x1, x2 float64, variants []int, w []float64) (*cell, []float64) {
	var key cellKey
	var f1, f2 float64
	one, two := t.key.k1.placed(), t.key.k2.placed()
	if t.key.k1 == t.key.k2 && x1 > x2 {
		x1, x2 = x2, x1 // two alike: the variants are listed with the first nearer A
	}
	if one {
		key.s1 = t.find(x1)
		f1 = t.stretches[key.s1].fraction(x1)
	}
	if two {
		key.s2 = t.find(x2)
		f2 = t.stretches[key.s2].fraction(x2)
		if m.twins(t.stretches[key.s1], t.stretches[key.s2]) {
			// A triangle, straightened: how far the farther one is, and how far
			// the nearer one is towards it.
			key.order = 1
			if f1 > f2 {
				key.order = 2
				f1, f2 = f2, f1
			}
			if f2 > 0 {
				f1 /= f2
			}
		}
	}
	m.mu.Lock()
	c := t.cells[key]
	m.mu.Unlock()
	if c == nil || !c.covers(variants) {
		c = m.fill(j, t, key, c, variants)
	}
	switch {
	case !one:
		return c, append(w, 1)
	case !two:
		return c, lagrange(w, c.basis, f1)
	}
	w = lagrange(w, c.basis, f1)
	n := len(w)
	w = lagrange(w, c.other, f2)
	a, b := w[n-len(c.basis):n], w[n:]
	var prod [64]float64
	p := prod[:0]
	for _, x := range a {
		for _, y := range b {
			p = append(p, x*y)
		}
	}
	return c, append(w[:n-len(c.basis)], p...)
}

// fill adds variants to a cell, or to a new one, by solving the circuit on its nodes.
func (m *Model) fill(j *judge, t *table, key cellKey, have *cell, variants []int) *cell {
	one, two := t.key.k1.placed(), t.key.k2.placed()
	c := &cell{basis: chebyshevNodes[1], other: chebyshevNodes[1], rows: make([]*rows, len(t.variants))}
	if have != nil {
		copy(c.rows, have.rows)
	}
	if one {
		c.basis = chebyshevNodes[leadNodes]
		if t.stretches[key.s1].leg == 1 {
			c.basis = chebyshevNodes[boundaryNodes]
		}
	}
	if two {
		c.basis, c.other = chebyshevNodes[pairNodes], chebyshevNodes[pairNodes]
	}
	var missing []int
	var vs []variant
	for _, v := range variants {
		if v = min(v, len(c.rows)-1); c.rows[v] == nil && !slices.Contains(missing, v) {
			missing = append(missing, v)
			vs = append(vs, t.variants[v])
		}
	}
	n := len(vs)
	j.full = slices.Grow(j.full[:0], n*len(c.basis)*len(c.other))[:0]
	for _, f1 := range c.basis {
		for _, f2 := range c.other {
			m.prepare(&j.c, t.faults(key, f1, f2), t.key.q, t.key.tapM)
			j.full = j.full[:len(j.full)+n]
			m.predictAll(&j.c, vs, true, j.full[len(j.full)-n:])
		}
	}
	for i, v := range missing {
		c.rows[v] = pack(j.full[i:], n)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if now := t.cells[key]; now != have { // someone else was at it meanwhile
		for v, r := range now.rows {
			if r != nil {
				c.rows[v] = r
			}
		}
	}
	t.cells[key] = c
	return c
}

// faults are those of the table at a node of a cell.
func (t *table) faults(key cellKey, f1, f2 float64) []Fault {
	if key.order != 0 {
		f1 *= f2
	}
	if key.order == 2 {
		f1, f2 = f2, f1
	}
	x1, x2 := t.stretches[key.s1].place(f1), t.stretches[key.s2].place(f2)
	if t.key.k1 == Touch && t.key.k2 == Touch {
		return []Fault{{Kind: Touch, AtM: x1, ToM: x2}}
	}
	fs := make([]Fault, 0, 3)
	for _, f := range [...]Fault{{Kind: t.key.k1, AtM: x1}, {Kind: t.key.k2, AtM: x2}, {Kind: t.key.still}} {
		if f.Kind.seen() {
			if !f.Kind.placed() {
				f.AtM = 0
			}
			fs = append(fs, f)
		}
	}
	return fs
}
