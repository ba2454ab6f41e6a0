package locate

import (
	"fmt"
	"math"
)

// FootM is the international foot in metres, the coarsest step a belief uses by default.
const FootM = 0.3048

// Axis divides the whole conductor into equal cells. Positions along it are
// chainage: metres of wire from terminal A, through lead-in leg A, round the
// boundary and back through leg B.
type Axis struct {
	LengthM float64 // the whole conductor, terminal to terminal
	Cells   int
}

// NewAxis divides a conductor of lengthM into cells of at most stepM; a step
// that is zero, negative or not a number means one foot. It panics on a length
// that is not positive and finite, which is a fault of the caller.
func NewAxis(lengthM, stepM float64) Axis {
	if !(lengthM > 0) || math.IsInf(lengthM, 0) {
		panic(fmt.Sprintf("locate: length of the wire must be above 0 m and finite, got %g m", lengthM))
	}
	if !(stepM > 0) || math.IsInf(stepM, 0) {
		stepM = FootM
	}
	// A length that is a whole number of steps up to rounding keeps that number.
	n := int(math.Ceil(lengthM/stepM - 1e-9))
	return Axis{LengthM: lengthM, Cells: max(n, 1)}
}

// StepM is the length of one cell.
func (a Axis) StepM() float64 { return a.LengthM / float64(a.Cells) }

// Mid is the chainage of the middle of cell i.
func (a Axis) Mid(i int) float64 { return (float64(i) + 0.5) * a.StepM() }

// Edge is the chainage where cell i begins; Edge(Cells) is the end of the wire.
func (a Axis) Edge(i int) float64 { return float64(i) * a.StepM() }

// Cell is the cell that holds chainage xM; places off the wire count to its end cells.
func (a Axis) Cell(xM float64) int {
	return min(max(int(math.Floor(xM/a.StepM())), 0), a.Cells-1)
}

// Mids lists the middles of all cells.
func (a Axis) Mids() []float64 {
	m := make([]float64, a.Cells)
	for i := range m {
		m[i] = a.Mid(i)
	}
	return m
}
