package faultmodel

import (
	"math"
	"math/cmplx"
)

// Constants of conductors. The first two define the International Annealed
// Copper Standard (K. C. Agrawal, Industrial Power Engineering Handbook, table
// 30.1): 1/58 ohm mm2/m at 20 C.
const (
	IACSSiemensPerM = 58e6
	CopperAlphaPerK = 0.00393

	mu0  = 4e-7 * math.Pi   // H/m
	eps0 = 8.8541878128e-12 // F/m, CODATA 2018
)

// strandingFactor is the standard increment of resistance of concentric-lay
// strand over a solid wire of the same metal area (ASTM B496).
const strandingFactor = 1.02

// Material is what a conductor is made of.
type Material struct {
	IACSFraction float64 // conductivity as a fraction of [IACSSiemensPerM], at 20 C
	AlphaPerK    float64 // temperature coefficient of resistance at 20 C, 1/K
}

// Materials met as boundary wire. Conductivities: ASTM B33 table 2 for tinned
// wire of 10 to 24 AWG (0.15328/0.15940), ASTM B566 for copper-clad aluminium
// of 10 and 15 volume percent, the ASTM B227 table for copper-clad steel, whose
// "40 %" and "30 %" are really 39.21 and 29.41 %. Coefficients of the clad wires
// are from memory.
var (
	Copper                = Material{1, CopperAlphaPerK}
	TinnedCopper          = Material{0.9616, CopperAlphaPerK}
	CopperCladAluminium10 = Material{0.629, 0.0040}
	CopperCladAluminium15 = Material{0.644, 0.0040}
	CopperCladSteel40     = Material{0.3921, 0.0038}
	CopperCladSteel30     = Material{0.2941, 0.0038}
	CopperCladSteel21     = Material{0.21, 0.0038}
)

// OhmM is the resistivity at 20 C, ohm m.
func (m Material) OhmM() float64 { return 1 / (IACSSiemensPerM * m.IACSFraction) }

// Conductor is a round wire, or a strand of the same metal area.
type Conductor struct {
	DiameterM float64 // of the metal; for a strand, of a solid wire of its area
	Material  Material
	Stranded  bool
}

// GaugeDiameterM is the diameter of a wire of American gauge n, m; n may be
// fractional, and 0, -1, -2, -3 stand for 1/0, 2/0, 3/0, 4/0.
//
//	d = 0.127 mm * 92^((36-n)/39)
//
// Source: ASTM B258.
func GaugeDiameterM(n float64) float64 { return 0.127e-3 * math.Pow(92, (36-n)/39) }

// DiameterGauge is the inverse of [GaugeDiameterM].
func DiameterGauge(dM float64) float64 { return 36 - 39*math.Log(dM/0.127e-3)/math.Log(92) }

// AreaDiameterM is the diameter of a solid wire of an area in square metres.
func AreaDiameterM(areaM2 float64) float64 { return 2 * math.Sqrt(areaM2/math.Pi) }

// OhmPerM is the d.c. resistance per length at a temperature, ohm/m.
//
//	r = rho20 / (pi d^2 / 4) * (1 + alpha20 (T - 20 C)),   2 % more for a strand
func (c Conductor) OhmPerM(temperatureC float64) float64 {
	r := c.Material.OhmM() / (math.Pi * c.DiameterM * c.DiameterM / 4)
	if c.Stranded {
		r *= strandingFactor
	}
	return r * TemperatureFactor(c.Material.AlphaPerK, temperatureC)
}

// TemperatureFactor is resistance at a temperature over that at 20 C, valid
// from -60 to 100 C.
func TemperatureFactor(alpha20PerK, temperatureC float64) float64 {
	return 1 + alpha20PerK*(temperatureC-20)
}

// AlphaAt20 turns a temperature coefficient given at 0 C into that at 20 C.
func AlphaAt20(alpha0PerK float64) float64 { return alpha0PerK / (1 + 20*alpha0PerK) }

// SkinDepthM is the depth at which a field has fallen to 1/e, m:
//
//	delta = sqrt(rho / (pi f mu))
//
// It serves metal and soil alike.
func SkinDepthM(ohmM, hz float64) float64 { return math.Sqrt(ohmM / (math.Pi * hz * mu0)) }

// SkinEffect is the internal impedance of a solid round wire over its d.c.
// resistance. The real part is Rac/Rdc; the imaginary part is w Li/Rdc, with Li
// tending to mu0/(8 pi) per metre at low frequency.
//
//	Z/Rdc = (z/2) J0(z)/J1(z),   z = r sqrt(-j w mu0/rho)
//
// The ratio of Bessel functions is taken by its continued fraction, which holds
// to full precision at every z on this diagonal. For one non-magnetic metal;
// clad wires are approximated by their mean conductivity. Source: Terman, Radio
// Engineers' Handbook (1943), from memory.
func SkinEffect(radiusM, ohmM, hz float64) complex128 {
	z2 := complex(0, -2*math.Pi*hz*mu0/ohmM*radiusM*radiusM)
	n := 16 + 2*int(cmplx.Abs(cmplx.Sqrt(z2)))
	f := complex(float64(2*n), 0)
	for k := n - 1; k >= 2; k-- {
		f = complex(float64(2*k), 0) - z2/f
	}
	return 1 - z2/2/f
}

// ImpedancePerM is the internal impedance of the wire per length, ohm/m.
func (c Conductor) ImpedancePerM(temperatureC, hz float64) complex128 {
	rho := c.Material.OhmM() * TemperatureFactor(c.Material.AlphaPerK, temperatureC)
	return complex(c.OhmPerM(temperatureC), 0) * SkinEffect(c.DiameterM/2, rho, hz)
}

// internalHenryPerM is the inductance inside a round wire with the current
// spread evenly over it, mu0/(8 pi).
const internalHenryPerM = mu0 / (8 * math.Pi)

// RectangleHenry is the inductance of one turn of round wire laid as a
// rectangle of sides aM and bM, H. internal is the share of the internal
// inductance present: 1 at d.c., 0 at full skin effect.
//
//	L = mu0/pi [a ln(2ab/(r(a+D))) + b ln(2ab/(r(b+D))) + 2D - 2(a+b) + internal (a+b)/4],  D = sqrt(a^2+b^2)
//
// For r much less than a and b, in free space: soil takes part once the loop is
// as large as its skin depth. Source: Rosa (1908), Grover (1946) ch. 8, from memory.
func RectangleHenry(aM, bM, radiusM, internal float64) float64 {
	d := math.Hypot(aM, bM)
	return mu0 / math.Pi * (aM*math.Log(2*aM*bM/(radiusM*(aM+d))) +
		bM*math.Log(2*aM*bM/(radiusM*(bM+d))) +
		2*d - 2*(aM+bM) + internal/4*(aM+bM))
}

// CircleHenry is the inductance of one circular turn, H:
//
//	L = mu0 R (ln(8R/r) - 2 + internal/4)
func CircleHenry(loopRadiusM, radiusM, internal float64) float64 {
	return mu0 * loopRadiusM * (math.Log(8*loopRadiusM/radiusM) - 2 + internal/4)
}

// CoaxialHenryPerM is the inductance per length of a wire inside a return tube:
// mu0/(2 pi) (internal/4 + ln(b/a)). Source: Bird, Electrical Circuit Theory
// and Technology, ch. 40.
func CoaxialHenryPerM(innerRadiusM, outerRadiusM, internal float64) float64 {
	return mu0 / (2 * math.Pi) * (internal/4 + math.Log(outerRadiusM/innerRadiusM))
}

// PairHenryPerM is the inductance per length of pair of two parallel wires, out
// and back: mu0/pi (internal/4 + ln(s/r)), for s much more than r. Source: Bird ch. 40.
func PairHenryPerM(spacingM, radiusM, internal float64) float64 {
	return mu0 / math.Pi * (internal/4 + math.Log(spacingM/radiusM))
}

// CoaxialFaradPerM is the capacitance per length of an insulated wire to moist
// soil wetting its insulation:
//
//	C' = 2 pi eps0 epsr / ln(D/d)
//
// In dry soil, or with an air gap, the outer electrode lies further out and C'
// is much lower. Source: Bird ch. 40; Mehta, Principles of Power System, ch. 11.
func CoaxialFaradPerM(relPermittivity, innerDiameterM, outerDiameterM float64) float64 {
	return 2 * math.Pi * eps0 * relPermittivity / math.Log(outerDiameterM/innerDiameterM)
}

// PairFaradPerM is the capacitance per length between two parallel wires:
// pi eps0 epsr / ln(s/r), for s much more than r. Source: Bird ch. 40.
func PairFaradPerM(relPermittivity, spacingM, radiusM float64) float64 {
	return math.Pi * eps0 * relPermittivity / math.Log(spacingM/radiusM)
}

// InsulationOhmM is insulation resistance times length, ohm m; divide it by a
// length to have the resistance.
//
//	R l = rho/(2 pi) ln(D/d)
func InsulationOhmM(rhoOhmM, innerDiameterM, outerDiameterM float64) float64 {
	return rhoOhmM / (2 * math.Pi) * math.Log(outerDiameterM/innerDiameterM)
}

// VelocityFactor is the speed of a pulse on a line over that of light: 1/sqrt(epsr).
func VelocityFactor(relPermittivity float64) float64 { return 1 / math.Sqrt(relPermittivity) }

// EchoDistanceM is where a pulse that returns after t seconds was reflected, m.
// On a lone wire in soil the velocity is ill defined: weak evidence.
func EchoDistanceM(seconds, velocityFactor float64) float64 {
	const lightMPerS = 299792458
	return velocityFactor * lightMPerS * seconds / 2
}
