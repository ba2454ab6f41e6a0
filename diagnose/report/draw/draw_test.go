package draw

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

const ft = quantity.MPerFt

func orchard(t testing.TB) Scene {
	t.Helper()
	m, err := yard.Load("../../../testdata/yards/orchard.yaml")
	require.NoError(t, err)
	s := Scene{Yard: m, Units: quantity.Feet, Belief: make([]float64, 560)}
	for i := 300; i < 320; i++ {
		s.Belief[i] = 0.05
	}
	s.BestM = new(310 * ft)
	s.Next = &Next{FromM: 310 * ft, ToM: 310 * ft, Text: "tap"}
	return s
}

func TestLevels(t *testing.T) {
	// By the definition: the fewest most believed cells that hold a half, nine
	// tenths, ninety-nine hundredths.
	assert.Equal(t, []int{in90, in50, in90, in99, inRest}, levels([]float64{0.2, 0.55, 0.18, 0.065, 0.005}))
	assert.Equal(t, []int{inRest, in50, inRest}, levels([]float64{0, 1, 0}))
	assert.Equal(t, []int{in50, inRest, inRest, in50}, levels([]float64{0.5, 0, 0, 0.5}), "two places as likely as each other")
	assert.Equal(t, make([]int, 10), levels(slicesOf(10, 0.1)), "a flat belief makes nothing stand out")
	assert.Empty(t, levels(nil))
	assert.Equal(t, []int{inRest, inRest}, levels([]float64{math.NaN(), 0.5}), "no belief")
	assert.False(t, Scene{Yard: &yard.Map{}}.Shows())
	assert.True(t, orchard(t).Shows())
}

func slicesOf(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// Whatever the belief, more believed cells never have a lower level, and the
// cells of each level and above hold at least what the level promises.
func TestLevelsHoldWhatTheyPromise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 2, 60).Draw(t, "p")
		sum := 0.0
		for _, v := range p {
			sum += v
		}
		if sum == 0 {
			return
		}
		for i := range p {
			p[i] /= sum
		}
		lv := levels(p)
		mass, any := map[int]float64{}, false
		for i, l := range lv {
			any = any || l > inRest
			for k := inRest; k <= l; k++ {
				mass[k] += p[i]
			}
			for j := range lv {
				if p[i] > p[j] && lv[i] < lv[j] {
					t.Fatalf("cell %d of %g has level %d, cell %d of %g has %d", i, p[i], lv[i], j, p[j], lv[j])
				}
			}
		}
		const rounding = 1e-9
		if any && (mass[in50] < 0.5-rounding || mass[in90] < 0.9-rounding || mass[in99] < 0.99-rounding) {
			t.Fatalf("levels hold %v", mass)
		}
	})
}

func TestTick(t *testing.T) {
	for _, c := range []struct {
		length float64
		most   int
		want   float64
	}{{560, 7, 100}, {560, 12, 50}, {160, 7, 50}, {1, 5, 0.2}, {3, 1, 5}, {0.004, 2, 0.002}} {
		assert.InDelta(t, c.want, tick(c.length, c.most), 1e-12, "%g in %d", c.length, c.most)
	}
}

func TestKeys(t *testing.T) {
	assert.Equal(t, []string{"a", "z", "aa", "ab"}, []string{Key(0), Key(25), Key(26), Key(27)})
}

// The wire is 560 ft; in 80 columns 76 are wire, from the third on. The spot of
// the next step, 310 ft, is 310/560 of the way: column 2 + 42.
func TestStripTextPlaces(t *testing.T) {
	lines := strings.Split(StripText(orchard(t), 80, true), "\n")
	wire, pointer := lines[0], lines[1]
	assert.Equal(t, 80, len(wire))
	assert.Equal(t, 44, strings.Index(pointer, "^"))
	assert.Contains(t, pointer, "tap 310 ft")
	// The belief is even from 300 to 320 ft: columns 2 + 40.7 to 2 + 43.4.
	assert.Equal(t, 42, strings.Index(wire, "#"))
	assert.Equal(t, 45, strings.LastIndex(wire, "#"))
	// Lead-in of 40 ft: 40/560 of 76 is 5.4 columns at each end.
	assert.True(t, strings.HasPrefix(wire, "A =====-"), wire)
	assert.True(t, strings.HasSuffix(wire, "-===== B"), wire)
}

func TestYardTextShowsWhereThingsAre(t *testing.T) {
	s := orchard(t)
	lines := strings.Split(YardText(s, 80, 24, true), "\n")
	// A square of 120 ft: as many rows as half its columns, the far side on top.
	assert.Contains(t, lines[0], "X", "310 ft is on the far side")
	assert.Contains(t, lines[0], "5", "so is the tree")
	foot := strings.Join(lines, "\n")
	assert.Contains(t, foot, "T transmitter; X tap 310 ft")
	assert.Contains(t, foot, "4 driveway, no-dig, 300 to 314 ft")
	assert.NotContains(t, foot, "north", "the path hangs free")
	s.Yard.Loop.Origin = &yard.LonLat{Lon: 8, Lat: 47}
	assert.Contains(t, YardText(s, 80, 24, true), "north is up")
	assert.Empty(t, YardText(Scene{Yard: &yard.Map{}}, 80, 24, true), "no path, no map")
}

// The scale bar of the map is as long as it says.
func TestScaleBar(t *testing.T) {
	s := orchard(t)
	svg := YardSVG(s)
	// The square of 120 ft is drawn at 312 units: 400 less two margins of 44.
	bar := regexp.MustCompile(`<line x1="6" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)"`).FindStringSubmatch(svg)
	require.NotNil(t, bar)
	end, err := strconv.ParseFloat(bar[2], 64)
	require.NoError(t, err)
	says := regexp.MustCompile(`>(\d+) ft</text>`).FindAllStringSubmatch(svg, -1)
	require.NotEmpty(t, says)
	length, err := strconv.ParseFloat(says[len(says)-1][1], 64)
	require.NoError(t, err)
	assert.InDelta(t, length*312/120, end-6, 0.1)
}

// The best place's ring lies where the map puts it: 310 ft is 90 ft along the
// far side from the right, so at (90, 120) of the square.
func TestRingIsAtThePlace(t *testing.T) {
	svg := YardSVG(orchard(t))
	ring := regexp.MustCompile(`<circle cx="([\d.]+)" cy="([\d.]+)" r="11"`).FindStringSubmatch(svg)
	require.NotNil(t, ring)
	x, _ := strconv.ParseFloat(ring[1], 64)
	y, _ := strconv.ParseFloat(ring[2], 64)
	assert.InDelta(t, 44+90*312.0/120, x, 0.1)
	assert.InDelta(t, 44, y, 0.1)
}

func TestWidths(t *testing.T) {
	p := Profile{TotalM: 100, LeadInM: 10, Units: quantity.Metres,
		Measured: []Width{{AtM: 10, WidthM: 1.5}, {AtM: 50, WidthM: 1.5}, {AtM: 90, Silent: true}}}
	svg := WidthsSVG(p)
	assert.Contains(t, svg, "3 places measured from 10.0 m to 90.0 m, 1 of them silent.")
	assert.Contains(t, svg, `<circle cx="40" `, "the boundary begins at the axis")
	assert.Empty(t, WidthsSVG(Profile{TotalM: 100}), "nothing measured")
}

// No scene, however odd, breaks a drawing: all of it is well-formed, and no line
// of text is longer than it may be or ends in blanks.
func TestOddScenes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Scene{Units: quantity.Units(rapid.IntRange(0, 1).Draw(t, "units"))}
		m := &yard.Map{Name: rapid.String().Draw(t, "name")}
		coordinate := rapid.Float64Range(-500, 500)
		for range rapid.IntRange(0, 6).Draw(t, "corners") {
			m.Loop.Path = append(m.Loop.Path, yard.Point{X: coordinate.Draw(t, "x"), Y: coordinate.Draw(t, "y")})
		}
		if rapid.Bool().Draw(t, "lead") {
			m.LeadIn.LengthM = new(rapid.Float64Range(0, 50).Draw(t, "lead-in"))
		}
		if rapid.Bool().Draw(t, "transmitter") {
			m.Transmitter.At = &yard.Point{X: coordinate.Draw(t, "x"), Y: coordinate.Draw(t, "y")}
		}
		at := rapid.Float64Range(-10, 1.1*m.TotalM())
		for range rapid.IntRange(0, 30).Draw(t, "features") {
			from, to := at.Draw(t, "from"), at.Draw(t, "to")
			m.Features = append(m.Features, yard.Feature{FromM: min(from, to), ToM: max(from, to), Kind: yard.Bed, Note: rapid.String().Draw(t, "note")})
		}
		s.Yard = m
		s.Belief = rapid.SliceOfN(rapid.Float64Range(0, 1), 0, 200).Draw(t, "belief")
		if rapid.Bool().Draw(t, "best") {
			s.BestM = new(at.Draw(t, "best"))
			s.Next = &Next{FromM: *s.BestM, ToM: *s.BestM + rapid.SampledFrom([]float64{0, 10}).Draw(t, "length"), Text: rapid.String().Draw(t, "text")}
		}
		for range rapid.IntRange(0, 40).Draw(t, "marks") {
			from := at.Draw(t, "from")
			s.Marks = append(s.Marks, Mark{Kind: MarkKind(rapid.IntRange(0, 4).Draw(t, "kind")), FromM: from, ToM: from + 5,
				A: End(rapid.IntRange(0, 2).Draw(t, "a")), Text: rapid.String().Draw(t, "text")})
		}
		for _, svg := range []string{YardSVG(s), StripSVG(s)} {
			d := xml.NewDecoder(strings.NewReader(svg))
			for {
				_, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatalf("%v in %s", err, svg)
				}
			}
			if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
				t.Fatalf("no number: %s", svg)
			}
		}
		for line := range strings.Lines(StripText(s, 80, true)) {
			line = strings.TrimSuffix(line, "\n")
			if longest := longestWord(line); utf8.RuneCountInString(line) > max(80, longest) || strings.TrimRight(line, " ") != line {
				t.Fatalf("line of %d: %q", utf8.RuneCountInString(line), line)
			}
		}
		YardText(s, 80, 24, false)
	})
}

func longestWord(s string) int {
	longest := 0
	for w := range strings.FieldsSeq(s) {
		longest = max(longest, utf8.RuneCountInString(w))
	}
	return longest
}

func BenchmarkYardSVG2000(b *testing.B) {
	s := orchard(b)
	s.Yard.Loop.Path = nil
	for i := range 2000 {
		a := 2 * math.Pi * float64(i) / 2000
		s.Yard.Loop.Path = append(s.Yard.Loop.Path, yard.Point{X: 23 * math.Cos(a), Y: 23 * math.Sin(a)})
	}
	for b.Loop() {
		YardSVG(s)
		StripSVG(s)
	}
}
