package locate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/faultmodel"
)

// tally counts what simulated faults make of the intervals.
type tally struct {
	n, in50, in90 int
	squared       float64 // error of the mean
	claimed       float64 // variance of the belief
	fisher        float64
}

func (c *tally) add(b Belief, truth float64) {
	c.n++
	if b.Interval(.5).Holds(truth) {
		c.in50++
	}
	if b.Interval(.9).Holds(truth) {
		c.in90++
	}
	d, sd := b.Mean()-truth, b.SD()
	c.squared += d * d
	c.claimed += sd * sd
}

func (c *tally) rms() float64 { return math.Sqrt(c.squared / float64(c.n)) }

// inform adds the squared slope of ln p(evidence | x) at the truth, whose mean is
// Fisher's information.
func (c *tally) inform(l []float64, a Axis, truth float64) {
	i := min(max(a.Cell(truth), 1), a.Cells-2)
	s := (l[i+1] - l[i-1]) / (2 * a.StepM())
	c.fisher += s * s
}

// bound is the Cramer-Rao bound on the rms error of an unbiased estimate.
func (c *tally) bound() float64 { return 1 / math.Sqrt(c.fisher/float64(c.n)) }

// holds asserts that the intervals hold what they say: 88 to 92 of 100 for
// 90 %, and 50 % within the same two in a hundred and its sampling error; and that
// the error is the one the belief owns up to. The mean of a right posterior has
// the least rms error there is (the Bayesian form of the Cramer-Rao bound is not above it).
func (c *tally) holds(t *testing.T) {
	t.Helper()
	n := float64(c.n)
	in50, in90 := float64(c.in50)/n, float64(c.in90)/n
	claimed := math.Sqrt(c.claimed / n)
	t.Logf("%d faults: 50 %% interval holds %.1f %%, 90 %% interval %.1f %%, rms error %.2f m, %.3f of what the belief says",
		c.n, 100*in50, 100*in90, c.rms(), c.rms()/claimed)
	assert.GreaterOrEqual(t, in90, .88)
	assert.LessOrEqual(t, in90, .92)
	assert.InDelta(t, .5, in50, .02+2*.5/math.Sqrt(n))
	assert.InDelta(t, 1, c.rms()/claimed, .1)
}

// Four taps at the median, each side wrong one time in twenty, one contact in fifty bad.
func TestCoverageTaps(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 1))
	a := NewAxis(150, 0)
	var c tally
	wrong := func(broken bool, bad bool) Side {
		if broken != bad != (rng.Float64() < .05) {
			return Broken
		}
		return Intact
	}
	for range 4000 {
		x := 150 * rng.Float64()
		b := Uniform(a)
		for range 4 {
			at := b.Median()
			badA, badB := rng.Float64() < .02, rng.Float64() < .02
			tap := Tap{AtM: at, A: wrong(x < at, badA), B: wrong(x >= at, badB), ErrorProb: .05, PersistentProb: .02}
			tap.Again = []Reads{{wrong(x < at, badA), wrong(x >= at, badB)}}
			b, _ = b.Update(a.LogLikelihood(tap, faultmodel.Open))
		}
		c.add(b, x)
	}
	c.holds(t)
}

func TestCoverageTrace(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(22, 1))
	a := NewAxis(150, 0)
	var c, clean tally
	for range 4000 {
		x := 150 * rng.Float64()
		at := x + 6*rng.NormFloat64()
		if rng.Float64() < .05 {
			at = 150 * rng.Float64()
		}
		b, _ := Uniform(a).Update(a.LogLikelihood(Trace{AtM: at, End: EndA, SpreadM: 6, MissProb: .05, LengthM: 150}, faultmodel.Open))
		c.add(b, x)
		// Without stray walks and away from the ends the bound is the spread itself.
		x = 40 + 70*rng.Float64()
		l := a.LogLikelihood(Trace{AtM: x + 6*rng.NormFloat64(), End: EndA, SpreadM: 6, LengthM: 150}, faultmodel.Open)
		b, _ = Uniform(a).Update(l)
		clean.add(b, x)
		clean.inform(l, a, x)
	}
	c.holds(t)
	clean.holds(t)
	t.Logf("rms error over the Cramer-Rao bound: %.3f", clean.rms()/clean.bound())
	assert.InEpsilon(t, 6, clean.bound(), .05)
	assert.LessOrEqual(t, clean.rms(), 1.1*clean.bound())
}

// measured draws installations with a fault, reads them and asks the model where
// the fault is, as the program does.
func measured(t *testing.T, kind faultmodel.Kind, prior Belief, loop faultmodel.Loop, trials int, seed uint64, read func(w *faultmodel.World, rng *rand.Rand) Measured) *tally {
	m, err := faultmodel.NewModel(loop, faultmodel.DefaultMeters())
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(seed, 1))
	c := new(tally)
	for range trials {
		x := draw(prior, rng)
		e := read(m.Draw(rng, faultmodel.Fault{Kind: kind, AtM: x}), rng)
		e.Model = m
		l := prior.Axis.LogLikelihood(e, kind)
		b, ln := prior.Update(l)
		require.False(t, math.IsInf(ln, -1))
		c.add(b, x)
	}
	return c
}

// draw picks a place from a belief.
func draw(b Belief, rng *rand.Rand) float64 { return b.Quantile(rng.Float64()) }

func TestCoverageCapacitance(t *testing.T) {
	t.Parallel()
	loop := faultmodel.DefaultLoop(12, 150)
	prior := Mixture(NewAxis(loop.TotalM(), .5), Part{Weight: 1, FromM: 12, ToM: 162})
	c := measured(t, faultmodel.Open, prior, loop, 1500, 23, func(w *faultmodel.World, rng *rand.Rand) Measured {
		return Measured{Readings: []faultmodel.Reading{
			w.Read(faultmodel.CapacitanceA, 0, rng), w.Read(faultmodel.CapacitanceB, 0, rng),
			w.Read(faultmodel.LegAToEarth, 0, rng), w.Read(faultmodel.LegBToEarth, 0, rng),
		}}
	})
	c.holds(t)
}

// Where the ends are dry (a megohm to earth and more, below which the readings
// say little) capacitance is a regular measurement: the error over Fisher's bound.
func TestCapacitanceNearCramerRao(t *testing.T) {
	t.Parallel()
	loop := faultmodel.DefaultLoop(12, 150)
	m, err := faultmodel.NewModel(loop, faultmodel.DefaultMeters())
	require.NoError(t, err)
	prior := Mixture(NewAxis(loop.TotalM(), 0), Part{Weight: 1, FromM: 12, ToM: 162})
	rng := rand.New(rand.NewPCG(27, 1))
	for _, x := range []float64{60, 87} {
		var c tally
		for c.n < 300 {
			w := m.Draw(rng, faultmodel.Fault{Kind: faultmodel.Open, AtM: x})
			rs := []faultmodel.Reading{
				w.Read(faultmodel.CapacitanceA, 0, rng), w.Read(faultmodel.CapacitanceB, 0, rng),
				w.Read(faultmodel.LegAToEarth, 0, rng), w.Read(faultmodel.LegBToEarth, 0, rng),
			}
			dry := func(r faultmodel.Reading) bool { return r.OverRange || r.Value > 5e6 }
			if !dry(rs[2]) || !dry(rs[3]) {
				continue
			}
			l := prior.Axis.LogLikelihood(Measured{Model: m, Readings: rs}, faultmodel.Open)
			b, _ := prior.Update(l)
			c.add(b, x)
			c.inform(l, prior.Axis, x)
		}
		t.Logf("open at %g m, dry: rms error %.2f m, bound %.2f m, ratio %.3f", x, c.rms(), c.bound(), c.rms()/c.bound())
		// Three sampling errors of an rms from 300 draws are 12 %.
		assert.LessOrEqual(t, c.rms(), 1.1*1.12*c.bound())
	}
}

func TestCoverageLeadInOhms(t *testing.T) {
	t.Parallel()
	loop := faultmodel.DefaultLoop(30, 150)
	a := NewAxis(loop.TotalM(), 0)
	// One spot in the twisted pair: leg A names it, leg B is its mirror image.
	prior := Mixture(a, Part{Weight: 1, FromM: 0, ToM: 30})
	c := measured(t, faultmodel.LeadShort, prior, loop, 6000, 24, func(w *faultmodel.World, rng *rand.Rand) Measured {
		return Measured{Readings: []faultmodel.Reading{w.Read(faultmodel.LeadInOhmsOpen, 0, rng)}}
	})
	c.holds(t)
}

func TestCoverageToneWalk(t *testing.T) {
	t.Parallel()
	loop := faultmodel.DefaultLoop(12, 150)
	prior := Mixture(NewAxis(loop.TotalM(), 0), Part{Weight: 1, FromM: 20, ToM: 154})
	var at []float64
	for x := 15.0; x < 160; x += 5 {
		at = append(at, x)
	}
	c := measured(t, faultmodel.TooDeep, prior, loop, 3000, 25, func(w *faultmodel.World, rng *rand.Rand) Measured {
		return Measured{Widths: w.Widths(at, rng)}
	})
	c.holds(t)
}

// Two opens by capacitance: each of the two places, nearer A and nearer B.
func TestCoverageTwoOpens(t *testing.T) {
	if testing.Short() {
		t.Skip("700 installations with two faults take about 20 s")
	}
	t.Parallel()
	loop := faultmodel.DefaultLoop(12, 150)
	m, err := faultmodel.NewModel(loop, faultmodel.DefaultMeters())
	require.NoError(t, err)
	prior := Mixture(NewAxis(loop.TotalM(), 0), Part{Weight: 1, FromM: 12, ToM: 162})
	rng := rand.New(rand.NewPCG(126, 1))
	// One grid for all, so that the model solves each circuit once.
	flat := NewPairBelief(faultmodel.Open, prior, faultmodel.Open, prior, true, 56)
	var c tally
	for range 700 {
		x, y := draw(prior, rng), draw(prior, rng)
		if x > y {
			x, y = y, x
		}
		w := m.Draw(rng, faultmodel.Fault{Kind: faultmodel.Open, AtM: x}, faultmodel.Fault{Kind: faultmodel.Open, AtM: y})
		b, ln := flat.Update(flat.LogLikelihood(Measured{Model: m, Readings: []faultmodel.Reading{
			w.Read(faultmodel.CapacitanceA, 0, rng), w.Read(faultmodel.CapacitanceB, 0, rng),
			w.Read(faultmodel.LegAToEarth, 0, rng), w.Read(faultmodel.LegBToEarth, 0, rng),
		}}))
		require.False(t, math.IsInf(ln, -1))
		c.add(b.Left(prior.Axis), x)
		c.add(b.Right(prior.Axis), y)
	}
	c.holds(t)
}

// Continuity cannot find a resistive splice or a leak; the ohms of a tap can.
// The side the readings point to is right as often as the belief says.
func TestTapOhmsBisectSpliceAndLeak(t *testing.T) {
	t.Parallel()
	loop := faultmodel.DefaultLoop(12, 150)
	m, err := faultmodel.NewModel(loop, faultmodel.DefaultMeters())
	require.NoError(t, err)
	prior := Mixture(NewAxis(loop.TotalM(), 1), Part{Weight: 1, FromM: 12, ToM: 162})
	const at = 87.3
	for i, c := range []struct {
		kind  faultmodel.Kind
		sides []faultmodel.Quantity
		right float64 // least mean probability of the side that is right
	}{
		{faultmodel.Series, []faultmodel.Quantity{faultmodel.SideAOhms, faultmodel.SideBOhms}, .9},
		{faultmodel.Leak, []faultmodel.Quantity{faultmodel.SideAToEarth, faultmodel.SideBToEarth}, .9},
	} {
		rng := rand.New(rand.NewPCG(28, uint64(i)))
		believed, right := 0.0, 0.0
		const trials = 200
		for range trials {
			x := draw(prior, rng)
			w := m.Draw(rng, faultmodel.Fault{Kind: c.kind, AtM: x})
			tap := Tap{AtM: at, A: Intact, B: Intact, ErrorProb: .02, Model: m}
			for _, q := range c.sides {
				tap.Readings = append(tap.Readings, w.Read(q, at, rng))
			}
			b, _ := prior.Update(prior.Axis.LogLikelihood(tap, c.kind))
			p := b.Mass(0, at)
			if x >= at {
				p = 1 - p
			}
			believed += max(p, 1-p) / trials
			if p > .5 {
				right += 1.0 / trials
			}
		}
		t.Logf("%s: right side %.3f, believed %.3f", c.kind, right, believed)
		assert.GreaterOrEqual(t, right, c.right)
		assert.InDelta(t, believed, right, 3*math.Sqrt(.25/trials))
		// Alone, the continuity of the same tap says nothing.
		flat, _ := prior.Update(prior.Axis.LogLikelihood(Tap{AtM: at, A: Intact, B: Intact, ErrorProb: .02}, c.kind))
		assert.InDeltaSlice(t, prior.P, flat.P, 1e-12)
	}
}
