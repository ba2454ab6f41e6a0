package faultmodel

import "math/rand/v2"

// Model judges readings of one loop. It is safe for use by several goroutines.
type Model struct {
	loop   Loop
	meters Meters
}

// NewModel checks what is known of a loop and the meters and prepares the
// judgement of readings.
func NewModel(l Loop, m Meters) (*Model, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	return &Model{loop: l, meters: m}, nil
}

// Loop returns what the model was made from.
func (m *Model) Loop() Loop { return m.loop }

// LogLikelihood is ln p(readings | faults) up to a constant that depends on
// the readings only. No faults is a healthy loop.
func (m *Model) LogLikelihood(readings []Reading, faults ...Fault) float64 { return 0 }

// Sweep is the LogLikelihood of one fault of a kind at each place.
func (m *Model) Sweep(readings []Reading, kind Kind, atM []float64) []float64 {
	return make([]float64, len(atM))
}

// SweepPairs is the LogLikelihood of a fault of kind k1 at atM[i] together
// with one of kind k2 at atM[j], at [i][j].
func (m *Model) SweepPairs(readings []Reading, k1, k2 Kind, atM []float64) [][]float64 {
	out := make([][]float64, len(atM))
	for i := range out {
		out[i] = make([]float64, len(atM))
	}
	return out
}

// WidthLogLikelihood is ln p(widths | faults) up to a constant.
func (m *Model) WidthLogLikelihood(widths []Width, faults ...Fault) float64 { return 0 }

// SweepWidths is the WidthLogLikelihood of one fault of a kind at each place.
func (m *Model) SweepWidths(widths []Width, kind Kind, atM []float64) []float64 {
	return make([]float64, len(atM))
}

// Component is one normal density over ln(value) in a mixture.
type Component struct {
	Weight, MeanLn, SDLn float64
}

// Predictive is what a reading would show: a mixture over ln(value) and the
// chance of over-range. Weights and OverRange sum to 1.
type Predictive struct {
	Components []Component
	OverRange  float64
}

// Probability is the chance of a reading from lo to hi, SI.
func (p Predictive) Probability(lo, hi float64) float64 { return 0 }

// LogDensity is ln of the density over ln(value) at v, SI.
func (p Predictive) LogDensity(v float64) float64 { return 0 }

// Quantile is the value below which the reading lies with probability q;
// +Inf where that is over-range.
func (p Predictive) Quantile(q float64) float64 { return 0 }

// Predict is what a reading of q would show. The place of a tap goes in atM of
// [Model.PredictAt].
func (m *Model) Predict(q Quantity, faults ...Fault) Predictive { return Predictive{} }

// PredictAt is Predict for a quantity taken at a place, such as a tap.
func (m *Model) PredictAt(q Quantity, atM float64, faults ...Fault) Predictive { return Predictive{} }

// World is one installation with every unknown fixed: it answers readings.
type World struct{}

// Draw fixes every unknown of the loop, its faults and the meters at random.
func (m *Model) Draw(rng *rand.Rand, faults ...Fault) *World { return &World{} }

// Read takes a reading with the meter's random error. atM is the place of a
// tap, and not used otherwise.
func (w *World) Read(q Quantity, atM float64, rng *rand.Rand) Reading { return Reading{} }

// Widths walks the boundary and measures the detection width at each place.
func (w *World) Widths(atM []float64, rng *rand.Rand) []Width { return nil }

// CurrentA is the current in the conductor at a chainage while the transmitter
// runs, A.
func (w *World) CurrentA(atM float64) float64 { return 0 }

// LoopComplete is what the continuity sign says: enough current flows round.
func (w *World) LoopComplete() bool { return false }
