package kb_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
)

// The knowledge base knows no other room, so its words are held against theirs here.
func TestVocabularyIsThatOfTheOtherRooms(t *testing.T) {
	t.Parallel()
	kinds := []faultmodel.Kind{faultmodel.Open, faultmodel.Series, faultmodel.Leak, faultmodel.Touch, faultmodel.LeadShort,
		faultmodel.ArresterShort, faultmodel.ArresterOpen, faultmodel.LooseTerminal, faultmodel.WeakSource,
		faultmodel.NoSource, faultmodel.NoSupply, faultmodel.OutsideRating, faultmodel.TooDeep, faultmodel.CloseRun,
		faultmodel.Corner, faultmodel.MetalAlong, faultmodel.ServiceAlong}
	assert.ElementsMatch(t, kinds, named[faultmodel.Kind](kb.FaultKinds))

	readings := []faultmodel.Quantity{faultmodel.LoopOhms, faultmodel.LoopOhmsReversed, faultmodel.BoundaryOhms,
		faultmodel.LegAToEarth, faultmodel.LegBToEarth, faultmodel.CapacitanceA, faultmodel.CapacitanceB,
		faultmodel.LeadInOhmsOpen, faultmodel.AdapterVolts, faultmodel.TerminalVolts, faultmodel.LoopCurrent}
	assert.ElementsMatch(t, readings, named[faultmodel.Quantity](kb.Quantities))

	// Nothing lives at a no-dig stretch; corners are found by geometry.
	features := slices.DeleteFunc(slices.Clone(yard.FeatureKinds), func(k yard.FeatureKind) bool { return k == yard.NoDig })
	assert.ElementsMatch(t, append(features, "corner"), named[yard.FeatureKind](kb.Features))
}

func named[T ~string](words []string) []T {
	out := make([]T, len(words))
	for i, w := range words {
		out[i] = T(w)
	}
	return out
}
