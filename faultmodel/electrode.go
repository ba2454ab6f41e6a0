package faultmodel

import "math"

// Resistance of bare metal in uniform soil to earth far away, ohm. Sources: H. B.
// Dwight, Calculation of Resistances to Ground, Electrical Engineering 55 (1936)
// 1319-1328 (abstract seen, formulas from memory); the rod as in IEEE 142-1999
// table 13. All hold for lengths much more than radii, and for soil that touches
// the metal all round: drying and corrosion raise them.

// HemisphereOhm is a hemisphere of radius aM at the surface: rho/(2 pi a).
func HemisphereOhm(soilOhmM, aM float64) float64 { return soilOhmM / (2 * math.Pi * aM) }

// SphereOhm is a sphere of radius aM, depthM below the surface:
// rho/(4 pi) (1/a + 1/(2h)); depthM +Inf is deep soil.
func SphereOhm(soilOhmM, aM, depthM float64) float64 {
	return soilOhmM / (4 * math.Pi) * (1/aM + 1/(2*depthM))
}

// RodOhm is a rod of radius aM driven lengthM into the soil:
// rho/(2 pi L) (ln(4L/a) - 1).
func RodOhm(soilOhmM, lengthM, aM float64) float64 {
	return soilOhmM / (2 * math.Pi * lengthM) * (math.Log(4*lengthM/aM) - 1)
}

// BareWireOhm is a short bare length of wire deep in soil:
// rho/(2 pi l) (ln(2l/a) - 1).
func BareWireOhm(soilOhmM, lengthM, aM float64) float64 {
	return soilOhmM / (2 * math.Pi * lengthM) * (math.Log(2*lengthM/aM) - 1)
}

// SoilOhmMWenner is the resistivity from four stakes in a row, spaced apart by
// spacingM, shallow against the spacing: 2 pi a R.
func SoilOhmMWenner(spacingM, ohm float64) float64 { return 2 * math.Pi * spacingM * ohm }
