package locate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/faultmodel"
)

func TestAxis(t *testing.T) {
	a := NewAxis(100*FootM, 0)
	assert.Equal(t, 100, a.Cells)
	assert.InDelta(t, FootM, a.StepM(), 1e-12)
	assert.Equal(t, 101, NewAxis(100.5*FootM, FootM).Cells) // never coarser than asked
	assert.Equal(t, 0, a.Cell(-1))
	assert.Equal(t, 99, a.Cell(1e9))
	for i, x := range a.Mids() {
		assert.Equal(t, i, a.Cell(x))
	}
	assert.Panics(t, func() { NewAxis(0, 1) })
	assert.Panics(t, func() { NewAxis(math.NaN(), 1) })
}

// Uniform between 2 and 6 blurred by s = 1: the distribution at 4 is one half by
// symmetry, at 2 it is (G(0) - G(-4))/4 with G(0) = 1/sqrt(2 pi): 0.0997338.
func TestMixtureShoulders(t *testing.T) {
	a := NewAxis(8, .001)
	b := Mixture(a, Part{Weight: 3, FromM: 2, ToM: 6, SpreadM: 1})
	assert.InDelta(t, .5, b.Mass(0, 4), 1e-9)
	off := normalCDFIntegral(-2) / 4 // off each end of the wire, given back
	assert.InDelta(t, (0.0997338-off)/(1-2*off), b.Mass(0, 2), 2e-6)
	// A blurred point is a Gaussian: 68.27 % within one standard deviation.
	g := Mixture(a, Part{Weight: 1, FromM: 4, ToM: 4, SpreadM: .5})
	assert.InDelta(t, .682689, g.Mass(3.5, 4.5), 1e-5)
	assert.InDelta(t, .5, g.SD(), 1e-3)
	// Sharp ones.
	m := Mixture(NewAxis(10, 1), Part{Weight: 1, FromM: 2.5, ToM: 4.5}, Part{Weight: 1, FromM: 7, ToM: 7}, Part{Weight: 5, FromM: 20, ToM: 30}, Part{FromM: 1, ToM: 2})
	for i, want := range []float64{0, 0, .125, .25, .125, 0, 0, .5, 0, 0} {
		assert.InDelta(t, want, m.P[i], 1e-12)
	}
	// Nothing left of a mixture is a flat belief.
	assert.Equal(t, Uniform(a), Mixture(a, Part{Weight: 1, FromM: 90, ToM: 91}))
}

func TestMirrored(t *testing.T) {
	a := NewAxis(100, 1)
	b := Mixture(a, Mirrored(a, Part{Weight: 1, FromM: 5, ToM: 8, SpreadM: 1})...)
	for i := range b.P {
		assert.InDelta(t, b.P[i], b.P[99-i], 1e-12)
	}
	modes := b.Modes(.9)
	require.Len(t, modes, 2)
	assert.InDelta(t, modes[0].Probability, modes[1].Probability, 1e-12)
	// The single best place is in one of the two, not between them.
	assert.True(t, math.Abs(b.Best()-6.5) < 1 || math.Abs(b.Best()-93.5) < 1, "%g", b.Best())
}

func TestIntervalAndModes(t *testing.T) {
	a := NewAxis(10, 1)
	u := Uniform(a)
	v := u.Interval(.5)
	assert.InDelta(t, 5, v.LengthM(), 1e-9)
	assert.InDelta(t, 2.5, v.FromM, .51) // the middle one of the equally short
	assert.Equal(t, []Mode{{0, 10, u.Modes(.5)[0].Probability}}, u.Modes(.5))
	assert.InDelta(t, 10, u.Interval(1).LengthM(), 1e-9)
	// Half of .2 .5 .3 fits in the middle cell; 60 % takes a third of the next cell on the right.
	b := Belief{Axis: NewAxis(3, 1), P: []float64{.2, .5, .3}}
	assert.Equal(t, Interval{1, 2}, b.Interval(.5))
	v = b.Interval(.6)
	assert.InDelta(t, 1, v.FromM, 1e-9)
	assert.InDelta(t, 2+1.0/3, v.ToM, 1e-9)
	// A Gaussian: 90 % is 1.644854 standard deviations either side.
	g := Mixture(NewAxis(100, .3048), Part{Weight: 1, FromM: 41.3, ToM: 41.3, SpreadM: 4})
	v = g.Interval(.9)
	assert.InDelta(t, 2*1.644854*4, v.LengthM(), .02)
	assert.InDelta(t, 41.3, g.Best(), .02)
}

func randomBelief(t *rapid.T) Belief {
	n := rapid.IntRange(1, 60).Draw(t, "cells")
	b := Belief{Axis: Axis{LengthM: float64(n), Cells: n}, P: make([]float64, n)}
	for i := range b.P {
		b.P[i] = rapid.SampledFrom([]float64{0, .1, .5, 1, 1, 3, 20}).Draw(t, "p")
	}
	if !normalise(b.P) {
		return Uniform(b.Axis)
	}
	return b
}

func TestIntervalProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := randomBelief(t)
		mass := rapid.Float64Range(.01, 1).Draw(t, "mass")
		v := b.Interval(mass)
		require.InDelta(t, mass, b.Mass(v.FromM, v.ToM), 1e-9, "holds just what it says")
		// Against a search over stretches from any tenth of a cell.
		for from := 0.0; from < b.Axis.LengthM; from += .1 {
			to := from + v.LengthM() - 1e-6
			require.LessOrEqual(t, b.Mass(from, to), mass+1e-9, "no shorter one holds as much")
		}
		held := 0.0
		for _, m := range b.Modes(mass) {
			held += m.Probability
		}
		require.GreaterOrEqual(t, held, mass-1e-9)
	})
}

// evidences are one of each sort with random figures.
func evidences(t *rapid.T, length float64) []Evidence {
	x := func(name string) float64 { return length * rapid.Float64Range(0, 1).Draw(t, name) }
	p := func(name string) float64 { return rapid.Float64Range(.01, .4).Draw(t, name) }
	side := rapid.SampledFrom([]Side{Intact, Broken, SideUnknown, ""})
	return []Evidence{
		Tap{AtM: x("tap"), A: side.Draw(t, "a"), B: side.Draw(t, "b"), ErrorProb: p("e"), PersistentProb: p("bad"), Again: []Reads{{side.Draw(t, "a2"), side.Draw(t, "b2")}}},
		Trace{AtM: x("trace"), End: EndB, SpreadM: .5 + x("spread"), MissProb: p("miss"), LengthM: length},
		Stretch{FromM: x("from"), ToM: x("to"), Share: p("share"), SpreadM: x("soft"), LengthM: length},
		Bridge{FromM: x("bridge"), ToM: x("to"), Restored: rapid.Bool().Draw(t, "restored"), ErrorProb: p("e")},
	}
}

// The order of evidence does not matter; neither does it what is believed of an
// answer not given; and beliefs stay probabilities.
func TestUpdateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prior := randomBelief(t)
		es := evidences(t, prior.Axis.LengthM)
		forth, back := prior, prior
		lnForth, lnBack := 0.0, 0.0
		var ln float64
		for i := range es {
			forth, ln = forth.Update(forth.Axis.LogLikelihood(es[i], faultmodel.Open))
			lnForth += ln
			back, ln = back.Update(back.Axis.LogLikelihood(es[len(es)-1-i], faultmodel.Open))
			lnBack += ln
		}
		require.InDelta(t, lnForth, lnBack, 1e-9)
		sum := 0.0
		for i := range forth.P {
			require.InDelta(t, forth.P[i], back.P[i], 1e-12)
			sum += forth.P[i]
		}
		require.InDelta(t, 1, sum, 1e-12)
		unread, ln := forth.Update(forth.Axis.LogLikelihood(Tap{AtM: 1, ErrorProb: .1}, faultmodel.Open))
		require.InDelta(t, 0, ln, 1e-12)
		require.InDeltaSlice(t, forth.P, unread.P, 1e-12)
	})
}

// The expected posterior is the prior: over the four answers of a tap.
func TestTapMartingale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prior := randomBelief(t)
		e, bad := rapid.Float64Range(.001, .4).Draw(t, "e"), rapid.Float64Range(0, .4).Draw(t, "bad")
		at := prior.Axis.LengthM * rapid.Float64Range(0, 1).Draw(t, "at")
		mean := make([]float64, len(prior.P))
		total := 0.0
		for _, a := range []Side{Intact, Broken} {
			for _, b := range []Side{Intact, Broken} {
				post, ln := prior.Update(prior.Axis.LogLikelihood(Tap{AtM: at, A: a, B: b, ErrorProb: e, PersistentProb: bad}, faultmodel.Open))
				total += math.Exp(ln)
				for i := range mean {
					mean[i] += math.Exp(ln) * post.P[i]
				}
			}
		}
		require.InDelta(t, 1, total, 1e-12)
		require.InDeltaSlice(t, prior.P, mean, 1e-12)
	})
}

func TestContradictionLeavesBelief(t *testing.T) {
	a := NewAxis(10, 1)
	b, _ := Uniform(a).Update(a.LogLikelihood(Tap{AtM: 5, A: Broken}, faultmodel.Open))
	same, ln := b.Update(a.LogLikelihood(Tap{AtM: 5, A: Intact}, faultmodel.Open))
	assert.True(t, math.IsInf(ln, -1))
	assert.Equal(t, b, same)
}

// Both sides broken is nearly proof of two breaks: 10^-4 against (1 - .01)^2 for one and two.
func TestTapReadBothWays(t *testing.T) {
	both := Tap{AtM: 50, A: Broken, B: Broken, ErrorProb: .01}
	assert.InDelta(t, math.Log(.01*.99), both.At(faultmodel.Open, 20), 1e-12)
	assert.InDelta(t, math.Log(.99*.99), both.AtPair(faultmodel.Open, 20, faultmodel.Open, 70), 1e-12)
	assert.InDelta(t, math.Log(.01*.99), both.AtPair(faultmodel.Open, 20, faultmodel.Open, 30), 1e-12)
	assert.InDelta(t, math.Log(.01*.01), both.Healthy(), 1e-12)
	// A resistive splice or a leak passes a continuity test.
	assert.InDelta(t, both.Healthy(), both.At(faultmodel.Series, 20), 1e-12)
}

// Repeats at a spot share its contact: with one contact in ten bad, any number
// of like answers leaves one in ten, where separate spots would go to certainty.
func TestTapPersistentFloor(t *testing.T) {
	tap := Tap{AtM: 5, A: Broken, ErrorProb: .05, PersistentProb: .1}
	taps := []Tap{tap, tap, tap, tap, tap, tap}
	a := NewAxis(10, 1)
	joined := GroupTaps(taps, .5)
	require.Len(t, joined, 1)
	b, _ := Uniform(a).Update(a.LogLikelihood(joined[0], faultmodel.Open))
	assert.InDelta(t, .9, b.Mass(0, 5), 1e-6)
	apart := Uniform(a)
	for i := range taps {
		apart, _ = apart.Update(a.LogLikelihood(taps[i], faultmodel.Open))
	}
	assert.Greater(t, apart.Mass(0, 5), .999)
}

// A stretch moves the place and nothing else: its mean over the wire is 1, and a
// flat belief holds it with just the share given.
func TestStretchIsNeutral(t *testing.T) {
	for _, s := range []Stretch{
		{FromM: 30, ToM: 50, Share: .7, SpreadM: 3, LengthM: 100},
		{FromM: -10, ToM: 4, Share: .5, SpreadM: 2, LengthM: 100},
		{FromM: 60, ToM: 60, Share: .6, SpreadM: 1, LengthM: 100},
		{FromM: 20, ToM: 40, Share: .9, LengthM: 100},
	} {
		a := NewAxis(100, .02)
		_, ln := Uniform(a).Update(a.LogLikelihood(s, faultmodel.Open))
		assert.InDelta(t, 0, ln, 1e-3, "%+v", s)
	}
	a := NewAxis(100, .1)
	b, _ := Uniform(a).Update(a.LogLikelihood(Stretch{FromM: 20, ToM: 40, Share: .9, LengthM: 100}, faultmodel.Open))
	assert.InDelta(t, .9+.1*.2, b.Mass(20, 40), 1e-3)
}

func TestBridge(t *testing.T) {
	b := Bridge{FromM: 20, ToM: 40, Restored: true, ErrorProb: .02}
	assert.InDelta(t, math.Log(.98), b.At(faultmodel.Open, 30), 1e-12)
	assert.InDelta(t, math.Log(.02), b.At(faultmodel.Open, 50), 1e-12)
	assert.InDelta(t, math.Log(.02), b.At(faultmodel.Leak, 30), 1e-12)
	assert.InDelta(t, math.Log(.98), b.AtPair(faultmodel.Open, 30, faultmodel.Open, 35), 1e-12)
	assert.InDelta(t, math.Log(.02), b.AtPair(faultmodel.Open, 30, faultmodel.Open, 45), 1e-12)
}

// Traced from both ends of a doubly cut wire the places are the two cuts.
func TestPairsTracedFromBothEnds(t *testing.T) {
	u := Uniform(NewAxis(100, 0))
	tr := Trace{AtM: 30, End: EndA, SpreadM: 2, MissProb: .01, LengthM: 100}
	tr2 := Trace{AtM: 70, End: EndB, SpreadM: 2, MissProb: .01, LengthM: 100}
	b, ln := Pairs(faultmodel.Open, u, faultmodel.Open, u, true, 120, tr, tr2)
	assert.InDelta(t, 30, b.Left(u.Axis).Median(), .5)
	assert.InDelta(t, 70, b.Right(u.Axis).Median(), .5)
	// Of a Gaussian 68.27 % lie within one standard deviation, of 99 in 100 walks.
	assert.InDelta(t, 4, b.Left(u.Axis).Interval(.6827*.99).LengthM(), .3)
	modes := b.Modes(u.Axis, .9)
	require.Len(t, modes, 2)
	for _, m := range modes {
		assert.InDelta(t, .9, m.Probability, .06)
	}
	// ln of the evidence: two Gaussians each seen at its mean by someone who
	// thought the two places equally likely anywhere in order: 2 / L^2 for a pair; and
	// neither break was heard past, which one in twenty would be (judgement).
	assert.InDelta(t, math.Log(2/1e4*.99*.99*.95*.95), ln, .05)
}

// The pair's posterior on the adaptive grid is that of a fine full grid.
func TestPairsAgainstFineGrid(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	a := NewAxis(60, .25)
	prior := Mixture(a, Part{Weight: 1, ToM: 60}, Part{Weight: 1, FromM: 20, ToM: 24, SpreadM: 1})
	for range 5 {
		es := []Evidence{
			Tap{AtM: .25 * float64(1+rng.IntN(239)), A: Broken, B: Broken, ErrorProb: .03, PersistentProb: .01},
			Trace{AtM: 60 * rng.Float64(), End: EndA, SpreadM: 4, MissProb: .05, LengthM: 60},
		}
		b, ln := Pairs(faultmodel.Open, prior, faultmodel.Open, prior, true, 90, es...)
		n := a.Cells
		sum := 0.0
		left := make([]float64, n)
		for i := range n {
			for j := i; j < n; j++ {
				p := prior.P[i] * prior.P[j]
				if j > i {
					p *= 2
				}
				for _, e := range es {
					p *= math.Exp(e.AtPair(faultmodel.Open, a.Mid(i), faultmodel.Open, a.Mid(j)))
				}
				left[i] += p
				sum += p
			}
		}
		assert.InDelta(t, math.Log(sum), ln, .02)
		normalise(left)
		full := Belief{Axis: a, P: left}
		assert.InDelta(t, full.Median(), b.Left(a).Median(), .4)
		assert.InDelta(t, full.SD(), b.Left(a).SD(), .3)
	}
}
