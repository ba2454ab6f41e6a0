package locate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// On flat wires the plan comes within a few per cent of Gibbs' bound (E11),
// wherever that says anything: where the best leaf, c/(b ln 2), is well below the length.
func TestPlanNearLowerBound(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 1))
	ratio, worst := 0.0, 0.0
	const wires = 40
	for range wires {
		length := 40 + 400*rng.Float64()
		perM, tap, fixed := .5+3*rng.Float64(), 5+25*rng.Float64(), 10*rng.Float64()
		if tap/(perM*math.Ln2) > length/3 {
			tap = length / 3 * perM * math.Ln2
		}
		p := NewPlanner(Site{LengthM: length}, Costs{PerMinute: 1, TapMinutes: tap, TrenchMinutesPerM: perM, ReplaceMinutes: fixed})
		plan := p.Plan(Uniform(NewAxis(length, 0)), 0, CoverAll()).Expected.Money
		bound := lowerBound(math.Log2(length), fixed, perM, tap)
		assert.GreaterOrEqual(t, plan, bound-1e-9)
		ratio += plan / bound / wires
		worst = max(worst, plan/bound)
	}
	t.Logf("plan over bound: mean %.4f, worst %.4f", ratio, worst)
	assert.LessOrEqual(t, worst, 1.05)
}

// pairExhaustive is the least expected number of taps that finds two breaks, by
// search over sets of pairs that may still be true; it knows nothing of intervals
// or of products. w[i][j] is the weight of breaks in segments i < j.
func pairExhaustive(w [][]float64) float64 {
	n := len(w)
	type pair struct{ i, j int }
	var pairs []pair
	var mass []float64
	for i := range n {
		for j := i + 1; j < n; j++ {
			pairs, mass = append(pairs, pair{i, j}), append(mass, w[i][j])
		}
	}
	memo := map[uint32]float64{}
	var best func(set uint32) float64
	best = func(set uint32) float64 {
		if set&(set-1) == 0 {
			return 0
		}
		if v, ok := memo[set]; ok {
			return v
		}
		total := 0.0
		for q := range pairs {
			if set&(1<<q) != 0 {
				total += mass[q]
			}
		}
		v := math.Inf(1)
		for k := 1; k < n; k++ {
			var part [3]uint32 // both before, one each side, both after
			for q, p := range pairs {
				if set&(1<<q) != 0 {
					side := 1
					if p.j < k {
						side = 0
					} else if p.i >= k {
						side = 2
					}
					part[side] |= 1 << q
				}
			}
			if part[0] == set || part[1] == set || part[2] == set {
				continue
			}
			v = min(v, total+best(part[0])+best(part[1])+best(part[2]))
		}
		memo[set] = v
		return v
	}
	return best(1<<len(pairs) - 1)
}

// The two-break search against that, for product weights of every shape.
func TestTwoBreaksEqualExhaustive(t *testing.T) {
	rng := rand.New(rand.NewPCG(43, 1))
	for range 60 {
		n := 3 + rng.IntN(4)
		p := &pairSearch{first: same(n, 0), second: same(n, 0), same: same(n, 0)}
		for i := range n {
			p.first[i], p.second[i] = .1+rng.Float64(), .1+rng.Float64()
		}
		w := make([][]float64, n)
		for i := range w {
			w[i] = make([]float64, n)
			for j := i + 1; j < n; j++ {
				w[i][j] = p.first[i] * p.second[j]
			}
		}
		// The break in the same segment twice does not occur; first[n-1] and
		// second[0] then stand for nothing.
		p.one = *problem{segment: same(n, 0), cost: same(n-1, 1), leaf: pureLocation}.build()
		p.leafPair = append([]float64(nil), p.one.leaf...)
		for i := 0; i+2 <= n; i++ {
			p.leafPair[i*(n+1)+i+2] = 0
		}
		p.solve()
		assert.InDelta(t, pairExhaustive(w), p.value[n], 1e-9)
	}
}
