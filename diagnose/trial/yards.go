package trial

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// What yards are like. Judgement throughout; the common practice behind it is
// about 500 ft of wire for a third of an acre.
const (
	medianLoopFt, loopSigmaLn = 520, 0.45
	shortestFt, longestFt     = 180, 1600
	noMapShare                = 0.35 // of homeowners and callers of support
	pathShare                 = 0.5  // of maps that can be drawn
	thisYear                  = 2026
)

// drawYard draws an as-built map as a person of the role would have it; nil is a
// yard of which nothing is known.
func drawYard(rng *rand.Rand, role diagnose.Role) *yard.Map {
	if role != diagnose.Technician && chance(rng, noMapShare) {
		return nil
	}
	ft := func(lo, hi float64) *float64 {
		v := within(rng, lo, hi) * quantity.MPerFt
		return &v
	}
	yes := func(p float64) *bool {
		v := chance(rng, p)
		return &v
	}
	m := &yard.Map{Name: "drawn"}
	loopM := min(max(logNormal(rng, medianLoopFt, loopSigmaLn), shortestFt), longestFt) * quantity.MPerFt
	m.LeadIn = yard.LeadIn{LengthM: ft(15, 90), Twisted: yes(0.9)}
	m.Loop.LengthM = &loopM
	if chance(rng, pathShare) {
		m.Loop.Path = drawPath(rng, loopM)
		m.Transmitter.At = &yard.Point{X: -*m.LeadIn.LengthM * 0.8}
	}
	if chance(rng, 0.75) {
		m.Wire.Gauge.AWG = []int{20, 18, 16, 14}[pick(rng, []float64{0.55, 0.2, 0.15, 0.1})]
		m.Wire.Material = []string{"copper", "tinned-copper", "copper-clad-aluminium"}[pick(rng, []float64{0.9, 0.04, 0.06})]
		m.Wire.Strands = []string{"solid", "stranded"}[pick(rng, []float64{0.85, 0.15})]
	}
	if chance(rng, 0.7) {
		m.InstalledYear = thisYear - rng.IntN(16)
	}
	if chance(rng, 0.6) {
		t := within(rng, 4, 24)
		m.Soil = yard.Soil{TemperatureC: &t, Moisture: []string{"dry", "moist", "wet"}[pick(rng, []float64{0.25, 0.5, 0.25})]}
	}
	if chance(rng, 0.5) {
		m.Transmitter.Arrester = yes(0.3)
		m.Transmitter.Earthed = []string{"none", "a", "b"}[pick(rng, []float64{0.8, 0.1, 0.1})]
	}
	m.Features = drawFeatures(rng, *m.LeadIn.LengthM, loopM)
	return m
}

// drawPath is a rectangle, or one with a corner cut in, of a given length of side
// round: most lots are.
func drawPath(rng *rand.Rand, loopM float64) []yard.Point {
	aspect := within(rng, 1, 2.5)
	a := loopM / 2 / (1 + aspect)
	b := a * aspect
	if chance(rng, 0.3) { // the perimeter stays the same
		x, y := a*within(rng, 0.2, 0.5), b*within(rng, 0.2, 0.5)
		return []yard.Point{{X: 0, Y: 0}, {X: b, Y: 0}, {X: b, Y: a - x}, {X: b - y, Y: a - x}, {X: b - y, Y: a}, {X: 0, Y: a}}
	}
	return []yard.Point{{X: 0, Y: 0}, {X: b, Y: 0}, {X: b, Y: a}, {X: 0, Y: a}}
}

// drawFeatures puts things along the boundary.
func drawFeatures(rng *rand.Rand, leadM, loopM float64) []yard.Feature {
	var out []yard.Feature
	for _, k := range []struct {
		kind     yard.FeatureKind
		mean     float64 // how many a yard has
		loFt, to float64 // length
	}{
		{yard.Splice, 1.2, 0, 0}, {yard.Driveway, 0.8, 10, 20}, {yard.FootPath, 0.5, 3, 5}, {yard.Bed, 1.3, 15, 50},
		{yard.Edge, 0.8, 30, 120}, {yard.Tree, 1, 8, 15}, {yard.Fence, 0.5, 30, 120}, {yard.Gate, 0.6, 4, 10},
		{yard.Utility, 0.4, 3, 6}, {yard.Metal, 0.15, 10, 40}, {yard.OwnReturn, 0.1, 15, 40}, {yard.SoilAdded, 0.12, 15, 50},
		{yard.Surface, 0.2, 10, 60}, {yard.Twisted, 0.15, 10, 30}, {yard.NoDig, 0.1, 6, 15},
	} {
		for range poisson(rng, k.mean) {
			length := min(within(rng, k.loFt, k.to)*quantity.MPerFt, loopM/4)
			from := leadM + rng.Float64()*(loopM-length)
			out = append(out, yard.Feature{Kind: k.kind, FromM: from, ToM: from + length})
		}
	}
	slices.SortStableFunc(out, func(a, b yard.Feature) int { return cmp.Compare(a.FromM, b.FromM) })
	return out
}

// poisson draws a count by Knuth's product of uniforms.
func poisson(rng *rand.Rand, mean float64) int {
	limit, p, n := math.Exp(-mean), 1.0, -1
	for ; p > limit; n++ {
		p *= rng.Float64()
	}
	return n
}
