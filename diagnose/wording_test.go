package diagnose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// An answer reads as a person would say it, whatever the check takes.
func TestWordingOfAnswers(t *testing.T) {
	t.Parallel()
	base, err := kb.Load()
	require.NoError(t, err)
	w := diagnose.Wording{Base: base, Role: diagnose.Technician, Units: quantity.Feet}
	ft := func(v float64) *float64 { return new(v * quantity.MPerFt) }
	ohm := func(v float64) *faultmodel.Reading { return &faultmodel.Reading{Value: v} }
	width := func(at, w float64) faultmodel.Width {
		return faultmodel.Width{AtM: *ft(at), WidthM: *ft(w), Silent: w == 0}
	}
	for _, tt := range []struct {
		a    diagnose.Answer
		want string
	}{
		{diagnose.Answer{Check: "supply-sign", Choice: "off"}, "Off"},
		{diagnose.Answer{Check: "supply-sign", Choice: "off", Unsure: true, When: diagnose.FaultPresent}, "Off, while the fault showed, not sure"},
		{diagnose.Answer{Check: "supply-sign", Choice: diagnose.Unknown}, "not known, or could not be done"},
		{diagnose.Answer{Check: "loop-ohms", Reading: ohm(35200)}, "35.2 kohm"},
		{diagnose.Answer{Check: "loop-ohms", Reading: &faultmodel.Reading{OverRange: true}}, "over-range"},
		{diagnose.Answer{Check: "recent-work", Choice: "aerating", FromM: ft(290), ToM: ft(330)}, "Aerating the lawn, 290 to 330 ft"},
		{diagnose.Answer{Check: "trace", AtM: ft(210), End: locate.EndA}, "at 210 ft, fed from terminal A"},
		{diagnose.Answer{Check: "tap", AtM: ft(314), ASide: locate.Broken, BSide: locate.Intact}, "at 314 ft, towards A broken, towards B intact"},
		{diagnose.Answer{Check: "tap", AtM: ft(314), ASide: locate.Broken, BOhms: ohm(2.4)}, "at 314 ft, towards A broken, B side 2.4 ohm"},
		{diagnose.Answer{Check: "tap", AtM: ft(314), ASide: locate.Broken}, "at 314 ft, towards A broken, towards B not tested"},
		{diagnose.Answer{Check: "tone-walk", Widths: []faultmodel.Width{width(60, 5), width(70, 0)}}, "60 ft: 5.0 ft, 70 ft: silent"},
		{diagnose.Answer{Check: "tone-walk", Widths: []faultmodel.Width{width(60, 5), width(70, 0), width(80, 12), width(90, 11), width(100, 0)}},
			"5 to 12 ft at 3 places, silent at 2"},
		{diagnose.Answer{Check: "no-such-check", Choice: "odd"}, "odd"},
		{diagnose.Answer{Check: "loop-ohms"}, "-"},
	} {
		assert.Equal(t, tt.want, w.Answer(&tt.a))
	}
	assert.Equal(t, "no such repair, 300 to 314 ft", w.Repair(&diagnose.RepairDone{Repair: "no-such-repair", FromM: ft(300), ToM: ft(314)}))
	assert.Equal(t, base.Repair("repair:wire-cut").Name.Technician+", at 309 ft", w.Repair(&diagnose.RepairDone{Repair: "wire-cut", AtM: ft(309)}))
	assert.Equal(t, "wire cut, at 309 ft", w.Outcome(&diagnose.Outcome{Cause: "wire-cut", AtM: ft(309)}))
}
