package yard

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"loopfault/diagnose/quantity"
	"loopfault/kb/strictyaml"
)

// unknown is how a file says that nobody knows.
const unknown = "unknown"

// Limits of what a yard can hold, wide enough for any real one.
const (
	maxPoints    = 20000
	maxFeatures  = 5000
	maxLeadInM   = 300.0
	minLoopM     = 3.0
	maxLoopM     = 5000.0
	maxCoordM    = 20000.0
	maxWidthM    = 30.0
	firstYear    = 1950
	lastYear     = 2100
	pathMismatch = 0.10 // share by which a path and the length given may differ, or four deviations
)

// The words that a yard may use.
var (
	materials = []string{"copper", "tinned-copper", "copper-clad-aluminium", "copper-clad-steel"}
	strands   = []string{"solid", "stranded"}
	moistures = []string{"dry", "moist", "wet"}
	earthed   = []string{"none", "a", "b"}
	yesNo     = []string{"true", "false", "yes", "no"}
)

// Load reads the map in a file.
func Load(file string) (*Map, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	return Parse(file, data)
}

// Parse reads a map. Its faults come back all at once, as [strictyaml.Faults];
// the file is only a name for them.
func Parse(file string, data []byte) (*Map, error) {
	var m Map
	if err := strictyaml.Decode(file, data, &m); err != nil {
		return nil, err
	}
	return &m, nil
}

// DecodeYAML reads a map that stands inside a file, such as a case's.
func (m *Map) DecodeYAML(v strictyaml.Value) {
	*m = Map{}
	if v.Kind() == strictyaml.Scalar && v.Text().Value == unknown {
		return
	}
	var f fileMap
	v.Decode(&f) // what is wrong in form leaves its field unset, and the rest is judged too
	f.fill(m)
}

// scalar keeps a value's text and place until its meaning is judged. It is set
// where the file says something other than unknown.
type scalar struct {
	at   strictyaml.Value
	text string
	set  bool
}

func (s *scalar) DecodeYAML(v strictyaml.Value) {
	if v.Kind() != strictyaml.Scalar {
		v.Fault("found several values; expected one, or unknown")
		return
	}
	s.at, s.text = v, strings.TrimSpace(v.Text().Value)
	s.set = s.text != unknown
}

// maybe is a group of fields or a list that may be unknown as a whole.
type maybe[T any] struct {
	at    strictyaml.Value
	value T
	set   bool
}

func (m *maybe[T]) DecodeYAML(v strictyaml.Value) {
	m.at = v
	if v.Kind() == strictyaml.Scalar && v.Text().Value == unknown {
		return
	}
	v.Decode(&m.value)
	m.set = true
}

// The file's own shape, design.md section 5.
type (
	fileMap struct {
		Yard        scalar                 `yaml:"yard"`
		Wire        maybe[fileWire]        `yaml:"wire"`
		Transmitter maybe[fileTransmitter] `yaml:"transmitter"`
		Installed   scalar                 `yaml:"installed"`
		Soil        maybe[fileSoil]        `yaml:"soil"`
		LeadIn      maybe[fileLeadIn]      `yaml:"lead_in"`
		Loop        maybe[fileLoop]        `yaml:"loop"`
		Area        scalar                 `yaml:"area"`
		Features    maybe[[]fileFeature]   `yaml:"features"`
		Baseline    maybe[fileBaseline]    `yaml:"baseline"`
	}
	fileWire struct {
		Gauge    scalar `yaml:"gauge"`
		Material scalar `yaml:"material"`
		Strands  scalar `yaml:"strands"`
	}
	fileTransmitter struct {
		At          maybe[[]scalar] `yaml:"at"`
		RatedLength maybe[[]scalar] `yaml:"rated_length"`
		Earthed     scalar          `yaml:"earthed"`
		Arrester    scalar          `yaml:"arrester"`
	}
	fileSoil struct {
		Temperature scalar `yaml:"temperature"`
		Moisture    scalar `yaml:"moisture"`
	}
	fileLeadIn struct {
		Length  scalar `yaml:"length"`
		Twisted scalar `yaml:"twisted"`
	}
	fileLoop struct {
		Length            scalar          `yaml:"length"`
		Path              maybe[filePath] `yaml:"path"`
		LengthUncertainty scalar          `yaml:"length_uncertainty"`
	}
	filePath struct {
		Units  scalar          `yaml:"units"`
		Points []filePoint     `yaml:"points"`
		Origin maybe[[]scalar] `yaml:"origin"`
	}
	fileFeature struct {
		At   scalar `yaml:"at"`
		From scalar `yaml:"from"`
		To   scalar `yaml:"to"`
		Kind scalar `yaml:"kind"`
		Note scalar `yaml:"note"`

		here strictyaml.Value
		read bool // there was something to judge
	}
	fileBaseline struct {
		Date          scalar             `yaml:"date"`
		LoopOhms      scalar             `yaml:"loop-ohms"`
		BoundaryOhms  scalar             `yaml:"boundary-ohms"`
		LeadInOhms    scalar             `yaml:"lead-in-ohms-open"`
		LegAToEarth   scalar             `yaml:"leg-a-to-earth"`
		LegBToEarth   scalar             `yaml:"leg-b-to-earth"`
		CapacitanceA  scalar             `yaml:"capacitance-a"`
		CapacitanceB  scalar             `yaml:"capacitance-b"`
		LoopCurrent   scalar             `yaml:"loop-current"`
		TerminalVolts scalar             `yaml:"terminal-volts"`
		Widths        maybe[[]fileWidth] `yaml:"widths"`
	}
	fileWidth struct {
		At    scalar `yaml:"at"`
		Width scalar `yaml:"width"`
	}
)

// filePoint is one corner of a path.
type filePoint struct {
	at strictyaml.Value
	xy [2]float64
	ok bool
}

func (p *filePoint) DecodeYAML(v strictyaml.Value) {
	p.at = v
	if v.Kind() != strictyaml.List || len(v.Items()) != 2 {
		v.Fault("found something else than a point; expected [x, y], two numbers in the path's units")
		return
	}
	p.ok = v.Decode(&p.xy)
}

func (f *fileFeature) DecodeYAML(v strictyaml.Value) {
	type fields fileFeature // without this method
	f.read = v.Decode((*fields)(f))
	f.here = v
}

func (f *fileMap) fill(m *Map) {
	if f.Yard.set {
		m.Name = f.Yard.text
	}
	m.InstalledYear = f.Installed.year()
	m.AreaM2 = f.Area.value(quantity.ParseArea)
	m.Wire = Wire{
		Gauge:    f.Wire.value.Gauge.gauge(),
		Material: f.Wire.value.Material.word(materials),
		Strands:  f.Wire.value.Strands.word(strands),
	}
	m.Soil = Soil{
		TemperatureC: f.Soil.value.Temperature.value(quantity.ParseTemperature),
		Moisture:     f.Soil.value.Moisture.word(moistures),
	}
	m.LeadIn = LeadIn{
		LengthM: f.LeadIn.value.Length.lengthM(0, maxLeadInM, "a lead-in leg"),
		Twisted: f.LeadIn.value.Twisted.bool(),
	}
	f.Loop.value.fill(&m.Loop)
	f.Transmitter.value.fill(m)
	for i := range f.Features.value {
		f.Features.value[i].fill(m)
	}
	if n := len(f.Features.value); n > maxFeatures {
		f.Features.at.Fault("%d features; expected at most %d", n, maxFeatures)
	}
	if f.Baseline.set {
		m.Baseline = f.Baseline.value.baseline(m)
	}
	m.findFeatures()
}

func (f *fileLoop) fill(loop *Loop) {
	loop.LengthM = f.Length.lengthM(minLoopM, maxLoopM, "a loop")
	loop.LengthUncertainty = f.LengthUncertainty.value(quantity.ParsePercent)
	if u := loop.LengthUncertainty; u != nil && *u > 0.5 {
		f.LengthUncertainty.at.Fault("%s is no knowledge of the length; expected at most 50 %%, or the length left out", f.LengthUncertainty.text)
	}
	if f.Path.set {
		f.Path.value.fill(loop, f.Path.at)
	} else if f.Length.set {
		// Nothing else tells what system the owner thinks in.
		loop.PathUnits = unitsOf(f.Length.text)
	}
	if loop.LengthM == nil || len(loop.Path) < 3 {
		return
	}
	share := defaultUncertainty
	if loop.LengthUncertainty != nil {
		share = *loop.LengthUncertainty
	}
	round := perimeter(loop.Path)
	if off := math.Abs(round-*loop.LengthM) / *loop.LengthM; off > max(pathMismatch, 4*share) {
		f.Length.at.Fault("the length is %s, but the path is %s round; expected them to agree within %s, or only one of them",
			f.Length.text, quantity.FormatLength(round, loop.PathUnits), quantity.FormatPercent(max(pathMismatch, 4*share)))
	}
}

func (f *filePath) fill(loop *Loop, at strictyaml.Value) {
	if f.Units.text == "" || !f.Units.set {
		at.Fault("the path does not say what its numbers are in; expected units: ft or units: m")
		return
	}
	units, err := quantity.ParseUnits(f.Units.text)
	if err != nil {
		f.Units.at.Fault("%v", err)
		return
	}
	loop.PathUnits = units
	loop.Origin = lonLat(f.Origin)
	if len(f.Points) > maxPoints {
		at.Fault("%d points; expected at most %d", len(f.Points), maxPoints)
		return
	}
	whole := true
	for i, p := range f.Points {
		q := Point{units.M(p.xy[0]), units.M(p.xy[1])}
		switch {
		case !p.ok:
			whole = false
		case math.Abs(q.X) > maxCoordM || math.Abs(q.Y) > maxCoordM:
			p.at.Fault("the point is more than %.0f km off; expected local x and y", maxCoordM/1000)
			whole = false
		case len(loop.Path) > 0 && q == loop.Path[len(loop.Path)-1]:
			p.at.Fault("the same point twice in a row; expected each once")
			whole = false
		case i == len(f.Points)-1 && len(loop.Path) > 0 && q == loop.Path[0]:
			// Closed by hand; ours closes by itself.
		default:
			loop.Path = append(loop.Path, q)
		}
	}
	if whole && len(loop.Path) < 3 {
		at.Fault("%d different points do not close a loop; expected three or more", len(loop.Path))
		whole = false
	}
	if round := perimeter(loop.Path); whole && !(round >= minLoopM && round <= maxLoopM) {
		at.Fault("the path is %.1f m round; expected %g to %g m (check its units)", round, minLoopM, maxLoopM)
	}
}

func (f *fileTransmitter) fill(m *Map) {
	m.Transmitter.Earthed = f.Earthed.word(earthed)
	m.Transmitter.Arrester = f.Arrester.bool()
	if at := f.At; at.set {
		if len(at.value) != 2 {
			at.at.Fault("found %d numbers; expected [x, y] in the path's units", len(at.value))
		} else {
			x, okX := at.value[0].coordinate(m)
			y, okY := at.value[1].coordinate(m)
			if okX && okY {
				m.Transmitter.At = &Point{x, y}
			}
		}
	}
	if r := f.RatedLength; r.set {
		if len(r.value) != 2 {
			r.at.Fault("found %d lengths; expected [shortest, longest], such as [250 ft, 2500 ft]", len(r.value))
			return
		}
		low := r.value[0].lengthM(0, 10000, "a rated length")
		high := r.value[1].lengthM(0, 10000, "a rated length")
		switch {
		case low == nil || high == nil:
		case *low >= *high:
			r.at.Fault("the shortest rated length, %s, is not below the longest, %s; expected [shortest, longest]", r.value[0].text, r.value[1].text)
		default:
			m.Transmitter.RatedLengthM = &[2]float64{*low, *high}
		}
	}
}

func (f *fileFeature) fill(m *Map) {
	if !f.read {
		return
	}
	if f.Kind.text == "" {
		f.here.Fault("the feature has no kind; expected one of %s", join(FeatureKinds))
		return
	}
	if !f.Kind.set {
		return // something somewhere tells nothing
	}
	feature := Feature{Kind: FeatureKind(f.Kind.text)}
	if !slices.Contains(FeatureKinds, feature.Kind) {
		f.Kind.at.Fault("%s is not a kind of feature; expected one of %s", strconv.Quote(f.Kind.text), join(FeatureKinds))
		return
	}
	if f.Note.set {
		feature.Note = f.Note.text
	}
	at, from, to := f.At.text != "", f.From.text != "", f.To.text != ""
	switch {
	case at && (from || to):
		f.At.at.Fault("the feature has both at and from or to; expected a point or a stretch")
		return
	case !at && from != to:
		f.here.Fault("the stretch has only one end; expected from and to, or at")
		return
	case !at && !from:
		f.here.Fault("the feature has no place; expected at, or from and to, as a distance along the wire (at: unknown where nobody knows)")
		return
	}
	var ends []float64
	for _, s := range []scalar{f.At, f.From, f.To} {
		if s.set {
			end := s.chainageM(m)
			if end == nil {
				return
			}
			ends = append(ends, *end)
		}
	}
	if len(ends) == 0 {
		feature.FromM, feature.ToM, feature.Unplaced = 0, m.TotalM(), true
	} else {
		feature.FromM, feature.ToM = ends[0], ends[len(ends)-1]
	}
	if feature.FromM > feature.ToM {
		f.From.at.Fault("the stretch runs backwards, from %s to %s; expected from below to", f.From.text, f.To.text)
		return
	}
	same := func(g Feature) bool {
		return g.Kind == feature.Kind && g.FromM == feature.FromM && g.ToM == feature.ToM && !g.Unplaced
	}
	if !feature.Unplaced && slices.ContainsFunc(m.Features, same) {
		f.here.Fault("the same %s is given twice; expected it once", feature.Kind)
		return
	}
	m.Features = append(m.Features, feature)
}

func (f *fileBaseline) baseline(m *Map) *Baseline {
	b := &Baseline{
		Date:          f.Date.date(),
		LoopOhms:      f.LoopOhms.reading("ohm"),
		BoundaryOhms:  f.BoundaryOhms.reading("ohm"),
		LeadInOhms:    f.LeadInOhms.reading("ohm"),
		LegAToEarth:   f.LegAToEarth.reading("ohm"),
		LegBToEarth:   f.LegBToEarth.reading("ohm"),
		CapacitanceA:  f.CapacitanceA.reading("nF"),
		CapacitanceB:  f.CapacitanceB.reading("nF"),
		LoopCurrentA:  f.LoopCurrent.reading("mA"),
		TerminalVolts: f.TerminalVolts.reading("V"),
	}
	for _, w := range f.Widths.value {
		if w.At.text == "" || w.Width.text == "" {
			f.Widths.at.Fault("a width needs its place and its size; expected {at: 60 ft, width: 5 ft}")
			continue
		}
		at, width := w.At.chainageM(m), w.Width.lengthM(0, maxWidthM, "a detection width")
		if at != nil && width != nil {
			b.Widths = append(b.Widths, Width{AtM: *at, WidthM: *width})
		}
	}
	slices.SortStableFunc(b.Widths, func(a, b Width) int { return sign(a.AtM - b.AtM) })
	return b
}

// value reads the text as a quantity; nil where it is unknown or wrong.
func (s scalar) value(parse func(text, bare string) (float64, error)) *float64 {
	if !s.set {
		return nil
	}
	v, err := parse(s.text, quantity.Strict)
	if err != nil {
		s.at.Fault("%v", err)
		return nil
	}
	return &v
}

func (s scalar) lengthM(low, high float64, what string) *float64 {
	l := s.value(quantity.ParseLength)
	if l != nil && !(*l >= low && *l <= high) {
		s.at.Fault("%s is out of range; expected %s of %g to %g m (%.0f to %.0f ft)", s.text, what, low, high,
			low/quantity.MPerFt, high/quantity.MPerFt)
		return nil
	}
	return l
}

// chainageM reads a place along the wire. Where the wire's length is not known
// only the impossible is refused.
func (s scalar) chainageM(m *Map) *float64 {
	at := s.value(quantity.ParseLength)
	if at == nil {
		return nil
	}
	boundary, leads := m.BoundaryLength(), m.LeadInLength()
	limit := maxLoopM + 2*maxLeadInM
	if boundary.Known {
		limit = boundary.Value + 2*maxLeadInM
	}
	if boundary.Known && leads.Known {
		limit = boundary.Value + 2*leads.Value
	}
	if *at > limit+roundingM {
		u := unitsOf(s.text)
		s.at.Fault("%s is beyond the wire; expected a distance from terminal A of at most %s (2 x lead-in + loop)",
			s.text, quantity.FormatLength(limit, u))
		return nil
	}
	return at
}

// coordinate reads a number of the path's frame, with or without its unit.
func (s scalar) coordinate(m *Map) (valueM float64, ok bool) {
	if !s.set {
		return 0, false
	}
	bare := quantity.Strict
	if len(m.Loop.Path) > 0 {
		bare = m.Loop.PathUnits.String()
	}
	text, negative := strings.CutPrefix(s.text, "-")
	v, err := quantity.ParseLength(text, bare)
	if err != nil {
		s.at.Fault("%v (bare numbers only beside a path, in its units)", err)
		return 0, false
	}
	if negative {
		v = -v
	}
	return v, true
}

func (s scalar) word(words []string) string {
	if !s.set || s.text == "" {
		return ""
	}
	if !slices.Contains(words, s.text) {
		s.at.Fault("%s is not known here; expected %s or unknown", strconv.Quote(s.text), strings.Join(words, ", "))
		return ""
	}
	return s.text
}

func (s scalar) bool() *bool {
	switch s.word(yesNo) {
	case "true", "yes":
		return new(true)
	case "false", "no":
		return new(false)
	}
	return nil
}

func (s scalar) gauge() quantity.Gauge {
	if !s.set {
		return quantity.Gauge{}
	}
	g, err := quantity.ParseWire(s.text, quantity.Strict)
	if err != nil {
		s.at.Fault("%v", err)
	}
	return g
}

func (s scalar) reading(unit string) *Reading {
	if !s.set {
		return nil
	}
	value, over, err := quantity.ParseReading(s.text, unit, quantity.Strict)
	if err != nil {
		s.at.Fault("%v", err)
		return nil
	}
	return &Reading{Value: value, Over: over}
}

var yearRE = regexp.MustCompile(`^(\d{4})(?:-\d{2}(?:-\d{2})?)?$`)

func (s scalar) year() int {
	if !s.set {
		return 0
	}
	m := yearRE.FindStringSubmatch(s.text)
	if m == nil {
		s.at.Fault("%s is not a year; expected one such as 2019", strconv.Quote(s.text))
		return 0
	}
	year, _ := strconv.Atoi(m[1])
	if year < firstYear || year > lastYear {
		s.at.Fault("%s is out of range; expected a year from %d to %d", s.text, firstYear, lastYear)
		return 0
	}
	return year
}

func (s scalar) date() string {
	if !s.set {
		return ""
	}
	if _, err := time.Parse(time.DateOnly, s.text); err != nil {
		s.at.Fault("%s is not a date; expected one such as 2026-05-01", strconv.Quote(s.text))
		return ""
	}
	return s.text
}

func lonLat(o maybe[[]scalar]) *LonLat {
	values := o.value
	if !o.set {
		return nil
	}
	if len(values) != 2 {
		o.at.Fault("found %d numbers; expected [longitude, latitude] in degrees", len(values))
		return nil
	}
	lon, err1 := strconv.ParseFloat(values[0].text, 64)
	lat, err2 := strconv.ParseFloat(values[1].text, 64)
	if err1 != nil || err2 != nil || !(math.Abs(lon) <= 180) || !(math.Abs(lat) <= 89) {
		o.at.Fault("[%s, %s] is no place; expected [longitude, latitude] in degrees, within 180 and 89", values[0].text, values[1].text)
		return nil
	}
	return &LonLat{lon, lat}
}

// unitsOf tells the system of a length as it was written.
func unitsOf(text string) quantity.Units {
	if strings.Contains(strings.TrimRight(text, ". "), "m") {
		return quantity.Metres
	}
	return quantity.Feet
}

func join[S ~string](words []S) string {
	list := make([]string, len(words))
	for i, w := range words {
		list[i] = string(w)
	}
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return fmt.Sprintf("%s or %s", strings.Join(list[:len(list)-1], ", "), list[len(list)-1])
}
