package diagnose

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// TestSearchOnFiveHundredFeet lets a technician with a meter that reads ohms and
// nanofarads go from an open loop to the cut: readings come from a simulated
// world with the meter's errors, taps tell the truth. In nine of ten cases the
// ground is opened within 10 ft of the cut, or new wire laid over it, by the third tap.
func TestSearchOnFiveHundredFeet(t *testing.T) {
	e := newEngine(t)
	d, err := e.At(&Case{Role: Technician, Yard: plainYard(), Tools: []string{"meter", "capacitance", "spade", "splice-kit", "temporary-wire"}})
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(5, 500))
	const cases, missed = 40, 99
	var within, taps int
	for range cases {
		cut := ft(45 + 410*rng.Float64())
		world := d.wire.model.Draw(rng, faultmodel.Fault{Kind: faultmodel.Open, AtM: cut})
		log := []Entry{say("continuity-sign", "broken"), say("short-loop-sign", "complete"), say("recent-work", "none"), say("visible-damage", "none")}
		n := 0
	search:
		for range 40 {
			a := d.Assess(log)
			s := a.Step
			switch {
			case s.Kind == NextTap:
				n++
				if near(*s.AtM, cut) {
					break search
				}
				side := func(broken bool) locate.Side {
					if broken {
						return locate.Broken
					}
					return locate.Intact
				}
				log = append(log, Entry{Answer: &Answer{Check: "tap", AtM: s.AtM, ASide: side(cut < *s.AtM), BSide: side(cut >= *s.AtM)}})
			case s.Kind == NextReplaceSection || s.Kind == NextRepair:
				if cut < *s.FromM || cut > *s.ToM {
					n = missed
				}
				break search
			case s.Kind == NextCheck && s.Check.Kind == kb.Reading:
				q := faultmodel.Quantity(s.Check.Quantity)
				r := world.Read(q, 0, rng)
				log = append(log, Entry{Answer: &Answer{Check: s.Check.ID, Reading: &r}})
			case s.Kind == NextCheck:
				log = append(log, say(s.Check.ID, Unknown))
			default:
				t.Fatalf("the search ends in %s", s.ID)
			}
		}
		taps += n
		if n <= 3 {
			within++
		}
	}
	t.Logf("by the third tap: %d of %d; mean taps %.2f", within, cases, float64(taps)/cases)
	assert.GreaterOrEqual(t, within, cases*9/10)
}

func near(x, y float64) bool { return x-y < ft(10) && y-x < ft(10) }
