package faultmodel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/mathext"
)

func rectangle(a, b float64) []Point {
	return []Point{{-a / 2, -b / 2}, {a / 2, -b / 2}, {a / 2, b / 2}, {-a / 2, b / 2}}
}

func circle(radius float64, n int) []Point {
	out := make([]Point, n)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out[i] = Point{radius * c, radius * s}
	}
	return out
}

func TestSegmentField(t *testing.T) {
	h := func(b Vec) Vec { return Vec{b[0] / mu0, b[1] / mu0, b[2] / mu0} }
	// B1: Sadiku, Elements of Electromagnetics, ex. 7.1: one side of a triangle, 10 A: -59.1 ay mA/m.
	x := h(SegmentField(Vec{0, 0, 0}, Vec{2, 0, 0}, Vec{0, 0, 5}, 10))
	within(t, -59.1087e-3, x[1], 1e-5, "B1")
	assert.InDelta(t, 0, x[0]+x[2], 1e-12)
	// B2: Sadiku ex. 7.2: 3 A down the z axis to the origin, then out along x: 38.2, 28.65, 23.87 mA/m.
	const far = 1e7
	p := Vec{-3, 4, 0}
	a, b := h(SegmentField(Vec{0, 0, far}, Vec{}, p, 3)), h(SegmentField(Vec{}, Vec{far, 0, 0}, p, 3))
	for i, want := range []float64{38.2e-3, 28.65e-3, 23.87e-3} {
		within(t, want, a[i]+b[i], 1e-3, "B2 component %d", i)
	}
	// B4: magpylib's test of a bent line, 6 A, in mm and mT.
	at := Vec{0.5e-3 - 9e-3, 0.5e-3 - 2e-3, 5e-3 - 4e-3}
	v := []Vec{{}, {4e-3, 6e-3, 2e-3}, {20e-3, 3e-3, 6e-3}}
	one, two := SegmentField(v[0], v[1], at, 6), SegmentField(v[1], v[2], at, 6)
	for i, want := range []float64{0.00653909e-3, -0.01204138e-3, 0.00857173e-3} {
		within(t, want, one[i]+two[i], 2e-6, "B4 component %d", i)
	}
	// B5: 2 m, seen from 1 m off its middle: 0.141421 uT; an infinite wire 0.2 uT.
	within(t, 0.141421e-6, SegmentField(Vec{-1, 0, 0}, Vec{1, 0, 0}, Vec{0, 1, 0}, 1).Norm(), 5e-6, "B5")
	within(t, 0.2e-6, SegmentField(Vec{-far, 0, 0}, Vec{far, 0, 0}, Vec{0, 1, 0}, 1).Norm(), 1e-9, "infinite wire")
	within(t, 1, StraightReachM(1, 0.2e-6), 1e-9, "reach")
}

func TestPathField(t *testing.T) {
	// B6: a square of 1 m, at its centre 2 sqrt2 mu0 I/(pi s), and 1 m above.
	sq := rectangle(1, 1)
	within(t, 2*math.Sqrt2*mu0/math.Pi, PathField(sq, 1, Vec{})[2], 1e-12, "B6 centre")
	within(t, 0.130639e-6, PathField(sq, 1, Vec{0, 0, 1})[2], 1e-5, "B6 above")
	// B7 and B8: rectangles, computed by two methods (reference/physics.md 5).
	within(t, 0.894427e-6, PathField(rectangle(2, 1), 1, Vec{})[2], 1e-6, "B7 centre")
	x := PathField(rectangle(2, 1), 1, Vec{0.3, 0.2, 0.4})
	for i, want := range []float64{0.047255e-6, 0.186890e-6, 0.527227e-6} {
		within(t, want, x[i], 2e-5, "B7 component %d", i)
	}
	big := rectangle(50, 20)
	within(t, 0.0430813e-6, PathField(big, 1, Vec{})[2], 1e-5, "B8 centre")
	within(t, 0.213381e-6, PathField(big, 1, Vec{0, 9, 0})[2], 1e-5, "B8 inside")
	within(t, -0.187722e-6, PathField(big, 1, Vec{0, 11, 0})[2], 1e-5, "B8 outside")
	within(t, 1.333312e-6, PathField(big, 1, Vec{0, 10, 0.15}).Norm(), 1e-5, "B8 over the wire")
	within(t, 0.199859e-6, PathField(big, 1, Vec{0, 10, 1}).Norm(), 1e-5, "B8 a metre over it")
	// The same by segments.
	var sum Vec
	for i := range big {
		p, q := big[i], big[(i+1)%4]
		s := SegmentField(Vec{p.X, p.Y, 0}, Vec{q.X, q.Y, 0}, Vec{3, 8, 0.4}, 2)
		for k := range sum {
			sum[k] += s[k]
		}
	}
	got := PathField(big, 2, Vec{3, 8, 0.4})
	for k := range sum {
		within(t, sum[k], got[k], 1e-12, "segments and path")
	}
	assert.Equal(t, Vec{}, PathField(nil, 1, Vec{1, 2, 3}))
}

func TestRectangleClosedForm(t *testing.T) {
	// M. Misakian, J. Res. NIST 105 (2000) 557-564 (from memory; equal to the sum of
	// four segments): half-sides A, B, corners 1 (-A,-B), 2 (A,-B), 3 (A,B), 4 (-A,B).
	const A, B = 25.0, 10.0
	for _, p := range []Vec{{3, 4, 0.5}, {-20, 9, 0.2}, {30, 2, 1}, {0, -12, 3}} {
		x, y, z := p[0], p[1], p[2]
		c := [4]float64{A + x, A - x, -(A - x), -(A + x)}
		d := [4]float64{y + B, y + B, y - B, y - B}
		r := [4]float64{
			Vec{x + A, y + B, z}.Norm(), Vec{x - A, y + B, z}.Norm(),
			Vec{x - A, y - B, z}.Norm(), Vec{x + A, y - B, z}.Norm(),
		}
		var bx, by, bz float64
		for i := range 4 {
			s := 1.0 // (-1)^k, k from 1
			if i%2 == 0 {
				s = -1
			}
			bz += s*d[i]/(r[i]*(r[i]-s*c[i])) - c[i]/(r[i]*(r[i]+d[i]))
			bx += -s * z / (r[i] * (r[i] + d[i]))
			by += -s * z / (r[i] * (r[i] - s*c[i]))
		}
		const k = mu0 / (4 * math.Pi)
		got := PathField(rectangle(2*A, 2*B), 1, p)
		assert.InDelta(t, k*bx, got[0], 1e-15, "x at %v", p)
		assert.InDelta(t, k*by, got[1], 1e-15, "y at %v", p)
		assert.InDelta(t, k*bz, got[2], 1e-15, "z at %v", p)
	}
}

func TestCircle(t *testing.T) {
	// A polygon of n sides falls short of its circle by about 3/n^2.
	const n, rel = 4000, 2e-5
	// B3: Sadiku ex. 7.3 (from memory): 3 m, 10 A, 4 m above: 0.36 A/m.
	within(t, 0.36, PathField(circle(3, n), 10, Vec{0, 0, 4})[2]/mu0, 1e-5, "B3")
	// B9: radius 1 m, off the axis (r, z): Br, Bz in uT.
	for _, c := range []struct{ r, z, br, bz float64 }{
		{0.5, 0.5, 0.161689, 0.434585}, {2, 0, 0, -0.0541732}, {1, 0.5, 0.329351, 0.170877}, {0.9, 0.1, 1.026509, 1.374570},
	} {
		b := PathField(circle(1, n), 1, Vec{c.r, 0, c.z})
		assert.InDelta(t, c.br*1e-6, b[0], rel*1e-6, "Br at %v", c)
		assert.InDelta(t, c.bz*1e-6, b[2], rel*1e-6, "Bz at %v", c)
	}
	// The closed form with elliptic integrals (the "off-axis" page of a public
	// electromagnet tutorial), by gonum.
	for _, c := range []struct{ r, z float64 }{{0.3, 0.7}, {1.5, 0.2}, {0.95, 0.3}} {
		q := (1+c.r)*(1+c.r) + c.z*c.z
		m := 4 * c.r / q
		k, e := mathext.CompleteK(m), mathext.CompleteE(m)
		bz := mu0 / (2 * math.Pi * math.Sqrt(q)) * (e*(1-c.r*c.r-c.z*c.z)/(q-4*c.r) + k)
		br := mu0 / (2 * math.Pi * math.Sqrt(q)) * c.z / c.r * (e*(1+c.r*c.r+c.z*c.z)/(q-4*c.r) - k)
		b := PathField(circle(1, n), 1, Vec{c.r, 0, c.z})
		assert.InDelta(t, br, b[0], rel*1e-6)
		assert.InDelta(t, bz, b[2], rel*1e-6)
	}
}

func TestOppositeAndTwistedPair(t *testing.T) {
	// B10: opposite wires 3 mm apart, seen from 0.15 m: 26.664 nT against 1333.3 nT.
	const far = 1e5
	p := Vec{0, 0, 0.15}
	one := SegmentField(Vec{-far, 0, 0}, Vec{far, 0, 0}, p, 1)
	a := SegmentField(Vec{-far, 1.5e-3, 0}, Vec{far, 1.5e-3, 0}, p, 1)
	b := SegmentField(Vec{far, -1.5e-3, 0}, Vec{-far, -1.5e-3, 0}, p, 1)
	within(t, 1333.3e-9, one.Norm(), 1e-4, "one wire")
	within(t, 26.664e-9, Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]}.Norm(), 1e-4, "two")
	// B11: a twisted pair, helix radius 0.05 of the pitch, against the same pair
	// untwisted: -7.69, -27.14, -49.55 dB at 0.5, 1 and 1.5 pitches (analytic, and by
	// Biot and Savart); Moser and Spencer (1968) measured about -50 dB at 1.5.
	const pitch, radius = 1.0, 0.05
	out, back := TwistedPairPath(pitch, radius, 400, 40)
	for _, c := range []struct{ r, db float64 }{{0.5, -7.69}, {1, -27.14}, {1.5, -49.55}} {
		var twisted, straight float64
		// The largest field round a turn; the straight pair at the same distance has
		// mu0 I s/(2 pi (r^2 + s^2/4)) at most along its bisector.
		for k := range 12 {
			p := Vec{200 + pitch*float64(k)/12, 0, c.r}
			var sum Vec
			for i := 1; i < len(out); i++ {
				f, g := SegmentField(out[i-1], out[i], p, 1), SegmentField(back[i], back[i-1], p, 1)
				for d := range sum {
					sum[d] += f[d] + g[d]
				}
			}
			twisted = max(twisted, sum.Norm())
		}
		s := 2 * radius
		straight = mu0 * s / (2 * math.Pi * (c.r*c.r + s*s/4))
		assert.InDelta(t, c.db, 20*math.Log10(twisted/straight), 0.5, "%v pitches", c.r)
	}
}

func TestPathWidths(t *testing.T) {
	// Far from corners of a large loop both sides are as wide as at a straight
	// wire: sqrt(reach^2 - height^2).
	const height, reach = 0.3, 1.5
	in, out := PathWidths(rectangle(200, 200), height, reach, []float64{100})
	want := math.Sqrt(reach*reach - height*height)
	within(t, want, in[0], 0.02, "inside")
	within(t, want, out[0], 0.02, "outside")
	// Reversing the path swaps nothing: inside stays inside.
	small := rectangle(12, 6)
	back := []Point{small[0], small[3], small[2], small[1]}
	a, b := PathWidths(small, height, reach, []float64{6})
	c, d := PathWidths(back, height, reach, []float64{6 + 12 + 6 + 6}) // the middle of the same side, the other way round
	within(t, a[0], c[0], 1e-3, "inside, reversed")
	within(t, b[0], d[0], 1e-3, "outside, reversed")
	assert.Greater(t, a[0], b[0], "the four sides add up inside a loop")
	// A run that comes back beside itself 0.5 m away goes narrow on its outer side.
	hairpin := []Point{{0, 0}, {40, 0}, {40, 20}, {20.25, 20}, {20.25, 8}, {19.75, 8}, {19.75, 20}, {0, 20}}
	at := 40 + 20 + (40 - 20.25) + 6.0 // the middle of the hairpin's leg
	h, g := PathWidths(hairpin, height, reach, []float64{at, 20})
	assert.Less(t, h[0], 0.75*h[1], "the hairpin's outer side")
	assert.Less(t, g[0], 0.75*g[1]+1, "and between its legs the other leg is heard")
	// A re-entrant corner weakens the pet's side, an ordinary one does not.
	notch := []Point{{0, 0}, {40, 0}, {40, 20}, {25, 20}, {25, 10}, {0, 10}}
	places := []float64{40 + 20 + 15 + 9.5, 40 + 20 + 15 + 5, 39.5}
	w, _ := PathWidths(notch, height, reach, places)
	assert.Less(t, w[0], w[1], "re-entrant")
	assert.Greater(t, w[2], w[1], "convex")
	// On the bisector of a square corner, far from all else, both sides' fields add:
	// each is that of a wire ending there, mu0 I/(4 pi d)(1 + cos 45) at d = w/sqrt 2
	// with the collar level with the wire, so that w = sqrt 2 (1 + 1/sqrt 2) reach.
	// Near the corner a person still leaves it at a slant, and finds no more.
	for _, f := range []float64{0, 0.2, 1, 2, 3} {
		c, _ := PathWidths(rectangle(400, 400), 1e-6, reach, []float64{400 - f, 400 + f})
		if f == 0 {
			within(t, math.Sqrt2*(1+1/math.Sqrt2)*reach, c[0], 0.01, "on the bisector")
		}
		within(t, c[0], c[1], 1e-2, "either side of a corner is alike")
		assert.Less(t, c[0], 2.6*reach, "%v m from a corner", f)
		assert.Greater(t, c[0], 1.4*reach, "%v m from a corner", f)
	}
	// Too weak to reach the collar's height: silent.
	s, _ := PathWidths(rectangle(50, 50), 0.4, 0.3, []float64{25})
	assert.Zero(t, s[0])
	s, _ = PathWidths([]Point{{0, 0}, {1, 1}}, 0.4, 0.3, []float64{0})
	assert.Zero(t, s[0], "two points are no loop")
}

// BenchmarkPathWidths is a profile of 300 places on a path of 300 segments.
func BenchmarkPathWidths(b *testing.B) {
	path := circle(25, 300)
	at := make([]float64, 300)
	for i := range at {
		at[i] = float64(i) * 2 * math.Pi * 25 / 300.5
	}
	for b.Loop() {
		PathWidths(path, 0.3, 1.5, at)
	}
}
