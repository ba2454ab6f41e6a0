package diagnose

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
)

func deskOf(t testing.TB, m *yard.Map) *Desk {
	t.Helper()
	d, err := newEngine(t).At(&Case{Name: "test", Role: Technician, Yard: m})
	require.NoError(t, err)
	return d
}

func mend(atFt float64) Entry {
	return Entry{Repair: &RepairDone{Repair: "wire-cut", AtM: ptr(ft(atFt)), Fixed: true}}
}

func walkOf(widths ...faultmodel.Width) Entry {
	return Entry{Answer: &Answer{Check: "tone-walk", Widths: widths}}
}

// evenWalk is a walk that found the same width everywhere.
func evenWalk(places []float64, widthM float64) []faultmodel.Width {
	out := make([]faultmodel.Width, len(places))
	for i, at := range places {
		out[i] = faultmodel.Width{AtM: at, WidthM: widthM}
	}
	return out
}

func itemOf(t require.TestingT, a Acceptance, check string) AcceptanceItem {
	i := slices.IndexFunc(a.Items, func(i AcceptanceItem) bool { return i.Check == check })
	require.GreaterOrEqual(t, i, 0)
	return a.Items[i]
}

// A whole loop of copper reads ohms, and an ohmmeter spans megohms: over-range is
// an open loop, whatever else was measured. A leg to earth beyond the range is
// as good as insulation gets.
func TestOverRangeFailsTheLoopAndPassesTheLeg(t *testing.T) {
	d := deskOf(t, plainYard())
	over := func(q faultmodel.Quantity) Entry {
		return Entry{Answer: &Answer{Check: string(q), Reading: &faultmodel.Reading{Quantity: q, OverRange: true}}}
	}
	a := d.Verify([]Entry{mend(200), over(faultmodel.LoopOhms), over(faultmodel.LegAToEarth)})
	assert.Equal(t, Fail, itemOf(t, a, "loop-ohms").Judgement)
	assert.Equal(t, Pass, itemOf(t, a, "leg-a-to-earth").Judgement)
	assert.False(t, a.Pass)
}

// 500 ft of 20 AWG copper read about 5 ohm at 12 C (10.15 ohm per 1000 ft at 20 C, NBS
// Circular 100). What is outside the 95 % range is measured again; when it comes
// again it is the loop's own, and 35 kohm never is.
func TestADoubtfulReadingIsMeasuredTwice(t *testing.T) {
	d := deskOf(t, plainYard())
	sound := itemOf(t, d.Verify([]Entry{mend(200), read(faultmodel.LoopOhms, 5.1)}), "loop-ohms")
	require.Equal(t, Pass, sound.Judgement)
	odd := read(faultmodel.LoopOhms, sound.Expected[1]+0.02)
	log := []Entry{mend(200), odd}
	require.Equal(t, MeasureAgain, itemOf(t, d.Verify(log), "loop-ohms").Judgement)
	assert.Equal(t, Pass, itemOf(t, d.Verify(append(log, odd)), "loop-ohms").Judgement)
	assert.Equal(t, MeasureAgain, itemOf(t, d.Verify(append(log, mend(300), odd)), "loop-ohms").Judgement, "another repair, another loop")
	for _, bad := range []Entry{read(faultmodel.LoopOhms, 35e3), read(faultmodel.LoopOhms, 0.4)} {
		assert.Equal(t, Fail, itemOf(t, d.Verify([]Entry{mend(200), bad, bad}), "loop-ohms").Judgement)
	}
	// Damp bare copper of an inch shows some kilohms to the soil.
	bare := read(faultmodel.LegAToEarth, 2e3)
	assert.Equal(t, Fail, itemOf(t, d.Verify([]Entry{mend(200), bare, bare}), "leg-a-to-earth").Judgement)
}

// The places of the walk leave no gap that the walk itself would call one, round
// any yard, corners and all.
func TestWalkPlacesLeaveNoGap(t *testing.T) {
	e := newEngine(t)
	rapid.Check(t, func(t *rapid.T) {
		m := plainYard()
		m.Loop.LengthM = ptr(ft(rapid.Float64Range(60, 3000).Draw(t, "boundary, ft")))
		if rapid.Bool().Draw(t, "drawn") {
			m.Loop.LengthM = nil
			n := rapid.IntRange(3, 8).Draw(t, "corners")
			for i := range n {
				r, turn := rapid.Float64Range(20, 40).Draw(t, "radius"), 2*math.Pi*float64(i)/float64(n)
				m.Loop.Path = append(m.Loop.Path, yard.Point{X: r * math.Cos(turn), Y: r * math.Sin(turn)})
			}
		}
		d, err := e.At(&Case{Role: Technician, Yard: m})
		if err != nil {
			t.Skip(err)
		}
		item := itemOf(t, d.Verify([]Entry{walkOf(evenWalk(d.WalkPlaces(), 1.5)...)}), "tone-walk")
		if item.Judgement != Pass {
			t.Fatalf("%s from %v to %v", item.Judgement, item.FromM, item.ToM)
		}
	})
}

func TestAWalkWithGapsIsCompleted(t *testing.T) {
	d := deskOf(t, plainYard())
	places := d.WalkPlaces()
	half := len(places) / 2
	log := []Entry{mend(200), walkOf(evenWalk(places[:half], 1.5)...)}
	item := itemOf(t, d.Verify(log), "tone-walk")
	require.Equal(t, MeasureAgain, item.Judgement)
	assert.InDelta(t, places[half-1], *item.FromM, 1e-9)
	assert.Equal(t, Pass, itemOf(t, d.Verify(append(log, walkOf(evenWalk(places[half:], 1.5)...))), "tone-walk").Judgement)
}

// Sound boundaries walked as people walk, with the places in doubt walked again,
// pass; with ten feet of silence none does. The widths come from the physics.
func TestTheWalkTellsSoundFromSilent(t *testing.T) {
	drawn, err := yard.Load("../testdata/yards/orchard.yaml")
	require.NoError(t, err)
	drawn.Baseline = nil
	for name, m := range map[string]*yard.Map{"a length": plainYard(), "a map": drawn} {
		t.Run(name, func(t *testing.T) {
			d := deskOf(t, m)
			walks, passed, caught := 0, 0, 0
			for seed := range uint64(150) {
				rng := rand.New(rand.NewPCG(seed, 5))
				world := d.Model().Draw(rng)
				var first []float64
				for _, w := range world.Widths(d.WalkPlaces(), rng) {
					first = append(first, w.WidthM)
				}
				if median(first) < ft(2) {
					continue // to be turned up first: such a boundary is hard to tell from none
				}
				walks++
				final := func(spoil func([]faultmodel.Width)) Judgement {
					log := []Entry{mend(200)}
					var item AcceptanceItem
					for range 4 {
						widths := world.Widths(d.WalkPlaces(), rng)
						spoil(widths)
						if item.FromM != nil && item.ToM != nil {
							widths = slices.DeleteFunc(widths, func(w faultmodel.Width) bool { return w.AtM <= *item.FromM || w.AtM >= *item.ToM })
						}
						log = append(log, walkOf(widths...))
						if item = itemOf(t, d.Verify(log), "tone-walk"); item.Judgement == Pass {
							break
						}
					}
					return item.Judgement
				}
				if final(func([]faultmodel.Width) {}) == Pass {
					passed++
				}
				if final(func(w []faultmodel.Width) { k := len(w) / 3; w[k] = faultmodel.Width{AtM: w[k].AtM, Silent: true} }) == Fail {
					caught++
				}
			}
			t.Logf("%d of %d sound ones passed, %d of %d silent stretches failed", passed, walks, caught, walks)
			assert.GreaterOrEqual(t, walks, 100)
			assert.GreaterOrEqual(t, float64(passed), 0.97*float64(walks))
			assert.GreaterOrEqual(t, float64(caught), 0.99*float64(walks))
		})
	}
}

// The inside of a corner that points into the yard is narrow on a sound loop, and
// one that points out is wide: there both legs are near (Biot and Savart).
func TestShapeWidthsOfACornerIntoTheYard(t *testing.T) {
	m := &yard.Map{Loop: yard.Loop{Path: []yard.Point{{X: 0, Y: 0}, {X: 60, Y: 0}, {X: 60, Y: 60}, {X: 30, Y: 60}, {X: 30, Y: 30}, {X: 0, Y: 30}}}}
	corner := 60.0 + 60 + 30 + 30
	w := ShapeWidths(m, []float64{30, corner - 0.3, corner + 0.3, corner - 15}, 1.5)
	assert.InDelta(t, 1.5, w[0], 0.25, "a straight run, with the rest of the loop far off")
	assert.Less(t, w[1], 0.8*w[3])
	assert.Less(t, w[2], 0.8*w[3])
	assert.Nil(t, ShapeWidths(plainYard(), []float64{30}, 1.5))
}
