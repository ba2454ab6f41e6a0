package learn

import "math"

// Dirichlet is a distribution over distributions, as pseudo-counts: its mean is
// each count over their sum, the equivalent sample size. With two counts it is
// the Beta distribution.
type Dirichlet []float64

// NewDirichlet has a mean and an equivalent sample size.
func NewDirichlet(mean []float64, sampleSize float64) Dirichlet {
	d := make(Dirichlet, len(mean))
	for i, p := range mean {
		d[i] = p * sampleSize
	}
	return d
}

// Size is the equivalent sample size.
func (d Dirichlet) Size() float64 {
	var sum float64
	for _, a := range d {
		sum += a
	}
	return sum
}

// Mean is the expected distribution.
func (d Dirichlet) Mean() []float64 {
	size := d.Size()
	out := make([]float64, len(d))
	for i, a := range d {
		out[i] = a / size
	}
	return out
}

// Variance is that of component i: m (1-m) / (size+1).
func (d Dirichlet) Variance(i int) float64 {
	size := d.Size()
	m := d[i] / size
	return m * (1 - m) / (size + 1)
}

// With is the distribution after further counts. They need not be whole: one case of
// which only the posterior over the alternatives is known counts as that posterior
// (fractional updating, Spiegelhalter and Lauritzen 1990).
func (d Dirichlet) With(counts []float64) Dirichlet {
	out := make(Dirichlet, len(d))
	for i := range d {
		out[i] = d[i] + counts[i]
	}
	return out
}

// LogMarginal is ln of the probability of one sequence of outcomes with the given
// counts:
//
//	ln G(A) - ln G(A+N) + sum over k of ln G(a_k+n_k) - ln G(a_k)
func (d Dirichlet) LogMarginal(counts []float64) float64 {
	gamma := func(x float64) float64 {
		v, _ := math.Lgamma(x)
		return v
	}
	var total, sum float64
	for i, n := range counts {
		if d[i] > 0 || n > 0 {
			sum += gamma(d[i]+n) - gamma(d[i])
		}
		total += n
	}
	return gamma(d.Size()) - gamma(d.Size()+total) + sum
}
