package faultmodel

// A network is a graph of admittances between nodes, earth being node 0. It is
// solved by star-mesh reduction: taking node k away joins every pair i, j of its
// neighbours by g_ik g_kj / sum_m g_km. Nothing is subtracted, so that the
// gigohms of good insulation and the milliohms of wire keep their digits side by
// side; on a symmetric admittance matrix it is Gaussian elimination.
type network struct {
	n      int // nodes in use, earth included
	lines  []lineBranch
	pairs  []pairBranch
	resist []resistor
	y      [maxNodes][maxNodes]complex128
	v      [maxNodes]complex128
}

// maxNodes bounds the graph: earth, the rod, four ends of the lead-in's legs,
// and what three faults and a tap add, on both legs.
const maxNodes = 28

const earth = 0

// lineBranch is a stretch of single conductor between two nodes.
type lineBranch struct {
	a, b    int
	atM     float64 // chainage of a
	lengthM float64
	w       *wire
	p       ports
}

// pairBranch is a stretch of lead-in: leg A from a to a2, leg B from b to b2,
// a and b being the ends nearer the transmitter.
type pairBranch struct {
	a, a2, b, b2 int
	uM           float64 // distance of the near end from the terminals, m
	lengthM      float64
	w            *wire
	even, odd    ports
}

// resistor is a lumped resistance with the unknowns that scale it.
type resistor struct {
	a, b      int
	ohm       float64
	tag, tag2 tag // unknowns it is proportional to
	emf       tag // galvanic potential of an electrode, in series, from b (earth) to a
}

func (nw *network) reset() {
	nw.n = 1
	nw.lines, nw.pairs, nw.resist = nw.lines[:0], nw.pairs[:0], nw.resist[:0]
}

func (nw *network) node() int {
	if nw.n == maxNodes {
		panic("faultmodel: more nodes than three faults and a tap can make")
	}
	nw.n++
	return nw.n - 1
}

func (nw *network) join(a, b int, y complex128) {
	if a != b {
		nw.y[a][b] += y
		nw.y[b][a] += y
	}
}

// assemble fills the admittance graph from the branches.
func (nw *network) assemble() {
	for i := range nw.n {
		clear(nw.y[i][:nw.n])
	}
	for i := range nw.lines {
		l := &nw.lines[i]
		l.p = l.w.section(l.w.z, l.w.y, l.lengthM)
		nw.join(l.a, l.b, l.p.series)
		nw.join(l.a, earth, l.p.shunt)
		nw.join(l.b, earth, l.p.shunt)
	}
	for i := range nw.pairs {
		p := &nw.pairs[i]
		p.even = p.w.section(p.w.z, p.w.y, p.lengthM)
		p.odd = p.w.section(p.w.zOdd, p.w.yOdd, p.lengthM)
		same := (p.even.series + p.odd.series) / 2
		cross := (p.even.series - p.odd.series) / 2
		legs := (p.odd.shunt-p.even.shunt)/2 - cross
		nw.join(p.a, p.a2, same)
		nw.join(p.b, p.b2, same)
		nw.join(p.a, p.b2, cross)
		nw.join(p.b, p.a2, cross)
		nw.join(p.a, p.b, legs)
		nw.join(p.a2, p.b2, legs)
		for _, k := range [...]int{p.a, p.a2, p.b, p.b2} {
			nw.join(k, earth, p.even.shunt)
		}
	}
	for _, r := range nw.resist {
		nw.join(r.a, r.b, complex(1/r.ohm, 0))
	}
}

// drive injects one ampere into node p and takes it out of node q, and returns
// the voltage between them, the driving-point impedance in ohms. Voltages
// against q stay in nw.v.
func (nw *network) drive(p, q int) complex128 {
	nw.assemble()
	var order [maxNodes]int
	m := 0
	for k := range nw.n {
		if k != p && k != q {
			order[m] = k
			m++
		}
	}
	var alive [maxNodes]bool
	for k := range nw.n {
		alive[k] = true
	}
	var sums [maxNodes]complex128
	for _, k := range order[:m] {
		alive[k] = false
		row := &nw.y[k]
		var sum complex128
		var near [maxNodes]int
		c := 0
		for j := range nw.n {
			if alive[j] && row[j] != 0 {
				sum += row[j]
				near[c] = j
				c++
			}
		}
		sums[k] = sum
		if sum == 0 {
			continue
		}
		inv := recip(sum)
		for x := range c {
			i := near[x]
			f := row[i] * inv
			for _, j := range near[x+1 : c] {
				t := f * row[j]
				nw.y[i][j] += t
				nw.y[j][i] += t
			}
		}
	}
	g := nw.y[p][q]
	if g == 0 {
		g = 1e-18 // an air gap: no circuit at all
	}
	z := recip(g)
	nw.v[q] = 0
	nw.v[p] = z
	alive[p], alive[q] = true, true
	for x := m - 1; x >= 0; x-- {
		k := order[x]
		nw.v[k] = 0
		if sums[k] != 0 {
			row := &nw.y[k]
			var s complex128
			for j := range nw.n {
				if alive[j] {
					s += row[j] * nw.v[j]
				}
			}
			nw.v[k] = s * recip(sums[k])
		}
		alive[k] = true
	}
	return z
}

// recip is 1/z without the care for infinities that the language's own division
// takes, at a fifth of the time; admittances here are neither nought nor infinite.
func recip(z complex128) complex128 {
	re, im := real(z), imag(z)
	if im == 0 {
		return complex(1/re, 0)
	}
	d := 1 / (re*re + im*im)
	return complex(re*d, -im*d)
}
