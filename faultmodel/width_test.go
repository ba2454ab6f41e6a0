package faultmodel

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

// walkOf is a walk along a loop whose widths are those of level ground at a
// reach, changed by f along the way, without error of measurement.
func walkOf(l Loop, at []float64, reachM float64, f func(x float64) float64) []Width {
	h := l.HeightM + l.DepthM
	var out []Width
	for _, x := range at {
		r := reachM * f(x)
		w := Width{AtM: x, Silent: true}
		if r > h {
			w = Width{AtM: x, WidthM: math.Sqrt(r*r - h*h)}
		}
		out = append(out, w)
	}
	return out
}

func even(float64) float64 { return 1 }

func TestWidthsToldApartByShape(t *testing.T) {
	l := DefaultLoop(12, 146)
	l.BaselineWidth = walkOf(l, places(12, 12, 158), 1.6, even) // what is usual here is known
	m := newTestModel(t, l)
	at := places(15, 12, 158)
	judge := func(ws []Width) map[Kind]float64 {
		out := map[Kind]float64{}
		for _, k := range []Kind{Healthy, WeakSource, Series, TooDeep, CloseRun, MetalAlong, Open, NoSource} {
			s := m.SweepWidths(ws, k, places(200, 12, 158))
			var sum float64
			top := slices.Max(s)
			for _, v := range s {
				sum += math.Exp(v - top)
			}
			out[k] = top + math.Log(sum/float64(len(s)))
		}
		return out
	}
	best := func(l map[Kind]float64) Kind {
		b := Healthy
		for k, v := range l {
			if v > l[b] {
				b = k
			}
		}
		return b
	}
	assert.Equal(t, Healthy, best(judge(walkOf(l, at, 1.6, even))))
	// Narrow everywhere: the control or a weak source, or resistance in series, not a dip.
	narrow := judge(walkOf(l, at, 1.6, func(float64) float64 { return 0.45 }))
	assert.Contains(t, []Kind{WeakSource, Series}, best(narrow))
	assert.Greater(t, narrow[WeakSource], narrow[TooDeep]+5)
	assert.Greater(t, narrow[WeakSource], narrow[Healthy]+5)
	// Narrow over one stretch: something there, with the place.
	dipped := walkOf(l, at, 1.6, func(x float64) float64 {
		if x > 75 && x < 95 {
			return 0.45
		}
		return 1
	})
	d := judge(dipped)
	assert.Contains(t, []Kind{CloseRun, MetalAlong, TooDeep}, best(d))
	assert.Greater(t, d[CloseRun], d[WeakSource]+5)
	for _, k := range []Kind{CloseRun, MetalAlong} {
		grid := places(300, 12, 158)
		s := m.SweepWidths(dipped, k, grid)
		top := 0
		for i := range s {
			if s[i] > s[top] {
				top = i
			}
		}
		assert.InDelta(t, 85, grid[top], 12, "%s", k)
	}
	// Silent all round: no source or a break.
	silent := judge(walkOf(l, at, 1.6, func(float64) float64 { return 0 }))
	assert.Contains(t, []Kind{NoSource, Open}, best(silent))
}

func TestBypassedStretchIsSilent(t *testing.T) {
	// Two stretches touching leave the wire between them without current; a short
	// of the lead-in leaves the whole yard without.
	l := DefaultLoop(12, 146)
	m := newTestModel(t, l)
	at := places(15, 12, 158)
	ws := walkOf(l, at, 1.6, func(x float64) float64 {
		if x > 50 && x < 100 {
			return 0
		}
		return 1
	})
	right := m.WidthLogLikelihood(ws, Fault{Kind: Touch, AtM: 50, ToM: 100})
	assert.Greater(t, right, m.WidthLogLikelihood(ws, Fault{Kind: Touch, AtM: 20, ToM: 60})+5)
	assert.Greater(t, right, m.WidthLogLikelihood(ws)+5)
	nothing := walkOf(l, at, 0, even)
	assert.Greater(t, m.WidthLogLikelihood(nothing, Fault{Kind: LeadShort, AtM: 5}), m.WidthLogLikelihood(nothing)+5)
	assert.True(t, math.IsInf(m.WidthLogLikelihood(nothing, Fault{Kind: LeadShort, AtM: 80}), -1))
}

func TestLeakShowsOnlyWithAWayBack(t *testing.T) {
	// The current steps down at a strong leak of an earthed transmitter; which half
	// is weaker depends on the earthed terminal; with no earth there is no step. An
	// inch of bare wire, a kilohm, makes none either.
	step := func(e End, ohm float64) float64 {
		l := DefaultLoop(12, 400)
		l.EarthedTerminal = e
		m := newTestModel(t, l)
		w := m.Draw(rand.New(rand.NewPCG(1, 1)), Fault{Kind: Leak, AtM: 212})
		w.in.contacts[0][0] = contact{value: ohm}
		return math.Log(w.CurrentA(213) / w.CurrentA(211))
	}
	a, b, none := step(EndA, 25), step(EndB, 25), step(NoEnd, 25)
	assert.Greater(t, math.Abs(a), 0.1)
	assert.InDelta(t, a, -b, 0.02, "mirror")
	assert.Less(t, math.Abs(none), 0.25*math.Abs(a))
	assert.Less(t, math.Abs(step(EndA, 1000)), 0.02)
}

func TestMapDoesNotExplainAwayTheCause(t *testing.T) {
	// A hairpin on the map is narrow by the map's own shape. A walk that finds it
	// narrow must still be able to blame it: the close run does not lose to a healthy
	// loop by more than the prior of the map being heeded, ln 2, and as much again for
	// the size and length of the dip not being known.
	l := DefaultLoop(5, 0)
	l.Path = []Point{{0, 0}, {40, 0}, {40, 20}, {20.2, 20}, {20.2, 8}, {19.8, 8}, {19.8, 20}, {0, 20}}
	for i, p := range l.Path {
		q := l.Path[(i+1)%len(l.Path)]
		l.BoundaryM += math.Hypot(q.X-p.X, q.Y-p.Y)
	}
	m := newTestModel(t, l)
	at := places(30, 5, 5+l.BoundaryM)
	var along []float64
	for _, x := range at {
		along = append(along, x-5)
	}
	inside, _ := PathWidths(l.Path, l.HeightM+l.DepthM, 1.5, along)
	var ws []Width
	for i, x := range at {
		ws = append(ws, Width{AtM: x, WidthM: inside[i], Silent: inside[i] == 0})
	}
	healthy := m.WidthLogLikelihood(ws)
	blamed := slices.Max(m.SweepWidths(ws, CloseRun, places(300, 5, 5+l.BoundaryM)))
	assert.Greater(t, blamed, healthy-2*math.Ln2)
	// Without the map a healthy loop has no excuse at all.
	l.Path = nil
	straight := newTestModel(t, l)
	assert.Less(t, straight.WidthLogLikelihood(ws), healthy-5)
}

func TestSweepWidthsAgainstOneByOne(t *testing.T) {
	m := newTestModel(t, DefaultLoop(12, 146))
	rng := rand.New(rand.NewPCG(8, 9))
	at := places(60, 0.5, 169.5)
	for _, k := range []Kind{Open, Series, Leak, LeadShort, TooDeep, CloseRun, Corner, MetalAlong, ServiceAlong, WeakSource, NoSource, Healthy} {
		f := Fault{Kind: k, AtM: 70}
		if k == LeadShort {
			f.AtM = 6
		}
		ws := m.Draw(rng, f).Widths(places(11, 12, 158), rng)
		s := m.SweepWidths(ws, k, at)
		best := slices.Max(s)
		for i, x := range at {
			want := m.WidthLogLikelihood(ws, Fault{Kind: k, AtM: x})
			if max(want, s[i]) > best-8 {
				assert.InDelta(t, want, s[i], 0.1, "%s at %.1f m", k, x)
			}
		}
	}
	assert.Zero(t, m.WidthLogLikelihood(nil, Fault{Kind: Open}))
	assert.Equal(t, []float64{0, 0}, m.SweepWidths(nil, Open, []float64{1, 2}))
	// The order in which places were walked is of no account, and one absurd width
	// does not decide.
	ws := m.Draw(rng, Fault{Kind: TooDeep, AtM: 70}).Widths(places(11, 12, 158), rng)
	back := slices.Clone(ws)
	slices.Reverse(back)
	assert.InDelta(t, m.WidthLogLikelihood(ws), m.WidthLogLikelihood(back), 1e-9)
	odd := append(slices.Clone(ws), Width{AtM: 100, WidthM: 60})
	assert.InDelta(t, m.WidthLogLikelihood(ws), m.WidthLogLikelihood(odd), 6)
}

// TestWidthCalibration: the place of a dip by a walk of 20 widths; the 90 %
// interval must hold it.
func TestWidthCalibration(t *testing.T) {
	if testing.Short() {
		t.Skip("hundreds of walks")
	}
	l := DefaultLoop(12, 146)
	m := newTestModel(t, l)
	rng := rand.New(rand.NewPCG(3, 3))
	at := places(300, 12, 158)
	walked := places(20, 12, 158)
	for _, k := range []Kind{CloseRun, MetalAlong, TooDeep} {
		const n = 400
		var in float64
		for range n {
			truth := rng.IntN(len(at))
			s := m.SweepWidths(m.Draw(rng, Fault{Kind: k, AtM: at[truth]}).Widths(walked, rng), k, at)
			top := slices.Max(s)
			var total, below float64
			for i, v := range s {
				p := math.Exp(v - top)
				total += p
				if i < truth {
					below += p
				}
			}
			if pit := (below + math.Exp(s[truth]-top)*rng.Float64()) / total; pit > 0.05 && pit < 0.95 {
				in++
			}
		}
		t.Logf("%s: 90 %% interval holds %.1f %%", k, 100*in/n)
		assert.InDelta(t, 0.90, in/n, 0.02+2*math.Sqrt(0.9*0.1/n), "%s", k)
	}
}
