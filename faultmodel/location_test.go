package faultmodel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Classic methods of fault location, each built as a circuit out of this
// package's lines and solved by it. The formulas of the books appear nowhere; the
// place at which the bridge balances must come out as they print it.

// bridge is a loop test: a faulty wire and a sound one joined at the far end,
// ratio arms p on the sound side and q on the faulty side, a rheostat s in series
// with the faulty wire, the fault to earth through the battery.
type bridge struct {
	p, q, s                 float64 // ohm
	faultyOhmPerM, soundOhm float64 // per metre; whole
	lengthM                 float64 // of the faulty wire
	faultOhm                float64
}

// unbalance is the voltage across the detector, between the near ends of both
// wires, for one ampere through the fault at d metres.
func (b bridge) unbalance(d float64) float64 {
	var nw network
	nw.reset()
	nw.node() // 0 is earth: the fault's way back
	apex, faulty, line, fault, far, sound := 1, nw.node(), nw.node(), nw.node(), nw.node(), nw.node()
	w := wire{ohm: complex(b.faultyOhmPerM, 0), z: complex(b.faultyOhmPerM, 0)}
	nw.lines = append(nw.lines,
		lineBranch{a: line, b: fault, lengthM: d, w: &w},
		lineBranch{a: fault, b: far, lengthM: b.lengthM - d, w: &w})
	nw.resist = append(nw.resist,
		resistor{a: apex, b: faulty, ohm: b.q}, resistor{a: apex, b: sound, ohm: b.p},
		resistor{a: faulty, b: line, ohm: max(b.s, 1e-12)},
		resistor{a: far, b: sound, ohm: b.soundOhm},
		resistor{a: fault, b: earth, ohm: b.faultOhm})
	nw.drive(earth, apex)
	return real(nw.v[faulty] - nw.v[sound])
}

// balance finds where the fault must be for the detector to show nothing.
func (b bridge) balance() float64 {
	lo, hi := 1e-9*b.lengthM, b.lengthM*(1-1e-9)
	fLo := b.unbalance(lo)
	for range 80 {
		mid := (lo + hi) / 2
		if f := b.unbalance(mid); (f > 0) == (fLo > 0) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

func TestMurrayLoop(t *testing.T) {
	// reference/physics.md 2.1; 1 ohm/km stands in where the book gives none.
	for _, c := range []struct {
		name      string
		b         bridge
		want, rel float64
	}{
		// Hawkins Electrical Guide No. 3 (1914), fig. 597: 332 of 1000 on the slide,
		// 16.46 ohm a mile, loop of 54.07 ohm: 1.09 mile.
		{"M1 Hawkins", bridge{p: 668, q: 332, faultyOhmPerM: 16.46 / mile, lengthM: 54.07 / 2 / 16.46 * mile, soundOhm: 54.07 / 2}, 1.0906 * mile, 1e-4},
		// Mehta, Principles of Power System, ex. 11.21 to 11.23.
		{"M2 Mehta 11.21", bridge{p: 45, q: 15, faultyOhmPerM: 1e-3, lengthM: 300, soundOhm: 0.3}, 150, 1e-9},
		{"M3 Mehta 11.22", bridge{p: 3, q: 1, faultyOhmPerM: 1e-3, lengthM: 500, soundOhm: 0.5}, 250, 1e-9},
		{"M4 Mehta 11.23", bridge{p: 2.75, q: 1, faultyOhmPerM: 1e-3, lengthM: 500, soundOhm: 1.125}, 433.3, 1e-4},
		// Anand, Electrical Power-I, ex. 8.9.
		{"M5 Anand 8.9", bridge{p: 3, q: 1, faultyOhmPerM: 1.6e-3, lengthM: 1000, soundOhm: 1.6}, 500, 1e-9},
		// University exam set, solution file, EEE 2211.
		{"M6", bridge{p: 2.7, q: 1, faultyOhmPerM: 1.1e-3, lengthM: 530, soundOhm: 530 * 2.29e-3}, 441.45, 1e-5},
		{"M7", bridge{p: 100, q: 41.2, faultyOhmPerM: 1e-3, lengthM: 5200, soundOhm: 5.2}, 3034.6, 1e-4},
		// Coursework: Ra = 2, Rb = 1 on 300 m.
		{"M8", bridge{p: 2, q: 1, faultyOhmPerM: 1e-3, lengthM: 300, soundOhm: 0.3}, 200, 1e-9},
	} {
		for _, fault := range []float64{1, 1e3, 1e6} { // which must not matter
			c.b.faultOhm = fault
			within(t, c.want, c.b.balance(), c.rel, "%s, fault %v ohm", c.name, fault)
		}
	}
	// M8 goes on: a ratio arm wrong by 1 % costs 4 m of trench at most.
	off := bridge{p: 2, q: 1.01, faultyOhmPerM: 1e-3, lengthM: 300, soundOhm: 0.3, faultOhm: 1}
	assert.Less(t, math.Abs(off.balance()-200), 4.0)
}

func TestVarleyLoop(t *testing.T) {
	// Mehta ex. 11.24: P = Q, S = 200 ohm, 20 ohm/km, 20 km: 15 km.
	b := bridge{p: 10, q: 10, s: 200, faultyOhmPerM: 20e-3, lengthM: 20e3, soundOhm: 400, faultOhm: 1e3}
	within(t, 15e3, b.balance(), 1e-9, "V1")
	// Anand ex. 8.8: P = 10, Q = 80, a loop of 10 km. 3400 ohm balances it with the
	// battery at the near end of the faulty wire, which makes it 425 ohm by the
	// book; 2400 ohm with the battery at the fault: 111.11 ohm, 2.6144 km.
	b = bridge{p: 10, q: 80, s: 3400, faultyOhmPerM: 42.5e-3, lengthM: 5e3, soundOhm: 212.5, faultOhm: 1}
	assert.InDelta(t, 0, b.unbalance(1e-9), 1e-9, "V2, loop of 425 ohm")
	b.s = 2400
	within(t, 2614.4, b.balance(), 1e-4, "V2")
	within(t, 111.11, b.balance()*42.5e-3, 1e-4, "V2 in ohms")
	// Exam set Q27: 5 km, 4 ohm/km, fault at 2.3 km, P = Q: S = 21.6 ohm.
	b = bridge{p: 5, q: 5, s: 21.6, faultyOhmPerM: 4e-3, lengthM: 5e3, soundOhm: 20, faultOhm: 50}
	within(t, 2300, b.balance(), 1e-9, "V3")
}

func TestBlavier(t *testing.T) {
	// An olympiad problem ("Leakage", pho.rs): a pair of 5e-4 ohm/m a wire with a
	// leak across it; from the left 4.0 ohm with the far end open and 3.5 shorted,
	// from the right 8.0 open. So the leak is 2.0 ohm, 2000 m from the left of 8000
	// m, and from the right it reads 7.0 shorted. The pair is this package's lead-in.
	l := DefaultLoop(8000, 1e-6)
	l.OhmPerM, l.TemperatureC = LogNormal{5e-4, 0}, 20
	l.InsulationOhmM = LogNormal{1e18, 0}
	in := newPrior(&l, &Meters{}).median
	in.contacts[0][0] = contact{value: 2}
	var c circuit
	read := func(p func() (int, int), short func() (int, int)) float64 {
		c.build(&in, []Fault{{Kind: LeadShort, AtM: 2000}}, leadOff, 0, 0)
		if short != nil {
			a, b := short()
			c.nw.resist = append(c.nw.resist, resistor{a: a, b: b, ohm: 1e-9})
		}
		a, b := p()
		return real(c.nw.drive(a, b))
	}
	left := func() (int, int) { return c.termA, c.termB }
	right := func() (int, int) { return c.leadA, c.leadB }
	r1, r2 := read(left, nil), read(left, right)
	within(t, 4.0, r1, 1e-6, "left, open")
	within(t, 3.5, r2, 1e-6, "left, shorted")
	within(t, 8.0, read(right, nil), 1e-6, "right, open")
	within(t, 7.0, read(right, left), 1e-6, "right, shorted")
	// Blavier's formula (from memory) on what the circuit reads: 2.0 ohm away.
	within(t, 2.0, r2-math.Sqrt((8-r2)*(r1-r2)), 1e-6, "Blavier")
	// The book's leak is recovered by the circuit alone: the place and leak that
	// read 4.0 and 3.5 are 2000 m and 2.0 ohm, no other.
	for _, wrong := range []float64{1990, 2010} {
		in.contacts[0][0] = contact{value: 4 - wrong*1e-3}
		c.build(&in, []Fault{{Kind: LeadShort, AtM: wrong}}, leadOff, 0, 0)
		a, b := right()
		c.nw.resist = append(c.nw.resist, resistor{a: a, b: b, ohm: 1e-9})
		assert.Greater(t, math.Abs(real(c.nw.drive(c.termA, c.termB))-3.5), 1e-3)
	}
}

func TestShortFromBothEnds(t *testing.T) {
	// reference/physics.md 2.4, derived there: r = 0.0333 ohm/m, 400 m, short of 3
	// ohm at 150 m: 12.99 ohm from one end, 19.65 from the other.
	l := DefaultLoop(400, 1e-6)
	l.OhmPerM, l.TemperatureC = LogNormal{0.0333, 0}, 20
	in := newPrior(&l, &Meters{}).median
	in.contacts[0][0] = contact{value: 3}
	var c circuit
	c.build(&in, []Fault{{Kind: LeadShort, AtM: 150}}, leadOff, 0, 0)
	ra := real(c.nw.drive(c.termA, c.termB))
	rb := real(c.nw.drive(c.leadA, c.leadB))
	within(t, 12.99, ra, 1e-5, "from A")
	within(t, 19.65, rb, 1e-5, "from B")
	within(t, 150, 200+(ra-rb)/(4*0.0333), 1e-5, "place")
	within(t, 3, (ra+rb-2*0.0333*400)/2, 1e-5, "contact")
	within(t, 195, ra/(2*0.0333), 1e-3, "place with the contact taken for nothing: 45 m too far")
	// The likelihood knows the contact is unknown: the true place is likelier than
	// the naive one by far less than the meter alone would make it, and not excluded.
	l2 := DefaultLoop(400, 100)
	l2.OhmPerM, l2.TemperatureC, l2.TemperatureSD, l2.LengthRelSD = l.OhmPerM, 20, 1, 0.005
	m := newTestModel(t, l2)
	r := []Reading{{Quantity: LeadInOhmsOpen, Value: ra + 0.3}}
	at := m.Sweep(r, LeadShort, []float64{150, 195, 210})
	assert.InDelta(t, at[1], at[0], 4)
	assert.Less(t, at[2], at[0]-3, "beyond the place a contact of nothing gives")
}

func TestOpenByCapacitance(t *testing.T) {
	// reference/physics.md 2.5: 400 m, 12.6 and 8.4 nF: 240 m. And L = 10 with 100
	// and 400 pF: 2.0 from the 100 pF end.
	for _, c := range []struct{ lengthM, a, b, want float64 }{
		{400, 12.6e-9, 8.4e-9, 240},
		{10, 100e-12, 400e-12, 2},
	} {
		l := DefaultLoop(0, c.lengthM)
		l.FaradPerM = LogNormal{(c.a + c.b) / c.lengthM, 0}
		l.InsulationOhmM = LogNormal{1e18, 0}
		gel := []Fault{{Kind: Open, AtM: c.want}}
		in := newPrior(&l, &Meters{}).median
		in.contacts[0] = [2]contact{{value: 1e15}, {value: 1e15}}
		var k circuit
		var o outcome
		k.measure(&in, gel, CapacitanceA, 0, 200, &o)
		within(t, c.a, o.value, 1e-5, "A")
		k.measure(&in, gel, CapacitanceB, 0, 200, &o)
		within(t, c.b, o.value, 1e-5, "B")
	}
}

func TestCapacitanceOfALongLine(t *testing.T) {
	// reference/physics.md 2.6: an RC line of totals R and C, open at the end; the
	// first row also by ngspice's lossy line.
	for _, c := range []struct{ ohm, farad, hz, app, siemens float64 }{
		{33.3, 160e-9, 10e3, 157.652e-9, 1101.8e-6},
		{33.3, 160e-9, 1e3, 159.976e-9, 11.22e-6},
		{20.95, 167e-9, 10e3, 165.932e-9, 762.9e-6},
	} {
		w := wire{z: complex(c.ohm, 0), y: complex(0, 2*math.Pi*c.hz*c.farad)}
		var nw network
		nw.reset()
		a, b := nw.node(), nw.node()
		nw.lines = append(nw.lines, lineBranch{a: a, b: b, lengthM: 1, w: &w})
		y := 1 / nw.drive(a, earth)
		within(t, c.app, imag(y)/(2*math.Pi*c.hz), 1e-5, "capacitance")
		within(t, c.siemens, real(y), 5e-4, "conductance")
	}
}

func TestCutsToBisect(t *testing.T) {
	// A series circuit sectionalised by halves (MIL-HDBK-1023/4 describes the
	// method): 300 m to 2 m takes 8 cuts, 1500 m takes 10. Each cut, read both ways,
	// halves what the model leaves possible.
	l := DefaultLoop(1e-3, 300)
	m := newTestModel(t, l)
	lo, hi, cuts := 0.0, 300.0, 0
	const truth = 217.3
	for hi-lo > 2 {
		mid := (lo + hi) / 2
		a := Reading{Quantity: SideAOhms, AtM: mid, Value: 0.3 + 0.0323*mid}
		b := Reading{Quantity: SideBOhms, AtM: mid, OverRange: true}
		if truth < mid {
			a = Reading{Quantity: SideAOhms, AtM: mid, OverRange: true}
			b = Reading{Quantity: SideBOhms, AtM: mid, Value: 0.3 + 0.0323*(300-mid)}
		}
		left := m.LogLikelihood([]Reading{a, b}, Fault{Kind: Open, AtM: (lo + mid) / 2})
		right := m.LogLikelihood([]Reading{a, b}, Fault{Kind: Open, AtM: (mid + hi) / 2})
		if left > right {
			hi = mid
		} else {
			lo = mid
		}
		assert.Greater(t, math.Abs(left-right), 3.0)
		cuts++
	}
	assert.Equal(t, 8, cuts)
	assert.InDelta(t, truth, (lo+hi)/2, 1)
}
