package locate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// field is a simulated yard with a fault, and the bill so far.
type field struct {
	l      *lines
	rng    *rand.Rand
	faultM float64
	hereM  float64

	misleads map[int]bool
	money    float64
	taps     int
	splices  float64
	done     bool
}

// tap opens line i until one answer leads by lead and says whether the fault
// seems to lie before it. An old splice that is the fault shows itself.
func (f *field) tap(i, lead int) (before, found bool) {
	c := &f.l.costs
	f.money += f.l.money[i] + f.l.walkMoney(f.hereM, f.l.xM[i])
	f.hereM = f.l.xM[i]
	f.taps++
	f.splices += f.l.joins[i]
	if f.l.splice[i] && math.Abs(f.faultM-f.l.xM[i]) < f.l.stepM {
		f.money += c.CheckMinutes * c.PerMinute
		f.done = true
		return false, true
	}
	if _, met := f.misleads[i]; !met {
		f.misleads[i] = f.rng.Float64() < c.PersistentError
	}
	net := 0
	for n := 0; net > -lead && net < lead; n++ {
		if n > 0 {
			f.money += c.ReadMinutes * c.PerMinute
		}
		if (f.faultM < f.l.xM[i]) != f.misleads[i] != (f.rng.Float64() < c.TapError) {
			net++
		} else {
			net--
		}
	}
	return net > 0, false
}

// replace lays a new section or opens the stretch and checks.
func (f *field) replace(i, j int, ends float64) {
	e := f.l.end(i, j, ends)
	f.money += e.money
	f.splices += e.splices
	f.done = f.l.xM[i] <= f.faultM && f.faultM <= f.l.xM[j]
}

// ours follows the planner, planning anew after every answer.
func ours(f *field, p *Planner, b Belief) {
	a := b.Axis
	tapped := map[int]bool{}
	var openedM []float64
	for range 60 {
		plan := p.Plan(b, f.hereM, Opened(openedM...))
		if plan.ReplaceNow {
			i, j := int(math.Round(plan.Next.FromM/f.l.stepM)), int(math.Round(plan.Next.ToM/f.l.stepM))
			ends := 2.0
			for _, k := range []int{i, j} {
				if tapped[k] || f.l.splice[k] || k == 0 || k == f.l.n {
					ends--
				}
			}
			if f.replace(i, j, ends); f.done {
				return
			}
			b = without(b, plan.Next.FromM, plan.Next.ToM)
			continue
		}
		i := int(math.Round(plan.Next.AtM / f.l.stepM))
		before, found := f.tap(i, plan.Repeats)
		if found {
			return
		}
		tapped[i] = true
		openedM = append(openedM, f.l.xM[i])
		if f.l.splice[i] {
			b = without(b, f.l.xM[i]-f.l.stepM, f.l.xM[i]+f.l.stepM)
		}
		side := Intact
		if before {
			side = Broken
		}
		b, _ = b.Update(a.LogLikelihood(Tap{AtM: f.l.xM[i], A: side, ErrorProb: p.noise.wrong}, "open"))
	}
	f.replace(0, f.l.n, 0) // a new wire
}

// without is b knowing that the fault is not between two chainages.
func without(b Belief, fromM, toM float64) Belief {
	l := make([]float64, len(b.P))
	for i := range l {
		if x := b.Axis.Mid(i); fromM < x && x < toM {
			l[i] = math.Inf(-1)
		}
	}
	b, _ = b.Update(l)
	return b
}

// halving cuts at the middle of what is left, at old splices first if told so,
// until a new section is cheaper than a tap more: the length at which that is so
// on a flat belief, 2 c / b. After a vain repair it begins again, with the whole wire.
func halving(f *field, splicesFirst bool) {
	c := &f.l.costs
	stopM := 2 * (c.PerMinute*(c.TapMinutes+c.DigMinutes["turf"]+c.JoinMinutes) + c.JoinPrice + c.SpliceLater) / (c.PerMinute*c.TrenchMinutesPerM + c.WirePerM)
	for range 20 {
		lo, hi := 0, f.l.n
		tapped := map[int]bool{0: true, f.l.n: true}
		for {
			cut := -1
			if splicesFirst {
				var in []int
				for i := lo + 1; i < hi; i++ {
					if f.l.splice[i] && !tapped[i] {
						in = append(in, i)
					}
				}
				if len(in) > 0 {
					cut = in[len(in)/2]
				}
			}
			if cut < 0 {
				if float64(hi-lo)*f.l.stepM <= stopM {
					break
				}
				for d := 0; d < (hi-lo)/2 && cut < 0; d++ { // the nearest place to the middle that can be opened
					for _, i := range []int{(lo+hi)/2 - d, (lo+hi)/2 + d} {
						if i > lo && i < hi && !math.IsInf(f.l.money[i], 1) {
							cut = i
							break
						}
					}
				}
				if cut < 0 {
					break
				}
			}
			tapped[cut] = true
			before, found := f.tap(cut, 1)
			if found {
				return
			}
			if before {
				hi = cut
			} else {
				lo = cut
			}
		}
		if f.replace(lo, hi, 0); f.done {
			return
		}
	}
	f.replace(0, f.l.n, 0)
}

// strategies runs every strategy on the same simulated yards and returns the
// mean bill of each, with two lower bounds: the exact plan were no answer ever
// wrong, and Gibbs' bound (E11) at the yard's cheapest prices on its density without splices.
func strategies(yards int, seed uint64) (names []string, money, taps, splices []float64) {
	names = []string{"our plan", "halving at splices first", "halving by length", "exact plan, no errors", "bound (E11)", "our plan, as foreseen"}
	n := len(names)
	money, taps, splices = make([]float64, n), make([]float64, n), make([]float64, n)
	rng := rand.New(rand.NewPCG(seed, 1))
	for range yards {
		s, b := yard(rng, 0)
		c := DefaultCosts()
		p := NewPlanner(s, c)
		x := draw(b, rng)
		noise := rng.Uint64()
		run := func(k int, follow func(f *field)) {
			f := &field{l: p.lines, rng: rand.New(rand.NewPCG(noise, 2)), faultM: x, misleads: map[int]bool{}}
			follow(f)
			money[k] += f.money / float64(yards)
			taps[k] += float64(f.taps) / float64(yards)
			splices[k] += f.splices / float64(yards)
		}
		run(0, func(f *field) { ours(f, p, b) })
		run(1, func(f *field) { halving(f, true) })
		run(2, func(f *field) { halving(f, false) })

		c.TapError, c.PersistentError = 0, 0
		sure := NewPlanner(s, c).Plan(b, 0)
		money[3] += sure.Expected.Money / float64(yards)
		taps[3] += sure.Expected.Taps / float64(yards)
		splices[3] += sure.Expected.NewSplices / float64(yards)
		own := p.Plan(b, 0).Expected
		money[5] += own.Money / float64(yards)
		taps[5] += own.Taps / float64(yards)
		splices[5] += own.NewSplices / float64(yards)
		money[4] += gibbsBound(p, b) / float64(yards)
	}
	return names, money, taps, splices
}

// gibbsBound is E11 with each price at its least on this yard.
func gibbsBound(p *Planner, b Belief) float64 {
	l := p.lines
	tap, perM := math.Inf(1), math.Inf(1)
	for i := 1; i < l.n; i++ {
		tap = min(tap, l.money[i])
		perM = min(perM, (l.weighM[i]-l.weighM[i-1])/l.stepM*l.costs.PerMinute*l.costs.TrenchMinutesPerM+l.costs.WirePerM)
	}
	h := 0.0
	for _, q := range b.P {
		if q > 0 {
			h -= q * math.Log2(q/b.Axis.StepM())
		}
	}
	fixed := l.costs.PerMinute * (l.costs.ReplaceMinutes + l.costs.CheckMinutes)
	return max(lowerBound(h, fixed, perM, tap), fixed)
}

func table(names []string, money, taps, splices []float64) string {
	var s strings.Builder
	fmt.Fprintf(&s, "\n%-26s %8s %8s %6s %8s\n", "strategy", "money", "to ours", "taps", "splices")
	for i, n := range names {
		fmt.Fprintf(&s, "%-26s %8.1f %8.2f %6.2f %8.2f\n", n, money[i], money[i]/money[0], taps[i], splices[i])
	}
	return s.String()
}

// Mean bills on a hundred yards keep their order by a wide margin; the table on a
// thousand is BenchmarkStrategies.
func TestStrategies(t *testing.T) {
	names, money, taps, splices := strategies(100, 31)
	t.Log(table(names, money, taps, splices))
	assert.Less(t, money[0], .8*money[1])
	assert.Less(t, money[0], .8*money[2])
	assert.Greater(t, money[0], money[4])
}

func BenchmarkStrategies(b *testing.B) {
	for b.Loop() {
		names, money, taps, splices := strategies(1000, 32)
		b.Log(table(names, money, taps, splices))
		b.ReportMetric(money[0], "ours")
		b.ReportMetric(money[1], "splices-first")
		b.ReportMetric(money[2], "halving")
		b.ReportMetric(money[3], "no-errors")
		b.ReportMetric(money[4], "bound")
	}
}
