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

type cell struct {
	rows  [][]row // by variant and node
	n1    int     // nodes along the first place
	basis []float64
	other []float64
}

type table struct {
	key       tableKey
	stretches []stretch
	cells     map[cellKey]*cell
	variants  []variant
	active    [rowLen]bool
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

// at returns the cell for fault places x1 and x2 and appends the weights of its
// nodes to w.
func (m *Model) at(j *judge, t *table, x1, x2 float64, w []float64) (*cell, []float64) {
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
	if c == nil {
		c = m.fill(j, t, key)
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

// fill solves the circuit on the nodes of one cell.
func (m *Model) fill(j *judge, t *table, key cellKey) *cell {
	one, two := t.key.k1.placed(), t.key.k2.placed()
	c := &cell{basis: chebyshevNodes[1], other: chebyshevNodes[1]}
	if one {
		c.basis = chebyshevNodes[leadNodes]
		if t.stretches[key.s1].leg == 1 {
			c.basis = chebyshevNodes[boundaryNodes]
		}
	}
	if two {
		c.basis, c.other = chebyshevNodes[pairNodes], chebyshevNodes[pairNodes]
	}
	c.rows = make([][]row, len(t.variants))
	for v := range c.rows {
		c.rows[v] = make([]row, 0, len(c.basis)*len(c.other))
	}
	for _, f1 := range c.basis {
		for _, f2 := range c.other {
			g1, g2 := f1, f2
			if key.order != 0 {
				g1 *= f2
			}
			if key.order == 2 {
				g1, g2 = g2, g1
			}
			fs := make([]Fault, 0, 3)
			add := func(k Kind, s int, f float64) {
				if !k.seen() {
					return
				}
				x := Fault{Kind: k}
				if k.placed() {
					x.AtM = t.stretches[s].place(f)
				}
				fs = append(fs, x)
			}
			if t.key.k1 == Touch && t.key.k2 == Touch {
				fs = append(fs, Fault{Kind: Touch, AtM: t.stretches[key.s1].place(g1), ToM: t.stretches[key.s2].place(g2)})
			} else {
				add(t.key.k1, key.s1, g1)
				add(t.key.k2, key.s2, g2)
			}
			add(t.key.still, 0, 0)
			m.prepare(&j.c, fs, t.key.q, t.key.tapM)
			for v := range t.variants {
				var r row
				m.predict(&j.c, &t.variants[v], true, &r)
				c.rows[v] = append(c.rows[v], r)
			}
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if have := t.cells[key]; have != nil {
		return have
	}
	for _, rs := range c.rows {
		for _, r := range rs {
			for k, x := range r {
				if x != 0 {
					t.active[k] = true
				}
			}
		}
	}
	t.cells[key] = c
	return c
}
