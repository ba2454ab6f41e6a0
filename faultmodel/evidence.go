package faultmodel

import (
	"math"
	"slices"
)

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

	lnOutlierOver = math.Log(outlierShare * outlierOver)
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

	chol, inv, low [maxReadings][maxReadings]float64 // the covariance's factor; inverses of it and of its factor
	cov            [maxReadings][maxReadings]float64 // of over-range readings
	cross          [maxReadings][maxReadings]float64 // of them with the finite ones
	alpha          [maxReadings]float64
	terms          [1 + maxReadings*(maxReadings+1)/2]term
}

// term is factor times e^ln.
type term struct{ ln, factor float64 }

// logEvidence is ln p of the readings: a normal density with at most two of
// them outliers, each taken out of the joint density in closed form, times the
// chance of every over-range shown. Unknowns are integrated out by the
// covariance, so that what two readings share cancels between them.
func (g *gaussian) logEvidence() float64 {
	n := g.finite
	quad, root := 0.0, 1.0 // of the determinant
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
				root *= g.chol[i][i]
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
	all := -quad/2 - math.Log(root) - float64(n)*lnSqrt2Pi
	var overGiven, overAlone float64
	if g.n > n {
		overGiven, overAlone = g.over(true), g.over(false)
	}
	// Every alternative as a multiple of the density of all; what is far below the
	// largest is not worth its exponential.
	terms := append(g.terms[:0], term{overGiven, 1})
	top := overGiven
	// Leave-one-out and leave-two-out densities from the precision matrix.
	rest := overAlone + lnOutlier - lnSound + lnSqrt2Pi
	for i := range n {
		p := g.inv[i][i]
		t := term{g.alpha[i]*g.alpha[i]/(2*p) + rest, 1 / math.Sqrt(p)}
		terms = append(terms, t)
		top = max(top, t.ln)
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
			if t := (term{q/2 + rest, 1 / math.Sqrt(det)}); t.ln > top-negligible {
				terms = append(terms, t)
				top = max(top, t.ln)
			}
		}
	}
	var sum float64
	for _, t := range terms {
		if t.ln > top-negligible {
			sum += t.factor * math.Exp(t.ln-top)
		}
	}
	total := all + float64(n)*lnSound + top + math.Log(sum)
	// And all of them wrong: nothing is ever impossible.
	return logAdd(total, float64(n)*lnOutlier+float64(g.n-n)*lnOutlierOver)
}

// negligible is how far below the largest a logarithm is left out of a sum: more
// than the factors beside them can make up for.
const negligible = 40

// lesson is what readings taught of the unknowns they share with a prediction.
type lesson struct {
	variant  int
	lnWeight float64
	mean     []float64   // by column: what a loading of one on it adds to the mean
	known    [][]float64 // by reading: of a prediction's loadings, times these, the square no longer varies
}

// learn is the lesson of the finite readings last judged.
func (g *gaussian) learn(variant int, lnWeight float64) lesson {
	l := lesson{variant: variant, lnWeight: lnWeight, mean: make([]float64, g.cols), known: make([][]float64, g.finite)}
	flat := make([]float64, g.finite*g.cols)
	for i := range g.finite {
		l.known[i] = flat[i*g.cols:][:g.cols]
		for c, x := range g.load[i][:g.cols] {
			l.mean[c] += x * g.alpha[i]
		}
		for k := range i + 1 {
			for c, x := range g.load[k][:g.cols] {
				l.known[i][c] += g.low[i][k] * x
			}
		}
	}
	return l
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
	cov := &g.cov
	for a := range m {
		la := g.load[n+a][:g.cols]
		for b := range a + 1 {
			cov[a][b] = dot(la, g.load[n+b][:g.cols])
		}
		cov[a][a] += g.noise[n+a]
	}
	if given && n > 0 {
		c := &g.cross
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
		p := 1.0
		switch {
		case x > 7:
			p = 0 // far less than a reading gone wrong
		case x > -7:
			p = normalAbove(x)
		}
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

// Between the tabulated ends of the normal distribution lies all but 1e-8 of it; a
// straight line between its entries errs by less than 1e-5.
const (
	normalEnd     = 5.75
	normalPerUnit = 64
)

var normalTable = func() []float64 {
	t := make([]float64, 2*normalEnd*normalPerUnit+2)
	for i := range t {
		t[i] = 1 - normalAbove(float64(i)/normalPerUnit-normalEnd)
	}
	return t
}()

// normalBelow is the chance that a standard normal is below x, to 1e-5.
func normalBelow(x float64) float64 {
	f := (x + normalEnd) * normalPerUnit
	if !(f > 0) {
		return 0
	}
	if f >= 2*normalEnd*normalPerUnit {
		return 1
	}
	i := int(f)
	return normalTable[i] + (f-float64(i))*(normalTable[i+1]-normalTable[i])
}

// dot is a sum of products, every other one apart so that neither waits for the other.
func dot(a, b []float64) float64 {
	var s, t float64
	n := len(a)
	b = b[:n]
	for i := 1; i < n; i += 2 {
		s += a[i-1] * b[i-1]
		t += a[i] * b[i]
	}
	if n&1 == 1 {
		s += a[n-1] * b[n-1]
	}
	return s + t
}

// logSum is ln of the sum of e^l.
func logSum(l []float64) float64 {
	if len(l) == 1 {
		return l[0]
	}
	top := slices.Max(l)
	if math.IsInf(top, -1) {
		return top
	}
	var sum float64
	for _, x := range l {
		if x > top-36 { // below 1e-16 it is lost anyway
			sum += math.Exp(x - top)
		}
	}
	return top + math.Log(sum)
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
