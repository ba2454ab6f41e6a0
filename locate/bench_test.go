package locate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// yard draws a random yard: a loop of 60 to 450 m, a few old splices, a drive, a
// bed, and a prior that leans to the splices, the edges and a stretch of recent work.
func yard(rng *rand.Rand, stepM float64) (Site, Belief) {
	length := 60 + 390*rng.Float64()
	return yardOf(rng, length, stepM)
}

func yardOf(rng *rand.Rand, length, stepM float64) (Site, Belief) {
	lead := 0.05 * length
	s := Site{LengthM: length, LeadInM: lead, StepM: stepM}
	place := func() float64 { return lead + (length-2*lead)*rng.Float64() }
	parts := []Part{{Weight: 1, FromM: lead, ToM: length - lead}, {Weight: .1, ToM: length}}
	for range rng.IntN(4) {
		x := place()
		s.SplicesM = append(s.SplicesM, x)
		parts = append(parts, Part{Weight: .3 * rng.Float64(), FromM: x, ToM: x})
	}
	for _, surface := range []string{"driveway", "bed", "path"} {
		x := place()
		z := Zone{FromM: x, ToM: min(x+2+8*rng.Float64(), length-lead), Surface: surface, NoDig: surface == "driveway"}
		s.Zones = append(s.Zones, z)
		parts = append(parts, Part{Weight: .4 * rng.Float64(), FromM: z.FromM - 1, ToM: z.ToM + 1, SpreadM: 1})
	}
	if rng.IntN(2) == 0 {
		x := place()
		parts = append(parts, Part{Weight: 1.5 * rng.Float64(), FromM: x, ToM: x + 5 + 10*rng.Float64(), SpreadM: 2})
	}
	// The boundary is a rectangle; the map gives its straight lines.
	perimeter := length - 2*lead
	w := perimeter * (.15 + .2*rng.Float64())
	h := perimeter/2 - w
	at := func(x float64) (float64, float64) {
		d := min(max(x-lead, 0), perimeter)
		switch {
		case d < w:
			return d, 0
		case d < w+h:
			return w, d - w
		case d < 2*w+h:
			return 2*w + h - d, h
		}
		return 0, perimeter - d
	}
	s.ChordM = func(a, b float64) float64 {
		ax, ay := at(a)
		bx, by := at(b)
		// The legs run out from the corner: count their length on top.
		leg := func(x float64) float64 { return max(lead-x, x-(length-lead), 0) }
		return math.Hypot(ax-bx, ay-by) + math.Abs(leg(a)-leg(b))
	}
	return s, Mixture(NewAxis(length, stepM), parts...)
}

func BenchmarkBeliefUpdate5000ft(b *testing.B) {
	a := NewAxis(5000*FootM, FootM)
	prior := Mixture(a, Part{Weight: 1, ToM: a.LengthM}, Part{Weight: 1, FromM: 300, ToM: 400, SpreadM: 5})
	e := Trace{AtM: 350, End: EndA, SpreadM: 10, MissProb: .05, LengthM: a.LengthM}
	b.ReportAllocs()
	for b.Loop() {
		prior.Update(a.LogLikelihood(e, "open"))
	}
}

func BenchmarkValue(b *testing.B) {
	for _, length := range []float64{150, 300, 5000 * FootM} {
		b.Run(fmt.Sprintf("%.0fm", length), func(b *testing.B) {
			s, prior := yardOf(rand.New(rand.NewPCG(3, 4)), length, FootM)
			p := NewPlanner(s, DefaultCosts())
			b.ReportAllocs()
			for b.Loop() {
				p.Value(prior)
			}
		})
	}
}

func BenchmarkPlan(b *testing.B) {
	for _, n := range []int{100, 200, 400, 1000, 5000} {
		for _, exact := range []bool{false, true} {
			if exact && n > 1000 {
				continue
			}
			b.Run(fmt.Sprintf("%d_candidates/exact=%v", n, exact), func(b *testing.B) {
				s, prior := yardOf(rand.New(rand.NewPCG(3, 4)), float64(n)*FootM, FootM)
				p := NewPlanner(s, DefaultCosts())
				opts := []Option{CoverAll()}
				if exact {
					opts = append(opts, Exact())
				}
				b.ReportAllocs()
				for b.Loop() {
					p.Plan(prior, 0, opts...)
				}
				b.ReportMetric(p.Plan(prior, 0, opts...).Expected.Money, "money")
			})
		}
	}
}

func BenchmarkNewPlanner1000ft(b *testing.B) {
	s, _ := yardOf(rand.New(rand.NewPCG(3, 4)), 1000*FootM, FootM)
	b.ReportAllocs()
	for b.Loop() {
		NewPlanner(s, DefaultCosts())
	}
}

func BenchmarkPlanPair1000ft(b *testing.B) {
	s, prior := yardOf(rand.New(rand.NewPCG(3, 4)), 1000*FootM, FootM)
	p := NewPlanner(s, DefaultCosts())
	pair := NewPairBelief("open", prior, "open", prior, true, 120)
	b.ReportAllocs()
	for b.Loop() {
		p.PlanPair(pair, 0)
	}
}

func BenchmarkPairs1000ft(b *testing.B) {
	_, prior := yardOf(rand.New(rand.NewPCG(3, 4)), 1000*FootM, FootM)
	tap := Tap{AtM: 120, A: Broken, B: Broken, ErrorProb: .02, PersistentProb: .01}
	trace := Trace{AtM: 60, End: EndA, SpreadM: 4, MissProb: .05, LengthM: prior.Axis.LengthM}
	b.ReportAllocs()
	for b.Loop() {
		Pairs("open", prior, "open", prior, true, 120, tap, trace)
	}
}
