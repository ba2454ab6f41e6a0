package yard

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"loopfault/diagnose/quantity"
)

// GeoJSON (RFC 7946) needs only these few shapes; writing them down is lighter
// than a library, and lets a fault say which feature it is in.
type (
	geoObject struct {
		Type        string          `json:"type"`
		Features    []geoObject     `json:"features,omitempty"`    // FeatureCollection
		Geometry    *geoObject      `json:"geometry,omitempty"`    // Feature
		Geometries  []geoObject     `json:"geometries,omitempty"`  // GeometryCollection
		Coordinates json.RawMessage `json:"coordinates,omitempty"` // the other geometries
		Properties  map[string]any  `json:"properties,omitempty"`
	}
	position []float64 // longitude, latitude, perhaps altitude
)

// The kinds of a drawn line or point that are no feature of the wire.
const (
	kindWire        = "wire"
	kindLeadIn      = "lead-in"
	kindTransmitter = "transmitter"
)

// ImportGeoJSON reads a map from GeoJSON: the wire is the line or polygon whose
// property kind is wire, or the longest one without a kind; lines and points with
// a kind of feature are features, at the chainage they state or the nearest.
func ImportGeoJSON(data []byte) (*Map, *Import, error) {
	if len(data) > maxImportBytes {
		return nil, nil, fmt.Errorf("%d bytes; expected at most %d", len(data), maxImportBytes)
	}
	var root geoObject
	d := json.NewDecoder(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	if err := d.Decode(&root); err != nil {
		return nil, nil, fmt.Errorf("not GeoJSON: %s", fitToPrint(err))
	}
	draft := &geoDraft{drawing: drawing{words: map[string]string{}}}
	if err := draft.read(root, nil, "the file", 0); err != nil {
		return nil, nil, err
	}
	if draft.wire == nil {
		return nil, nil, errors.New(`no wire found; expected a LineString or Polygon, best with the property "kind": "wire"`)
	}
	m, report, err := draft.toMap(!draft.wireNamed && looksWalked(draft.wire))
	if err != nil {
		return nil, nil, err
	}
	report.Notes = append(draft.notes, report.Notes...)
	return m, report, nil
}

// looksWalked tells a receiver's track, a point every step or two, from corners
// that somebody drew. Judgement.
func looksWalked(line []LonLat) bool {
	return len(line) >= 40 && extent(line)/float64(len(line)) < 4
}

// geoDraft collects a drawing.
type geoDraft struct {
	drawing
	notes     []string
	wireNamed bool // the wire was called so
}

const maxNesting = 8 // of collections in collections

func (d *geoDraft) read(o geoObject, properties map[string]any, where string, depth int) error {
	if depth > maxNesting {
		return fmt.Errorf("%s is nested too deep", where)
	}
	switch o.Type {
	case "FeatureCollection":
		for i, f := range o.Features {
			if err := d.read(f, nil, fmt.Sprintf("features[%d]", i), depth+1); err != nil {
				return err
			}
		}
		return nil
	case "Feature":
		if o.Geometry == nil {
			d.notes = append(d.notes, where+" was left out: it has no geometry")
			return nil
		}
		return d.read(*o.Geometry, o.Properties, where, depth+1)
	case "GeometryCollection":
		for _, g := range o.Geometries {
			if err := d.read(g, properties, where, depth+1); err != nil {
				return err
			}
		}
		return nil
	case "Point":
		var p position
		if err := unmarshal(o.Coordinates, &p, where); err != nil {
			return err
		}
		return d.point(p, properties, where)
	case "LineString":
		var line []position
		if err := unmarshal(o.Coordinates, &line, where); err != nil {
			return err
		}
		return d.line(line, false, properties, where)
	case "Polygon":
		var rings [][]position
		if err := unmarshal(o.Coordinates, &rings, where); err != nil {
			return err
		}
		if len(rings) == 0 {
			return nil
		}
		if len(rings) > 1 {
			d.notes = append(d.notes, where+": only the outer ring was taken")
		}
		return d.line(rings[0], true, properties, where)
	case "MultiPoint", "MultiLineString", "MultiPolygon":
		return d.multi(o, properties, where, depth)
	}
	return fmt.Errorf("%s: %q is no type of GeoJSON; expected a FeatureCollection, Feature or geometry", where, o.Type)
}

// multi reads each part of a Multi geometry as one of its single kind.
func (d *geoDraft) multi(o geoObject, properties map[string]any, where string, depth int) error {
	var parts []json.RawMessage
	if err := unmarshal(o.Coordinates, &parts, where); err != nil {
		return err
	}
	for _, part := range parts {
		single := geoObject{Type: strings.TrimPrefix(o.Type, "Multi"), Coordinates: part}
		if err := d.read(single, properties, where, depth+1); err != nil {
			return err
		}
	}
	return nil
}

func unmarshal(raw json.RawMessage, into any, where string) error {
	if err := json.Unmarshal(raw, into); err != nil {
		return fmt.Errorf("%s: coordinates of another shape than the type says", where)
	}
	return nil
}

func lonLatOf(p position, where string) (LonLat, error) {
	if len(p) < 2 {
		return LonLat{}, fmt.Errorf("%s: a position of %d numbers; expected longitude and latitude", where, len(p))
	}
	g := LonLat{p[0], p[1]}
	if !(math.Abs(g.Lon) <= 180 && math.Abs(g.Lat) <= 89) {
		hint := ""
		if math.Abs(g.Lat) <= 180 && math.Abs(g.Lon) <= 89 {
			hint = " (perhaps they are the wrong way round)"
		}
		return LonLat{}, fmt.Errorf("%s: [%g, %g] is no longitude and latitude in degrees%s", where, p[0], p[1], hint)
	}
	return g, nil
}

// word is a property as text.
func word(properties map[string]any, name string) string {
	switch v := properties[name].(type) {
	case string:
		return strings.TrimSpace(v)
	case bool:
		return strconv.FormatBool(v)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return ""
}

func (d *geoDraft) point(p position, properties map[string]any, where string) error {
	g, err := lonLatOf(p, where)
	if err != nil {
		return err
	}
	if word(properties, "kind") == kindTransmitter {
		d.transmitter = &g
		return nil
	}
	d.mark([]LonLat{g}, properties, where)
	return nil
}

func (d *geoDraft) line(line []position, closed bool, properties map[string]any, where string) error {
	places := make([]LonLat, len(line))
	for i, p := range line {
		g, err := lonLatOf(p, where)
		if err != nil {
			return err
		}
		places[i] = g
	}
	switch kind := word(properties, "kind"); kind {
	case kindWire:
		d.takeWire(places, closed, properties)
		d.wireNamed = true
	case kindLeadIn:
		d.leadIn = places
	default:
		if _, isFeature := kindOf(kind); isFeature {
			d.mark(places, properties, where)
			return nil
		}
		if d.wire != nil && !d.wireNamed {
			d.notes = append(d.notes, "of several lines without a kind the longest was taken for the wire")
		}
		if !d.wireNamed && (d.wire == nil || extent(places) > extent(d.wire)) {
			d.takeWire(places, closed, properties)
		}
	}
	return nil
}

func (d *geoDraft) takeWire(places []LonLat, closed bool, properties map[string]any) {
	d.wire, d.closed = places, closed
	for name := range properties {
		d.words[name] = word(properties, name)
	}
	d.name = word(properties, "yard")
	if d.name == "" {
		d.name = word(properties, "name")
	}
	d.origin = nil
	if o, ok := properties["origin"].([]any); ok && len(o) == 2 {
		lon, ok1 := o[0].(float64)
		lat, ok2 := o[1].(float64)
		if g, err := lonLatOf(position{lon, lat}, "origin"); ok1 && ok2 && err == nil {
			d.origin = &g
		}
	}
}

func (d *geoDraft) mark(places []LonLat, properties map[string]any, where string) {
	kind, ok := kindOf(word(properties, "kind"), word(properties, "name"), word(properties, "type"))
	if !ok {
		d.notes = append(d.notes, fmt.Sprintf("%s was left out: its kind is none of %s", where, join(FeatureKinds)))
		return
	}
	note := word(properties, "note")
	if note == "" && word(properties, "name") != string(kind) {
		note = word(properties, "name")
	}
	d.marks = append(d.marks, mark{
		label: where, kind: kind, note: printableLine(note), places: places,
		at: word(properties, "at"), from: word(properties, "from"), to: word(properties, "to"),
	})
}

// extent is the length of a line on the ground.
func extent(places []LonLat) float64 {
	sum := 0.0
	for i := 1; i < len(places); i++ {
		sum += distance(Point{}, frameAt(places[i-1]).local(places[i]))
	}
	return sum
}

// printableLine makes any text fit for a note: one line, no control characters.
func printableLine(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 || r == 0xfffd || r >= 0x2028 && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0xfeff {
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// GeoJSON writes the map as a FeatureCollection: the wire, the lead-in, the
// transmitter and the features. Positions have nine decimals, a tenth of a millimetre, and
// chainages are written too, so that [ImportGeoJSON] reads back the same map. What
// belongs to no place (soil, baseline) stays in the yard file.
func (m *Map) GeoJSON() ([]byte, error) {
	if !m.HasPath() {
		return nil, errors.New("the map has no path to export")
	}
	if m.Loop.Origin == nil {
		return nil, ErrNoOrigin
	}
	f := frameAt(*m.Loop.Origin)
	u := m.Units()
	place := func(p Point) json.RawMessage { return lonLatText(f.global(p)) }
	var features []json.RawMessage
	add := func(geometry string, coordinates json.RawMessage, properties ...any) {
		features = append(features, json.RawMessage(fmt.Sprintf(
			`{"type": "Feature", "geometry": {"type": %q, "coordinates": %s}, "properties": %s}`,
			geometry, coordinates, propertyText(properties))))
	}
	line := func(points []Point) json.RawMessage {
		texts := make([]string, len(points))
		for i, p := range points {
			texts[i] = string(place(p))
		}
		return json.RawMessage("[" + strings.Join(texts, ", ") + "]")
	}

	wire := []any{"kind", kindWire, "yard", m.Name, "units", u.String(),
		"origin", json.RawMessage("[" + degrees(m.Loop.Origin.Lon) + ", " + degrees(m.Loop.Origin.Lat) + "]"),
		"material", m.Wire.Material, "strands", m.Wire.Strands}
	if m.Wire.Gauge.Known() {
		wire = append(wire, "gauge", m.Wire.Gauge.String())
	}
	if l := m.Loop.LengthM; l != nil {
		wire = append(wire, "length", quantity.WriteLength(*l, u))
	}
	if s := m.Loop.LengthUncertainty; s != nil {
		wire = append(wire, "length_uncertainty", quantity.WritePercent(*s))
	}
	if l := m.LeadIn.LengthM; l != nil {
		wire = append(wire, "lead_in", quantity.WriteLength(*l, u))
	}
	if t := m.LeadIn.Twisted; t != nil {
		wire = append(wire, "twisted", strconv.FormatBool(*t))
	}
	add("LineString", line(append(slices.Clone(m.Loop.Path), m.Loop.Path[0])), wire...)
	if at := m.Transmitter.At; at != nil {
		add("Point", place(*at), "kind", kindTransmitter)
		add("LineString", line([]Point{*at, m.Loop.Path[0]}), "kind", kindLeadIn)
	}
	for _, feature := range m.Features {
		if feature.Found || feature.Unplaced {
			continue
		}
		if feature.FromM == feature.ToM {
			if x, y, ok := m.Place(feature.FromM); ok {
				add("Point", place(Point{x, y}), "kind", string(feature.Kind), "at", quantity.WriteLength(feature.FromM, u), "note", feature.Note)
			}
			continue
		}
		if points := m.stretch(feature.FromM, feature.ToM); len(points) > 1 {
			add("LineString", line(points), "kind", string(feature.Kind),
				"from", quantity.WriteLength(feature.FromM, u), "to", quantity.WriteLength(feature.ToM, u), "note", feature.Note)
		}
	}
	var b bytes.Buffer
	b.WriteString("{\"type\": \"FeatureCollection\", \"features\": [\n")
	for i, feature := range features {
		b.Write(feature)
		if i < len(features)-1 {
			b.WriteByte(',')
		}
		b.WriteByte('\n')
	}
	b.WriteString("]}\n")
	return b.Bytes(), nil
}

// stretch is the line along the wire between two chainages, with the corners
// between them; empty where an end has no place.
func (m *Map) stretch(fromM, toM float64) []Point {
	x, y, ok := m.Place(fromM)
	x2, y2, ok2 := m.Place(toM)
	if !ok || !ok2 {
		return nil
	}
	points := []Point{{x, y}}
	lead, scale := m.LeadInM(), m.BoundaryM()/m.Loop.roundM()
	done := 0.0
	for i, p := range m.Loop.Path {
		if at := lead + done*scale; at > fromM+roundingM && at < toM-roundingM {
			points = append(points, p)
		}
		done += distance(p, m.Loop.Path[(i+1)%len(m.Loop.Path)])
	}
	if end := lead + m.BoundaryM(); end > fromM+roundingM && end < toM-roundingM {
		points = append(points, m.Loop.Path[0])
	}
	return append(points, Point{x2, y2})
}

// Stretch is the line along the wire between two chainages, in the path's
// frame; nil without a map.
func (m *Map) Stretch(fromM, toM float64) []Point {
	if !m.HasPath() {
		return nil
	}
	return m.stretch(max(fromM, 0), min(toM, m.TotalM()))
}

// lonLatText writes a position with [earthDecimals].
func lonLatText(g LonLat) json.RawMessage {
	text := func(d float64) string {
		s := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(d, 'f', earthDecimals, 64), "0"), ".")
		if s == "-0" || s == "" {
			return "0"
		}
		return s
	}
	return json.RawMessage("[" + text(g.Lon) + ", " + text(g.Lat) + "]")
}

// propertyText writes names and values in the order given; empty ones are left out.
func propertyText(pairs []any) string {
	var parts []string
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] == "" {
			continue
		}
		value, err := json.Marshal(pairs[i+1])
		if err != nil {
			continue // strings and raw positions only
		}
		parts = append(parts, fmt.Sprintf("%q: %s", pairs[i], value))
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

// fitToPrint is a decoder's error without the bytes of the file that it repeats and
// a terminal would obey.
func fitToPrint(err error) string {
	return strings.Map(func(r rune) rune {
		if r == utf8.RuneError || unicode.IsControl(r) {
			return '?'
		}
		return r
	}, err.Error())
}
