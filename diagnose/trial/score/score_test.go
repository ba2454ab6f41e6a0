package score

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// exact is the tolerance where both sides are short sums.
const exact = 1e-10

func filled(bins int, p []float64, happened []bool) *Calibration {
	c := NewCalibration(bins)
	for i := range p {
		c.Add(p[i], happened[i])
	}
	return c
}

// TestScoresOfYesAndNo checks example C-04: the Brier values are those of the
// scikit-learn documentation (brier_score_loss), the logarithmic ones computed
// with exact arithmetic from the definition.
func TestScoresOfYesAndNo(t *testing.T) {
	happened := []bool{false, true, true, false}
	for _, tt := range []struct {
		p          []float64
		brier, log float64
	}{
		{[]float64{.1, .9, .8, .3}, .0375, .1976348816},
		{[]float64{.1, .9, .8, .4}, .055, .2361725516},
	} {
		assert.InDelta(t, tt.brier, Brier(tt.p, happened), exact)
		assert.InDelta(t, tt.log, Log(tt.p, happened), exact)
		c := filled(10, tt.p, happened)
		assert.InDelta(t, tt.brier, c.Brier(), exact)
		assert.InDelta(t, tt.log, c.Log(), exact)
	}
}

// TestLogOfSeveral is C-05: log_loss of the scikit-learn documentation,
// 0.21616187468057912.
func TestLogOfSeveral(t *testing.T) {
	sum := LogOf([]float64{.1, .9}, 1) + LogOf([]float64{.9, .1}, 0) + LogOf([]float64{.8, .2}, 0) + LogOf([]float64{.35, .65}, 1)
	assert.InDelta(t, 0.21616187468057912, sum/4, 1e-15)
}

// TestCalibrationError is C-06: binary_calibration_error of the torchmetrics
// documentation, norms l1, l2 and max with two bins.
func TestCalibrationError(t *testing.T) {
	c := filled(2, []float64{.25, .25, .55, .75, .75}, []bool{false, false, true, true, true})
	assert.InDelta(t, 0.2900, c.ExpectedError(), 5e-5) // printed to four figures
	assert.InDelta(t, 0.2918, c.RootMeanSquareError(), 5e-5)
	assert.InDelta(t, 0.3167, c.LargestError(), 5e-5)
}

// TestMurphy is C-07: ten forecasts each of .1, .5 and .9 with 1, 6 and 8 events,
// worked in fractions.
func TestMurphy(t *testing.T) {
	c := NewCalibration(10)
	for _, f := range []struct {
		p      float64
		events int
	}{{.1, 1}, {.5, 6}, {.9, 8}} {
		for i := range 10 {
			c.Add(f.p, i < f.events)
		}
	}
	m := c.Murphy()
	assert.InDelta(t, .17, c.Brier(), exact)
	assert.InDelta(t, .0066666667, m.Reliability, exact)
	assert.InDelta(t, .0866666667, m.Resolution, exact)
	assert.InDelta(t, .25, m.Uncertainty, exact)
	assert.InDelta(t, 0, m.Within, exact, "forecasts of a bin are equal")
	assert.InDelta(t, .0666666667, c.ExpectedError(), exact)

	table := c.Table()
	assert.Equal(t, 10, table[9].N)
	assert.InDelta(t, .9, table[9].Stated, exact)
	assert.InDelta(t, .8, table[9].Happened, exact)
	assert.Zero(t, table[3].N)
}

// TestSeveralAlternatives is C-08: 2 bits is 1.3862943611 nats.
func TestSeveralAlternatives(t *testing.T) {
	p := []float64{.6, .25, .1, .05}
	assert.InDelta(t, .935, BrierOf(p, 1), exact)
	assert.InDelta(t, 1.3862943611, LogOf(p, 1), exact)
}

// TestDecompositionAddsUp: whatever the forecasts, the parts sum to the score
// computed one by one.
func TestDecompositionAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 60).Draw(t, "p")
		happened := rapid.SliceOfN(rapid.Bool(), len(p), len(p)).Draw(t, "happened")
		c := filled(rapid.IntRange(1, 12).Draw(t, "bins"), p, happened)
		m := c.Murphy()
		assert.InDelta(t, Brier(p, happened), m.Reliability-m.Resolution+m.Uncertainty+m.Within, 1e-12)
		assert.InDelta(t, m.Reliability, c.RootMeanSquareError()*c.RootMeanSquareError(), 1e-12)
	})
}

// TestHonestForecastsAreCalibrated: events drawn with the stated probability
// leave only the noise of counting, about sqrt(p(1-p)/n) a bin.
func TestHonestForecastsAreCalibrated(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	honest, boastful := NewCalibration(10), NewCalibration(10)
	for range 100_000 {
		p := rng.Float64()
		y := rng.Float64() < p
		honest.Add(p, y)
		boastful.Add(p*p*(3-2*p), y) // pushed towards 0 and 1
	}
	assert.Less(t, honest.ExpectedError(), 0.005)
	assert.Greater(t, boastful.ExpectedError(), 0.03)
	assert.Less(t, honest.Brier(), boastful.Brier(), "the score is proper")
	assert.Less(t, honest.Log(), boastful.Log())
}

// TestMergeIsSumOfParts: parts counted apart give the whole.
func TestMergeIsSumOfParts(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	whole, a, b := NewCalibration(10), NewCalibration(10), NewCalibration(10)
	for i := range 1000 {
		p, y := rng.Float64(), rng.IntN(2) == 0
		whole.Add(p, y)
		if i%3 == 0 {
			a.Add(p, y)
		} else {
			b.Add(p, y)
		}
	}
	a.Merge(b)
	assert.Equal(t, whole.N(), a.N())
	assert.InDelta(t, whole.Brier(), a.Brier(), 1e-12)
	assert.InDelta(t, whole.ExpectedError(), a.ExpectedError(), 1e-12)
	assert.InDelta(t, whole.Murphy().Resolution, a.Murphy().Resolution, 1e-12)
}
