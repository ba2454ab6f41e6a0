package yard

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// promised is the relative error of lengths that the import promises.
const promised = 1e-4

func dms(d, m, s float64) float64 { return d + m/60 + s/3600 }

// The worked example of the Geocentric Datum of Australia Technical Manual
// (inverse problem, Flinders Peak to Buninyong): 54,972.271 m of ellipsoidal
// distance. Its ellipsoid, GRS 80, differs from WGS 84 by 0.1 mm in the polar
// radius. The figures are from memory; GeodSolve -i of GeographicLib 2.1.2
// gives 54972.271 for the same two points.
func TestFlindersPeakToBuninyong(t *testing.T) {
	flinders := LonLat{dms(144, 25, 29.52440), -dms(37, 57, 3.72030)}
	buninyong := LonLat{dms(143, 55, 35.38390), -dms(37, 39, 10.15610)}
	f := frameAt(LonLat{(flinders.Lon + buninyong.Lon) / 2, (flinders.Lat + buninyong.Lat) / 2})
	got := distance(f.local(flinders), f.local(buninyong))
	assert.InEpsilon(t, 54972.271, got, 1e-5, "a yard is a hundred times smaller")
}

// Short lines by GeographicLib, which is right to nanometres: see the head of
// the file for how it was made.
func TestAgainstGeodesics(t *testing.T) {
	file, err := os.Open("../../testdata/yards/geodesics.txt")
	require.NoError(t, err)
	defer file.Close()
	lines, worst := 0, 0.0
	for scan := bufio.NewScanner(file); scan.Scan(); {
		if strings.HasPrefix(scan.Text(), "#") {
			continue
		}
		var v [5]float64
		for i, word := range strings.Fields(scan.Text()) {
			v[i], err = strconv.ParseFloat(word, 64)
			require.NoError(t, err)
		}
		p, q, want := LonLat{v[1], v[0]}, LonLat{v[3], v[2]}, v[4]
		got := distance(frameAt(p).local(p), frameAt(p).local(q))
		worst = max(worst, math.Abs(got-want)/want)
		lines++
	}
	assert.Greater(t, lines, 30)
	assert.Less(t, worst, promised)
	t.Logf("%d lines, worst relative error %.2g", lines, worst)
}

func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := frameAt(LonLat{rapid.Float64Range(-180, 180).Draw(t, "lon"), rapid.Float64Range(-75, 75).Draw(t, "lat")})
		p := Point{rapid.Float64Range(-2000, 2000).Draw(t, "x"), rapid.Float64Range(-2000, 2000).Draw(t, "y")}
		if q := f.local(f.global(p)); distance(p, q) > 1e-6 {
			t.Fatalf("%v came back as %v", p, q)
		}
	})
}
