package kb

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/kb/strictyaml"
)

const corpus = "../testdata/kb"

// What each bad overlay of the corpus is refused with: line and column counted
// in the file, the message from the rule it breaks.
var badOverlays = map[string][]string{
	"alias": {
		`4:11: anchor &n is not allowed; expected the value itself`,
		`5:12: alias *n is not allowed; expected the value itself`,
	},
	"answer-missing-in-row":   {`5:36: check "supply-sign": the probability of "off" is missing`},
	"cause-without-repair":    {`3:9: cause "frozen-pipe": there is no repair for it; expected "repair:frozen-pipe"`},
	"digging-without-caution": {`4:15: repair "repair:wire-cut": work in the ground needs the caution digging`},
	"digging-without-needs":   {`4:12: repair "repair:wire-cut": nobody digs before a check has put the fault in the wire; expected such checks under needs`},
	"duplicate-id":            {`5:9: cause "wire-cut" is given twice; expected each id once`},
	"empty":                   {`1:1: the file is empty; expected fields such as "name: value"`},
	"future-schema":           {`1:9: schema is 2; expected 1`},
	"gap-malformed":           {`4:11: phrase "why-done": the gaps are malformed (phrase:1: unexpected "." in operand); expected {{.Name}}`},
	"gap-not-declared":        {`4:11: phrase "why-done": gap {{.Minutes}} is not among its fields []`},
	"malformed-id":            {`3:9: caution "Mind_The_Step": the id is malformed; expected small letters, digits and hyphens`},
	"mirror-outside-lead-in":  {`4:13: cause "wire-cut": mirror is true but no place is in the lead-in; expected a place on lead-in`},
	"missing-confidence":      {`4:12: cause "wire-cut": confidence is missing; expected high, medium or low`},
	"missing-id":              {`3:5: cautions: the id is missing; expected one such as "wire-cut"`},
	"missing-schema":          {`1:1: field schema is missing; expected "schema: 1"`},
	"missing-source":          {`4:12: cause "wire-cut": source is missing; expected a published source, "common practice", "judgement" or "from memory"`},
	"missing-why":             {`4:12: cause "wire-cut": why is missing; expected the reason in one line`},
	"missing-wording":         {`4:11: cause "wire-cut": name lacks the wording for support`},
	"needs-in-a-circle": {
		`5:7: check "supply-sign": it can never be asked: what it needs leads back to itself`,
		`8:7: check "outlet-power": it can never be asked: what it needs leads back to itself`,
	},
	"needs-itself": {
		`5:7: check "supply-sign": it can never be asked: what it needs leads back to itself`,
		`5:17: check "supply-sign": a check cannot need itself`,
	},
	"needs-unknown-answer": {`5:41: check "supply-sign": check "outlet-power" has no answer "alive"`},
	"needs-unknown-check":  {`5:17: check "supply-sign": there is no check "moon-phase"`},
	"negative-minutes":     {`4:26: check "supply-sign": minutes for homeowner is -2; expected 0 to 1440`},
	"negative-probability": {
		`5:41: check "supply-sign": the probability of "on" is -0.1; expected 0 to 1`,
		`5:52: check "supply-sign": the probability of "off" is 1.1; expected 0 to 1`,
	},
	"new-answers-without-baseline": {`4:5: check "skin": new answers need a baseline of their own; expected "baseline: {p: ...}"`},
	"no-number":                    {`4:12: found "0.3"; expected fields such as "name: value"`},
	"odd-confidence":               {`4:56: cause "wire-cut": confidence is "certain"; expected high, medium or low`},
	"places-do-not-sum":            {`5:7: cause "wire-cut": the shares of the places sum to 0.8; expected 1`},
	"prior-above-one":              {`4:20: cause "wire-cut": prior is 30; expected 0.000001 to 1`},
	"prior-as-text":                {`4:20: "high" is not a number; must be a number without quotes or unit`},
	"prior-in-percent":             {`4:20: "30 %" is not a number; must be a number without quotes or unit`},
	"prior-nan":                    {`4:20: ".nan" is not a number; must be a number without quotes or unit`},
	"reserved-answer":              {`7:14: check "supply-sign": answer id "unknown" has a meaning of its own everywhere; expected another`},
	"row-does-not-sum":             {`5:36: check "supply-sign": the probabilities sum to 0.9; expected 1`},
	"row-for-silent-answer":        {`5:84: check "continuity-sign": answer "none-fitted" has a share of its own; expected the rows without it`},
	"rows-for-a-reading":           {`5:7: check "adapter-volts": a check of kind reading has no rows: the physics judges it`},
	"scale-falls":                  {`7:16: scale "chance": from is 0.2; expected more than the 0.5 before it`},
	"second-document":              {`2:1: a second document starts here; expected one document a file`},
	"settings-out-of-range":        {`3:22: settings: tap_error is 0.7; expected 0 to 0.4`},
	"shares-of-gauges":             {`3:3: the shares of gauges sum to 0.62; expected 1`},
	"surfaces-incomplete":          {`4:5: settings: surfaces lack surface, bed, gravel, slab, driveway, path; expected all of surface, turf, bed, gravel, slab, driveway, path`},
	"two-rows-for-a-cause":         {`6:19: check "supply-sign": cause "outlet-dead" has two rows; expected one`},
	"unknown-act":                  {`4:11: rule "skin-sore": "amputate" is unknown; expected one of replace-section, replace-lead-in, replace-loop, refer, verify, done`},
	"unknown-answer-in-row":        {`5:61: check "supply-sign": there is no answer "dim"`},
	"unknown-cause-in-row":         {`5:19: check "supply-sign": there is no cause "wire-ate"`},
	"unknown-caution":              {`4:16: check "supply-sign": there is no caution "mind-the-step"`},
	"unknown-fact":                 {`5:16: cause "wire-cut": "windy" is unknown; expected one of has-splices, no-known-splices, old, new, crosses-driveway, bordered, arrester, no-arrester, earthed, reversed-runs, deep-soil-added, metal, utility, gate, no-map, age-known`},
	"unknown-feature":              {`5:14: cause "wire-cut": "pond" is unknown; expected one of boundary, lead-in, anywhere, splice, driveway, path, bed, edge, tree, fence, metal, utility, gate, own-return, soil-added, surface, twisted, corner`},
	"unknown-field":                {`5:5: unknown field "priority"; expected one of given, id, intermittent, kind, means, mirror, name, part, place, prior, repeats`},
	"unknown-item":                 {`5:16: repair "repair:collar-battery": there is no item "glue"`},
	"unknown-kind":                 {`4:11: cause "wire-cut": "severed" is unknown; expected one of open, series, leak, touch, lead-short, arrester-short, arrester-open, loose-terminal, weak-source, no-source, no-supply, outside-rating, too-deep, close-run, corner, metal-along, service-along`},
	"unknown-part":                 {`4:11: cause "wire-cut": there is no part "fence"`},
	"unknown-proof":                {`4:12: repair "repair:collar-battery": there is no check "hope"`},
	"unknown-quantity":             {`4:15: check "adapter-volts": "adapter-watts" is unknown; expected one of loop-ohms, loop-ohms-reversed, boundary-ohms, leg-a-to-earth, leg-b-to-earth, capacitance-a, capacitance-b, lead-in-ohms-open, adapter-volts, terminal-volts, loop-current`},
	"unknown-role":                 {`4:13: check "supply-sign": "installer" is unknown; expected one of homeowner, support, technician`},
	"unknown-section":              {`2:1: unknown field "cuases"; perhaps "causes" is meant`},
	"unknown-stop":                 {`4:13: rule "skin-sore": "breathing" is unknown; expected one of wire-work, digging, collar-on-pet`},
	"unknown-tool":                 {`4:13: check "supply-sign": there is no tool "telescope"`},
	"wire-work-without-unplug":     {`4:15: check "terminal-look": work on the wire needs the caution unplug`},
}

func TestBadOverlays(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(corpus + "/*.bad.yaml")
	require.NoError(t, err)
	require.Len(t, files, len(badOverlays), "every file of the corpus has its message, and the other way round")
	for _, path := range files {
		name := strings.TrimSuffix(filepath.Base(path), ".bad.yaml")
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			_, err = LoadWith(path, data)
			var faults strictyaml.Faults
			require.ErrorAs(t, err, &faults)
			var want []string
			for _, message := range badOverlays[name] {
				want = append(want, path+":"+message)
			}
			assert.Equal(t, strings.Join(want, "\n"), err.Error())
		})
	}
}

func overlay(t *testing.T, name string) *Base {
	t.Helper()
	path := filepath.Join(corpus, name)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	b, err := LoadWith(path, data)
	require.NoError(t, err)
	return b
}

func TestOverlayChangesFigures(t *testing.T) {
	t.Parallel()
	plain, b := load(t), overlay(t, "prices.yaml")
	assert.InDelta(t, 0.22, b.Item("boundary-wire").Price.Value, 0)
	assert.Equal(t, plain.Item("boundary-wire").Name, b.Item("boundary-wire").Name, "a field that is not given stays")
	assert.Equal(t, plain.Item("waterproof-splice"), b.Item("waterproof-splice"))
	assert.InDelta(t, 1.4, b.Settings.PerMinute.Technician, 0)
	assert.Equal(t, plain.Settings.ReferCost, b.Settings.ReferCost)
	assert.InDelta(t, 0.15, plain.Item("boundary-wire").Price.Value, 0, "the built-in base is untouched")
}

func TestOverlayChangesOneRow(t *testing.T) {
	t.Parallel()
	plain, b := load(t), overlay(t, "learned.yaml")
	assert.InDelta(t, 0.14, b.Cause("splice-open").Prior.Value, 0)
	assert.Equal(t, plain.Cause("splice-open").Place, b.Cause("splice-open").Place)
	was, is := plain.Check("continuity-sign"), b.Check("continuity-sign")
	assert.InDelta(t, 0.69*0.88, is.Row("terminal-loose").P["broken"], 1e-12, "0.12 of the boxes have no sign")
	assert.InDelta(t, 0.12, is.Row("terminal-loose").P["none-fitted"], 1e-12)
	for _, id := range []string{"wire-cut", "transmitter-failed", "collar-battery"} {
		for answer, p := range was.Row(id).P {
			assert.InDelta(t, p, is.Row(id).P[answer], 1e-12, "%s %s", id, answer)
		}
	}
	assert.NotEqual(t, was.Row("terminal-loose").P, is.Row("terminal-loose").P)
}

func TestOverlayAddsACause(t *testing.T) {
	t.Parallel()
	plain, b := load(t), overlay(t, "new-cause.yaml")
	assert.Len(t, b.Causes, len(plain.Causes)+1)
	assert.Equal(t, "supply", b.Cause("gnawed-adapter-cord").Part)
	assert.InDelta(t, 0.8, b.Check("supply-sign").Row("gnawed-adapter-cord").P["off"], 0)
	assert.Len(t, b.Check("supply-sign").Rows, len(plain.Check("supply-sign").Rows)+1)
	assert.NotNil(t, b.Repair("repair:gnawed-adapter-cord"))
	assert.Equal(t, "replace the gnawed adapter", b.Repair("repair:gnawed-adapter-cord").Name.Technician, "one text for all three")
	assert.Nil(t, plain.Cause("gnawed-adapter-cord"))
}

func TestOverlayRowLeavesTheOthersOfItsGroup(t *testing.T) {
	t.Parallel()
	const data = `schema: 1
checks:
  - id: supply-sign
    answers:
      - {id: on, text: It is on}
      - {id: dim, text: It is dim}
      - {id: off, text: It is off}
    baseline: {p: {on: 0.95, dim: 0.03, off: 0.02}, source: judgement, confidence: low, why: "a test"}
  - id: continuity-sign
    rows:
      - {causes: [splice-open], p: {complete: 0.1, broken: 0.9, dark: 0}, source: judgement, confidence: low, why: "a test"}
`
	b, err := LoadWith("o.yaml", []byte(data))
	require.NoError(t, err)
	c := b.Check("continuity-sign")
	assert.NotEqual(t, c.Row("splice-open"), c.Row("wire-cut"))
	assert.Same(t, c.Row("wire-cut"), c.Row("lead-in-open"))
	assert.Empty(t, b.Check("supply-sign").Rows, "new answers drop the old rows")
}

// All faults come at once, those in the overlay and those it causes in the
// built-in files, each at its place.
func TestAllFaultsOfAnOverlay(t *testing.T) {
	t.Parallel()
	const data = `schema: 1
causes:
  - id: wire-cut
    kind: severed
    prior: {value: 2, source: judgement, confidence: low, why: "a test"}
checks:
  - id: supply-sign
    tools: [telescope]
  - id: skin
    answers:
      - {id: healthy, text: Healthy}
      - {id: red, text: Red}
    baseline: {p: {healthy: 0.9, red: 0.1}, source: judgement, confidence: low, why: "a test"}
`
	_, err := LoadWith("o.yaml", []byte(data))
	require.Error(t, err)
	lines := strings.Split(err.Error(), "\n")
	require.Len(t, lines, 4)
	assert.Regexp(t, `^o\.yaml:4:11: cause "wire-cut": "severed" is unknown; expected one of open, `, lines[0])
	assert.Equal(t, `o.yaml:5:20: cause "wire-cut": prior is 2; expected 0.000001 to 1`, lines[1])
	assert.Equal(t, `o.yaml:8:13: check "supply-sign": there is no tool "telescope"`, lines[2])
	assert.Regexp(t, `^kb/cautions\.yaml:\d+:\d+: rule "skin-sore": check "skin" has no answer "sore"$`, lines[3])
}

func TestUnexpectedFile(t *testing.T) {
	t.Parallel()
	fsys := fstest.MapFS{"colours.yaml": {Data: []byte("schema: 1\n")}}
	for _, name := range fileNames {
		data, err := embedded.ReadFile(name)
		require.NoError(t, err)
		fsys[name] = &fstest.MapFile{Data: data}
	}
	_, err := readSources(fsys)
	assert.EqualError(t, err, "kb/colours.yaml:1:1: unexpected file in the knowledge base; expected "+
		"causes.yaml, checks.yaml, repairs.yaml, cautions.yaml, conductors.yaml")

	delete(fsys, "colours.yaml")
	delete(fsys, "checks.yaml")
	_, err = readSources(fsys)
	require.ErrorContains(t, err, "checks.yaml")
}

// An overlay from any hand is read without a panic: into a base that is whole,
// or into faults at a place.
func FuzzLoadWith(f *testing.F) {
	files, err := filepath.Glob(corpus + "/*.yaml")
	require.NoError(f, err)
	for _, path := range files {
		data, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := LoadWith("o.yaml", data)
		if err != nil {
			var faults strictyaml.Faults
			require.ErrorAs(t, err, &faults)
			return
		}
		for _, c := range b.Checks {
			for _, r := range append([]Row{c.Baseline}, c.Rows...) {
				var sum float64
				for _, p := range r.P {
					sum += p
				}
				if len(r.P) > 0 {
					assert.InDelta(t, 1, sum, 2*sumTolerance, c.ID)
				}
			}
		}
		for _, x := range b.Causes {
			assert.NotEmpty(t, x.Name.Homeowner)
			assert.Positive(t, x.Prior.Value)
		}
	})
}

func BenchmarkLoadWith(b *testing.B) {
	data, err := os.ReadFile(corpus + "/learned.yaml")
	require.NoError(b, err)
	for b.Loop() {
		_, err := LoadWith("o.yaml", data)
		require.NoError(b, err)
	}
}
