package locate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Values of 1 - h2(e) to six places, from the definition.
func TestInformation(t *testing.T) {
	for e, want := range map[float64]float64{.01: .919207, .02: .858559, .05: .713603, .1: .531004, .2: .278072, .3: .118709, 0: 1, .5: 0} {
		assert.InDelta(t, want, Information(e), 5e-7, "e=%g", e)
	}
}

// Gambler's ruin, as exact fractions: e = 1/10 gives r = 1/9.
func TestRepeat(t *testing.T) { // N-02, N-03
	for _, c := range []struct {
		e           float64
		lead        int
		reads, miss float64
	}{
		{.1, 1, 1, .1},
		{.1, 2, 2.4390243902, .0121951220},
		{.1, 3, 3.7397260274, .0013698630},
		{.05, 2, 2.2099447514, .0027624309},
		{.2, 2, 2.9411764706, .0588235294},
		{.2, 3, 4.8461538462, .0153846154},
	} {
		reads, miss := Repeat(c.e, c.lead)
		assert.InDelta(t, c.reads, reads, 1e-10)
		assert.InDelta(t, c.miss, miss, 1e-10)
	}
}

// The sequential test needs fewer readings than a fixed majority of the same
// error. Majority errors from the binomial distribution: 3 of e = .1: .028, 5: .00856.
func TestRepeatBeatsMajority(t *testing.T) { // N-04
	majority := func(e float64, of int) float64 {
		wrong := 0.0
		for k := of/2 + 1; k <= of; k++ {
			c := 1.0
			for i := range k {
				c *= float64(of-i) / float64(i+1)
			}
			wrong += c * math.Pow(e, float64(k)) * math.Pow(1-e, float64(of-k))
		}
		return wrong
	}
	for _, c := range []struct{ e, three, five float64 }{{.1, .028, .00856}, {.2, .104, .05792}, {.05, .00725, .00115813}} {
		assert.InDelta(t, c.three, majority(c.e, 3), 5e-9)
		assert.InDelta(t, c.five, majority(c.e, 5), 5e-9)
		reads, wrong := Repeat(c.e, 2)
		assert.Less(t, reads, 3.0)
		assert.Less(t, wrong, c.three)
	}
}

func TestReadSpotFloor(t *testing.T) {
	// However dear a wrong turn, the persistent error stays.
	s := readSpot(.1, .02, 1, 1e9)
	assert.Equal(t, 8, s.lead)
	assert.GreaterOrEqual(t, s.wrong, .02)
	// Cheap wrong turns are not worth a second reading.
	assert.Equal(t, 1, readSpot(.1, .02, 1, 2).lead)
	// N-05's n = 2: a reading at 1, a wrong end at 20: lead 2, at 2.439024 + 20 * .012195.
	s = readSpot(.1, 0, 1, 20)
	assert.Equal(t, 2, s.lead)
	assert.InDelta(t, 2.68292683, s.reads+20*s.wrong, 1e-8)
}

// Hassin and Megiddo 1985; figures by minimax dynamic programming.
func TestWorstCaseTaps(t *testing.T) { // D-01
	for i, n := range []int{4, 5, 8, 10, 16, 20, 32, 50, 64, 100, 128} {
		assert.Equal(t, []int{3, 4, 5, 6, 7, 8, 9, 11, 11, 13, 13}[i], WorstCaseTaps(n, 2), "n=%d", n)
	}
	assert.Equal(t, 7, WorstCaseTaps(100, 1))
	assert.Equal(t, 18, WorstCaseTaps(100, 3))
	// And against the minimax over all first cuts, with j of the k breaks before
	// the cut as the answer and the rest after it.
	memo := map[[2]int]int{}
	var worst func(n, k int) int
	worst = func(n, k int) int {
		if k == 0 || n == 1 {
			return 0
		}
		if v, ok := memo[[2]int{n, k}]; ok {
			return v
		}
		best := math.MaxInt
		for c := 1; c < n; c++ {
			w := 0
			for j := 0; j <= k; j++ {
				w = max(w, worst(c, j)+worst(n-c, k-j))
			}
			best = min(best, 1+w)
		}
		memo[[2]int{n, k}] = best
		return best
	}
	for k := 1; k <= 4; k++ {
		for n := k; n <= 40; n++ {
			assert.Equal(t, worst(n, k), WorstCaseTaps(n, k), "n=%d k=%d", n, k)
		}
	}
}

// pairProblem is the location of two breaks among n equally likely segments at 1 a tap.
func pairProblem(n int, distinct bool) *pairSearch {
	p := &pairSearch{first: same(n, 1), second: same(n, 1), same: same(n, 0)}
	pairs := float64(n*(n-1)) / 2
	if !distinct {
		// Two independent draws: each unordered pair twice, each coincidence once.
		p.same = same(n, 0.5)
		pairs = float64(n*n) / 2
	}
	p.one = *problem{segment: same(n, 0), cost: same(n-1, 1/pairs), leaf: pureLocation}.build()
	p.leafPair = append([]float64(nil), p.one.leaf...)
	if distinct {
		for i := 0; i+2 <= n; i++ {
			p.leafPair[i*(n+1)+i+2] = 0 // two distinct breaks in two segments are found
		}
	}
	return p
}

// Expected two-way taps; n <= 12 equal to an exhaustive search over decision trees.
func TestTwoBreaks(t *testing.T) { // D-02, D-03
	for i, n := range []int{4, 5, 6, 8, 10, 12, 16, 20, 32, 50, 64, 100} {
		want := []float64{2.333333, 3.1, 3.533333, 4.285714, 4.977778, 5.454545, 6.2, 6.894737, 8.129032, 9.451429, 10.079365, 11.413737}[i]
		p := pairProblem(n, true)
		p.solve()
		assert.InDelta(t, want, p.value[n], 5e-7, "n=%d", n)
	}
	for i, n := range []int{8, 10, 16, 32, 64, 100} {
		want := []float64{4.25, 4.92, 6.125, 8.0625, 10.03125, 11.3768}[i]
		p := pairProblem(n, false)
		p.solve()
		assert.InDelta(t, want, p.value[n], 5e-7, "n=%d", n)
	}
	// log3 C(100,2): three answers a tap cannot do better.
	p := pairProblem(100, true)
	p.solve()
	assert.GreaterOrEqual(t, p.value[100], 7.7435)
}

// One-ended readings find the first break, then the second beyond it: two
// searches, the first with the price of the second behind each leaf.
func TestTwoBreaksOneEnded(t *testing.T) { // D-04
	for i, n := range []int{8, 10, 16, 32, 64, 100} {
		want := []float64{4.892857, 5.577778, 6.991667, 9.038306, 11.061012, 12.360606}[i]
		second := problem{segment: same(n, 1), cost: same(n-1, 1), leaf: pureLocation}
		_, _, s2 := second.solve()
		mass := make([]float64, n-1) // the first is never the last segment
		pairs := float64(n*(n-1)) / 2
		for k := range mass {
			mass[k] = float64(n-1-k) / pairs
		}
		first := problem{segment: mass, cost: same(n-2, 1), leaf: func(i, j int) float64 {
			if j > i+1 {
				return math.Inf(1)
			}
			return s2.left(i+1, n) / float64(n-1-i)
		}}
		v, _, _ := first.solve()
		assert.InDelta(t, want, v, 5e-7, "n=%d", n)
	}
}

// A product restricted to i < j is given back as it was.
func TestProductFormExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 12
	f, s := make([]float64, n), make([]float64, n)
	for i := range n {
		f[i], s[i] = rng.Float64()+.1, rng.Float64()+.1
	}
	pair := make([]float64, n*n)
	sum := 0.0
	for i := range n {
		for j := i; j < n; j++ {
			pair[i*n+j] = f[i] * s[j]
			sum += pair[i*n+j]
		}
	}
	for i := range pair {
		pair[i] /= sum
	}
	first, second, eq := productForm(pair, n)
	for i := range n {
		assert.Equal(t, pair[i*n+i], eq[i])
		for j := i + 1; j < n; j++ {
			assert.InEpsilon(t, pair[i*n+j], first[i]*second[j], 1e-6)
		}
	}
}
