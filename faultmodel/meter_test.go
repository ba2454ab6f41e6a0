package faultmodel

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestMeterUncertainty(t *testing.T) {
	// reference/physics.md 6. U1: Bell, Electronic Instrumentation and Measurements,
	// ex. 6-2; U2: Gupta, Basic Electronics, ex. 14.3; U3: JCGM 100:2008 4.3.7 example 2
	// (from memory); U5 to U8 computed. Half-widths are the books', uncertainties
	// half-width over sqrt 3.
	for _, c := range []struct {
		name        string
		m           Meter
		v, half, sd float64
	}{
		{"U1", Meter{AccuracyFrac: 0.006, Counts: 1, Resolution: 0.1}, 20, 0.22, 0.1270},
		{"U2", Meter{AccuracyFrac: 0.005, Counts: 5, Resolution: 1e-3}, 2, 15e-3, 8.66e-3},
		{"U3", Meter{AccuracyFrac: 14e-6, Counts: 2, Resolution: 1e-6}, 0.928571, 15e-6, 8.660e-6},
		{"U5", Meter{AccuracyFrac: 0.009, Counts: 2, Resolution: 0.1}, 35.2, 0.5168, 0.2984},
		{"U6", Meter{AccuracyFrac: 0.009, Counts: 2, Resolution: 0.1}, 8.4, 0.2756, 0.1591},
		{"U7", Meter{AccuracyFrac: 0.009, Counts: 2, Resolution: 0.01}, 5.00, 0.065, 0.0375},
		{"U8", Meter{AccuracyFrac: 0.019, Counts: 2, Resolution: 0.1e-9}, 41.7e-9, 0.9923e-9, 0.573e-9},
	} {
		within(t, c.half, c.m.HalfWidth(c.v), 2e-4, "%s half-width", c.name)
		within(t, c.sd, c.m.Uncertainty(c.v), 1e-3, "%s uncertainty", c.name)
	}
	// U3 goes on (JCGM 100 5.1.5): with 12 uV of scatter, 15 uV in all.
	within(t, 14.8e-6, math.Hypot(12e-6, 8.660e-6), 1e-3, "U3 combined")
	// U4: the resolution alone, 0.001 ohm: 0.29 mohm (WMO CIMO calibration text).
	within(t, 0.29e-3, Meter{Resolution: 0.001}.digitSD(0), 6e-3, "U4")
	// U5: 0.2984 ohm is 9.0 m of 20 AWG.
	w := Conductor{DiameterM: GaugeDiameterM(20), Material: Copper}
	within(t, 9.0, 0.2984/w.OhmPerM(20), 6e-3, "U5 as a length")
}

func TestRatioOfCapacitances(t *testing.T) {
	// U9: d = L CA/(CA+CB) with L = 400 m, 12.6 and 8.4 nF, 1.9 % + 2 digits of 0.1
	// nF: 1.59 m if the gain is common and cancels, 3.06 m if it is not. Farads per
	// metre are as good as unknown, so that the ratio alone places the break.
	l := DefaultLoop(0, 400)
	l.FaradPerM = LogNormal{21e-9 / 400, 0.5}
	meters := DefaultMeters()
	meters.Capacitance = Meter{AccuracyFrac: 0.019, Counts: 2, Resolution: 0.1e-9, DisplayCount: 6000, RangeMax: 1, FrequencyHz: 200}
	m, err := NewModel(l, meters)
	require.NoError(t, err)
	at := make([]float64, 2001)
	for i := range at {
		at[i] = 200 + 80*float64(i)/2000
	}
	mid, sigma := spread(at, m.Sweep([]Reading{
		{Quantity: LegAToEarth, OverRange: true}, {Quantity: LegBToEarth, OverRange: true}, // the ends are in gel
		{Quantity: CapacitanceA, Value: 12.6e-9}, {Quantity: CapacitanceB, Value: 8.4e-9},
	}, Open, at))
	within(t, 240, mid, 2e-3, "the ratio places it")
	// The model's own 1.2 % for uneven wire is taken off in squares:
	// d ln(CA/CB) = L/(d (L-d)) dd. The digits are 1.59 m by GUM; rounding to the
	// last one adds 12 % (1/12 to 4/3 in squares is 6 %, and the far tails the rest).
	uneven := 240 * 160 / 400.0 * faultSpread
	digits := math.Sqrt(max(0, sigma*sigma-uneven*uneven))
	assert.InDelta(t, 1.59, digits, 0.35)
	assert.Less(t, digits, 2.4, "the common gain cancels")
}

// faultSpread is what two uneven readings of capacitance add to ln of their ratio.
const faultSpread = faradModelSD * math.Sqrt2

// spread is the median and half the width of the middle 68 % over places with
// these log-likelihoods and an even prior.
func spread(at, ln []float64) (median, sigma float64) {
	top := slices.Max(ln)
	var total float64
	for _, l := range ln {
		total += math.Exp(l - top)
	}
	var q [3]float64
	for i, want := range [...]float64{0.1587, 0.5, 0.8413} {
		var sum float64
		for k, l := range ln {
			if sum += math.Exp(l-top) / total; sum >= want {
				q[i] = at[k]
				break
			}
		}
	}
	return q[1], (q[2] - q[0]) / 2
}

func TestMeterLeads(t *testing.T) {
	// Two technical notes: a 0.1 ohm part with 0.1 ohm leads reads 0.2 ohm on two
	// wires, 0.1 ohm once they are nulled. The part here is a loop of 3 m of 20 AWG.
	w := Conductor{DiameterM: GaugeDiameterM(20), Material: Copper}
	l := DefaultLoop(0, 0.1/w.OhmPerM(20))
	l.OhmPerM, l.TemperatureC = LogNormal{w.OhmPerM(20), 0}, 20
	within(t, 0.2, medianReading(t, l, Meters{Ohms: Meter{LeadsOhm: 0.1}}, LoopOhms, 0), 1e-6, "two wires")
	within(t, 0.1, medianReading(t, l, Meters{}, LoopOhms, 0), 1e-6, "nulled")
}

func TestDigits(t *testing.T) {
	m := Meter{Resolution: 0.1, DisplayCount: 6000}
	for _, c := range []struct{ v, d float64 }{{0, 0.1}, {599.9, 0.1}, {601, 1}, {35e3, 10}, {5e6, 1e3}} {
		assert.InDelta(t, c.d, m.DigitAt(c.v), 1e-9*c.d, "%v ohm", c.v)
	}
	assert.Equal(t, 0.5, Meter{Resolution: 0.5}.DigitAt(1e9), "a display of unknown length keeps its digit")
}
