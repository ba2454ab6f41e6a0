package faultmodel

import "slices"

// number is what admittances are made of: direct currents need no more than
// real ones.
type number interface{ float64 | complex128 }

// inverse is 1/x, for complex numbers without the care for infinities that the
// language's own division takes, at a fifth of the time; admittances here are
// neither nought nor infinite.
func inverse[T number](x T) T {
	switch p := any(&x).(type) {
	case *float64:
		*p = 1 / *p
	case *complex128:
		*p = recip(*p)
	}
	return x
}

// narrow turns a complex number into a T; into a real one by its real part.
func narrow[T number](z complex128) (t T) {
	switch p := any(&t).(type) {
	case *float64:
		*p = real(z)
	case *complex128:
		*p = z
	}
	return t
}

// graph is the admittances between n nodes, that of i < j at j(j-1)/2 + i, so
// that the first few nodes are a graph at its head.
type graph[T number] struct {
	n   int
	y   []T
	inv []T // of each node taken away: one over what joined it to those before it
}

// edge is where the admittance between two nodes is kept.
func edge(a, b int) int {
	if a > b {
		a, b = b, a
	}
	return b*(b-1)/2 + a
}

// reset makes a graph of n nodes, its admittances left to be set.
func (g *graph[T]) reset(n int) {
	g.n = n
	if edges := n * (n - 1) / 2; edges <= cap(g.y) {
		g.y, g.inv = g.y[:edges], g.inv[:n]
	} else {
		g.y, g.inv = make([]T, edges), make([]T, n)
	}
}

func (g *graph[T]) join(a, b int, y T) {
	if a != b && a >= 0 && b >= 0 {
		g.y[edge(a, b)] += y
	}
}

// reduce takes nodes away from the last down, until n are left, by star-mesh:
// taking node k away joins every pair i, j of its neighbours by g_ik g_kj / sum_m
// g_km. Nothing is subtracted, so that the gigohms of good insulation and the
// milliohms of wire keep their digits side by side; on a symmetric admittance
// matrix it is Gaussian elimination.
func (g *graph[T]) reduce(n int) {
	for k := g.n - 1; k >= n; k-- {
		star := g.star(k)
		var sum T
		for _, y := range star {
			sum += y
		}
		g.inv[k] = 0
		if sum == 0 {
			continue
		}
		inv := inverse(sum)
		g.inv[k] = inv
		for j, y := range star {
			if y == 0 {
				continue
			}
			f := y * inv
			mesh := g.star(j)
			for i := range mesh {
				mesh[i] += f * star[i]
			}
		}
	}
}

// star is what joins a node to those before it.
func (g *graph[T]) star(k int) []T { return g.y[k*(k-1)/2:][:k] }

// multiport is the wire of a network seen from its ports: the two nodes driven
// and those on which resistances hang. The wire's inside is taken away once;
// what hangs on the ports may change from solve to solve.
type multiport[T number] struct {
	ports  int
	wire   graph[T]
	loaded graph[T] // the ports, with the resistances
	v      []T      // voltages against port 1 for one ampere into port 0, by rank
	// by is how the wire's admittances between ports follow the logarithm of each
	// of its unknowns, laid out as the graph.
	by   [tagSoil][]T
	has  [tagSoil]bool
	lift []T // by node, its voltage for one volt at each port alone
	work [4][]T
	z    [tagCount]T
}

// attach orders the network for driving p against q and takes the inside of its
// wire away.
func (m *multiport[T]) attach(nw *network, p, q int) {
	m.ports = nw.order(p, q)
	n := m.ports
	for k := range nw.n {
		n = max(n, nw.rank[k]+1)
	}
	m.wire.reset(n)
	clear(m.wire.y)
	rank := &nw.rank
	e := rank[earth]
	for i := range nw.lines {
		l := &nw.lines[i]
		l.p = l.w.section(l.w.z, l.w.y, l.lengthM)
		a, b := rank[l.a], rank[l.b]
		m.wire.join(a, b, narrow[T](l.p.series))
		shunt := narrow[T](l.p.shunt)
		m.wire.join(a, e, shunt)
		m.wire.join(b, e, shunt)
	}
	for i := range nw.pairs {
		l := &nw.pairs[i]
		l.even = l.w.section(l.w.z, l.w.y, l.lengthM)
		l.odd = l.even
		if l.w.zOdd != l.w.z || l.w.yOdd != l.w.y {
			l.odd = l.w.section(l.w.zOdd, l.w.yOdd, l.lengthM)
		}
		same := narrow[T]((l.even.series + l.odd.series) / 2)
		cross := narrow[T]((l.even.series - l.odd.series) / 2)
		legs := narrow[T]((l.odd.shunt-l.even.shunt)/2) - cross
		a, a2, b, b2 := rank[l.a], rank[l.a2], rank[l.b], rank[l.b2]
		m.wire.join(a, a2, same)
		m.wire.join(b, b2, same)
		m.wire.join(a, b2, cross)
		m.wire.join(b, a2, cross)
		m.wire.join(a, b, legs)
		m.wire.join(a2, b2, legs)
		shunt := narrow[T](l.even.shunt)
		for _, k := range [...]int{a, a2, b, b2} {
			m.wire.join(k, e, shunt)
		}
	}
	m.wire.reduce(m.ports)
}

// solve returns the driving-point impedance with the network's resistances as
// they are, ohm, and leaves the voltages of the ports in m.v.
func (m *multiport[T]) solve(nw *network) T {
	g := &m.loaded
	g.reset(m.ports)
	copy(g.y, m.wire.y)
	for _, r := range nw.resist {
		g.join(nw.rank[r.a], nw.rank[r.b], narrow[T](complex(1/r.ohm, 0)))
	}
	g.reduce(2)
	through := g.y[0]
	if through == 0 {
		through = 1e-18 // an air gap: no circuit at all
	}
	m.v = append(m.v[:0], inverse(through), 0)
	m.rise(g)
	return m.v[0]
}

// extend finds the voltages inside the wire from those of the ports.
func (m *multiport[T]) extend() { m.rise(&m.wire) }

// rise appends the voltages of nodes taken away, each between its neighbours'.
func (m *multiport[T]) rise(g *graph[T]) {
	for k := len(m.v); k < g.n; k++ {
		var s T
		for i, y := range g.star(k) {
			s += y * m.v[i]
		}
		m.v = append(m.v, s*g.inv[k])
	}
}

// follow finds how the wire follows its unknowns. The network being reciprocal,
// the power it takes at any voltages u of the ports moves with a branch's
// admittance by the square of the voltage across it, and that is linear in u:
//
//	dY_ij = -sum over branches dY (voltage for u = e_i) (voltage for u = e_j)
//
// The terms of a line are those of a nominal pi, off by the square of the line's
// electrical length: they only spread a prediction, they do not make it.
func (m *multiport[T]) follow(nw *network) {
	k := m.ports
	n := m.wire.n
	m.has = [tagSoil]bool{}
	m.lift = slices.Grow(m.lift[:0], n*k)[:n*k]
	clear(m.lift)
	for i := range k {
		m.lift[i*k+i] = 1
	}
	for x := k; x < n; x++ {
		dst := m.lift[x*k:][:k]
		for j, y := range m.wire.star(x) {
			if y == 0 {
				continue
			}
			f := y * m.wire.inv[x]
			for i, u := range m.lift[j*k:][:k] {
				dst[i] += f * u
			}
		}
	}
	edges := k * (k - 1) / 2
	for i := range m.work {
		m.work[i] = slices.Grow(m.work[i][:0], max(edges, k))[:max(edges, k)]
	}
	near, far, along, across := m.work[0][:k], m.work[1][:k], m.work[2][:edges], m.work[3][:edges]
	add := func(t tag, c complex128, squares []T) {
		if c == 0 {
			return
		}
		if !m.has[t] {
			m.has[t] = true
			m.by[t] = slices.Grow(m.by[t][:0], edges)[:edges]
			clear(m.by[t])
		}
		f := narrow[T](c)
		dst := m.by[t]
		for i, s := range squares {
			dst[i] -= f * s
		}
	}
	// mode adds one mode of a stretch, near and far being the voltages of its ends
	// against earth and half what its power is to be multiplied by.
	mode := func(w *wire, p ports, z, y, mutual, half complex128, length, farad tag) {
		clear(across)
		addSquare(across, near)
		addSquare(across, far)
		for i := range near {
			near[i] -= far[i]
		}
		clear(along)
		addSquare(along, near)
		series, shunt := half*p.series, half*p.shunt
		add(tagOhm, series*w.ohm*recip(z), along)
		add(length, series, along)
		add(length, -shunt, across)
		if y != 0 {
			perY := shunt * recip(y)
			add(farad, -perY*w.toSoil, across)
			add(tagInsulation, perY*w.leakage, across)
			add(tagMutual, -perY*mutual, across)
		}
	}
	at := func(node int) []T { return m.lift[nw.rank[node]*k:][:k] }
	ground := at(earth)
	for i := range nw.lines {
		l := &nw.lines[i]
		a, b := at(l.a), at(l.b)
		for i, g := range ground {
			near[i], far[i] = a[i]-g, b[i]-g
		}
		mode(l.w, l.p, l.w.z, l.w.y, 0, 1, tagBoundary, tagFarad)
	}
	for i := range nw.pairs {
		l := &nw.pairs[i]
		a, a2, b, b2 := at(l.a), at(l.a2), at(l.b), at(l.b2)
		for i, g := range ground {
			near[i], far[i] = a[i]+b[i]-2*g, a2[i]+b2[i]-2*g
		}
		mode(l.w, l.even, l.w.z, l.w.y, 0, 0.5, tagLead, tagLeadFarad)
		for i := range near {
			near[i], far[i] = a[i]-b[i], a2[i]-b2[i]
		}
		mode(l.w, l.odd, l.w.zOdd, l.w.yOdd, l.w.mutual, 0.5, tagLead, tagLeadFarad)
	}
}

// addSquare adds d_i d_j to the edge from i to j.
func addSquare[T number](edges, d []T) {
	for j, y := range d {
		if y == 0 {
			continue
		}
		row := edges[j*(j-1)/2:]
		for i, x := range d[:j] {
			row[i] += x * y
		}
	}
}

// slopes are the derivatives of the driving-point impedance by the logarithms of
// the wire's unknowns and of resistances, at the voltages of the last solve, ohm.
func (m *multiport[T]) slopes(nw *network) *[tagCount]T {
	z := &m.z
	*z = [tagCount]T{}
	squares := m.work[0][:0]
	for j, u := range m.v {
		for _, x := range m.v[:j] {
			squares = append(squares, (u-x)*(u-x))
		}
	}
	m.work[0] = squares
	for t, has := range m.has {
		if !has {
			continue
		}
		var sum T
		for i, y := range m.by[t] {
			sum += y * squares[i]
		}
		z[t] += sum
	}
	for i := range nw.resist {
		r := &nw.resist[i]
		if r.tag == noTag {
			continue
		}
		d := m.across(nw, r)
		t := d * d * narrow[T](complex(1/r.ohm, 0))
		z[r.tag] += t
		if r.tag2 != noTag {
			z[r.tag2] += t
		}
	}
	return z
}

// across is the voltage across a resistance at the last solve.
func (m *multiport[T]) across(nw *network, r *resistor) T {
	a, b := nw.rank[r.a], nw.rank[r.b]
	if a < 0 || b < 0 {
		return 0
	}
	return m.v[a] - m.v[b]
}

// recip is [inverse] of a complex number.
func recip(z complex128) complex128 {
	re, im := real(z), imag(z)
	if im == 0 {
		return complex(1/re, 0)
	}
	d := 1 / (re*re + im*im)
	return complex(re*d, -im*d)
}
