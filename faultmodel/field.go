package faultmodel

import (
	"math"
	"slices"
)

// Vec is a vector in space, metres or tesla; the third component points up.
type Vec [3]float64

func (a Vec) sub(b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// Norm is the length of the vector.
func (a Vec) Norm() float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }

// SegmentField is the flux density at p of a current flowing straight from one
// point to another, tesla, by the law of Biot and Savart:
//
//	B = mu0 I/(4 pi) (a x b)(|a|+|b|) / (|a||b|(|a||b| + a.b)),   a, b = p less the ends
//
// In free space: soil is as good as air until its skin depth comes near the
// distance. Undefined on the wire itself.
func SegmentField(from, to, p Vec, ampere float64) Vec {
	a, b := p.sub(from), p.sub(to)
	na, nb := a.Norm(), b.Norm()
	k := mu0 * ampere / (4 * math.Pi) * (na + nb) / (na * nb * (na*nb + a[0]*b[0] + a[1]*b[1] + a[2]*b[2]))
	return Vec{
		k * (a[1]*b[2] - a[2]*b[1]),
		k * (a[2]*b[0] - a[0]*b[2]),
		k * (a[0]*b[1] - a[1]*b[0]),
	}
}

// PathField is the flux density at p of a current flowing round a closed path in
// the plane z = 0, tesla. A path that is not closed by its last vertex is closed
// by a straight segment.
func PathField(path []Point, ampere float64, p Vec) Vec {
	var sum Vec
	n := len(path)
	if n < 2 {
		return sum
	}
	z := p[2]
	ax, ay := p[0]-path[n-1].X, p[1]-path[n-1].Y
	na := math.Sqrt(ax*ax + ay*ay + z*z)
	for _, v := range path {
		bx, by := p[0]-v.X, p[1]-v.Y
		nb := math.Sqrt(bx*bx + by*by + z*z)
		nn := na * nb
		if d := nn * (nn + ax*bx + ay*by + z*z); d > 0 {
			k := (na + nb) / d
			sum[0] += k * z * (ay - by)
			sum[1] += k * z * (bx - ax)
			sum[2] += k * (ax*by - ay*bx)
		}
		ax, ay, na = bx, by, nb
	}
	k := mu0 * ampere / (4 * math.Pi)
	return Vec{k * sum[0], k * sum[1], k * sum[2]}
}

// StraightReachM is how far from a long straight wire its field falls to a
// threshold: mu0 I / (2 pi B), m.
func StraightReachM(ampere, thresholdT float64) float64 {
	return mu0 * ampere / (2 * math.Pi * thresholdT)
}

// PathWidths is the detection width at chainages along a closed path, on the
// inside and the outside, m: how far level from the wire, at a height above it,
// the field still exceeds what a long straight wire makes at reachM. Zero where a
// collar right above the wire is silent. Chainage starts at the first vertex. The
// search stops at five times the reach: an area that sounds throughout.
//
// A width is measured square to the chord between the places two reaches before
// and after: square to a straight run, along the bisector of a corner, and never
// alongside the next side.
func PathWidths(path []Point, heightM, reachM float64, atM []float64) (inside, outside []float64) {
	inside, outside = make([]float64, len(atM)), make([]float64, len(atM))
	n := len(path)
	if n < 3 {
		return inside, outside
	}
	var area float64
	at := make([]float64, n+1)
	for i, p := range path {
		q := path[(i+1)%n]
		area += p.X*q.Y - p.Y*q.X
		at[i+1] = at[i] + math.Hypot(q.X-p.X, q.Y-p.Y)
	}
	round := at[n]
	if round == 0 {
		return inside, outside
	}
	side := 1.0 // inside lies to the left of a path that runs anticlockwise
	if area < 0 {
		side = -1
	}
	point := func(s float64) Point {
		s = math.Mod(s+round, round)
		k, exact := slices.BinarySearch(at, s)
		if exact {
			return path[k%n]
		}
		p, q := path[k-1], path[k%n]
		f := (s - at[k-1]) / (at[k] - at[k-1])
		return Point{p.X + f*(q.X-p.X), p.Y + f*(q.Y-p.Y)}
	}
	threshold := mu0 / (2 * math.Pi * reachM)
	for k, s := range atM {
		s = math.Mod(s, round)
		on := point(s)
		// Shorter where the wire comes back on itself so soon that there is no chord.
		for d := min(2*reachM, round/8); d > 1e-6*round; d /= 2 {
			p, q := point(s-d), point(s+d)
			c := math.Hypot(q.X-p.X, q.Y-p.Y)
			if c < d/2 {
				continue
			}
			ux, uy := (q.X-p.X)/c*side, (q.Y-p.Y)/c*side
			inside[k] = pathWidth(path, on.X, on.Y, -uy, ux, heightM, reachM, threshold)
			outside[k] = pathWidth(path, on.X, on.Y, uy, -ux, heightM, reachM, threshold)
			break
		}
	}
	return inside, outside
}

// pathWidth walks out from (x, y) along the unit vector (nx, ny). Near a wire the
// field falls as the inverse of the distance, so that the ratio of field to
// threshold is the step.
func pathWidth(path []Point, x, y, nx, ny, h, reach, threshold float64) float64 {
	field := func(w float64) float64 {
		b := PathField(path, 1, Vec{x + w*nx, y + w*ny, h})
		return math.Sqrt(b[0]*b[0]+b[1]*b[1]+b[2]*b[2]) / threshold
	}
	r := max(reach, h*1.0001)
	w := math.Sqrt(r*r - h*h)
	lo, hi := 0.0, math.Inf(1)
	for range 24 {
		f := field(w)
		if math.Abs(f-1) < 2e-3 {
			return w
		}
		if f > 1 {
			lo = w
		} else {
			hi = w
		}
		if lo >= 5*reach {
			return 5 * reach
		}
		if hi < 0.01*reach {
			return 0
		}
		r = math.Sqrt(w*w+h*h) * f
		next := math.Sqrt(max(r*r-h*h, 0))
		if next <= lo || next >= hi {
			if math.IsInf(hi, 1) {
				next = 1.5*w + 0.1*reach
			} else {
				next = (lo + hi) / 2
			}
		}
		w = min(next, 5*reach)
	}
	return w
}

// TwistedPairPath lays the two legs of a twisted pair as helices along x from 0
// to lengthM, out and back, as straight segments: what the field of a lead-in is
// computed from.
func TwistedPairPath(pitchM, helixRadiusM, lengthM float64, perTurn int) (out, back []Vec) {
	n := int(math.Round(lengthM / pitchM * float64(perTurn)))
	for i := range n + 1 {
		x := lengthM * float64(i) / float64(n)
		sin, cos := math.Sincos(2 * math.Pi * x / pitchM)
		out = append(out, Vec{x, helixRadiusM * cos, helixRadiusM * sin})
		back = append(back, Vec{x, -helixRadiusM * cos, -helixRadiusM * sin})
	}
	return out, back
}
