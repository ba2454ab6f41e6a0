package command

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"loopfault/diagnose"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
)

// A baseline holds what was read since the last repair, the latest reading of
// each quantity, and no silent places.
func TestNewBaseline(t *testing.T) {
	read := func(q faultmodel.Quantity, value float64) diagnose.Entry {
		return diagnose.Entry{Answer: &diagnose.Answer{Check: string(q), Reading: &faultmodel.Reading{Quantity: q, Value: value}}}
	}
	mend := diagnose.Entry{Repair: &diagnose.RepairDone{Repair: "wire-cut", Fixed: true}}
	verify := diagnose.Entry{Repair: &diagnose.RepairDone{Repair: "verify", Fixed: true}}
	undo := diagnose.Entry{Undo: true}
	walk := diagnose.Entry{Answer: &diagnose.Answer{Check: "tone-walk", Widths: []faultmodel.Width{{AtM: 20, WidthM: 1.5}, {AtM: 40, Silent: true}}}}
	for name, c := range map[string]struct {
		log  []diagnose.Entry
		want yard.Baseline
	}{
		"before the repair":    {[]diagnose.Entry{read(faultmodel.LoopOhms, 90), mend}, yard.Baseline{}},
		"after it":             {[]diagnose.Entry{mend, read(faultmodel.LoopOhms, 6), verify}, yard.Baseline{LoopOhms: &yard.Reading{Value: 6}}},
		"read twice":           {[]diagnose.Entry{mend, read(faultmodel.CapacitanceB, 3e-8), read(faultmodel.CapacitanceB, 2e-8)}, yard.Baseline{CapacitanceB: &yard.Reading{Value: 2e-8}}},
		"taken back":           {[]diagnose.Entry{mend, read(faultmodel.LoopOhms, 6), undo}, yard.Baseline{}},
		"repair taken back":    {[]diagnose.Entry{read(faultmodel.LoopOhms, 6), mend, undo}, yard.Baseline{LoopOhms: &yard.Reading{Value: 6}}},
		"walk":                 {[]diagnose.Entry{mend, walk}, yard.Baseline{Widths: []yard.Width{{AtM: 20, WidthM: 1.5}}}},
		"nothing a map holds":  {[]diagnose.Entry{mend, read(faultmodel.AdapterVolts, 12)}, yard.Baseline{}},
		"two kinds of reading": {[]diagnose.Entry{mend, read(faultmodel.LeadInOhmsOpen, 1e6), read(faultmodel.LoopCurrent, 0.1)}, yard.Baseline{LeadInOhms: &yard.Reading{Value: 1e6}, LoopCurrentA: &yard.Reading{Value: 0.1}}},
	} {
		c.want.Date = "2026-11-25"
		assert.Equal(t, &c.want, newBaseline(c.log, "2026-11-25"), name)
	}
}
