package console

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

func TestAskYard(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		typed string
		units quantity.Units
		want  *yard.Map
	}{
		"nothing known": {"\n\n\n", quantity.Feet, nil},
		"the length":    {"480\n\n\n", quantity.Feet, &yard.Map{Loop: yard.Loop{LengthM: new(480 * quantity.MPerFt), LengthUncertainty: new(0.05)}}},
		"in metres": {"146\n12 m\n0.75 mm2\n", quantity.Metres, &yard.Map{Loop: yard.Loop{LengthM: new(146.0), LengthUncertainty: new(0.05)},
			LeadIn: yard.LeadIn{LengthM: new(12.0)}, Wire: yard.Wire{Gauge: quantity.Gauge{MM2: 0.75}}}},
		"the wire alone, after slips": {"long\n-3 ft\n30000 ft\n\n\n20\n20 awg\n", quantity.Feet, &yard.Map{Wire: yard.Wire{Gauge: quantity.Gauge{AWG: 20}}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var out strings.Builder
			got, err := AskYard(t.Context(), NewPlain(strings.NewReader(tt.typed), &out, Options{}), tt.units)
			require.NoError(t, err, out.String())
			assert.Equal(t, tt.want, got, out.String())
		})
	}
	_, err := AskYard(t.Context(), NewPlain(strings.NewReader("480\n"), &strings.Builder{}, Options{}), quantity.Feet)
	require.ErrorIs(t, err, ErrEnded)
}
