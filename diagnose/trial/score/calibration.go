package score

import "math"

// Calibration gathers statements "this is so with probability p" and whether it
// was so, in bins of equal width over p. The zero value is of no use; see
// [NewCalibration].
type Calibration struct {
	bins            []bin
	brier, surprise float64 // sums
}

// bin holds the sums of the statements that fell into it.
type bin struct{ n, p, pp, y, py float64 }

// Bin is one row of the reliability table.
type Bin struct {
	From, To float64 // stated probabilities that fell here
	N        int
	Stated   float64 // mean probability stated; NaN for an empty bin
	Happened float64 // share that came true; NaN for an empty bin
}

// NewCalibration makes one with n bins.
func NewCalibration(n int) *Calibration { return &Calibration{bins: make([]bin, n)} }

// Add takes in one statement.
func (c *Calibration) Add(p float64, happened bool) {
	b := &c.bins[min(max(int(p*float64(len(c.bins))), 0), len(c.bins)-1)]
	b.n++
	b.p += p
	b.pp += p * p
	if happened {
		b.y++
		b.py += p
	}
	c.brier += square(p, happened)
	c.surprise += surprise(p, happened)
}

// Merge takes in all statements of another with as many bins.
func (c *Calibration) Merge(o *Calibration) {
	for i, b := range o.bins {
		d := &c.bins[i]
		d.n, d.p, d.pp, d.y, d.py = d.n+b.n, d.p+b.p, d.pp+b.pp, d.y+b.y, d.py+b.py
	}
	c.brier += o.brier
	c.surprise += o.surprise
}

// N is how many statements were taken in.
func (c *Calibration) N() int {
	var n float64
	for _, b := range c.bins {
		n += b.n
	}
	return int(n)
}

// Table lists the bins in rising order, the empty ones too.
func (c *Calibration) Table() []Bin {
	out := make([]Bin, len(c.bins))
	width := 1 / float64(len(c.bins))
	for i, b := range c.bins {
		out[i] = Bin{From: float64(i) * width, To: float64(i+1) * width, N: int(b.n), Stated: b.p / b.n, Happened: b.y / b.n}
	}
	return out
}

// Brier is the mean Brier score of the statements.
func (c *Calibration) Brier() float64 { return c.brier / float64(c.N()) }

// Log is the mean logarithmic score of the statements, nats.
func (c *Calibration) Log() float64 { return c.surprise / float64(c.N()) }

// Murphy is the Brier score taken apart:
//
//	Brier = Reliability - Resolution + Uncertainty + Within
//
// Reliability is how far bins are off (0 is best), Resolution how far they set
// themselves apart from the base rate (more is better), Uncertainty what the base
// rate alone would score. A. H. Murphy, "A new vector partition of the
// probability score", J. Applied Meteorology 12, 1973. It is exact where
// all forecasts of a bin are equal; Within is what their spread inside the bins
// adds otherwise, the two further terms of D. B. Stephenson et al., Weather and
// Forecasting 23, 2008 (from memory).
type Murphy struct{ Reliability, Resolution, Uncertainty, Within float64 }

// Murphy takes the Brier score apart.
func (c *Calibration) Murphy() Murphy {
	var n, y float64
	for _, b := range c.bins {
		n += b.n
		y += b.y
	}
	base := y / n
	m := Murphy{Uncertainty: base * (1 - base)}
	for _, b := range c.bins {
		if b.n == 0 {
			continue
		}
		stated, happened := b.p/b.n, b.y/b.n
		m.Reliability += b.n / n * (stated - happened) * (stated - happened)
		m.Resolution += b.n / n * (happened - base) * (happened - base)
		variance := b.pp/b.n - stated*stated
		covariance := b.py/b.n - stated*happened
		m.Within += b.n / n * (variance - 2*covariance)
	}
	return m
}

// ExpectedError is the mean over statements of |share come true - mean stated|
// of their bin: the expected calibration error.
func (c *Calibration) ExpectedError() float64 {
	var sum float64
	c.gaps(func(share, gap float64) { sum += share * gap })
	return sum
}

// RootMeanSquareError is the same with squares: the root of Murphy's reliability.
func (c *Calibration) RootMeanSquareError() float64 {
	var sum float64
	c.gaps(func(share, gap float64) { sum += share * gap * gap })
	return math.Sqrt(sum)
}

// LargestError is the worst bin's.
func (c *Calibration) LargestError() float64 {
	var worst float64
	c.gaps(func(_, gap float64) { worst = max(worst, gap) })
	return worst
}

func (c *Calibration) gaps(each func(share, gap float64)) {
	n := float64(c.N())
	for _, b := range c.bins {
		if b.n > 0 {
			each(b.n/n, math.Abs(b.y-b.p)/b.n)
		}
	}
}
