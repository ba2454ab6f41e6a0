package trial

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"loopfault/locate"
)

// source is the random source for one purpose of one case, the same whenever it
// is asked for.
func source(seed uint64, purpose string, n int) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(seed, h.Sum64()^uint64(n)*0x9e3779b97f4a7c15))
}

// pick draws an index by weight.
func pick(rng *rand.Rand, weights []float64) int {
	var total float64
	for _, w := range weights {
		total += w
	}
	u := rng.Float64() * total
	for i, w := range weights {
		if u < w {
			return i
		}
		u -= w
	}
	return len(weights) - 1
}

// place draws a chainage from a belief, m.
func place(rng *rand.Rand, b locate.Belief) float64 {
	i := pick(rng, b.P)
	return b.Axis.Edge(i) + rng.Float64()*b.Axis.StepM()
}

// chance is true with probability p.
func chance(rng *rand.Rand, p float64) bool { return rng.Float64() < p }

// logNormal draws a positive number about a median.
func logNormal(rng *rand.Rand, median, sigmaLn float64) float64 {
	return median * math.Exp(sigmaLn*rng.NormFloat64())
}

// within is uniform between two numbers.
func within(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

// gamma draws from the gamma distribution with a shape and scale 1, by the method
// of Marsaglia and Tsang (ACM Trans. Math. Software 26, 2000).
func gamma(rng *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(rng, shape+1) * math.Pow(rng.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := rng.NormFloat64()
		v := 1 + c*x
		if v = v * v * v; v > 0 && math.Log(rng.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}
