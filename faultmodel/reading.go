package faultmodel

import "math"

// Quantity is what a reading is of. The strings are the ids of the checks; the
// four for a tap say which side of the cut was measured.
type Quantity string

// The quantities the model predicts. All but the last two are taken with the
// wire off the terminals.
const (
	LoopOhms         Quantity = "loop-ohms"          // terminal A to terminal B, ohm
	LoopOhmsReversed Quantity = "loop-ohms-reversed" // the same with the meter's leads swapped, ohm
	BoundaryOhms     Quantity = "boundary-ohms"      // lead-in taken off, at its far end, ohm
	LegAToEarth      Quantity = "leg-a-to-earth"     // terminal A to a ground rod, B open, ohm
	LegBToEarth      Quantity = "leg-b-to-earth"     // terminal B to a ground rod, A open, ohm
	CapacitanceA     Quantity = "capacitance-a"      // terminal A to a ground rod, B open, F
	CapacitanceB     Quantity = "capacitance-b"      // terminal B to a ground rod, A open, F
	LeadInOhmsOpen   Quantity = "lead-in-ohms-open"  // terminal A to B, boundary taken off the lead-in, ohm
	AdapterVolts     Quantity = "adapter-volts"      // at the adapter's plug, unloaded, V
	TerminalVolts    Quantity = "terminal-volts"     // transmitter running, loop connected, V
	LoopCurrent      Quantity = "loop-current"       // transmitter running, in leg A at the terminal, A

	// At a tap the wire is cut at AtM and each side measured from the cut.
	SideAOhms    Quantity = "side-a-ohms"     // cut end to terminal A, ohm
	SideBOhms    Quantity = "side-b-ohms"     // cut end to terminal B, ohm
	SideAToEarth Quantity = "side-a-to-earth" // cut end on A's side to a ground rod, ohm
	SideBToEarth Quantity = "side-b-to-earth" // cut end on B's side to a ground rod, ohm
)

// Reading is one value read from a meter.
type Reading struct {
	Quantity  Quantity
	Value     float64 // SI: ohm, farad, volt, ampere
	OverRange bool    // the meter showed over-range; Value is not used
	AtM       float64 // chainage of the tap, m; taps only
	FaultAway bool    // an intermittent fault was not showing at the time
}

// Width is the detection width measured at one place of the boundary, from the
// wire to the pet's side.
type Width struct {
	AtM    float64 // chainage, m
	WidthM float64 // m
	Silent bool    // the collar was silent right at the wire; WidthM is not used
}

// Meter is what is known of one function of a meter.
type Meter struct {
	AccuracyFrac float64 // accuracy as a fraction of the reading: a half-width
	Counts       float64 // further half-width, in last digits
	Resolution   float64 // finest last digit, SI
	DisplayCount float64 // highest number the display can show, such as 6000; the last digit coarsens above it
	LeadsOhm     float64 // resistance of the meter's leads, not nulled, ohm
	RangeMax     float64 // above this the meter shows over-range, SI
	FrequencyHz  float64 // capacitance only: test frequency, Hz
}

// Meters are the functions of the instruments at hand.
type Meters struct {
	Ohms        Meter
	Capacitance Meter
	Volts       Meter
	Amperes     Meter
}

// DefaultMeters is a common handheld multimeter: figures of the usual data
// sheet, from memory.
func DefaultMeters() Meters {
	return Meters{
		Ohms:        Meter{AccuracyFrac: 0.009, Counts: 2, Resolution: 0.1, DisplayCount: 6000, LeadsOhm: 0.3, RangeMax: 40e6},
		Capacitance: Meter{AccuracyFrac: 0.03, Counts: 5, Resolution: 0.01e-9, DisplayCount: 6000, RangeMax: 1e-3, FrequencyHz: 200},
		Volts:       Meter{AccuracyFrac: 0.008, Counts: 3, Resolution: 0.01, DisplayCount: 6000, RangeMax: 600},
		Amperes:     Meter{AccuracyFrac: 0.02, Counts: 5, Resolution: 1e-4, DisplayCount: 6000, RangeMax: 10},
	}
}

// function is the setting of a meter's switch that a quantity is read with.
type function uint8

const (
	ohms function = iota
	farads
	volts
	amperes
)

func (q Quantity) function() function {
	switch q {
	case CapacitanceA, CapacitanceB:
		return farads
	case AdapterVolts, TerminalVolts:
		return volts
	case LoopCurrent:
		return amperes
	}
	return ohms
}

// known says whether the model has the quantity.
func (q Quantity) known() bool {
	switch q {
	case LoopOhms, LoopOhmsReversed, BoundaryOhms, LegAToEarth, LegBToEarth, CapacitanceA, CapacitanceB,
		LeadInOhmsOpen, AdapterVolts, TerminalVolts, LoopCurrent,
		SideAOhms, SideBOhms, SideAToEarth, SideBToEarth:
		return true
	}
	return false
}

// atTap says whether the quantity is measured at a cut.
func (q Quantity) atTap() bool {
	switch q {
	case SideAOhms, SideBOhms, SideAToEarth, SideBToEarth:
		return true
	}
	return false
}

// usable says whether a reading can be judged: a known quantity with a value
// no meter would refuse.
func (r Reading) usable() bool {
	return r.Quantity.known() && (r.OverRange || r.Value >= 0 && !math.IsInf(r.Value, 0))
}

// meter is the function that reads a sort of quantity.
func (m *Meters) meter(s function) *Meter {
	switch s {
	case farads:
		return &m.Capacitance
	case volts:
		return &m.Volts
	case amperes:
		return &m.Amperes
	}
	return &m.Ohms
}

// capHz is the test frequency of the capacitance meter. Handheld ones use 100
// Hz to 1 kHz.
func (m *Meters) capHz() float64 {
	if f := m.Capacitance.FrequencyHz; f > 0 {
		return f
	}
	return 200
}

// shift is added to a value before its logarithm is taken, so that a reading of
// zero has one: a few of the finest digits, under which the scale turns linear.
func (s function) shift(m *Meters) float64 {
	mt := m.meter(s)
	return max(mt.Counts, 1) * max(mt.Resolution, [...]float64{1e-3, 1e-13, 1e-4, 1e-6}[s])
}

// noise is the variance of ln(value + shift) that a reading has for itself.
func (s function) noise(m *Meters, value float64) float64 {
	mt := m.meter(s)
	model := [...]float64{ohmModelSD, faradModelSD, voltModelSD, ampereModelSD}[s] * value
	digit := mt.digitSD(value)
	at := value + s.shift(m)
	return (digit*digit+model*model)/(at*at) + 1e-12
}
