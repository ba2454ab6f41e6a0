package faultmodel

import (
	"math"
	"math/cmplx"
)

// An ohmmeter drives a current that falls with the range: about half a
// milliampere at low ohms, and a few tenths of a volt across whatever it
// measures above. From memory of data sheets.
const (
	ohmmeterVolts = 0.3 // V across the unknown on all but the lowest range
	ohmmeterKnee  = 600 // ohm: full scale of the lowest range
)

// deadSource is what is left of the drive of a transmitter without power.
const deadSource = 1e-4

// outcome is what one measurement shows, before the error each reading has for
// itself, and how its logarithm follows each unknown.
type outcome struct {
	value float64
	slope [tagCount]float64 // d ln(value) / d ln(unknown); per volt for electrode potentials
}

// asked is what a circuit has been prepared for.
type asked struct {
	faults     []Fault
	q          Quantity
	atM, capHz float64
	scale      float64 // of the boundary
}

// measure solves the circuit for a quantity.
func (c *circuit) measure(in *installation, faults []Fault, q Quantity, atM, capHz float64, o *outcome) {
	c.prepare(in, faults, q, atM, capHz)
	o.value = c.read(in, &o.slope)
}

// prepare lays out the circuit for a quantity and takes the inside of the wire
// away, which does not depend on the contacts.
func (c *circuit) prepare(in *installation, faults []Fault, q Quantity, atM, capHz float64) {
	c.asked = asked{faults: faults, q: q, atM: atM, capHz: capHz, scale: in.scale(faults)}
	switch q {
	case AdapterVolts:
		return
	case TerminalVolts, LoopCurrent:
		c.build(in, faults, transmitter, 0, in.loop.FrequencyHz)
		c.ac.attach(&c.nw, c.srcA, c.srcB)
		c.ac.follow(&c.nw)
	case CapacitanceA, CapacitanceB:
		c.build(in, faults, wireOff, 0, capHz)
		p := c.termA
		if q == CapacitanceB {
			p = c.termB
		}
		c.ac.attach(&c.nw, p, c.rod)
		c.ac.follow(&c.nw)
	default:
		h := wireOff
		switch q {
		case BoundaryOhms, LeadInOhmsOpen:
			h = leadOff
		case SideAOhms, SideBOhms, SideAToEarth, SideBToEarth:
			h = tapped
		}
		c.build(in, faults, h, atM, 0)
		p, r := c.clips(q)
		c.dc.attach(&c.nw, p, r)
		c.dc.follow(&c.nw)
	}
}

// clips are the nodes an ohmmeter is clipped to.
func (c *circuit) clips(q Quantity) (p, r int) {
	switch q {
	case BoundaryOhms:
		return c.bndA, c.bndB
	case LegAToEarth:
		return c.termA, c.rod
	case LegBToEarth:
		return c.termB, c.rod
	case SideAOhms:
		return c.termA, c.tapA
	case SideBOhms:
		return c.termB, c.tapB
	case SideAToEarth:
		return c.tapA, c.rod
	case SideBToEarth:
		return c.tapB, c.rod
	}
	return c.termA, c.termB
}

// read is what the meter shows of the quantity prepared, before the error of one
// reading, with the contacts as the installation has them by now. slope, unless it is nil,
// becomes the derivatives of its logarithm; see [outcome].
func (c *circuit) read(in *installation, slope *[tagCount]float64) float64 {
	if slope != nil {
		*slope = [tagCount]float64{}
	}
	if c.asked.scale != in.scale(c.asked.faults) {
		c.prepare(in, c.asked.faults, c.asked.q, c.asked.atM, c.asked.capHz)
	}
	if c.asked.q == AdapterVolts {
		return in.adapter(c.asked.faults, slope)
	}
	c.adjust(in)
	var v float64
	switch c.asked.q {
	case TerminalVolts, LoopCurrent:
		v = c.driven(in, slope)
	case CapacitanceA, CapacitanceB:
		v = c.farads(in, slope)
	default:
		v = c.ohms(in, slope)
	}
	for i, f := range c.asked.faults {
		if f.Kind == OutsideRating && slope != nil {
			slope[tagFault+tag(4*i)] = slope[tagBoundary]
		}
	}
	return v
}

// adapter is the adapter's volts, unloaded.
func (in *installation) adapter(faults []Fault, slope *[tagCount]float64) float64 {
	v := in.adapterVolts * in.gainVolt
	for i, f := range faults {
		if f.Kind == NoSupply {
			v *= in.contacts[i][0].value
			if slope != nil {
				slope[tagFault+tag(4*i)] = 1
			}
		}
	}
	if slope != nil {
		slope[tagAdapter], slope[tagGainVolt] = 1, 1
	}
	return v
}

// farads is what a handheld capacitance meter shows: the magnitude of the
// admittance over w.
func (c *circuit) farads(in *installation, slope *[tagCount]float64) float64 {
	z := c.ac.solve(&c.nw)
	if slope != nil {
		perZ := recip(z)
		for t, d := range c.ac.slopes(&c.nw) {
			slope[t] = -real(d * perZ)
		}
		slope[tagGainFarad] = 1
	}
	return in.gainFarad / (cmplx.Abs(z) * 2 * math.Pi * c.asked.capHz)
}

// ohms is a d.c. resistance as a handheld meter reads it: its leads in series,
// and the galvanic volts of electrodes in soil taken for a part of the
// resistance, with the sign the leads have. The disturbance is applied as a
// factor, which stays positive and cancels in the geometric mean of both polarities.
func (c *circuit) ohms(in *installation, slope *[tagCount]float64) float64 {
	total := c.dc.solve(&c.nw) + in.meterLeadsOhm
	perVolt := (total + ohmmeterKnee) / (ohmmeterVolts * total)
	if c.asked.q == LoopOhmsReversed {
		perVolt = -perVolt
	}
	if slope != nil {
		for t, d := range c.dc.slopes(&c.nw) {
			slope[t] = d / total
		}
		slope[tagMeterLeads] = in.meterLeadsOhm / total
		slope[tagGainOhm] = 1
	}
	var volts float64
	for i := range c.nw.resist {
		r := &c.nw.resist[i]
		if r.emf == noTag {
			continue
		}
		// Reciprocity: the open-circuit volts an emf makes at the port are the current
		// it would carry for one ampere there.
		e := c.dc.across(&c.nw, r) / r.ohm
		if r.emf == tagRodEMF {
			volts += e * in.rodEMFV
		} else {
			volts += e * in.contact(r.emf).emfV
		}
		if slope != nil {
			slope[r.emf] += e * perVolt
		}
	}
	return total * in.gainOhm * math.Exp(volts*perVolt)
}

// driven is a reading with the transmitter running, at its frequency.
func (c *circuit) driven(in *installation, slope *[tagCount]float64) float64 {
	volts, weak := in.drive(c.asked.faults)
	z := c.ac.solve(&c.nw)
	rs := complex(in.sourceOhm, 0)
	shown, gain, perZ := z, in.gainVolt, recip(z)
	if c.asked.q == LoopCurrent {
		shown, gain, perZ = 1-z/rs, in.gainAmpere, 1/(z-rs)
	}
	if slope != nil {
		for t, d := range c.ac.slopes(&c.nw) {
			slope[t] = real(d * perZ)
		}
		slope[tagSourceOhm]--
		if c.asked.q == LoopCurrent {
			slope[tagSourceOhm] -= real(z * perZ)
			slope[tagGainAmpere] = 1
		} else {
			slope[tagGainVolt] = 1
		}
		slope[tagSourceVolts] = 1
		if weak != noTag {
			slope[weak] = 1
		}
	}
	return volts / in.sourceOhm * cmplx.Abs(shown) * gain
}

// drive is the transmitter's open-circuit volts under faults, and the unknown a
// weak source adds.
func (in *installation) drive(faults []Fault) (volts float64, weak tag) {
	volts = in.sourceVolts
	for i, f := range faults {
		switch f.Kind {
		case WeakSource:
			volts *= in.contacts[i][0].value
			weak = tagFault + tag(4*i)
		case NoSource, NoSupply:
			volts *= deadSource
		}
	}
	return volts, weak
}
