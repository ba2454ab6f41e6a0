package diagnose

import (
	"fmt"
	"sync"

	"loopfault/faultmodel"
)

// memo keeps what the circuit said of the readings of one wire: from question to
// question most of them stay, and a sweep over the wire is the dearest thing the
// engine does. Everything kept is a function of the readings and spots it is kept
// under, so that a belief never depends on what was asked before.
type memo struct {
	mu     sync.Mutex
	single map[string][]float64
	double map[string][][]float64
	flats  map[string]float64
	ahead  map[string][]faultmodel.Predictive
}

const memoSize = 2048

func newMemo() *memo {
	return &memo{single: map[string][]float64{}, double: map[string][][]float64{},
		flats: map[string]float64{}, ahead: map[string][]faultmodel.Predictive{}}
}

// sweep is [faultmodel.Model.Sweep]; the caller must not write to the result.
func (m *memo) sweep(model *faultmodel.Model, rs []faultmodel.Reading, kind faultmodel.Kind, at []float64) []float64 {
	key := fmt.Sprint(kind, rs, len(at))
	return remember(&m.mu, m.single, key, func() []float64 { return model.Sweep(rs, kind, at) })
}

// widths is [faultmodel.Model.SweepWidths]; the caller must not write to the result.
func (m *memo) widths(model *faultmodel.Model, ws []faultmodel.Width, kind faultmodel.Kind, at []float64) []float64 {
	key := fmt.Sprint(kind, ws, len(at))
	return remember(&m.mu, m.single, key, func() []float64 { return model.SweepWidths(ws, kind, at) })
}

// pairs is [faultmodel.Model.SweepPairs] for two breaks.
func (m *memo) pairs(model *faultmodel.Model, rs []faultmodel.Reading, at []float64) [][]float64 {
	key := fmt.Sprint(rs, at)
	return remember(&m.mu, m.double, key, func() [][]float64 {
		return model.SweepPairs(rs, faultmodel.Open, faultmodel.Open, at)
	})
}

// flat is what work says of a kind without a position under an epoch's evidence.
func (m *memo) flat(kind faultmodel.Kind, evidence string, work func() float64) float64 {
	return remember(&m.mu, m.flats, string(kind)+evidence, work)
}

// both is what work says of two faults at given places under an epoch's evidence.
func (m *memo) both(k1 faultmodel.Kind, x1 []float64, k2 faultmodel.Kind, x2 []float64, evidence string, work func() [][]float64) [][]float64 {
	return remember(&m.mu, m.double, fmt.Sprint(k1, x1, k2, x2, evidence), work)
}

// forecast is what work predicts of a quantity under a kind, once others are read.
func (m *memo) forecast(q faultmodel.Quantity, given []faultmodel.Reading, kind faultmodel.Kind, atM []float64, work func() []faultmodel.Predictive) []faultmodel.Predictive {
	return remember(&m.mu, m.ahead, fmt.Sprint(q, kind, given, atM), work)
}

func remember[T any](mu *sync.Mutex, kept map[string]T, key string, work func() T) T {
	mu.Lock()
	v, ok := kept[key]
	mu.Unlock()
	if ok {
		return v
	}
	v = work()
	mu.Lock()
	defer mu.Unlock()
	if len(kept) >= memoSize {
		clear(kept)
	}
	kept[key] = v
	return v
}
