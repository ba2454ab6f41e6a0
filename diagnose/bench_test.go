package diagnose

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// longYard is 920 ft of loop behind a 40 ft lead-in: 1,000 ft of wire.
func longYard() *yard.Map {
	y := plainYard()
	y.Loop.LengthM = ptr(ft(920))
	y.Features = []yard.Feature{
		{FromM: ft(150), ToM: ft(150), Kind: yard.Splice}, {FromM: ft(610), ToM: ft(610), Kind: yard.Splice},
		{FromM: ft(300), ToM: ft(314), Kind: yard.Driveway}, {FromM: ft(500), ToM: ft(640), Kind: yard.Bed},
	}
	return y
}

// BenchmarkNextQuestion follows calls of a technician on 1,000 ft of wire at a
// foot a cell, full knowledge, and times each step from answer to question. It
// reports the median and the 99th percentile over steps, in milliseconds.
func BenchmarkNextQuestion(b *testing.B) {
	e := newEngine(b)
	c := &Case{Role: Technician, Yard: longYard(), Tools: []string{"meter", "capacitance", "spade", "splice-kit", "temporary-wire", "collar", "lamp", "clamp"}}
	rng := rand.New(rand.NewPCG(9, 9))
	var took []time.Duration
	for b.Loop() {
		d, err := e.At(c)
		require.NoError(b, err)
		cut := ft(45 + 910*rng.Float64())
		world := d.wire.model.Draw(rng, faultmodel.Fault{Kind: faultmodel.Open, AtM: cut})
		var log []Entry
		for range 12 {
			start := time.Now()
			s := d.Assess(log).Step
			took = append(took, time.Since(start))
			switch {
			case s.Kind == NextTap:
				side := map[bool]locate.Side{true: locate.Broken, false: locate.Intact}
				log = append(log, Entry{Answer: &Answer{Check: "tap", AtM: s.AtM, ASide: side[cut < *s.AtM], BSide: side[cut >= *s.AtM]}})
			case s.Kind != NextCheck:
				log = append(log, Entry{Repair: &RepairDone{Repair: s.ID, AtM: s.AtM, FromM: s.FromM, ToM: s.ToM}})
			case s.Check.Kind == kb.Reading:
				q := faultmodel.Quantity(s.Check.Quantity)
				r := world.Read(q, 0, rng)
				log = append(log, Entry{Answer: &Answer{Check: s.Check.ID, Reading: &r}})
			case s.Check.Kind == kb.Choice:
				p := e.AnswerChances(s.Check.ID, "", "wire-cut")
				k, u := 0, rng.Float64()
				for ; k < len(p)-1 && u > p[k]; k++ {
					u -= p[k]
				}
				log = append(log, say(s.Check.ID, s.Check.Answers[k].ID))
			default:
				log = append(log, say(s.Check.ID, Unknown))
			}
		}
	}
	slices.Sort(took)
	ms := func(q float64) float64 { return float64(took[int(q*float64(len(took)-1))].Microseconds()) / 1000 }
	b.ReportMetric(ms(0.5), "ms/median")
	b.ReportMetric(ms(0.99), "ms/p99")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkFirstQuestion is everything from a loaded knowledge base to the first
// question of a homeowner without a map.
func BenchmarkFirstQuestion(b *testing.B) {
	base, err := kb.Load()
	require.NoError(b, err)
	for b.Loop() {
		if _, err := New(base, Options{}).Assess(&Case{Role: Homeowner}); err != nil {
			b.Fatal(err)
		}
	}
}
