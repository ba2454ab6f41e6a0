package yard

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"github.com/tkrajina/gpxgo/gpx"

	"loopfault/diagnose/quantity"
)

// ImportGPX reads a map from a GPX file: the wire is the longest track or route,
// taken for a walk (thinned and closed) unless its type says that it is a wire;
// waypoints whose type, symbol or name is a kind of feature are features.
func ImportGPX(data []byte) (*Map, *Import, error) {
	if len(data) > maxImportBytes {
		return nil, nil, fmt.Errorf("%d bytes; expected at most %d", len(data), maxImportBytes)
	}
	g, err := gpx.ParseBytes(data)
	if err != nil {
		return nil, nil, fmt.Errorf("not GPX: %s", fitToPrint(err))
	}
	d := drawing{words: map[string]string{}}
	var notes []string
	walked := true
	longest := 0.0
	lines := 0
	consider := func(places []LonLat, name, description, kind, label string) {
		if k, ok := kindOf(kind); ok {
			at, from, to := readChainage(description)
			d.marks = append(d.marks, mark{label: label, kind: k, note: printableLine(noteOf(name, k)), places: places, at: at, from: from, to: to})
			return
		}
		lines++
		drawn := kind == kindWire
		if l := extent(places); drawn || l > longest && walked {
			longest = l
			d.wire, d.name, walked = places, printableLine(name), !drawn
			if drawn {
				d.words = readWords(description)
			}
		}
	}
	for i, track := range g.Tracks {
		var places []LonLat // segments are one walk with pauses
		for _, segment := range track.Segments {
			for _, p := range segment.Points {
				places = append(places, LonLat{p.Longitude, p.Latitude})
			}
		}
		consider(places, track.Name, track.Description, track.Type, fmt.Sprintf("track %d", i+1))
	}
	for i, route := range g.Routes {
		var places []LonLat
		for _, p := range route.Points {
			places = append(places, LonLat{p.Longitude, p.Latitude})
		}
		consider(places, route.Name, route.Description, route.Type, fmt.Sprintf("route %d", i+1))
	}
	if d.wire == nil {
		return nil, nil, errors.New("no track or route found; expected one walked round the yard along the wire")
	}
	if lines > 1 {
		notes = append(notes, fmt.Sprintf("of %d tracks and routes one was taken for the wire: %q", lines, d.name))
	}
	for i, p := range g.Waypoints {
		place := LonLat{p.Longitude, p.Latitude}
		if p.Type == kindTransmitter || strings.EqualFold(p.Name, kindTransmitter) {
			d.transmitter = &place
			continue
		}
		kind, ok := kindOf(p.Type, p.Symbol, p.Name, p.Comment)
		if !ok {
			notes = append(notes, fmt.Sprintf("waypoint %d was left out: neither its type nor its name is one of %s", i+1, join(FeatureKinds)))
			continue
		}
		at, from, to := readChainage(p.Description)
		d.marks = append(d.marks, mark{label: fmt.Sprintf("waypoint %d", i+1), kind: kind,
			note: printableLine(noteOf(p.Name, kind)), places: []LonLat{place}, at: at, from: from, to: to})
	}
	all := append([]LonLat{}, d.wire...)
	for _, k := range d.marks {
		all = append(all, k.places...)
	}
	if d.transmitter != nil {
		all = append(all, *d.transmitter)
	}
	for _, p := range all {
		if !(math.Abs(p.Lon) <= 180 && math.Abs(p.Lat) <= 89) {
			return nil, nil, fmt.Errorf("latitude %g, longitude %g is no place", p.Lat, p.Lon)
		}
	}
	d.origin = readOrigin(d.words["origin"])
	m, report, err := d.toMap(walked)
	if err != nil {
		return nil, nil, err
	}
	report.Notes = append(notes, report.Notes...)
	return m, report, nil
}

// noteOf is a name that says more than the kind.
func noteOf(name string, kind FeatureKind) string {
	if strings.EqualFold(strings.TrimSpace(name), string(kind)) {
		return ""
	}
	return name
}

var chainageRE = regexp.MustCompile(`^(?:at (.+)|from (.+) to (.+))$`)

// readChainage reads the description that [Map.GPX] writes.
func readChainage(description string) (at, from, to string) {
	if m := chainageRE.FindStringSubmatch(strings.TrimSpace(description)); m != nil {
		return m[1], m[2], m[3]
	}
	return "", "", ""
}

// readWords reads "gauge: 20 awg; length: 480 ft".
func readWords(description string) map[string]string {
	words := map[string]string{}
	for _, part := range strings.Split(description, ";") {
		if name, value, ok := strings.Cut(part, ":"); ok {
			words[strings.TrimSpace(name)] = strings.TrimSpace(value)
		}
	}
	return words
}

func readOrigin(text string) *LonLat {
	lonText, latText, ok := strings.Cut(text, " ")
	lon, err1 := strconv.ParseFloat(lonText, 64)
	lat, err2 := strconv.ParseFloat(latText, 64)
	if !ok || err1 != nil || err2 != nil || !(math.Abs(lon) <= 180 && math.Abs(lat) <= 89) {
		return nil
	}
	return &LonLat{lon, lat}
}

// GPX writes the map as GPX 1.1: the wire as a track, stretches as routes, points
// as waypoints. [ImportGPX] reads back the same map.
func (m *Map) GPX() ([]byte, error) {
	if !m.HasPath() {
		return nil, errors.New("the map has no path to export")
	}
	if m.Loop.Origin == nil {
		return nil, ErrNoOrigin
	}
	f, u := frameAt(*m.Loop.Origin), m.Units()
	place := func(p Point) gpx.GPXPoint {
		// Rounded as in GeoJSON, so that both tell the same place.
		g := f.global(p)
		return gpx.GPXPoint{Point: gpx.Point{Latitude: roundDegrees(g.Lat), Longitude: roundDegrees(g.Lon)}}
	}
	words := []string{"units: " + u.String(), "origin: " + degrees(m.Loop.Origin.Lon) + " " + degrees(m.Loop.Origin.Lat)}
	say := func(name, value string) {
		if value != "" {
			words = append(words, name+": "+value)
		}
	}
	if m.Wire.Gauge.Known() {
		say("gauge", m.Wire.Gauge.String())
	}
	say("material", m.Wire.Material)
	say("strands", m.Wire.Strands)
	if l := m.Loop.LengthM; l != nil {
		say("length", quantity.WriteLength(*l, u))
	}
	if s := m.Loop.LengthUncertainty; s != nil {
		say("length_uncertainty", quantity.WritePercent(*s))
	}
	if l := m.LeadIn.LengthM; l != nil {
		say("lead_in", quantity.WriteLength(*l, u))
	}
	if t := m.LeadIn.Twisted; t != nil {
		say("twisted", strconv.FormatBool(*t))
	}
	wire := gpx.GPXTrack{Name: m.Name, Type: kindWire, Description: strings.Join(words, "; ")}
	segment := gpx.GPXTrackSegment{}
	for _, p := range append(append([]Point{}, m.Loop.Path...), m.Loop.Path[0]) {
		segment.Points = append(segment.Points, place(p))
	}
	wire.Segments = []gpx.GPXTrackSegment{segment}
	out := gpx.GPX{Version: "1.1", Creator: "loopfault", Name: m.Name, Tracks: []gpx.GPXTrack{wire}}
	if at := m.Transmitter.At; at != nil {
		p := place(*at)
		p.Name, p.Type = kindTransmitter, kindTransmitter
		out.Waypoints = append(out.Waypoints, p)
	}
	for _, feature := range m.Features {
		if feature.Found || feature.Unplaced {
			continue
		}
		name := feature.Note
		if name == "" {
			name = string(feature.Kind)
		}
		if feature.FromM == feature.ToM {
			if x, y, ok := m.Place(feature.FromM); ok {
				p := place(Point{x, y})
				p.Name, p.Type = name, string(feature.Kind)
				p.Description = "at " + quantity.WriteLength(feature.FromM, u)
				out.Waypoints = append(out.Waypoints, p)
			}
			continue
		}
		route := gpx.GPXRoute{Name: name, Type: string(feature.Kind),
			Description: "from " + quantity.WriteLength(feature.FromM, u) + " to " + quantity.WriteLength(feature.ToM, u)}
		for _, p := range m.stretch(feature.FromM, feature.ToM) {
			route.Points = append(route.Points, place(p))
		}
		if len(route.Points) > 1 {
			out.Routes = append(out.Routes, route)
		}
	}
	text, err := out.ToXml(gpx.ToXmlParams{Version: "1.1", Indent: true})
	if err != nil {
		return nil, fmt.Errorf("write GPX: %w", err)
	}
	return append(bytes.TrimSpace(text), '\n'), nil
}

func roundDegrees(d float64) float64 {
	scale := math.Pow10(earthDecimals)
	return math.Round(d*scale) / scale
}
