package faultmodel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// World is one installation with every unknown fixed: it answers readings. It
// is not safe for use by several goroutines.
type World struct {
	m      *Model
	in     installation
	faults []Fault
	all    []Fault // with those only the field shows
	c      circuit
	normal float64 // current at the terminals of the same installation without a fault, A
	reach  float64 // distance at which the healthy field falls to the collar's threshold, m
	dips   []dip   // of the faults only the field shows
}

// Draw fixes every unknown of the loop, its faults and the meters at random.
func (m *Model) Draw(rng *rand.Rand, faults ...Fault) *World {
	w := &World{m: m, faults: seenFaults(faults), all: faults}
	m.drawUnknowns(w, rng, w.faults, false)
	w.normal = w.sourceCurrent(nil)
	w.drawField(rng)
	return w
}

// drawUnknowns fills in the installation. A meter's gain lies anywhere within
// its data sheet's limits, or is normal with the same spread, as judgement has it.
func (m *Model) drawUnknowns(w *World, rng *rand.Rand, faults []Fault, normalGain bool) {
	w.in = m.prior.median
	var z [sharedTags]float64
	for i := range z {
		z[i] = rng.NormFloat64()
	}
	for t := noTag + 1; t < sharedTags; t++ {
		var d float64
		for k, f := range m.prior.factor[t] {
			d += f * z[k]
		}
		switch t {
		case tagGainOhm, tagGainFarad, tagGainVolt, tagGainAmpere:
			if !normalGain {
				d = math.Sqrt(3) * m.prior.sd[t] * (2*rng.Float64() - 1)
			}
		}
		w.in.move(t, d)
	}
	for i, f := range faults {
		u := rng.Float64()
		ps := f.Kind.prospects()
		for n, p := range ps {
			u -= p.weight
			if u > 0 && n < len(ps)-1 {
				continue
			}
			for k, c := range p.c {
				w.in.contacts[i][k] = contact{
					value: c.Median * math.Exp(c.SigmaLn*rng.NormFloat64()),
					soil:  c.soil,
					emfV:  copperEMFSD * rng.NormFloat64(),
				}
			}
			break
		}
	}
}

// Read takes a reading with the error each reading has for itself. atM is the
// place of a tap, and not used otherwise. A quantity the model does not know
// reads NaN.
func (w *World) Read(q Quantity, atM float64, rng *rand.Rand) Reading {
	r := Reading{Quantity: q, Value: math.NaN()}
	if q.atTap() {
		r.AtM = atM
	}
	if !q.known() {
		return r
	}
	var o outcome
	w.c.measure(&w.in, w.faults, q, atM, w.m.meters.capHz(), &o)
	s := q.function()
	mt := w.m.meters.meter(s)
	model := [...]float64{ohmModelSD, faradModelSD, voltModelSD, ampereModelSD}[s]
	v := o.value * (1 + model*rng.NormFloat64())
	v += mt.Counts * mt.DigitAt(v) * (2*rng.Float64() - 1)
	v = max(0, mt.round(v))
	if v > mt.RangeMax {
		return Reading{Quantity: q, AtM: r.AtM, OverRange: true}
	}
	r.Value = v
	return r
}

// sourceCurrent is what the transmitter delivers, A.
func (w *World) sourceCurrent(faults []Fault) float64 {
	volts, _ := w.in.drive(faults)
	w.c.build(&w.in, faults, transmitter, 0, w.in.loop.FrequencyHz)
	z := w.c.nw.drive(w.c.srcA, w.c.srcB)
	rs := complex(w.in.sourceOhm, 0)
	return volts / w.in.sourceOhm * cmplx.Abs(1-z/rs)
}

// CurrentA is the current in the conductor at a chainage while the transmitter
// runs, A.
func (w *World) CurrentA(atM float64) float64 {
	volts, _ := w.in.drive(w.faults)
	w.c.build(&w.in, w.faults, transmitter, 0, w.in.loop.FrequencyHz)
	w.c.nw.drive(w.c.srcA, w.c.srcB)
	return volts / w.in.sourceOhm * cmplx.Abs(w.c.current(atM))
}

// completeShare is how much of the usual current a transmitter wants before it
// calls the loop complete. Judgement.
const completeShare = 0.5

// LoopComplete is what the continuity sign says: enough current flows from the
// terminals, wherever it goes.
func (w *World) LoopComplete() bool {
	volts, _ := w.in.drive(w.faults)
	if volts <= deadSource*w.in.sourceVolts {
		return false
	}
	return w.sourceCurrent(w.faults) > completeShare*w.normal
}
