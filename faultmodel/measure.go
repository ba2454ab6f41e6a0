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

// measure solves the circuit for a quantity.
func (c *circuit) measure(in *installation, faults []Fault, q Quantity, atM, capHz float64, o *outcome) {
	o.slope = [tagCount]float64{}
	switch q {
	case AdapterVolts:
		o.value = in.adapterVolts * in.gainVolt
		o.slope[tagAdapter], o.slope[tagGainVolt] = 1, 1
		for i, f := range faults {
			if f.Kind == NoSupply {
				o.value *= in.contacts[i][0].value
				o.slope[tagFault+tag(4*i)] = 1
			}
		}
	case TerminalVolts, LoopCurrent:
		c.driven(in, faults, q, o)
	case CapacitanceA, CapacitanceB:
		c.build(in, faults, wireOff, 0, capHz)
		p := c.termA
		if q == CapacitanceB {
			p = c.termB
		}
		z := c.nw.drive(p, c.rod)
		var g gradient
		c.slope(&g)
		o.value = in.gainFarad / (cmplx.Abs(z) * 2 * math.Pi * capHz)
		for t := range o.slope {
			if g.z[t] != 0 {
				o.slope[t] = -real(g.z[t] / z)
			}
		}
		o.slope[tagGainFarad] = 1
	default:
		c.ohms(in, faults, q, atM, o)
	}
}

// ohms is a d.c. resistance as a handheld meter reads it: its leads in series,
// and the galvanic volts of electrodes in soil taken for a part of the
// resistance, with the sign the leads have. The disturbance is applied as a
// factor, which stays positive and cancels in the geometric mean of both polarities.
func (c *circuit) ohms(in *installation, faults []Fault, q Quantity, atM float64, o *outcome) {
	h := wireOff
	switch q {
	case BoundaryOhms, LeadInOhmsOpen:
		h = leadOff
	case SideAOhms, SideBOhms, SideAToEarth, SideBToEarth:
		h = tapped
	}
	c.build(in, faults, h, atM, 0)
	p, r := c.termA, c.termB
	sign := 1.0
	switch q {
	case LoopOhmsReversed:
		sign = -1
	case BoundaryOhms:
		p, r = c.bndA, c.bndB
	case LegAToEarth:
		r = c.rod
	case LegBToEarth:
		p, r = c.termB, c.rod
	case SideAOhms:
		r = c.tapA
	case SideBOhms:
		p, r = c.termB, c.tapB
	case SideAToEarth:
		p, r = c.tapA, c.rod
	case SideBToEarth:
		p, r = c.tapB, c.rod
	}
	ohm := real(c.nw.drive(p, r))
	var g gradient
	c.slope(&g)
	total := ohm + in.meterLeadsOhm
	perVolt := sign * (total + ohmmeterKnee) / (ohmmeterVolts * total)
	volts := g.emfV[tagRodEMF] * in.rodEMFV
	for t := range o.slope {
		o.slope[t] = real(g.z[t]) / total
		if e := g.emfV[t]; e != 0 {
			o.slope[t] = e * perVolt
			if t >= int(tagFault) {
				volts += e * in.contacts[(t-int(tagFault))/4][(t-int(tagFault))%4-2].emfV
			}
		}
	}
	o.slope[tagMeterLeads] = in.meterLeadsOhm / total
	o.slope[tagGainOhm] = 1
	o.value = total * in.gainOhm * math.Exp(volts*perVolt)
}

// driven is a reading with the transmitter running, at its frequency.
func (c *circuit) driven(in *installation, faults []Fault, q Quantity, o *outcome) {
	volts, weak := in.drive(faults)
	c.build(in, faults, transmitter, 0, in.loop.FrequencyHz)
	z := c.nw.drive(c.srcA, c.srcB)
	var g gradient
	c.slope(&g)
	rs := complex(in.sourceOhm, 0)
	if q == TerminalVolts {
		o.value = volts / in.sourceOhm * cmplx.Abs(z) * in.gainVolt
		for t := range o.slope {
			o.slope[t] = real(g.z[t] / z)
		}
		o.slope[tagSourceOhm]--
		o.slope[tagGainVolt] = 1
	} else {
		left := 1 - z/rs
		o.value = volts / in.sourceOhm * cmplx.Abs(left) * in.gainAmpere
		for t := range o.slope {
			o.slope[t] = -real(g.z[t] / rs / left)
		}
		o.slope[tagSourceOhm] += real(z/rs/left) - 1
		o.slope[tagGainAmpere] = 1
	}
	o.slope[tagSourceVolts] = 1
	if weak != noTag {
		o.slope[weak] = 1
	}
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
