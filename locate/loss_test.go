package locate

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestLossTmp(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var ml, mx, vl, vx, vmin float64
	n := 60
	for i := range n {
		s, b := yard(rng, 0)
		if i%2 == 1 {
			// a sharper belief
			b, _ = b.Update(b.Axis.LogLikelihood(Trace{AtM: b.Axis.LengthM * rng.Float64(), End: EndA, SpreadM: 2 + 10*rng.Float64(), MissProb: .02, LengthM: b.Axis.LengthM}, "open"))
		}
		p := NewPlanner(s, DefaultCosts())
		ex := p.Plan(b, math.NaN(), Exact())
		pl := p.Plan(b, math.NaN())
		v := p.Value(b)
		l := pl.Expected.Money/ex.Expected.Money - 1
		w := v/ex.Expected.Money - 1
		ml += l / float64(n)
		mx = max(mx, l)
		vl += w / float64(n)
		vx = max(vx, w)
		vmin = min(vmin, w)
		if l > .003 || math.Abs(w) > .05 {
			t.Logf("%d L=%.0f exact %.2f plan %+.2f%% value %+.2f%% miss %.3f taps %.2f", i, b.Axis.LengthM, ex.Expected.Money, 100*l, 100*w, pl.MissProb, pl.Expected.Taps)
		}
	}
	t.Logf("plan loss mean %.3f%% max %.3f%%; value mean %.2f%% max %.2f%% min %.2f%%", 100*ml, 100*mx, 100*vl, 100*vx, 100*vmin)
}
