package report

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
	"loopfault/diagnose/yard"
)

var update = flag.Bool("update", false, "write the golden files anew")

// hand is a record made by hand, so that layouts can be looked at without the
// engine: no number in it means anything.
func hand(t testing.TB) *Record {
	t.Helper()
	m, err := yard.Load("../../testdata/yards/orchard.yaml")
	require.NoError(t, err)
	const ft = quantity.MPerFt
	best := 309 * ft
	s := draw.Scene{Yard: m, Units: quantity.Feet, BestM: &best,
		Next: &draw.Next{FromM: best, ToM: best, Text: "tap"},
		Marks: []draw.Mark{
			{Kind: draw.Stretch, FromM: 290 * ft, ToM: 330 * ft, Text: "recent work: edging, 290 to 330 ft"},
			{Kind: draw.Tap, FromM: 296 * ft, ToM: 296 * ft, A: draw.Sound, B: draw.Broken, Text: "tap: at 296 ft, towards A intact, towards B broken"},
		}}
	s.Belief = make([]float64, 560)
	for i := 300; i < 318; i++ {
		s.Belief[i] = 1.0 / 36
	}
	for i := 306; i < 312; i++ {
		s.Belief[i] += 0.5 / 6
	}
	r := &Record{Case: "orchard house, spring call", Yard: "orchard house", Date: "2026-11-25", Role: "technician",
		Finding: "Wire cut", Chance: 0.83, Word: "very likely", Means: "Conductor parted in the ground.",
		Places: []string{"309 ft, driveway, 300 to 314 ft; 90 % interval 301 to 318 ft."},
		Causes: []Cause{{"wire cut", "boundary wire", 0.83}, {"splice open", "boundary wire", 0.09},
			{"conductor fatigue (intermittent open)", "boundary wire", 0.03}},
		Rest:     0.05,
		RuledOut: []RuledOut{{"lead-in open", "tap: at 296 ft, towards A intact, towards B broken"}},
		Next: Step{Title: "Open the wire at 309 ft and test it both ways. Near: driveway, 300 to 314 ft.", Why: "Splits the belief 51 % to A.",
			Do:       []string{"Dig down beside the wire.", "Cut it, strip both ends and test each towards its terminal."},
			Cautions: []string{"Have buried services marked before any digging, also shallow.", "Unplug the transmitter before touching terminals or wire."},
			Minutes:  "12 min", Cost: "USD 14.50"},
		Expected: "41 min, 1.4 taps, USD 55",
		Plan: []PlanLine{{0, "tap at 309 ft"}, {1, "broken towards A: lay new wire, 301 to 309 ft (51 %)"},
			{1, "broken towards B: tap at 314 ft (49 %)"}, {2, "broken towards A: lay new wire, 309 to 314 ft (32 %)"}},
		Asked: []Asked{{"", "continuity sign", "Continuity sign?", "Broken", "", []string{"+12 dB", "+12 dB"}},
			{"a", "recent work", "Work in the yard before it began, and where?", "Edging or trimming along a border, 290 to 330 ft", "gardener on Monday", []string{"+9 dB", "–"}},
			{"", "capacitance A", "Capacitance of leg A to earth, B open?", "13.9 nF", "", []string{"+4 dB", "-3 dB"}},
			{"b", "tap", "Tap here, A side and B side?", "at 296 ft, towards A intact, towards B broken", "", []string{"–", "–"}}},
		Weighed:   []string{"wire cut", "splice open"},
		Conflicts: []string{"The sign of the contact lamp sits badly with a wire cut: ask again."},
		Materials: []Material{{"gel-filled splice", "2", "USD 3.00"}, {"boundary wire, direct burial, 20 awg", "19 ft", "USD 2.85"}},
		Total:     "USD 5.85",
		Bring:     []string{"multimeter", "spade", "splice kit", "2 x gel-filled splice"},
		Acceptance: []Accept{{"Continuity sign?", "complete", "-", "to do"}, {"Loop ohms, A to B?", "5.31 ohm to 6.28 ohm", "-", "to do"},
			{"Detection widths along the boundary?", "as wide everywhere as before", "-", "to do"}},
		AsBuilt: []Field{{"boundary", "480 ft ± 14 ft"}, {"wire", "20 awg, copper, solid"}},
		Scene:   s, units: quantity.Feet,
	}
	for _, n := range s.Features() {
		r.Features = append(r.Features, Key{"1", s.FeatureText(n)})
		r.Features[len(r.Features)-1].Sign = string(rune('0' + n.Number))
	}
	for i, m := range s.Marks {
		r.Evidence = append(r.Evidence, Key{draw.Key(i), m.Text})
	}
	r.Result = diagnose.Result{Case: r.Case, Role: "technician", Ranking: []diagnose.RankedCause{{Cause: "wire-cut", Probability: 0.83, Part: "boundary-wire"}},
		Conflicts: []diagnose.Conflict{}, Cautions: []diagnose.CautionText{}, Notes: []string{}}
	r.Remarks = []string{"4 Mohm to earth is sound insulation."}
	return r
}

// golden compares a layout with the file that was looked at and found good.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), got, "if the new layout is better: go test ./diagnose/report -update")
}

func TestLayouts(t *testing.T) {
	r := hand(t)
	table, err := r.Table(Terminal{ASCII: true})
	require.NoError(t, err)
	golden(t, "table.txt", table)
	golden(t, "report.md", r.Markdown())
	golden(t, "handover.txt", r.Handover())
	text, err := r.JSON()
	require.NoError(t, err)
	assert.JSONEq(t, `{"case": "orchard house, spring call", "role": "technician",
		"ranking": [{"cause": "wire-cut", "probability": 0.83, "part": "boundary-wire"}],
		"parts": null, "two_faults": 0, "position": null,
		"next": {"kind": "", "id": "", "minutes": 0, "cost": 0, "why": ""},
		"expected": {"minutes": 0, "cost": 0, "taps": 0}, "conflicts": [], "cautions": [], "notes": []}`, string(text))
}

func TestTableFitsTheTerminal(t *testing.T) {
	r := hand(t)
	for _, columns := range []int{40, 60, 80, 100, 250} {
		for _, ascii := range []bool{true, false} {
			text, err := r.Table(Terminal{Columns: columns, ASCII: ascii})
			require.NoError(t, err)
			for line := range strings.Lines(text) {
				line = strings.TrimSuffix(line, "\n")
				assert.Equal(t, strings.TrimRight(line, " "), line, "trailing blanks")
				if columns >= 80 {
					assert.LessOrEqual(t, utf8.RuneCountInString(line), min(columns, 100), line)
				}
				if ascii {
					assert.NotContains(t, line, "█")
				}
			}
		}
	}
}

// Half a page is 30 lines of 80.
func TestHandoverIsHalfAPage(t *testing.T) {
	r := hand(t)
	for range 40 {
		r.Asked = append(r.Asked, Asked{Label: "continuity sign", Question: "Does the box now say that the loop is whole?", Answer: "Yes, the loop is whole now"})
	}
	text := r.Handover()
	assert.LessOrEqual(t, strings.Count(text, "\n"), 30, text)
	for _, want := range []string{"wire cut (83 %)", "309 ft", "Ruled out: lead-in open", "Bring: multimeter", "earlier answers in the case file"} {
		assert.Contains(t, text, want)
	}
}

// hostile is text that tries to be more than text in each of the forms.
const hostile = `</title></svg><script>window.owned=1</script><img src=x onerror="window.owned=1">` + "\x1b[31m`|*_[x](javascript:window.owned=1)\n# head"

// spoil puts hostile text wherever a case file's text can come.
func spoil(r *Record) *Record {
	r.Case, r.Yard, r.Means, r.Outcome, r.Verdict = hostile, hostile, hostile, hostile, hostile
	r.Places = []string{hostile}
	for i := range r.Asked {
		r.Asked[i].Answer, r.Asked[i].Note = hostile, hostile
	}
	for i := range r.Features {
		r.Features[i].Text = hostile
	}
	for i := range r.Evidence {
		r.Evidence[i].Text = hostile
		r.Scene.Marks[i].Text = hostile
	}
	r.Scene.Next.Text = hostile
	r.Done = []Done{{hostile, true}}
	m := *r.Scene.Yard
	m.Name = hostile
	m.Features = append([]yard.Feature{}, m.Features...)
	for i := range m.Features {
		m.Features[i].Kind, m.Features[i].Note = yard.FeatureKind(hostile), hostile
	}
	r.Scene.Yard = &m
	return r
}

func TestTextStaysText(t *testing.T) {
	r := spoil(hand(t))
	page, err := r.HTML()
	require.NoError(t, err)
	for _, bad := range []string{"<script", "<img", `onerror="`, "</title></svg>"} {
		assert.NotContains(t, page, bad)
	}
	md := r.Markdown()
	assert.NotContains(t, md, "\x1b")
	// In a fenced block everything is text, but for the fence itself.
	require.Equal(t, 2, strings.Count(md, "```"))
	before, rest, _ := strings.Cut(md, "```")
	_, after, _ := strings.Cut(rest, "```")
	md = before + after
	for _, bad := range []string{"<script", "<img", "\n# head"} {
		assert.NotContains(t, md, bad)
	}
	assert.NotRegexp(t, `[^\\]\]\(`, md, "a link")
	table, err := r.Table(Terminal{})
	require.NoError(t, err)
	for name, text := range map[string]string{"table": table, "hand-over": r.Handover()} {
		assert.NotContains(t, text, "\x1b", name)
		assert.NotContains(t, text, "\n# head", name)
	}
}

// Every opened tag is closed: the drawings are well-formed XML, whatever the text.
func TestDrawingsAreWellFormed(t *testing.T) {
	r := spoil(hand(t))
	r.Profile = draw.Profile{TotalM: 170, LeadInM: 12, Measured: []draw.Width{{AtM: 30, WidthM: 1.5}, {AtM: 60, Silent: true}}}
	for name, svg := range map[string]string{"yard": draw.YardSVG(r.Scene), "strip": draw.StripSVG(r.Scene), "widths": draw.WidthsSVG(r.Profile)} {
		require.NotEmpty(t, svg, name)
		wellFormed(t, name, svg)
	}
}

// The drawings and the page alone, without the judging: 2,000 corners.
func BenchmarkBigYardPage(b *testing.B) {
	text := bigYard(2000).Marshal()
	r := hand(b)
	for b.Loop() {
		m, err := yard.Parse("big.yaml", text)
		require.NoError(b, err)
		r.Scene.Yard = m
		_, err = r.HTML()
		require.NoError(b, err)
	}
}
