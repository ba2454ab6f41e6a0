package yard

import (
	"math"
	"os"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose/quantity"
)

const elsewhere = "../../testdata/yards/made-elsewhere/"

func read(t testing.TB, file string) []byte {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	return data
}

// What goes out comes back the same, and going out again gives the same bytes.
func TestExportsComeBack(t *testing.T) {
	m, err := Load("../../testdata/yards/terrace.yaml")
	require.NoError(t, err)
	// Soil, baseline, year and the transmitter's data have no place on a map.
	want := *m
	want.Soil, want.Baseline, want.InstalledYear = Soil{}, nil, 0
	want.Transmitter = Transmitter{At: m.Transmitter.At}

	geo, err := m.GeoJSON()
	require.NoError(t, err)
	back, report, err := ImportGeoJSON(geo)
	require.NoError(t, err)
	assert.Empty(t, report.Notes)
	assert.Equal(t, string(want.Marshal()), string(back.Marshal()))
	again, err := back.GeoJSON()
	require.NoError(t, err)
	assert.Equal(t, string(geo), string(again))

	track, err := m.GPX()
	require.NoError(t, err)
	back, report, err = ImportGPX(track)
	require.NoError(t, err)
	assert.Empty(t, report.Notes)
	assert.Equal(t, string(want.Marshal()), string(back.Marshal()))
	again, err = back.GPX()
	require.NoError(t, err)
	assert.Equal(t, string(track), string(again))
}

func TestExportsComeBackAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := LonLat{
			Lon: float64(rapid.IntRange(-17999999, 17999999).Draw(t, "lon")) / 1e5,
			Lat: float64(rapid.IntRange(-7000000, 7000000).Draw(t, "lat")) / 1e5,
		}
		u := rapid.SampledFrom([]quantity.Units{quantity.Feet, quantity.Metres}).Draw(t, "units")
		m := &Map{Name: "somewhere"}
		m.Loop.Origin, m.Loop.PathUnits = &origin, u
		corner := func(x, y int) Point { // within a few hundredths of a unit round a 40 by 40 square
			jitter := rapid.IntRange(-400, 400)
			return Point{u.M(float64(x) + float64(jitter.Draw(t, "x"))/100), u.M(float64(y) + float64(jitter.Draw(t, "y"))/100)}
		}
		m.Loop.Path = []Point{corner(0, 0), corner(40, 0), corner(40, 40), corner(0, 40)}
		m.LeadIn.LengthM = new(u.M(7))
		m.Features = []Feature{{FromM: u.M(20), ToM: u.M(20), Kind: Splice}, {FromM: u.M(50), ToM: u.M(70), Kind: Bed, Note: "a <b> & \"c\""}}
		geo, err := m.GeoJSON()
		require.NoError(t, err)
		back, _, err := ImportGeoJSON(geo)
		require.NoError(t, err)
		require.Equal(t, string(m.Marshal()), string(back.Marshal()))
		track, err := m.GPX()
		require.NoError(t, err)
		back, _, err = ImportGPX(track)
		require.NoError(t, err)
		require.Equal(t, string(m.Marshal()), string(back.Marshal()))
	})
}

// The examples of RFC 7946: section 1.5 (a FeatureCollection) and appendix A
// (each geometry). They span degrees, so only what was read is looked at.
func TestReadsTheExamplesOfTheStandard(t *testing.T) {
	const collection = `{"type": "FeatureCollection", "features": [
	 {"type": "Feature", "geometry": {"type": "Point", "coordinates": [102.0, 0.5]}, "properties": {"prop0": "value0"}},
	 {"type": "Feature", "geometry": {"type": "LineString", "coordinates": [[102.0, 0.0], [103.0, 1.0], [104.0, 0.0], [105.0, 1.0]]},
	  "properties": {"prop0": "value0", "prop1": 0.0}},
	 {"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]]},
	  "properties": {"prop0": "value0", "prop1": {"this": "that"}}}]}`
	parse := func(text string) (*geoDraft, error) {
		var o geoObject
		require.NoError(t, unmarshal([]byte(text), &o, "text"))
		d := &geoDraft{drawing: drawing{words: map[string]string{}}}
		return d, d.read(o, nil, "the file", 0)
	}
	d, err := parse(collection)
	require.NoError(t, err)
	// The line runs along 3 diagonals of 1.41 degrees, the polygon round 4.
	assert.Equal(t, []LonLat{{102, 0}, {103, 1}, {104, 0}, {105, 1}}, d.wire)
	assert.False(t, d.closed)
	assert.Len(t, d.notes, 2, "the point has no kind, and there were two lines")

	for name, c := range map[string]struct {
		text string
		want []LonLat
	}{
		"A.2 LineString":         {`{"type": "LineString", "coordinates": [[100.0, 0.0], [101.0, 1.0]]}`, []LonLat{{100, 0}, {101, 1}}},
		"A.3 Polygon, a hole":    {`{"type": "Polygon", "coordinates": [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]], [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]]}`, []LonLat{{100, 0}, {101, 0}, {101, 1}, {100, 1}, {100, 0}}},
		"A.5 MultiLineString":    {`{"type": "MultiLineString", "coordinates": [[[100.0, 0.0], [101.0, 1.0]], [[102.0, 2.0], [103.0, 3.0]]]}`, []LonLat{{100, 0}, {101, 1}}},
		"A.7 GeometryCollection": {`{"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": [100.0, 0.0]}, {"type": "LineString", "coordinates": [[101.0, 0.0], [102.0, 1.0]]}]}`, []LonLat{{101, 0}, {102, 1}}},
	} {
		d, err := parse(c.text)
		require.NoError(t, err, name)
		assert.Equal(t, c.want, d.wire, name)
	}
	d, err = parse(`{"type": "Feature", "geometry": null, "properties": null}`) // section 3.2: unlocated
	require.NoError(t, err)
	assert.Nil(t, d.wire)
}

func TestReadsMapsMadeElsewhere(t *testing.T) {
	// 40 m by 30 m, walked with 0.4 m of noise: see the README beside the files.
	m, report, err := ImportGPX(read(t, elsewhere+"walked.gpx"))
	require.NoError(t, err)
	assert.Equal(t, 141, report.Points)
	assert.LessOrEqual(t, report.Kept, 8, "four corners and little more")
	assert.Less(t, report.RMSM, 1.0)
	assert.Less(t, report.ClosingM, 3.0)
	assert.InDelta(t, 140, m.BoundaryM(), 3*m.BoundaryLength().SD, "the truth lies within three deviations")
	assert.Less(t, m.BoundaryLength().SD, 0.1*140)

	m, report, err = ImportGeoJSON(read(t, elsewhere+"tracks.geojson"))
	require.NoError(t, err)
	assert.LessOrEqual(t, report.Kept, 8)
	assert.InDelta(t, 140, m.BoundaryM(), 3*m.BoundaryLength().SD)

	// Counter-clockwise from the south-west corner; the four sides by GeodSolve -i
	// of GeographicLib 2.1.2 on the file's own numbers.
	m, report, err = ImportGeoJSON(read(t, elsewhere+"polygon.geojson"))
	require.NoError(t, err)
	assert.Equal(t, "Hillside", m.Name)
	assert.InEpsilon(t, 41.9986+28.0056+41.9984+28.0056, m.BoundaryM(), promised)
	require.Len(t, m.Features, 2)
	assert.Equal(t, Gate, m.Features[0].Kind)
	assert.Equal(t, "gate by the lane", m.Features[0].Note)
	// No lead-in is drawn, so chainage starts after a typical one. The gate is
	// 0.0001 degree up the east side: 11.1 m, a minute of latitude being a nautical mile.
	assert.InDelta(t, m.LeadInM()+42+1852.0*60/10000, m.Features[0].FromM, 0.1)
	assert.Equal(t, Driveway, m.Features[1].Kind)
	assert.InDelta(t, 3.0, m.Features[1].ToM-m.Features[1].FromM, 0.1, "0.00004 degree of longitude at 47 degrees")
	assert.Len(t, report.Notes, 3, "oak, shed and the far splice: %v", report.Notes)
}

func TestImportsThatAreRefused(t *testing.T) {
	for text, want := range map[string]string{
		``:                     "not GeoJSON",
		`{"type": "Topology"}`: `"Topology" is no type of GeoJSON`,
		`{"type": "FeatureCollection", "features": []}`:                                    "no wire found",
		`{"type": "LineString", "coordinates": [[8, 47], [8.001, 47]]}`:                    "the wire has 2 points",
		`{"type": "LineString", "coordinates": [[8, 47], [8, 47], [8, 47], [8, 47]]}`:      "fall together",
		`{"type": "LineString", "coordinates": [[8, 47], [9, 47], [9, 48]]}`:               "expected 3 to 5000 m",
		`{"type": "LineString", "coordinates": [8, 47]}`:                                   "coordinates of another shape",
		`{"type": "LineString", "coordinates": [[47, 108], [47, 108.001], [47.001, 108]]}`: "wrong way round",
		`{"type": "LineString", "coordinates": [[8], [9], [10]]}`:                          "a position of 1 numbers",
	} {
		_, _, err := ImportGeoJSON([]byte(text))
		assert.ErrorContains(t, err, want, text)
	}
	for text, want := range map[string]string{
		``:                          "not GPX",
		`<gpx version="1.1"></gpx>`: "no track or route found",
		`<gpx version="1.1"><trk><trkseg><trkpt lat="447" lon="8"/><trkpt lat="447" lon="8.001"/><trkpt lat="447.001" lon="8"/></trkseg></trk></gpx>`: "is no place",
	} {
		_, _, err := ImportGPX([]byte(text))
		assert.ErrorContains(t, err, want, text)
	}
	m, err := Load("../../testdata/yards/orchard.yaml")
	require.NoError(t, err)
	_, err = m.GeoJSON()
	assert.ErrorIs(t, err, ErrNoOrigin)
	_, err = m.GPX()
	assert.ErrorIs(t, err, ErrNoOrigin)
	_, err = (&Map{}).GeoJSON()
	assert.ErrorContains(t, err, "no path")
}

// A straight walk with one corner keeps its corner and nothing else; a
// tolerance is kept whatever the walk.
func TestSimplify(t *testing.T) {
	square := []Point{{0, 0}, {5, 0.2}, {10, -0.1}, {10.1, 5}, {10, 10}, {5, 10.3}, {0, 10}, {-0.2, 5}, {0.1, 0.4}}
	kept, rms := simplify(square, 1)
	assert.Equal(t, []Point{{0, 0}, {10, -0.1}, {10, 10}, {0, 10}}, kept)
	assert.Greater(t, rms, 0.0)
	rapid.Check(t, func(t *rapid.T) {
		walk := []Point{{}}
		for range rapid.IntRange(5, 60).Draw(t, "steps") {
			last := walk[len(walk)-1]
			walk = append(walk, Point{last.X + rapid.Float64Range(-3, 3).Draw(t, "dx"), last.Y + rapid.Float64Range(-3, 3).Draw(t, "dy")})
		}
		kept, _ := simplify(walk, 1)
		for _, p := range walk {
			off := 1e9
			for i := range kept {
				_, o := nearest(kept[i], kept[(i+1)%len(kept)], p)
				off = min(off, o)
			}
			if off > 6 { // the tolerance, and the closing that swallows the last point
				t.Fatalf("%v is %g m off", p, off)
			}
		}
	})
}

// The seeds are small: the fuzzer shortens what it finds byte by byte, for up to a
// minute each, and a track of a hundred points is all it would ever get to.
func FuzzGeoJSON(f *testing.F) {
	f.Add(read(f, elsewhere+"polygon.geojson"))
	f.Add([]byte(`{"type": "LineString", "coordinates": [[8, 47], [8.001, 47], [8, 47.001]]}`))
	f.Add([]byte(`{"type": "FeatureCollection", "features": [
		{"type": "Feature", "properties": null, "geometry": {"type": "MultiLineString", "coordinates": [[[8, 47], [8.001, 47]], [[8.001, 47.001], [8, 47]]]}},
		{"type": "Feature", "properties": {"kind": "bed", "note": "a"}, "geometry": {"type": "Point", "coordinates": [8.0005, 47, 400]}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) { imports(t, ImportGeoJSON, data) })
}

func FuzzGPX(f *testing.F) {
	f.Add([]byte(`<gpx version="1.1"><trk><name>a</name><trkseg><trkpt lat="47" lon="8"/><trkpt lat="47" lon="8.001"/><trkpt lat="47.001" lon="8"/></trkseg></trk></gpx>`))
	f.Add([]byte(`<?xml version="1.0" encoding="UTF-8"?><gpx version="1.0"><wpt lat="47" lon="8.0005"><name>splice</name></wpt>` +
		`<rte><rtept lat="47" lon="8"><ele>400</ele></rtept><rtept lat="47" lon="8.001"/><rtept lat="47.001" lon="8"/></rte></gpx>`))
	f.Fuzz(func(t *testing.T, data []byte) { imports(t, ImportGPX, data) })
}

// imports checks that whatever is taken from elsewhere can be written, read back,
// exported and placed upon.
func imports(t *testing.T, from func([]byte) (*Map, *Import, error), data []byte) {
	m, _, err := from(data)
	if err != nil {
		if !utf8.ValidString(err.Error()) || strings.ContainsFunc(err.Error(), unicode.IsControl) {
			t.Fatalf("%q", err)
		}
		return
	}
	again, err := Parse("x", m.Marshal())
	if err != nil {
		t.Fatalf("%v\n%s", err, m.Marshal())
	}
	if !(again.TotalM() > 0) || math.IsInf(again.TotalM(), 0) {
		t.Fatalf("total of %g m", again.TotalM())
	}
	again.Place(again.TotalM() / 2)
	if _, err := m.GeoJSON(); err != nil {
		t.Fatal(err)
	}
	if _, err := m.GPX(); err != nil {
		t.Fatal(err)
	}
}
