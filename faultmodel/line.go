package faultmodel

import (
	"math"
	"math/cmplx"
)

// ports is a symmetric two-port as a pi: one series admittance between its
// ends, and one of shunt to earth at each end. It stands for a length of line.
type ports struct {
	series, shunt complex128 // S
}

// exactLine is the two-port of a uniform line of total series impedance z and
// total shunt admittance y, solved as a continuum:
//
//	series = G / (z sinh G),   shunt = 2 sinh(G/2)^2 * series,   G = sqrt(z y)
func exactLine(z, y complex128) ports {
	g2 := z * y
	// A line of less than a hundredth of a radian is its series expansion, to
	// full precision and with no root.
	if a := math.Abs(real(g2)) + math.Abs(imag(g2)); a < 1e-4 {
		sinhc := 1 + g2/6*(1+g2/20*(1+g2/42))
		half := 1 + g2/24*(1+g2/80)
		return ports{recip(z * sinhc), y / 2 * half * half * recip(sinhc)}
	}
	g := cmplx.Sqrt(g2)
	h := cmplx.Sinh(g / 2)
	s := g * recip(z*2*h*cmplx.Cosh(g/2))
	return ports{s, 2 * h * h * s}
}

// ladder is the two-port of n equal cells in chain, each a pi of series
// impedance z/n with y/2n at either end: what a circuit simulator is given. Its
// chain matrix is that of one cell to the power n, which for a symmetric cell is
// again hyperbolic:
//
//	cosh(n c), B = (z/n) sinh(n c)/sinh(c),   sinh(c/2)^2 = z y / 4n^2
func ladder(z, y complex128, n int) ports {
	zc, yc := z/complex(float64(n), 0), y/complex(float64(n), 0)
	if zc*yc == 0 {
		return ports{1 / z, y / 2}
	}
	c := 2 * cmplx.Asinh(cmplx.Sqrt(zc*yc)/2)
	nc := complex(float64(n), 0) * c
	s := cmplx.Sinh(c) / (zc * cmplx.Sinh(nc))
	h := cmplx.Sinh(nc / 2)
	return ports{s, 2 * h * h * s}
}

// wire is one kind of line at one frequency, per metre, as the modes in which
// it carries waves: a single conductor has one; the two magnetically and
// capacitively coupled legs of the lead-in have an even one (both legs alike) and
// an odd one (opposite).
type wire struct {
	ohm        complex128 // series resistance with skin effect, ohm/m
	z, y       complex128 // single conductor or even mode, ohm/m and S/m
	zOdd, yOdd complex128 // odd mode

	toSoil, leakage, mutual complex128 // the parts of y and yOdd: jwC, G and 2jwCm, S/m

	cellM float64 // length of a cell of a ladder, m; 0 is the exact line
}

func (w *wire) section(z, y complex128, lengthM float64) ports {
	l := complex(lengthM, 0)
	if w.cellM > 0 {
		return ladder(z*l, y*l, max(1, int(math.Round(lengthM/w.cellM))))
	}
	return exactLine(z*l, y*l)
}
