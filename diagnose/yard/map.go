package yard

import (
	"math"

	"loopfault/diagnose/quantity"
)

// Map is an as-built map. The zero value, and nil, is a yard of which nothing
// is known.
type Map struct {
	Name          string
	Wire          Wire
	Transmitter   Transmitter
	InstalledYear int // 0: unknown
	Soil          Soil
	LeadIn        LeadIn
	Loop          Loop
	AreaM2        *float64 // area inside the boundary, for one who knows no length
	Features      []Feature
	Baseline      *Baseline // nil: never measured
}

// Wire is the conductor. Empty fields are unknown.
type Wire struct {
	Gauge    quantity.Gauge
	Material string // copper, tinned-copper, copper-clad-aluminium or copper-clad-steel
	Strands  string // solid or stranded
}

// Transmitter is the box that drives the loop.
type Transmitter struct {
	At           *Point      // where it hangs, in the path's frame
	RatedLengthM *[2]float64 // shortest and longest loop it is made for
	Earthed      string      // none, a or b: the terminal joined to earth; "" unknown
	Arrester     *bool       // a surge arrester is fitted
}

// Soil is the ground over the wire.
type Soil struct {
	TemperatureC *float64
	Moisture     string // dry, moist or wet; "" unknown
}

// LeadIn is the pair of legs between transmitter and boundary.
type LeadIn struct {
	LengthM *float64 // of each leg
	Twisted *bool
}

// Loop is the boundary itself.
type Loop struct {
	LengthM           *float64
	Path              []Point        // closed: the last point joins the first; nil: no map
	PathUnits         quantity.Units // that the file speaks
	Origin            *LonLat        // of the path's (0, 0); nil: the path hangs free
	LengthUncertainty *float64       // one standard deviation as a share of the length

	// starts is how far round the path each point lies, and the whole way round at
	// the end; measured says of which path. See [Loop.rounds].
	starts   []float64
	measured *Point
}

// Point is a place in the path's local frame, in metres.
type Point struct{ X, Y float64 }

// LonLat is a place on the WGS 84 ellipsoid, in degrees.
type LonLat struct{ Lon, Lat float64 }

// FeatureKind is what a feature is.
type FeatureKind string

// The kinds of feature.
const (
	Splice    FeatureKind = "splice"
	Driveway  FeatureKind = "driveway"
	FootPath  FeatureKind = "path"
	Bed       FeatureKind = "bed"
	Edge      FeatureKind = "edge" // mown or edged border
	Tree      FeatureKind = "tree"
	Fence     FeatureKind = "fence"
	Metal     FeatureKind = "metal"
	Utility   FeatureKind = "utility"
	Gate      FeatureKind = "gate"
	OwnReturn FeatureKind = "own-return" // the wire's own opposite run alongside
	SoilAdded FeatureKind = "soil-added"
	Surface   FeatureKind = "surface" // reachable without digging
	Twisted   FeatureKind = "twisted"
	NoDig     FeatureKind = "no-dig"
)

// FeatureKinds lists every kind, in the order of the contract.
var FeatureKinds = []FeatureKind{Splice, Driveway, FootPath, Bed, Edge, Tree, Fence, Metal, Utility, Gate,
	OwnReturn, SoilAdded, Surface, Twisted, NoDig}

// Feature is something at a place or along a stretch of the wire.
type Feature struct {
	FromM, ToM float64 // chainage; equal for a point
	Kind       FeatureKind
	Note       string
	Found      bool // by geometry, not from the file
	Unplaced   bool // somewhere on the wire: FromM and ToM are its ends
}

// Reading is one recorded measurement in SI.
type Reading struct {
	Value float64
	Over  bool // the meter's range was passed
}

// Width is how far from the wire the collar sounded at a chainage.
type Width struct{ AtM, WidthM float64 }

// Baseline is what the loop read when it was known to be good. Nil fields were
// not measured.
type Baseline struct {
	Date          string // YYYY-MM-DD; "" unknown
	LoopOhms      *Reading
	BoundaryOhms  *Reading
	LeadInOhms    *Reading // lead-in-ohms-open: far ends apart
	LegAToEarth   *Reading
	LegBToEarth   *Reading
	CapacitanceA  *Reading // farads
	CapacitanceB  *Reading
	LoopCurrentA  *Reading
	TerminalVolts *Reading
	Widths        []Width
}

// Estimate is a quantity with one standard deviation; Known is false where
// nothing in the map speaks of it and the value is only typical.
type Estimate struct {
	Value, SD float64
	Known     bool
}

// Typical values for a yard nobody has measured: judgement, wide on purpose.
// The length is the common practice of about 500 ft for a third of an acre.
const (
	typicalBoundaryM   = 500 * quantity.MPerFt
	typicalBoundarySD  = 0.45 // share; yards run from a small garden to acres
	typicalLeadInM     = 40 * quantity.MPerFt
	typicalLeadInSDM   = 25 * quantity.MPerFt
	areaShareSD        = 0.15 // share; a square is the shortest rectangle, but loops cut corners and go round houses
	defaultUncertainty = 0.03 // design.md section 5
	leadInUncertainty  = 0.03 // as for the loop
)

// LeadInLength is the length of one leg in metres.
func (m *Map) LeadInLength() Estimate {
	if m == nil || m.LeadIn.LengthM == nil {
		return Estimate{Value: typicalLeadInM, SD: typicalLeadInSDM}
	}
	l := *m.LeadIn.LengthM
	return Estimate{Value: l, SD: l * leadInUncertainty, Known: true}
}

// BoundaryLength is the length of the loop in metres: as given, else round the
// path, else from the area as the perimeter of a square, 4 sqrt(A), else typical.
func (m *Map) BoundaryLength() Estimate {
	if m == nil {
		return Estimate{Value: typicalBoundaryM, SD: typicalBoundaryM * typicalBoundarySD}
	}
	share := defaultUncertainty
	if m.Loop.LengthUncertainty != nil {
		share = *m.Loop.LengthUncertainty
	}
	switch {
	case m.Loop.LengthM != nil:
		return Estimate{Value: *m.Loop.LengthM, SD: *m.Loop.LengthM * share, Known: true}
	case len(m.Loop.Path) > 1:
		p := m.Loop.roundM()
		return Estimate{Value: p, SD: p * share, Known: true}
	case m.AreaM2 != nil:
		p := SquarePerimeterM(*m.AreaM2)
		return Estimate{Value: p, SD: p * areaShareSD}
	}
	return Estimate{Value: typicalBoundaryM, SD: typicalBoundaryM * typicalBoundarySD}
}

// SquarePerimeterM is the perimeter of a square of the area: the loop's length
// for one who knows only the size of the yard.
func SquarePerimeterM(areaM2 float64) float64 { return 4 * math.Sqrt(areaM2) }

// TotalLength is the whole conductor, 2 lead-in + loop, in metres.
func (m *Map) TotalLength() Estimate {
	l, b := m.LeadInLength(), m.BoundaryLength()
	return Estimate{
		Value: 2*l.Value + b.Value,
		SD:    math.Hypot(2*l.SD, b.SD),
		Known: l.Known && b.Known,
	}
}

// LeadInM is the best value for the length of one lead-in leg.
func (m *Map) LeadInM() float64 { return m.LeadInLength().Value }

// BoundaryM is the best value for the length of the loop.
func (m *Map) BoundaryM() float64 { return m.BoundaryLength().Value }

// TotalM is the best value for the length of the whole conductor.
func (m *Map) TotalM() float64 { return m.TotalLength().Value }

// Units is the system that the map speaks: that of its path, feet without one.
func (m *Map) Units() quantity.Units {
	if m == nil {
		return quantity.Feet
	}
	return m.Loop.PathUnits
}

// HasPath tells whether the map can be drawn.
func (m *Map) HasPath() bool { return m != nil && len(m.Loop.Path) > 2 }

// FeaturesOf lists the features of a kind in order of chainage, those found by
// geometry among them.
func (m *Map) FeaturesOf(kind FeatureKind) []Feature {
	if m == nil {
		return nil
	}
	var of []Feature
	for _, f := range m.Features {
		if f.Kind == kind {
			of = append(of, f)
		}
	}
	return of
}
