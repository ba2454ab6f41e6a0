package diagnose

import (
	"math"

	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
)

// collarHeightM is the height at which the collar is carried over the wire, a
// pet's neck. Judgement, as in package faultmodel.
const collarHeightM = 0.3

// ShapeWidths are the widths, m, that a sound loop of the map's shape shows on the
// inside at chainages of its boundary, where a long straight run is straightM
// wide: narrow where a corner points into the yard, wide where it points out. Nil
// without a path.
func ShapeWidths(m *yard.Map, atM []float64, straightM float64) []float64 {
	if !m.HasPath() {
		return nil
	}
	// A few hundred corners are as good a shape as thousands, a foot apart.
	const enough = 400
	var path []faultmodel.Point
	for i := 0; i < len(m.Loop.Path); i += 1 + (len(m.Loop.Path)-1)/enough {
		path = append(path, faultmodel.Point(m.Loop.Path[i]))
	}
	round := 0.0
	for i, p := range path {
		q := path[(i+1)%len(path)]
		round += math.Hypot(q.X-p.X, q.Y-p.Y)
	}
	along := make([]float64, len(atM))
	for i, at := range atM {
		along[i] = (at - m.LeadInM()) / m.BoundaryM() * round
	}
	inside, _ := faultmodel.PathWidths(path, collarHeightM, math.Hypot(straightM, collarHeightM), along)
	return inside
}
