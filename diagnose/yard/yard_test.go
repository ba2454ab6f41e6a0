package yard_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/kb/strictyaml"
)

const (
	folder = "../../testdata/yards/"
	ft     = quantity.MPerFt
)

func load(t *testing.T, name string) *yard.Map {
	t.Helper()
	m, err := yard.Load(folder + name + ".yaml")
	require.NoError(t, err)
	return m
}

// The values are those of testdata/yards/orchard.yaml, turned into metres by
// hand.
func TestOrchard(t *testing.T) {
	t.Parallel()
	m := load(t, "orchard")
	assert.Equal(t, "orchard house", m.Name)
	assert.Equal(t, yard.Wire{Gauge: quantity.Gauge{AWG: 20}, Material: "copper", Strands: "solid"}, m.Wire)
	assert.InDelta(t, 76.2, m.Transmitter.RatedLengthM[0], 1e-9)
	assert.InDelta(t, 762, m.Transmitter.RatedLengthM[1], 1e-9)
	assert.Equal(t, "none", m.Transmitter.Earthed)
	assert.False(t, *m.Transmitter.Arrester)
	assert.Equal(t, 2019, m.InstalledYear)
	assert.Equal(t, 10.0, *m.Soil.TemperatureC)
	assert.Equal(t, "moist", m.Soil.Moisture)
	assert.True(t, *m.LeadIn.Twisted)
	assert.InDelta(t, 12.192, m.LeadInM(), 1e-9)
	assert.InDelta(t, 146.304, m.BoundaryM(), 1e-9)
	assert.InDelta(t, 146.304*0.03, m.BoundaryLength().SD, 1e-9)
	assert.InDelta(t, 170.688, m.TotalM(), 1e-9)
	assert.True(t, m.TotalLength().Known)
	require.Len(t, m.Features, 8)
	splices := m.FeaturesOf(yard.Splice)
	require.Len(t, splices, 2)
	assert.InDelta(t, 45.72, splices[0].FromM, 1e-9)
	assert.Equal(t, "from the 2024 repair", splices[0].Note)
	require.NotNil(t, m.Baseline)
	assert.Equal(t, yard.Reading{Value: 5.9}, *m.Baseline.LoopOhms)
	assert.InDelta(t, 24e-9, m.Baseline.CapacitanceA.Value, 1e-18)
	assert.True(t, m.Baseline.LeadInOhms.Over)
	require.Len(t, m.Baseline.Widths, 4)
	assert.InDelta(t, 1.3716, m.Baseline.Widths[2].WidthM, 1e-9)
}

func TestPlaceAndBack(t *testing.T) {
	t.Parallel()
	m := load(t, "orchard")
	// Square of 120 ft from (0, 0) east, lead-in of 40 ft from (30, 15): corners
	// at 40, 160, 280, 400 and 520 ft of chainage.
	for at, want := range map[float64][2]float64{
		0: {30, 15}, 20: {15, 7.5}, 40: {0, 0}, 100: {60, 0}, 160: {120, 0}, 220: {120, 60}, 280: {120, 120},
		309: {91, 120}, 400: {0, 120}, 500: {0, 20}, 520: {0, 0}, 540: {15, 7.5}, 560: {30, 15},
	} {
		x, y, ok := m.Place(at * ft)
		require.True(t, ok, at)
		assert.InDelta(t, want[0]*ft, x, 1e-9, at)
		assert.InDelta(t, want[1]*ft, y, 1e-9, at)
	}
	for _, beyond := range []float64{-0.1, 560.1 * ft, math.NaN(), math.Inf(1)} {
		_, _, ok := m.Place(beyond)
		assert.False(t, ok)
	}
	at, off, ok := m.Chainage(91*ft, 123*ft) // three feet outside the far side
	require.True(t, ok)
	assert.InDelta(t, 309*ft, at, 1e-9)
	assert.InDelta(t, 3*ft, off, 1e-9)
	chord, ok := m.ChordM(160*ft, 280*ft)
	require.True(t, ok)
	assert.InDelta(t, 120*ft, chord, 1e-9)
	chord, _ = m.ChordM(40*ft, 280*ft)
	assert.InDelta(t, 120*math.Sqrt2*ft, chord, 1e-9, "across the square")

	// No transmitter on the map: the lead-in has no place.
	m.Transmitter.At = nil
	_, _, ok = m.Place(20 * ft)
	assert.False(t, ok)
	_, _, ok = m.Place(100 * ft)
	assert.True(t, ok)
}

// A chainage on the boundary, put on the map and read off again, is the same.
func TestPlaceRoundTrip(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"orchard", "terrace", "close-runs"} {
		m := load(t, name)
		rapid.Check(t, func(t *rapid.T) {
			at := m.LeadInM() + m.BoundaryM()*rapid.Float64Range(0.001, 0.999).Draw(t, "share")
			x, y, ok := m.Place(at)
			back, off, ok2 := m.Chainage(x, y)
			// Two stretches may share the spot: then any of them is right, and off is 0.
			x2, y2, _ := m.Place(back)
			if !ok || !ok2 || off > 1e-9 || math.Hypot(x2-x, y2-y) > 1e-6 {
				t.Fatalf("%s: %g m came back as %g m, %g m off", name, at, back, off)
			}
		})
	}
}

func TestNear(t *testing.T) {
	t.Parallel()
	m := load(t, "orchard")
	for at, want := range map[float64]string{
		309: "driveway, 300 to 314 ft", 317: "driveway, 300 to 314 ft", 150: "splice, 150 ft", 146: "splice, 150 ft",
		431: "splice, 431 ft", 20: "lead-in, leg A", 550: "lead-in, leg B", 270: "",
	} {
		assert.Equal(t, want, m.Near(at*ft, quantity.Feet), at)
	}
	assert.Equal(t, "driveway, 91.4 to 95.7 m", m.Near(309*ft, quantity.Metres))
}

func TestWhatNobodyKnows(t *testing.T) {
	t.Parallel()
	var none *yard.Map
	for name, m := range map[string]*yard.Map{"nil": none, "zero": {}, "unknown.yaml": load(t, "unknown")} {
		assert.False(t, m.TotalLength().Known, name)
		assert.Greater(t, m.TotalM(), 0.0, name)
		assert.Greater(t, m.BoundaryLength().SD, 0.3*m.BoundaryM(), name)
		assert.Empty(t, m.FeaturesOf(yard.Splice), name)
		assert.Empty(t, m.Near(10, quantity.Feet), name)
		assert.False(t, m.HasPath(), name)
		_, _, ok := m.Place(10)
		assert.False(t, ok, name)
		chord, ok := m.ChordM(10, 25)
		assert.False(t, ok, name)
		assert.Equal(t, 15.0, chord, name)
		again, err := yard.Parse(name, m.Marshal())
		require.NoError(t, err, name)
		assert.Equal(t, &yard.Map{}, again, name)
	}
}

// A square of a third of an acre (43,560 / 3 = 14,520 ft2) is 120.499 ft a
// side, 482.0 ft round: domain.md, beside the trade's 500 ft for that area.
func TestLengthFromArea(t *testing.T) {
	t.Parallel()
	m := load(t, "area-only")
	e := m.BoundaryLength()
	assert.False(t, e.Known)
	assert.InDelta(t, 482.0, e.Value/ft, 0.05)
	assert.Less(t, math.Abs(500-e.Value/ft), e.SD/ft, "the rule of 500 ft lies within one deviation")
	splices := m.FeaturesOf(yard.Splice)
	require.Len(t, splices, 1)
	assert.True(t, splices[0].Unplaced)
	assert.Equal(t, [2]float64{0, m.TotalM()}, [2]float64{splices[0].FromM, splices[0].ToM})
	assert.Empty(t, m.Near(50, quantity.Feet), "a splice somewhere is near nothing")
}

func TestGeometryFinds(t *testing.T) {
	t.Parallel()
	m := load(t, "close-runs")
	// From the corners in the file: the loop starts at 20 ft, the spur runs out
	// from 168.5 to 228.5 ft, turns at its end and comes back from 231.5 to 291.5 ft.
	runs := m.FeaturesOf(yard.OwnReturn)
	require.Len(t, runs, 2)
	const grain = 1.5 * ft // the search walks in steps of a foot
	assert.InDelta(t, 168.5*ft, runs[0].FromM, grain)
	assert.InDelta(t, 291.5*ft, runs[1].ToM, grain)
	for _, run := range runs {
		assert.True(t, run.Found)
		assert.Greater(t, run.ToM-run.FromM, 55*ft)
	}
	corners := m.Corners(yard.SharpTurnDeg)
	require.Len(t, corners, 7)
	var reentrant []float64
	for _, c := range corners {
		if c.Reentrant {
			reentrant = append(reentrant, math.Round(c.AtM/ft*10)/10)
		}
	}
	assert.Equal(t, []float64{168.5, 291.5}, reentrant, "where the spur leaves and joins")
	assert.InDelta(t, 180, corners[3].TurnDeg, 1e-9, "two right angles 3 ft apart are one hairpin")

	terrace := load(t, "terrace")
	count := 0
	for _, c := range terrace.Corners(yard.SharpTurnDeg) {
		if c.Reentrant {
			count++
		}
	}
	assert.Equal(t, 2, count, "the inner corners of the terrace")
	assert.Empty(t, terrace.FeaturesOf(yard.OwnReturn), "8 m apart is not close")
	assert.Empty(t, load(t, "orchard").Crossings())
}

func TestReentrantWhicheverWayRound(t *testing.T) {
	t.Parallel()
	const l = "loop:\n  path: {units: m, points: %s}\n"
	for _, points := range []string{
		"[[0, 0], [30, 0], [30, 30], [15, 30], [15, 15], [0, 15]]",
		"[[0, 15], [15, 15], [15, 30], [30, 30], [30, 0], [0, 0]]",
	} {
		m, err := yard.Parse("l.yaml", []byte(strings.Replace(l, "%s", points, 1)))
		require.NoError(t, err)
		for _, c := range m.Corners(45) {
			x, y, _ := m.Place(c.AtM)
			inner := math.Hypot(x-15, y-15) < 1e-6
			assert.Equal(t, inner, c.Reentrant, "corner at %g, %g", x, y)
		}
	}
}

func TestCrossings(t *testing.T) {
	t.Parallel()
	// A bow tie: the runs from (0,0) to (40,40) and from (40,0) to (0,40) cross
	// in the middle, 20 sqrt 2 from the start of each; the side between is 40 m.
	m, err := yard.Parse("bow.yaml", []byte(
		"lead_in: {length: 5 m}\nloop:\n  path: {units: m, points: [[0, 0], [40, 40], [40, 0], [0, 40]]}\n"))
	require.NoError(t, err)
	crossings := m.Crossings()
	require.Len(t, crossings, 1)
	assert.InDelta(t, 5+20*math.Sqrt2, crossings[0].AtM, 1e-9)
	assert.InDelta(t, 5+40*math.Sqrt2+40+20*math.Sqrt2, crossings[0].OtherM, 1e-9)
}

func TestWordsThatLookLikeSwitchesAreText(t *testing.T) {
	t.Parallel()
	m, err := yard.Parse("x.yaml", []byte("yard: on\nfeatures: [{at: 3 ft, kind: splice, note: no}, {at: 4 ft, kind: splice, note: 010}]\n"))
	require.NoError(t, err)
	assert.Equal(t, "on", m.Name)
	assert.Equal(t, "no", m.Features[0].Note)
	assert.Equal(t, "010", m.Features[1].Note)
}

func TestYardInsideAnotherFile(t *testing.T) {
	t.Parallel()
	var outer struct {
		Yard yard.Map `yaml:"yard"`
	}
	err := strictyaml.Decode("case.yaml", []byte("yard:\n  loop: {length: 480}\n  features: [{at: 3, kind: splice}]\n"), &outer)
	var faults strictyaml.Faults
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 2)
	assert.Equal(t, [2]int{2, 18}, [2]int{faults[0].Line, faults[0].Column})
	require.NoError(t, strictyaml.Decode("case.yaml", []byte("yard: unknown\n"), &outer))
	assert.Equal(t, yard.Map{}, outer.Yard)
}

func TestMarshalReadsBack(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(folder + "*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 5)
	for _, file := range files {
		m, err := yard.Load(file)
		require.NoError(t, err, file)
		text := m.Marshal()
		again, err := yard.Parse(file, text)
		require.NoError(t, err, "%s\n%s", file, text)
		assert.Equal(t, string(text), string(again.Marshal()), file)
		assert.Equal(t, len(m.Features), len(again.Features), file)
		assert.InDelta(t, m.TotalM(), again.TotalM(), 1e-8, file)
	}
}

func TestTextReadsBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		note := rapid.StringMatching(`[ -~\x{a0}-\x{2ff}]{0,40}`).Draw(t, "note")
		m := &yard.Map{Name: note, Features: []yard.Feature{{FromM: 3, ToM: 3, Kind: yard.Splice, Note: note}}}
		again, err := yard.Parse("x.yaml", m.Marshal())
		if err != nil {
			t.Fatalf("%v\n%s", err, m.Marshal())
		}
		if want := strings.TrimSpace(note); want != "unknown" && (again.Name != want || again.Features[0].Note != want) {
			t.Fatalf("%q came back as %q and %q", note, again.Name, again.Features[0].Note)
		}
	})
}

// One fault a file, with what its owner is told. Every file of the folder is
// in the table.
func TestBadYards(t *testing.T) {
	t.Parallel()
	bad := map[string][]string{
		"alias":                    {`1:7: anchor &name is not allowed`, `2:18: alias *name is not allowed`},
		"arrester":                 {`2:25: "maybe" is not known here; expected true, false, yes, no or unknown`},
		"at-and-from":              {`3:10: the feature has both at and from or to`},
		"backwards":                {`3:12: the stretch runs backwards, from 314 ft to 300 ft`},
		"bad-kind":                 {`3:24: "swamp" is not a kind of feature; expected one of splice, driveway`},
		"bare-length":              {`2:16: "480": a length needs its unit, such as 480 ft`},
		"beyond-the-wire":          {`5:10: 561 ft is beyond the wire; expected a distance from terminal A of at most 560 ft`},
		"binary":                   {`1:7: control character U+0000`},
		"capacitance-in-ohms":      {`2:27: "24 ohm": "ohm" is not a unit of capacitance`},
		"date":                     {`2:18: "2026-13-01" is not a date`},
		"duplicate-key":            {`3:1: field "loop" is given twice, first in line 2`},
		"earthed":                  {`2:24: "c" is not known here; expected none, a, b or unknown`},
		"empty":                    {`1:1: the file is empty`},
		"gauge":                    {`2:15: "20": a wire gauge needs its unit, such as 20 awg`},
		"gauge-range":              {`2:15: "50 awg": out of range: a wire gauge is from 6 to 30 awg`},
		"infinite":                 {`3:39: ".inf" is not a number`},
		"list-for-text":            {`2:18: found several values; expected one, or unknown`},
		"material":                 {`2:18: "silver" is not known here; expected copper`},
		"nan":                      {`2:16: ".nan": expected a length`},
		"negative":                 {`2:19: "-40 ft": a length cannot be negative`},
		"no-kind":                  {`3:5: the feature has no kind`},
		"no-place":                 {`3:5: the feature has no place`},
		"no-value":                 {`2:15: no value given`},
		"octal-looking":            {`3:39: "010" is not a number`},
		"one-end":                  {`3:5: the stretch has only one end`},
		"path-against-length":      {`3:11: the length is 600 ft, but the path is 480 ft round`},
		"path-of-two":              {`3:9: 2 different points do not close a loop`},
		"path-without-units":       {`3:9: the path does not say what its numbers are in; expected units: ft or units: m`},
		"point-of-three":           {`3:37: found something else than a point; expected [x, y]`},
		"rated-length":             {`2:29: the shortest rated length, 2500 ft, is not below the longest, 250 ft`},
		"same-point-twice":         {`3:46: the same point twice in a row`},
		"second-document":          {`2:1: a second document starts here`},
		"temperature":              {`2:21: "150 C": out of range: a temperature is from -60 to 90 C`},
		"thousands":                {`2:16: "1,200 ft": 1,200 can be read as 1200 or as 1.200`},
		"transmitter-without-path": {`2:20: "10": a length needs its unit`, `2:24: "0": a length needs its unit`},
		"twice":                    {`4:5: the same splice is given twice`},
		"uncertainty":              {`2:44: 80 % is no knowledge of the length`},
		"unknown-field":            {`2:8: unknown field "guage"`},
		"wrong-unit":               {`2:16: "12 ohm": "ohm" is not a unit of length`},
		"year":                     {`2:12: "last summer" is not a year`},
		"several": {`2:15: "20": a wire gauge`, `2:29: "silver"`, `2:37: unknown field "colour"`,
			`3:16: "480": a length`, `5:10: "10": a length`},
	}
	files, err := filepath.Glob(folder + "bad/*.yaml")
	require.NoError(t, err)
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		want, listed := bad[name]
		require.True(t, listed, "%s has no expected message", file)
		delete(bad, name)
		_, err := yard.Load(file)
		var faults strictyaml.Faults
		require.ErrorAs(t, err, &faults, name)
		require.Len(t, faults, len(want), "%s: %v", name, err)
		for i, fault := range faults {
			assert.True(t, strings.HasPrefix(fault.Error(), file+":"+want[i]), "%s: got %q, want %q", name, fault, want[i])
		}
	}
	assert.Empty(t, bad, "expected messages without a file")
	_, err = yard.Load(folder + "no-such-file.yaml")
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"*.yaml", "bad/*.yaml"} {
		files, _ := filepath.Glob(folder + pattern)
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err == nil {
				f.Add(data)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := yard.Parse("fuzz.yaml", data)
		if err != nil {
			return
		}
		// Whatever is taken can be written, read back and drawn upon.
		again, err := yard.Parse("again.yaml", m.Marshal())
		if err != nil {
			t.Fatalf("%v\n%s", err, m.Marshal())
		}
		if !(again.TotalM() > 0) || math.IsInf(again.TotalM(), 0) {
			t.Fatalf("total of %g m", again.TotalM())
		}
		again.Place(again.TotalM() / 2)
		again.Corners(45)
		again.Near(10, quantity.Feet)
	})
}

// A map that is changed in code after reading is measured anew.
func TestChangedPathIsMeasuredAnew(t *testing.T) {
	t.Parallel()
	m := load(t, "close-runs")
	before := m.BoundaryM()
	m.Loop.Path = m.Loop.Path[:4]
	assert.Less(t, m.BoundaryM(), before)
	m.Loop.Path = []yard.Point{{X: 0, Y: 0}, {X: 30, Y: 0}, {X: 30, Y: 40}} // 3, 4, 5
	assert.InDelta(t, 120, m.BoundaryM(), 1e-9)
	x, y, ok := m.Place(m.LeadInM() + 50)
	require.True(t, ok)
	assert.InDeltaSlice(t, []float64{30, 20}, []float64{x, y}, 1e-9)
}

func BenchmarkPlace2000(b *testing.B) {
	m := &yard.Map{}
	for i := range 2000 {
		a := 2 * math.Pi * float64(i) / 2000
		m.Loop.Path = append(m.Loop.Path, yard.Point{X: 60 * math.Cos(a), Y: 60 * math.Sin(a)})
	}
	m, err := yard.Parse("big.yaml", m.Marshal())
	require.NoError(b, err)
	for b.Loop() {
		m.ChordM(30, 200)
	}
}
