package faultmodel

import "math"

// How much a reading is trusted. Anyone can clip to the wrong wire or misread
// the unit: so often, and then it may show anything over this many e-folds.
const (
	outlierShare   = 0.01
	outlierDensity = 0.05 // per e-fold: an ohmmeter spans about 20
	outlierOver    = 0.2  // the share of such readings that are over-range
)

// maxReadings bounds what one judgement takes in.
const maxReadings = 24

var (
	lnOutlier = math.Log(outlierShare * outlierDensity)
	lnSound   = math.Log(1 - outlierShare)
	lnSqrt2Pi = 0.5 * math.Log(2*math.Pi)
)

// gaussian is the joint prediction of several readings, in ln(value + shift):
// means, and loadings on independent standard normals, with the noise each has
// for itself. Finite readings come first.
type gaussian struct {
	n, finite int
	residual  [maxReadings]float64 // observed minus mean; for over-range, limit minus mean
	load      [maxReadings][tagCount]float64
	cols      int
	noise     [maxReadings]float64

	chol, inv, low [maxReadings][maxReadings]float64
	alpha          [maxReadings]float64
	lnRoot         [maxReadings]float64
	terms          [1 + maxReadings*(maxReadings+1)/2]float64
}

// logEvidence is ln p of the readings: a normal density with at most two of
// them outliers, each taken out of the joint density in closed form, times the
// chance of every over-range shown. Unknowns are integrated out by the
// covariance, so that what two readings share cancels between them.
func (g *gaussian) logEvidence() float64 {
	n := g.finite
	var quad, lnDet float64
	for i := range n {
		for j := range i + 1 {
			s := dot(g.load[i][:g.cols], g.load[j][:g.cols])
			if i == j {
				s += g.noise[i]
			}
			for k := range j {
				s -= g.chol[i][k] * g.chol[j][k]
			}
			if i == j {
				g.chol[i][i] = math.Sqrt(max(s, 1e-14))
				lnDet += math.Log(g.chol[i][i])
			} else {
				g.chol[i][j] = s / g.chol[j][j]
			}
		}
	}
	g.invert(n)
	for i := range n {
		var a float64
		for j := range n {
			a += g.inv[i][j] * g.residual[j]
		}
		g.alpha[i] = a
		quad += a * g.residual[i]
	}
	all := -quad/2 - lnDet - float64(n)*lnSqrt2Pi
	var overGiven, overAlone float64
	if g.n > n {
		overGiven, overAlone = g.over(true), g.over(false)
	}
	// Every alternative is a sum of logarithms against the density of all; what
	// is far below the largest is not worth its exponential.
	terms := g.terms[:0]
	terms = append(terms, overGiven)
	top := overGiven
	push := func(x float64) {
		terms = append(terms, x)
		top = max(top, x)
	}
	// Leave-one-out and leave-two-out densities from the precision matrix.
	rest := overAlone + lnOutlier - lnSound + lnSqrt2Pi
	for i := range n {
		pi := g.inv[i][i]
		g.lnRoot[i] = 0.5 * math.Log(pi)
		push(g.alpha[i]*g.alpha[i]/(2*pi) - g.lnRoot[i] + rest)
	}
	rest += lnOutlier - lnSound + lnSqrt2Pi
	for i := range n {
		pi := g.inv[i][i]
		for j := range i {
			pj, pij := g.inv[j][j], g.inv[i][j]
			det := pi*pj - pij*pij
			if det <= 0 {
				continue
			}
			q := (pj*g.alpha[i]*g.alpha[i] - 2*pij*g.alpha[i]*g.alpha[j] + pi*g.alpha[j]*g.alpha[j]) / det
			x := q/2 - g.lnRoot[i] - g.lnRoot[j] + rest
			if x < top-25 {
				continue
			}
			push(x - 0.5*math.Log(det/(pi*pj)))
		}
	}
	var sum float64
	for _, x := range terms {
		if x > top-25 {
			sum += math.Exp(x - top)
		}
	}
	total := all + float64(n)*lnSound + top + math.Log(sum)
	// And all of them wrong: nothing is ever impossible.
	return logAdd(total, float64(n)*lnOutlier+float64(g.n-n)*math.Log(outlierShare*outlierOver))
}

// invert fills inv with the inverse of the covariance from its Cholesky factor.
func (g *gaussian) invert(n int) {
	l := &g.low // inverse of the factor, lower triangle only
	for i := range n {
		l[i][i] = 1 / g.chol[i][i]
		for j := range i {
			var s float64
			for k := j; k < i; k++ {
				s -= g.chol[i][k] * l[k][j]
			}
			l[i][j] = s / g.chol[i][i]
		}
	}
	for i := range n {
		for j := range i + 1 {
			var s float64
			for k := i; k < n; k++ {
				s += l[k][i] * l[k][j]
			}
			g.inv[i][j], g.inv[j][i] = s, s
		}
	}
}

// over is ln of the chance of every over-range shown, given the finite readings
// or not. One after another: each that is above its limit moves the mean of
// those to come, and narrows them, by the moments of a normal cut off there.
func (g *gaussian) over(given bool) float64 {
	n, m := g.finite, g.n-g.finite
	var mean [maxReadings]float64
	cov := &g.low // free by now
	for a := range m {
		la := g.load[n+a][:g.cols]
		for b := range a + 1 {
			cov[a][b] = dot(la, g.load[n+b][:g.cols])
		}
		cov[a][a] += g.noise[n+a]
	}
	if given && n > 0 {
		c := &g.chol // likewise
		for a := range m {
			la := g.load[n+a][:g.cols]
			for i := range n {
				c[a][i] = dot(la, g.load[i][:g.cols])
				mean[a] += c[a][i] * g.alpha[i]
			}
		}
		for a := range m {
			for i := range n {
				var s float64
				for j := range n {
					s += g.inv[i][j] * c[a][j]
				}
				for b := range a + 1 {
					cov[a][b] -= c[b][i] * s
				}
			}
		}
	}
	var total float64
	for a := range m {
		v := max(cov[a][a], 1e-12)
		sd := math.Sqrt(v)
		x := (g.residual[n+a] - mean[a]) / sd
		p := normalAbove(x)
		total += math.Log((1-outlierShare)*p + outlierShare*outlierOver)
		if a == m-1 || p > 1-1e-6 || p < 0.05 {
			continue // no news, or more likely a wrong reading
		}
		ratio := math.Exp(-x*x/2-lnSqrt2Pi) / p
		shift, narrow := ratio/sd, ratio*(ratio-x)/v
		for b := a + 1; b < m; b++ {
			mean[b] += cov[b][a] * shift
			for c := a + 1; c <= b; c++ {
				cov[b][c] -= cov[b][a] * cov[c][a] * narrow
			}
		}
	}
	return total
}

// normalAbove is the chance that a standard normal exceeds x.
func normalAbove(x float64) float64 { return 0.5 * math.Erfc(x/math.Sqrt2) }

func dot(a, b []float64) float64 {
	var s float64
	for i, x := range a {
		s += x * b[i]
	}
	return s
}

// logAdd is ln(e^a + e^b).
func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if d := b - a; d > -36 {
		return a + math.Log(1+math.Exp(d)) // below 1e-16 what Log1p would add is lost anyway
	}
	return a
}
