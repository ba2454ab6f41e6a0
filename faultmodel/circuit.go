package faultmodel

import (
	"cmp"
	"math"
	"slices"
)

// tag names an unknown that several readings may share.
type tag uint8

const (
	noTag tag = iota
	tagOhm
	tagBoundary
	tagLead
	tagFarad
	tagLeadFarad
	tagMutual
	tagInsulation
	tagSoil
	tagRod
	tagGainOhm
	tagGainFarad
	tagGainVolt
	tagGainAmpere
	tagMeterLeads
	tagSourceVolts
	tagSourceOhm
	tagAdapter
	tagRodEMF
	sharedTags // the unknowns of the installation and the meters end here

	tagFault = sharedTags // four for each of up to three faults: two contacts, two electrode potentials
	tagCount = tagFault + 4*maxFaults
)

// maxFaults is how many faults a circuit holds at once.
const maxFaults = 3

// contact is one resistance that belongs to a fault: a bare end, a bad splice, a
// touch.
type contact struct {
	value float64 // ohm; or, in soil, ohms per ohm metre of soil resistivity
	soil  bool    // metal in soil: the resistance is value times the resistivity
	emfV  float64 // galvanic potential of the metal in soil, V
}

// installation is a loop, its surroundings and the meters with every unknown
// fixed.
type installation struct {
	loop *Loop

	ohmPerM                float64 // at the wire's temperature, ohm/m
	boundary, lead         float64 // true length over nominal
	faradPerM              float64
	leadFarad, leadMutual  float64 // F/m
	insulationOhmM         float64
	soilOhmM               float64
	rod                    float64 // reference rod: ohms per ohm metre
	rodEMFV                float64
	gainOhm, gainFarad     float64
	gainVolt, gainAmpere   float64
	meterLeadsOhm          float64
	sourceVolts, sourceOhm float64
	adapterVolts           float64

	contacts [maxFaults][2]contact

	cellM float64 // ladder cell for comparison with a circuit simulator; 0: exact lines
}

// What is left of the coupling of the legs where they are not twisted but lie a
// hand's breadth apart: judgement, on ln(spacing).
const (
	apartCapacitance = 0.2
	apartCoupling    = 0.4
)

// wires are the boundary and the lead-in at a frequency.
func (in *installation) wires(hz float64) (boundary, lead wire) {
	w := 2 * math.Pi * hz
	r := complex(in.ohmPerM, 0)
	if hz > 1000 { // skin effect is below 1e-4 under this for any wire in use
		// (radius^2 / resistivity) is all the exact ratio needs, and that is 1/(pi r).
		r *= SkinEffect(1, math.Pi*in.ohmPerM, hz)
	}
	g := complex(1/in.insulationOhmM, 0)
	jw := complex(0, w)
	c := jw * complex(in.faradPerM, 0)
	boundary = wire{ohm: r, z: r + jw*complex(in.loop.HenryPerM, 0), y: g + c, toSoil: c, leakage: g, cellM: in.cellM}
	c = jw * complex(in.leadFarad, 0)
	mutual, k := in.leadMutual, in.loop.LeadCoupling
	if !in.loop.Twisted {
		mutual, k = mutual*apartCapacitance, k*apartCoupling
	}
	cm := 2 * jw * complex(mutual, 0)
	l := in.loop.LeadHenryPerM
	lead = wire{ohm: r, z: r + jw*complex(l*(1+k), 0), zOdd: r + jw*complex(l*(1-k), 0),
		y: g + c, yOdd: g + c + cm, toSoil: c, leakage: g, mutual: cm, cellM: in.cellM}
	return boundary, lead
}

// hookup is how the wire is connected while something is measured.
type hookup uint8

const (
	wireOff     hookup = iota // wire off the terminals
	leadOff                   // boundary and lead-in parted at the lead-in's far end
	tapped                    // cut at the tap, wire off the terminals
	transmitter               // connected and driven
)

// spot is a place of interest on the conductor and its nodes: left towards
// terminal A, right towards B.
type spot struct {
	leg         int8    // 0 leg A, 1 boundary, 2 leg B
	posM        float64 // legs: distance from the terminals; boundary: chainage
	split       bool
	left, right int
}

// circuit builds and solves the network of one hypothesis.
type circuit struct {
	nw    network
	dc    multiport[float64]
	ac    multiport[complex128]
	asked asked
	spots []spot
	legU  []float64

	boundary, lead wire
	first          [maxFaults]int // index of each fault's first spot

	termA, termB   int // where the wire ends
	srcA, srcB     int // the transmitter's own terminals
	leadA, leadB   int // boundary ends of the lead-in
	bndA, bndB     int // lead-in ends of the boundary
	rod            int
	tapA, tapB     int
	scratch        []*spot
	boundaryLength float64 // true over nominal
	leadLength     float64
	boundary0      float64 // chainage at which the boundary begins, m
	totalM         float64
}

// snapM is how close two places may be and still be two, m: a shorter section
// would be all but a short circuit beside which the rest of the wire loses digits.
const snapM = 1e-4

func snap(x float64) float64 { return math.Round(x/snapM) * snapM }

func (c *circuit) add(l *Loop, atM float64, split bool) int {
	s := spot{split: split}
	total := l.TotalM()
	switch {
	case atM < l.LeadInM-snapM/2:
		s.leg, s.posM = 0, min(snap(max(atM, 0)), l.LeadInM)
	case atM <= total-l.LeadInM+snapM/2:
		s.leg, s.posM = 1, snap(atM)
	default:
		s.leg, s.posM = 2, min(snap(max(total-atM, 0)), l.LeadInM)
	}
	c.spots = append(c.spots, s)
	return len(c.spots) - 1
}

// leadDistance is how far a lead-in fault lies from the terminals, and whether
// the place is on the lead-in at all.
func (l *Loop) leadDistance(atM float64) (float64, bool) {
	u := min(atM, l.TotalM()-atM)
	return min(snap(max(u, 0)), l.LeadInM), u <= l.LeadInM*(1+1e-9)
}

// scale is by how much faults make the boundary longer than it is known to be.
func (in *installation) scale(faults []Fault) float64 {
	s := 1.0
	for i, f := range faults {
		if f.Kind == OutsideRating {
			s *= in.contacts[i][0].value
		}
	}
	return s
}

// build lays out the network for faults under a hookup, without solving it.
func (c *circuit) build(in *installation, faults []Fault, h hookup, tapM, hz float64) {
	l := in.loop
	nw := &c.nw
	nw.reset()
	c.spots = c.spots[:0]
	c.boundary, c.lead = in.wires(hz)
	total := l.TotalM()
	scale := in.boundary * in.scale(faults)
	for i, f := range faults {
		switch f.Kind {
		case Open, Series:
			c.first[i] = c.add(l, f.AtM, true)
		case Leak:
			c.first[i] = c.add(l, f.AtM, false)
		case Touch:
			c.first[i] = c.add(l, f.AtM, false)
			c.add(l, f.ToM, false)
		case LeadShort:
			u, _ := l.leadDistance(f.AtM)
			c.first[i] = len(c.spots)
			c.spots = append(c.spots, spot{leg: 0, posM: u}, spot{leg: 2, posM: u})
		case ArresterOpen:
			c.first[i] = len(c.spots)
			c.spots = append(c.spots, spot{leg: 0, posM: 0, split: true})
		}
	}
	tap := -1
	if h == tapped {
		tap = c.add(l, tapM, true)
	}
	c.boundaryLength, c.leadLength = scale, in.lead
	c.boundary0, c.totalM = l.LeadInM, total

	// The lead-in: both legs break at every place of interest on either.
	us := append(c.legU[:0], 0, l.LeadInM)
	for i := range c.spots {
		if c.spots[i].leg != 1 {
			us = append(us, c.spots[i].posM)
		}
	}
	slices.Sort(us)
	us = slices.Compact(us)
	c.legU = us
	a := nw.node()
	b := nw.node()
	c.termA, c.termB = a, b
	for k, u := range us {
		if k > 0 {
			a2, b2 := nw.node(), nw.node()
			nw.pairs = append(nw.pairs, pairBranch{a: a, a2: a2, b: b, b2: b2, uM: us[k-1],
				lengthM: (u - us[k-1]) * in.lead, w: &c.lead})
			a, b = a2, b2
		}
		for i := range c.spots {
			s := &c.spots[i]
			if s.posM != u || s.leg == 1 {
				continue
			}
			if s.leg == 0 {
				s.left = a
				if s.split {
					a = nw.node()
				}
				s.right = a
			} else {
				s.right = b
				if s.split {
					b = nw.node()
				}
				s.left = b
			}
		}
	}
	c.leadA, c.leadB = a, b
	c.bndA, c.bndB = a, b
	if h == leadOff {
		c.bndA, c.bndB = nw.node(), nw.node()
	}

	// The boundary, in order of chainage.
	order := c.scratch[:0]
	for i := range c.spots {
		if c.spots[i].leg == 1 {
			order = append(order, &c.spots[i])
		}
	}
	slices.SortStableFunc(order, func(x, y *spot) int { return cmp.Compare(x.posM, y.posM) })
	c.scratch = order
	cur, at := c.bndA, l.LeadInM
	for _, s := range order {
		if s.posM > at+snapM/2 {
			next := nw.node()
			nw.lines = append(nw.lines, lineBranch{a: cur, b: next, atM: at, lengthM: (s.posM - at) * scale, w: &c.boundary})
			cur, at = next, s.posM
		}
		s.left = cur
		if s.split {
			cur = nw.node()
		}
		s.right = cur
	}
	if end := total - l.LeadInM; end > at+snapM/2 {
		nw.lines = append(nw.lines, lineBranch{a: cur, b: c.bndB, atM: at, lengthM: (end - at) * scale, w: &c.boundary})
	} else {
		// Nothing of the boundary is left beyond its last place: join them.
		nw.resist = append(nw.resist, resistor{a: cur, b: c.bndB, ohm: 1e-9})
	}
	if tap >= 0 {
		c.tapA, c.tapB = c.spots[tap].left, c.spots[tap].right
	}

	// The rod the meter is clipped to, and what each fault adds.
	c.rod = nw.node()
	nw.resist = append(nw.resist, resistor{a: c.rod, b: earth, ohm: in.rod * in.soilOhmM, tag: tagRod, tag2: tagSoil, emf: tagRodEMF})
	c.srcA, c.srcB = c.termA, c.termB
	for i, f := range faults {
		switch f.Kind {
		case Open:
			s := &c.spots[c.first[i]]
			c.contact(i, 0, s.left, earth)
			c.contact(i, 1, s.right, earth)
		case Series, ArresterOpen:
			s := &c.spots[c.first[i]]
			c.contact(i, 0, s.left, s.right)
		case Leak:
			c.contact(i, 0, c.spots[c.first[i]].left, earth)
		case Touch, LeadShort:
			c.contact(i, 0, c.spots[c.first[i]].left, c.spots[c.first[i]+1].left)
		case ArresterShort:
			c.contact(i, 0, c.termA, c.rod)
			c.contact(i, 1, c.termB, c.rod)
		case LooseTerminal:
			if h == transmitter {
				c.srcA = nw.node()
				c.contact(i, 0, c.srcA, c.termA)
			}
		}
	}
	if h == transmitter {
		nw.resist = append(nw.resist, resistor{a: c.srcA, b: c.srcB, ohm: in.sourceOhm, tag: tagSourceOhm})
		if e := l.EarthedTerminal; e != NoEnd {
			k := c.srcA
			if e == EndB {
				k = c.srcB
			}
			nw.resist = append(nw.resist, resistor{a: k, b: earth, ohm: transmitterEarthOhm})
		}
	}
	c.adjust(in)
}

// transmitterEarthOhm is the earth of a transmitter that has one: a house earth
// or a driven rod in moist soil (8 ft rod, 100 ohm m: 39.9 ohm).
const transmitterEarthOhm = 40

// contact hangs contact k of a fault between two nodes, its ohms left to adjust.
func (c *circuit) contact(fault, k int, a, b int) {
	c.nw.resist = append(c.nw.resist, resistor{a: a, b: b, tag: tagFault + tag(4*fault+k)})
}

// adjust gives the contacts the ohms they have in an installation.
func (c *circuit) adjust(in *installation) {
	for i := range c.nw.resist {
		r := &c.nw.resist[i]
		if r.tag < tagFault {
			continue
		}
		v := in.contact(r.tag)
		r.ohm, r.tag2, r.emf = v.value, noTag, noTag
		if v.soil {
			r.ohm *= in.soilOhmM
			r.tag2 = tagSoil
			r.emf = r.tag + 2
		}
	}
}

// contact is the contact of a tag, which may be that of its resistance or of its
// electrode potential.
func (in *installation) contact(t tag) *contact {
	t -= tagFault
	return &in.contacts[t/4][t%2]
}
