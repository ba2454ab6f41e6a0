package faultmodel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestElectrodes(t *testing.T) {
	// reference/physics.md 3.4: G1 a textbook problem (answer 6.37e6), G4 against a
	// published nomograph's "about 20", the rest computed from Dwight's formulas.
	within(t, 6.366e6, HemisphereOhm(1e6, 25e-3), 2e-4, "G1")
	within(t, 33.09, RodOhm(100, 10*12*inch, 5.0/16*inch), 2e-4, "G2")
	within(t, 32.14, RodOhm(100, 10*12*inch, 3.0/8*inch), 2e-4, "G2, 3/4 in")
	within(t, 39.90, RodOhm(100, 8*12*inch, 5.0/16*inch), 2e-4, "G3")
	within(t, 18.35, RodOhm(100, 20*12*inch, 5.0/16*inch), 4e-4, "G4")
	within(t, 20, RodOhm(100, 20*12*inch, 5.0/16*inch), 0.1, "G4, nomograph")
	within(t, 1591.5, SphereOhm(100, 5e-3, math.Inf(1)), 1e-4, "G5")
	within(t, 1618.1, SphereOhm(100, 5e-3, 0.15), 1e-4, "G5 at 0.15 m")
	for _, c := range []struct{ rho, ohm float64 }{{20, 856}, {100, 4279}, {300, 12839}, {1000, 42795}} {
		within(t, c.ohm, BareWireOhm(c.rho, 10e-3, 0.5e-3), 1e-3, "G6 in %v ohm m", c.rho)
	}
	// MIL-HDBK-419A vol. II 1.2: 20 ft (610 cm) and 2 ohm print 7662 ohm cm; 2 pi gives 7665.
	within(t, 76.65, SoilOhmMWenner(6.10, 2), 1e-4, "Wenner")
	// The unknowns the model starts from lie where these formulas put them.
	assert.InDelta(t, rodPerM, RodOhm(1, 0.25, 4e-3), 0.1)
	assert.Less(t, BareWireOhm(1, 10e-3, 0.4e-3), float64(wetPerM))
	assert.Greater(t, SphereOhm(1, 0.4e-3, 0.1), wetPerM*0.9) // a flush cut: its end alone
}
