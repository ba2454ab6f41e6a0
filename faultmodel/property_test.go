package faultmodel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// wireKinds are the faults a circuit places.
var wireKinds = []Kind{Open, Series, Leak, Touch, LeadShort}

func drawLoop(t *rapid.T) Loop {
	decimetres := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(10*lo, 10*hi).Draw(t, name)) / 10 }
	l := DefaultLoop(decimetres("lead-in", 1, 60), decimetres("boundary", 20, 1200))
	l.InsulationOhmM.Median = math.Exp(rapid.Float64Range(math.Log(1e7), math.Log(1e12)).Draw(t, "ln insulation"))
	l.SoilOhmM.Median = rapid.Float64Range(5, 2000).Draw(t, "soil")
	return l
}

func drawFaults(t *rapid.T, l Loop, n int) []Fault {
	var out []Fault
	for range rapid.IntRange(0, n).Draw(t, "faults") {
		f := Fault{Kind: rapid.SampledFrom(wireKinds).Draw(t, "kind")}
		place := func(name string, limitM float64) float64 {
			return float64(rapid.IntRange(0, int(math.Round(10*limitM))).Draw(t, name)) / 10
		}
		f.AtM = place("at", l.TotalM())
		switch f.Kind {
		case Touch:
			f.ToM = place("to", l.TotalM())
		case LeadShort:
			f.AtM = place("lead at", l.LeadInM)
		}
		out = append(out, f)
	}
	return out
}

func drawInstallation(t *rapid.T, l *Loop, faults []Fault) installation {
	m := DefaultMeters()
	in := newPrior(l, &m).median
	for i, f := range faults {
		for _, p := range f.Kind.prospects()[:1] {
			for k, c := range p.c {
				v := c.Median * math.Exp(c.SigmaLn*rapid.Float64Range(-2, 2).Draw(t, "contact"))
				in.contacts[i][k] = contact{value: v, soil: c.soil}
			}
		}
	}
	return in
}

// rel is the difference of two complex numbers over the larger.
func rel(a, b complex128) float64 {
	return cmplx.Abs(a-b) / max(cmplx.Abs(a), cmplx.Abs(b), 1e-300)
}

func TestReciprocity(t *testing.T) {
	// What a current into one port makes at another, the same current into the
	// other makes at the first: to 1e-5 of itself or, where next to nothing comes
	// across, to rounding of what is at the ports. Places are whole decimetres: on a
	// lead-in cut into millimetres the magnetic coupling of the legs is a difference
	// of kilosiemens beside the nanosiemens of an open wire, and digits go.
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		fs := drawFaults(t, l, 2)
		in := drawInstallation(t, &l, fs)
		hz := rapid.SampledFrom(ngspiceHz).Draw(t, "hz")
		var c circuit
		c.build(&in, fs, leadOff, 0, hz)
		z1 := c.nw.drive(c.termA, c.rod)
		one := c.nw.v[c.bndB] - c.nw.v[earth]
		z2 := c.nw.drive(c.bndB, earth)
		other := c.nw.v[c.termA] - c.nw.v[c.rod]
		assert.LessOrEqual(t, cmplx.Abs(one-other), 1e-5*cmplx.Abs(one)+1e-12*max(cmplx.Abs(z1), cmplx.Abs(z2)))
	})
}

func TestMirror(t *testing.T) {
	// Seen from the other terminal a loop is its mirror image, to the tenth of a
	// millimetre that places are snapped to. Two faults at one place are left out:
	// which of them is nearer A is then a matter of the order they are named in.
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		fs := drawFaults(t, l, 2)
		used := map[float64]bool{}
		for _, f := range fs {
			for _, x := range []float64{f.AtM, f.ToM} {
				x = math.Round(10 * min(x, l.TotalM()-x))
				if used[x] && x > 0 {
					t.Skip("two at one place")
				}
				used[x] = true
			}
		}
		in := drawInstallation(t, &l, fs)
		mirrored := in
		var back []Fault
		for i, f := range fs {
			m := f
			m.AtM = l.TotalM() - f.AtM
			if f.Kind == Touch {
				m.ToM = l.TotalM() - f.ToM
			}
			if f.Kind == Open || f.Kind == ArresterShort {
				mirrored.contacts[i][0], mirrored.contacts[i][1] = in.contacts[i][1], in.contacts[i][0]
			}
			back = append(back, m)
		}
		var c circuit
		var a, b outcome
		for _, q := range [][2]Quantity{
			{LegAToEarth, LegBToEarth}, {CapacitanceA, CapacitanceB}, {LoopOhms, LoopOhms}, {BoundaryOhms, BoundaryOhms},
			{SideAOhms, SideBOhms}, {SideAToEarth, SideBToEarth},
		} {
			x := 0.37 * l.TotalM()
			c.measure(&in, fs, q[0], x, 200, &a)
			c.measure(&mirrored, back, q[1], l.TotalM()-x, 200, &b)
			assert.InEpsilon(t, a.value, b.value, 1e-4, "%s", q[0])
		}
	})
}

func TestZeroLeadIn(t *testing.T) {
	// As the lead-in shrinks the circuit tends to the bare boundary: with 0.1 mm of
	// it on 20 m or more, to a part in 1e4 or so: an open one carries next to no
	// current but that between its legs.
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		l.LeadInM = 0
		f := []Fault{{Kind: rapid.SampledFrom([]Kind{Open, Series, Leak}).Draw(t, "kind"), AtM: rapid.Float64Range(0.1, 0.9).Draw(t, "at") * l.BoundaryM}}
		in := drawInstallation(t, &l, f)
		short := l
		short.LeadInM = 1e-4
		near := in
		near.loop = &short
		var c circuit
		var a, b outcome
		for _, q := range []Quantity{LoopOhms, LegAToEarth, CapacitanceA, CapacitanceB, BoundaryOhms, TerminalVolts, LoopCurrent} {
			c.measure(&in, f, q, 0, 200, &a)
			c.measure(&near, f, q, 0, 200, &b)
			assert.InEpsilon(t, a.value, b.value, 3e-4, "%s", q)
		}
	})
}

func TestFaultsThatAreNone(t *testing.T) {
	// A leak through an infinite resistance, a splice or a break across nothing, a
	// touch of nothing: each is the healthy loop.
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		in := drawInstallation(t, &l, nil)
		at := rapid.Float64Range(0.01, 0.99).Draw(t, "at") * l.TotalM()
		var c circuit
		var want, got outcome
		for _, n := range []struct {
			f       Fault
			contact contact
		}{
			{Fault{Kind: Leak, AtM: at}, contact{value: 1e22}},
			{Fault{Kind: Series, AtM: at}, contact{value: 1e-9}},
			{Fault{Kind: Touch, AtM: at, ToM: l.TotalM() / 3}, contact{value: 1e22}},
			{Fault{Kind: LeadShort, AtM: l.LeadInM / 2}, contact{value: 1e22}},
		} {
			bad := in
			bad.contacts[0][0] = n.contact
			for _, q := range []Quantity{LoopOhms, LegAToEarth, LegBToEarth, CapacitanceA, CapacitanceB, LeadInOhmsOpen, TerminalVolts, LoopCurrent} {
				c.measure(&in, nil, q, 0, 200, &want)
				c.measure(&bad, []Fault{n.f}, q, 0, 200, &got)
				assert.InEpsilon(t, want.value, got.value, 1e-6, "%s: %s", n.f.Kind, q)
			}
		}
	})
}

func TestEnergyBalance(t *testing.T) {
	// At d.c. the power put in is spent in the resistances, branch by branch.
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		fs := drawFaults(t, l, 2)
		in := drawInstallation(t, &l, fs)
		var c circuit
		c.build(&in, fs, wireOff, 0, 0)
		p := real(c.nw.drive(c.termA, c.rod)) // one ampere: volts are watts
		nw := &c.nw
		var spent float64
		across := func(a, b int, y complex128) { d := real(nw.v[a] - nw.v[b]); spent += d * d * real(y) }
		for _, s := range nw.lines {
			across(s.a, s.b, s.p.series)
			across(s.a, earth, s.p.shunt)
			across(s.b, earth, s.p.shunt)
		}
		for _, s := range nw.pairs {
			for _, leg := range [][2]int{{s.a, s.a2}, {s.b, s.b2}} {
				across(leg[0], leg[1], s.even.series)
				across(leg[0], earth, s.even.shunt)
				across(leg[1], earth, s.even.shunt)
			}
		}
		for _, r := range nw.resist {
			across(r.a, r.b, complex(1/r.ohm, 0))
		}
		assert.InEpsilon(t, p, spent, 1e-6)
	})
	// At any frequency a passive circuit takes power: Re Z is positive.
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		fs := drawFaults(t, l, 2)
		in := drawInstallation(t, &l, fs)
		var c circuit
		c.build(&in, fs, wireOff, 0, rapid.Float64Range(10, 20e3).Draw(t, "hz"))
		assert.Positive(t, real(c.nw.drive(c.termA, c.termB)))
		assert.Positive(t, real(c.nw.drive(c.termA, c.rod)))
	})
}

func TestLadderTendsToTheLine(t *testing.T) {
	// Ladders of ever shorter cells approach the exact line as the square of the cell.
	z, y := complex(6.0, 120), complex(1e-6, 1.5e-3)
	exact := exactLine(z, y)
	last := math.Inf(1)
	for _, n := range []int{4, 8, 16, 32, 64} {
		p := ladder(z, y, n)
		d := max(rel(p.series, exact.series), rel(p.shunt, exact.shunt))
		assert.Less(t, d, last/3.5)
		last = d
	}
	// One cell is the nominal pi.
	one := ladder(z, y, 1)
	assert.Less(t, rel(one.series, 1/z), 1e-14)
	assert.Less(t, rel(one.shunt, y/2), 1e-14)
	// The series for short lines joins the closed form without a step.
	for _, s := range []float64{0.9e-2, 1.1e-2} {
		f := complex(s/cmplx.Abs(cmplx.Sqrt(z*y)), 0)
		g := cmplx.Sqrt(z * y * f * f)
		p := exactLine(z*f, y*f)
		assert.Less(t, rel(p.series, g/(z*f*cmplx.Sinh(g))), 1e-13)
	}
	// A chain of two lines is the whole.
	half := exactLine(z/2, y/2)
	var nw network
	nw.reset()
	a, mid, b := nw.node(), nw.node(), nw.node()
	w := wire{z: z, y: y}
	nw.lines = append(nw.lines, lineBranch{a: a, b: mid, lengthM: 0.5, w: &w}, lineBranch{a: mid, b: b, lengthM: 0.5, w: &w})
	two := nw.drive(a, earth)
	nw.reset()
	a, b = nw.node(), nw.node()
	nw.lines = append(nw.lines, lineBranch{a: a, b: b, lengthM: 1, w: &w})
	assert.Less(t, rel(two, nw.drive(a, earth)), 1e-12)
	assert.NotEqual(t, half, exact)
}

func TestSlopes(t *testing.T) {
	// The adjoint derivatives against differences of whole solves. At the meter's
	// frequencies they are exact; at the working frequency a nominal pi stands in.
	l := DefaultLoop(12, 146)
	m := DefaultMeters()
	cases := [][]Fault{nil, {{Kind: Open, AtM: 60}}, {{Kind: Leak, AtM: 5}}, {{Kind: LeadShort, AtM: 7}, {Kind: Series, AtM: 90}}, {{Kind: OutsideRating}}}
	for _, fs := range cases {
		in := newPrior(&l, &m).median
		for i, v := range variants(fs)[0].contacts {
			for k, c := range v {
				in.contacts[i][k] = contact{value: c.Median, soil: c.soil, emfV: 0.01}
			}
		}
		var c circuit
		var o, up, down outcome
		for _, q := range []Quantity{LoopOhms, LoopOhmsReversed, BoundaryOhms, LegAToEarth, CapacitanceA, CapacitanceB, LeadInOhmsOpen, SideAOhms, SideBToEarth, TerminalVolts, LoopCurrent} {
			c.measure(&in, fs, q, 80, 200, &o)
			tol := 2e-4
			if q == TerminalVolts || q == LoopCurrent {
				tol = 0.05
			}
			for tg := noTag + 1; tg < sharedTags; tg++ {
				const h = 1e-4
				a, b := in, in
				a.move(tg, h)
				b.move(tg, -h)
				c.measure(&a, fs, q, 80, 200, &up)
				c.measure(&b, fs, q, 80, 200, &down)
				got := math.Log(up.value/down.value) / (2 * h)
				// Galvanic volts are taken as fixed while resistances move.
				if tg != tagRodEMF {
					tol = max(tol, 0.06*boolTo1(q.function() == ohms && math.Abs(o.slope[tagRodEMF]) > 0))
				}
				assert.InDelta(t, got, o.slope[tg], tol, "%v %s tag %d", fs, q, tg)
			}
		}
	}
}

func boolTo1(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestCurrentAlongTheWire(t *testing.T) {
	// What flows in at terminal A of a healthy, unearthed loop comes back at B, and
	// at a strong leak the current steps down by what the leak takes.
	l := DefaultLoop(12, 400)
	m, err := NewModel(l, DefaultMeters())
	require.NoError(t, err)
	w := m.Draw(rand.New(rand.NewPCG(3, 4)))
	within(t, w.CurrentA(0), w.CurrentA(l.TotalM()), 1e-9, "the loop is symmetric")
	within(t, w.CurrentA(12-1e-9), w.CurrentA(12), 1e-6, "one wire: no step where the lead-in meets the boundary")
	l.EarthedTerminal = EndA
	m, err = NewModel(l, DefaultMeters())
	require.NoError(t, err)
	f := Fault{Kind: Leak, AtM: 200}
	w = m.Draw(rand.New(rand.NewPCG(3, 4)), f)
	w.in.contacts[0][0] = contact{value: 30} // a long bared stretch
	up, down := w.CurrentA(200-1e-6), w.CurrentA(200+1e-6)
	w.c.build(&w.in, w.faults, transmitter, 0, l.FrequencyHz)
	w.c.nw.drive(w.c.srcA, w.c.srcB)
	taken := cmplx.Abs((w.c.nw.v[w.c.spots[w.c.first[0]].left]-w.c.nw.v[earth])/30) * w.in.sourceVolts / w.in.sourceOhm
	assert.NotEqual(t, up, down)
	assert.LessOrEqual(t, math.Abs(up-down), taken*(1+1e-9))
	i := w.c.current(200 - 1e-9)
	j := w.c.current(200 + 1e-9)
	within(t, taken, cmplx.Abs(i-j)*w.in.sourceVolts/w.in.sourceOhm, 1e-6, "Kirchhoff at the leak")
}

func TestAnyFaultsCanBeMeasured(t *testing.T) {
	// Three faults anywhere, in any hookup: every quantity has a positive, finite
	// value, with finite slopes.
	m := DefaultMeters()
	rapid.Check(t, func(t *rapid.T) {
		l := drawLoop(t)
		l.EarthedTerminal = rapid.SampledFrom([]End{NoEnd, EndA, EndB}).Draw(t, "earthed")
		fs := drawFaults(t, l, maxFaults)
		in := drawInstallation(t, &l, fs)
		tap := float64(rapid.IntRange(0, int(l.TotalM())).Draw(t, "tap"))
		var c circuit
		var o outcome
		for _, q := range append([]Quantity{LoopOhms, LoopOhmsReversed, BoundaryOhms, LegAToEarth, LegBToEarth, CapacitanceA, CapacitanceB,
			LeadInOhmsOpen, AdapterVolts, TerminalVolts, LoopCurrent}, tapReadings...) {
			c.measure(&in, fs, q, tap, m.capHz(), &o)
			assert.True(t, o.value > 0 && !math.IsInf(o.value, 0), "%s reads %v", q, o.value)
			for _, s := range o.slope {
				assert.False(t, math.IsNaN(s) || math.IsInf(s, 0), "%s", q)
			}
		}
	})
}
