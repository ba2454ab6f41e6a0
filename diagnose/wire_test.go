package diagnose

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
)

// A yard file names a baseline's readings as the checks do, and each reaches the
// model under the name it predicts it by.
func TestBaselineReachesTheModel(t *testing.T) {
	base := newEngine(t).Base()
	b := &yard.Baseline{Widths: []yard.Width{{AtM: 30, WidthM: 1.5}}}
	var want []faultmodel.Reading
	for i, f := range b.Fields() {
		check := base.Check(f.Quantity)
		require.NotNil(t, check, f.Quantity)
		assert.Equal(t, f.Quantity, check.Quantity)
		assert.Equal(t, f.Unit, check.Unit)
		*f.Reading = &yard.Reading{Value: float64(i), Over: i == 2}
		want = append(want, faultmodel.Reading{Quantity: faultmodel.Quantity(f.Quantity), Value: float64(i), OverRange: i == 2})
	}
	readings, widths := baseline(b)
	assert.Equal(t, want, readings)
	assert.Equal(t, []faultmodel.Width{{AtM: 30, WidthM: 1.5}}, widths)
	assert.Equal(t, 8.0, b.TerminalVolts.Value, "every field is one of its own")

	readings, _ = baseline(&yard.Baseline{LegAToEarth: &yard.Reading{Over: true}})
	assert.Equal(t, []faultmodel.Reading{{Quantity: faultmodel.LegAToEarth, OverRange: true}}, readings, "what was not measured says nothing")
}
