package faultmodel

// A network is a circuit of wire and lumped resistances between nodes, earth
// being node 0. It is solved in two steps, by way of a [multiport].
type network struct {
	n      int // nodes in use, earth included
	lines  []lineBranch
	pairs  []pairBranch
	resist []resistor
	rank   [maxNodes]int // of each node in the multiport, or -1 where it hangs by one thread
	v      [maxNodes]complex128
	ac     multiport[complex128] // for drive
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

// order ranks the nodes for driving p against q: these two first, then every
// other on which a resistance hangs, and the inside of the wire last. A node that
// hangs by one resistance carries no current and is left out. It returns how many
// are not inside.
func (nw *network) order(p, q int) (ports int) {
	var threads [maxNodes]int
	for i := range nw.lines {
		l := &nw.lines[i]
		threads[l.a] += 2
		threads[l.b] += 2
	}
	for i := range nw.pairs {
		l := &nw.pairs[i]
		for _, k := range [...]int{l.a, l.a2, l.b, l.b2} {
			threads[k] += 2
		}
	}
	for _, r := range nw.resist {
		threads[r.a]++
		threads[r.b]++
	}
	const inside = maxNodes
	for k := range nw.n {
		nw.rank[k] = inside
	}
	nw.rank[p], nw.rank[q] = 0, 1
	ports = 2
	port := func(k int) {
		if nw.rank[k] != inside {
			return
		}
		if threads[k] == 1 && k != earth {
			nw.rank[k] = -1
			return
		}
		nw.rank[k] = ports
		ports++
	}
	port(earth)
	for _, r := range nw.resist {
		port(r.a)
		port(r.b)
	}
	n := ports
	for k := range nw.n {
		if nw.rank[k] == inside {
			nw.rank[k] = n
			n++
		}
	}
	return ports
}

// drive injects one ampere into node p and takes it out of node q, and returns
// the voltage between them, the driving-point impedance in ohms. Voltages
// against q stay in nw.v.
func (nw *network) drive(p, q int) complex128 {
	m := &nw.ac
	m.attach(nw, p, q)
	z := m.solve(nw)
	m.extend()
	for k := range nw.n {
		if r := nw.rank[k]; r >= 0 {
			nw.v[k] = m.v[r]
		}
	}
	for _, r := range nw.resist { // no current: both ends alike
		if nw.rank[r.a] < 0 {
			nw.v[r.a] = nw.v[r.b]
		} else if nw.rank[r.b] < 0 {
			nw.v[r.b] = nw.v[r.a]
		}
	}
	return z
}
