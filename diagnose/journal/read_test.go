package journal

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/kb/strictyaml"
	"loopfault/locate"
)

func options(t testing.TB) Options {
	t.Helper()
	base, err := kb.Load()
	require.NoError(t, err)
	return Options{Base: base, DefaultRole: diagnose.Homeowner}
}

// folder holds files by name and gives its path.
func folder(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
	return dir
}

const orchardYard = `yard: orchard house
lead_in: {length: 40 ft, twisted: true}
loop: {length: 480 ft}
`

// The case of design.md section 5, with its yard beside it.
const orchardCase = `case: orchard house, spring call
role: technician
tools: [meter, capacitance, spade, splice-kit, temporary-wire]
yard: orchard.yaml              # or the yard's fields in place
answers:
  - {check: continuity-sign, answer: broken}
  - {check: recent-work, answer: edging, from: 290 ft, to: 330 ft}
  - {check: loop-ohms, reading: over-range}
  - {check: capacitance-a, reading: 13.9 nF}
  - {check: capacitance-b, reading: 11.2 nF}
  - {check: tap, at: 314 ft, a_side: broken, b_side: intact}
  - {check: contact-lamp, answer: unknown}
meters:
  ohms: {accuracy: 0.9 %, counts: 2, resolution: 0.1 ohm, leads: 0.3 ohm, range: 20 Mohm}
  capacitance: {accuracy: 3 %, counts: 5, resolution: 0.01 nF}
outcome: {cause: wire-cut, at: 309 ft, confirmed: true}    # once known
`

// Units as the program multiplies by them, at run time: an exact constant would
// differ in the last bit.
var ft, nano = float64(quantity.MPerFt), 1e-9

func at(v float64) *float64 { return &v }

// orchardLog is the log that the file above says, by hand: 1 ft is 0.3048 m.
func orchardLog() []diagnose.Entry {
	over := &faultmodel.Reading{Quantity: faultmodel.LoopOhms, OverRange: true}
	return []diagnose.Entry{
		{Outcome: &diagnose.Outcome{Cause: "wire-cut", AtM: at(309 * ft), Confirmed: true}},
		{Answer: &diagnose.Answer{Check: "continuity-sign", Choice: "broken"}},
		{Answer: &diagnose.Answer{Check: "recent-work", Choice: "edging", FromM: at(290 * ft), ToM: at(330 * ft)}},
		{Answer: &diagnose.Answer{Check: "loop-ohms", Reading: over}},
		{Answer: &diagnose.Answer{Check: "capacitance-a", Reading: &faultmodel.Reading{Quantity: faultmodel.CapacitanceA, Value: 13.9 * nano}}},
		{Answer: &diagnose.Answer{Check: "capacitance-b", Reading: &faultmodel.Reading{Quantity: faultmodel.CapacitanceB, Value: 11.2 * nano}}},
		{Answer: &diagnose.Answer{Check: "tap", AtM: at(314 * ft), ASide: locate.Broken, BSide: locate.Intact}},
		{Answer: &diagnose.Answer{Check: "contact-lamp", Choice: diagnose.Unknown}},
	}
}

func TestReadTheCaseOfTheContract(t *testing.T) {
	t.Parallel()
	dir := folder(t, map[string]string{"case.yaml": orchardCase, "orchard.yaml": orchardYard})
	c, warnings, err := Read(filepath.Join(dir, "case.yaml"), options(t))
	require.NoError(t, err)
	assert.Empty(t, warnings)
	assert.Equal(t, "orchard house, spring call", c.Name)
	assert.Equal(t, diagnose.Technician, c.Role)
	assert.Equal(t, []string{"meter", "capacitance", "spade", "splice-kit", "temporary-wire"}, c.Tools)
	assert.Equal(t, "orchard.yaml", c.YardFile)
	assert.InDelta(t, 560*ft, c.Yard.TotalM(), 1e-9) // 2 x 40 + 480 ft
	assert.InDelta(t, 0.009, c.Meters.Ohms.AccuracyFrac, 1e-12)
	assert.Equal(t, 20e6, c.Meters.Ohms.RangeMax)
	assert.InDelta(t, 1e-11, c.Meters.Capacitance.Resolution, 1e-20)
	assert.Equal(t, faultmodel.DefaultMeters().Volts, c.Meters.Volts, "what the file leaves out is the usual meter")
	assert.Equal(t, orchardLog(), c.Log)
}

func TestReadEverySortOfLine(t *testing.T) {
	t.Parallel()
	dir := folder(t, map[string]string{"case.yaml": `case: all sorts
yard:
  lead_in: {length: 12 m}
  loop: {length: 146 m}
answers:
  - {check: tap, at: 60 m, a_ohms: 2.4 ohm, b_ohms: OL, a_to_earth: 1.2 Mohm, when: fault-absent, unsure: true, note: "by the pond: wet"}
  - {check: trace, at: 40 m, end: b}
  - {check: tone-walk, widths: [{at: 20 m, width: 1.5 m}, {at: 30 m, width: 0 m}]}
  - {check: silent-stretch, from: 20 m, to: 30 m, time: 2026-05-01T14:30:00Z}
  - {undo: true}
  - {repair: wire-cut, at: 94 m, fixed: true}
  - {repair: replace-section, from: 90 m, to: 99 m, fixed: false}
  - {repair: verify, fixed: true}
  - {outcome: wire-cut, at: 94 m, confirmed: true}
  - {outcome: {cause: splice-open}}
  - {check: neighbour-loop, answer: no}
`})
	c, _, err := Read(filepath.Join(dir, "case.yaml"), options(t))
	require.NoError(t, err)
	assert.Equal(t, diagnose.Homeowner, c.Role, "the role by default")
	assert.Nil(t, c.Tools, "the role's usual ones")
	assert.Equal(t, []diagnose.Entry{
		{Answer: &diagnose.Answer{Check: "tap", AtM: at(60), ASide: locate.SideUnknown, BSide: locate.SideUnknown,
			AOhms:    &faultmodel.Reading{Quantity: faultmodel.SideAOhms, Value: 2.4, AtM: 60, FaultAway: true},
			BOhms:    &faultmodel.Reading{Quantity: faultmodel.SideBOhms, OverRange: true, AtM: 60, FaultAway: true},
			AToEarth: &faultmodel.Reading{Quantity: faultmodel.SideAToEarth, Value: 1.2e6, AtM: 60, FaultAway: true},
			When:     diagnose.FaultAbsent, Unsure: true, Note: "by the pond: wet"}},
		{Answer: &diagnose.Answer{Check: "trace", AtM: at(40), End: locate.EndB}},
		{Answer: &diagnose.Answer{Check: "tone-walk", Widths: []faultmodel.Width{{AtM: 20, WidthM: 1.5}, {AtM: 30, Silent: true}}}},
		{Answer: &diagnose.Answer{Check: "silent-stretch", FromM: at(20), ToM: at(30)}, Time: time.Date(2026, 5, 1, 14, 30, 0, 0, time.UTC)},
		{Undo: true},
		{Repair: &diagnose.RepairDone{Repair: "wire-cut", AtM: at(94), Fixed: true}},
		{Repair: &diagnose.RepairDone{Repair: "replace-section", FromM: at(90), ToM: at(99)}},
		{Repair: &diagnose.RepairDone{Repair: "verify", Fixed: true}},
		{Outcome: &diagnose.Outcome{Cause: "wire-cut", AtM: at(94), Confirmed: true}},
		{Outcome: &diagnose.Outcome{Cause: "splice-open"}},
		{Answer: &diagnose.Answer{Check: "neighbour-loop", Choice: "no"}},
	}, c.Log)
}

// Each line of answers holds one fault; the words are where it is and what it says.
func TestBadLines(t *testing.T) {
	t.Parallel()
	const head = "case: x\nyard:\n  lead_in: {length: 40 ft}\n  loop: {length: 480 ft}\nanswers:\n"
	o := options(t)
	for line, want := range map[string]string{
		`{check: loop-ohms, reading: 12.3}`:                                                `6:33: "12.3": a resistance needs its unit`,
		`{check: loop-ohms, reading: 12 nF}`:                                               `6:33: "12 nF": "nF" is not a unit of resistance`,
		`{check: loop-ohms, reading: NaN ohm}`:                                             `6:33: "NaN ohm": expected a resistance`,
		`{check: loop-ohms, reading: .inf}`:                                                `6:33: ".inf": expected a resistance`,
		`{check: loop-ohms, reading: -3 ohm}`:                                              `6:33: "-3 ohm": a resistance cannot be negative`,
		`{check: loop-ohms, readings: 3 ohm}`:                                              `6:24: unknown field "readings"; perhaps "reading" is meant`,
		`{check: loop-ohms}`:                                                               `6:5: loop-ohms is not answered; expected reading`,
		`{check: loop-ohms, answer: broken}`:                                               `6:32: "broken" is no answer to loop-ohms`,
		`{check: loop-ohms, reading: 3 ohm, at: 5 ft}`:                                     `6:44: at does not belong in an answer to loop-ohms`,
		`{check: loop-ohms, reading: 3 ohm, reading: 4 ohm}`:                               `6:40: field "reading" is given twice`,
		`{check: capacitance-a, reading: 12 ohm}`:                                          `6:37: "12 ohm": "ohm" is not a unit of capacitance`,
		`{check: continuity-sign, answer: maybe}`:                                          `6:38: "maybe" is no answer to continuity-sign; expected complete, broken, dark, none-fitted`,
		`{check: continuity-sign, answer: }`:                                               `6:38: no value given`,
		`{check: continuity-sign, answer: broken, from: 3 ft, to: 4 ft}`:                   `6:52: no place belongs to continuity-sign: broken`,
		`{check: continuity-sine, answer: broken}`:                                         `6:13: "continuity-sine" is not a check; expected one such as continuity-sign`,
		`{check: recent-work, answer: edging, from: 290 ft}`:                               `6:48: a stretch with one end`,
		`{check: recent-work, answer: edging, from: 330 ft, to: 290 ft}`:                   `6:48: the stretch runs backwards`,
		`{check: recent-work, answer: edging, at: 600 ft}`:                                 `6:46: 600 ft is beyond the wire; expected a distance from terminal A of at most 560 ft`,
		`{check: tap, at: 560.1 ft, a_side: broken}`:                                       `6:22: 560.1 ft is beyond the wire`,
		`{check: tap, at: -1 ft, a_side: broken}`:                                          `6:22: "-1 ft": a length cannot be negative`,
		`{check: tap, at: 314, a_side: broken}`:                                            `6:22: "314": a length needs its unit`,
		`{check: tap, at: 314 ft}`:                                                         `6:5: the tap shows nothing`,
		`{check: tap, at: 314 ft, a_side: cut}`:                                            `6:38: "cut" is not what a side can show; expected intact, broken or unknown`,
		`{check: trace, at: 20 ft, end: c}`:                                                `6:36: "c" is no end of the wire; expected a or b`,
		`{check: tone-walk, widths: []}`:                                                   `6:32: no widths given`,
		`{check: tone-walk, widths: [{at: 5 ft, width: 5 ft}, {at: 900 ft, width: 5 ft}]}`: `6:63: 900 ft is beyond the wire`,
		`{check: tone-walk, widths: [{at: 5 ft, width: 5 V}]}`:                             `6:51: "5 V": "V" is not a unit of length`,
		`{check: tap, at: 5 ft, a_side: intact, when: sometimes}`:                          `6:50: "sometimes" is no moment of an answer`,
		`{check: tap, at: 5 ft, a_side: intact, unsure: perhaps}`:                          `6:52: "perhaps" is neither true nor false`,
		`{check: continuity-sign, answer: later, unsure: true}`:                            `6:53: unsure does not belong beside answer: later`,
		`{answer: broken}`:                                                                 `6:5: the line says nothing; expected one of check, repair, outcome or undo`,
		`{check: contact-lamp, answer: dark, repair: wire-cut, fixed: true}`:               `6:5: the line says several things at once`,
		`{repair: wire-cut}`:                                                               `6:14: the repair does not say what came of it`,
		`{repair: wire-glue, fixed: true}`:                                                 `6:14: "wire-glue" is not a repair; expected a cause's id such as wire-cut, or`,
		`{repair: wire-cut, at: 700 ft, fixed: true}`:                                      `6:28: 700 ft is beyond the wire`,
		`{repair: wire-cut, fixed: true, reading: 3 ohm}`:                                  `6:46: reading does not belong to a repair`,
		`{outcome: {at: 3 ft}}`:                                                            `6:15: the outcome names no cause`,
		`{outcome: bad-luck}`:                                                              `6:15: "bad-luck" is not a cause`,
		`{outcome: {cause: wire-cut, at: 700 ft}}`:                                         `6:37: 700 ft is beyond the wire`,
		`{undo: true, check: tap}`:                                                         `6:5: the line says several things at once`,
		`{undo: true, at: 3 ft}`:                                                           `6:22: at does not belong to an undo`,
		`{undo: true, time: yesterday}`:                                                    `6:24: "yesterday" is not a time`,
		`{check: contact-lamp, answer: dark, replaces: 1}`:                                 `6:51: line 1 of the answers holds no answer to contact-lamp`,
		`tap`:  `6:5: found "tap"; expected fields`,
		`*tap`: `6:5: an alias (*name) is not allowed`,
		`{check: &c tap, at: 3 ft, a_side: intact}`:                   `6:13: anchor &c is not allowed`,
		`{check: tap, at: 3 ft, a_side: intact, note: "a\u001b[31m"}`: `6:50: the text holds the control character U+001B`,
	} {
		t.Run(line, func(t *testing.T) {
			t.Parallel()
			dir := folder(t, map[string]string{"bad.yaml": head + "  - " + line + "\n"})
			_, _, err := Read(filepath.Join(dir, "bad.yaml"), o)
			var faults strictyaml.Faults
			require.ErrorAs(t, err, &faults)
			require.Len(t, faults, 1, "%v", err)
			assert.Contains(t, err.Error(), "bad.yaml:"+want)
		})
	}
}

func TestBadHeads(t *testing.T) {
	t.Parallel()
	o := options(t)
	for name, tt := range map[string]struct{ text, want string }{
		"empty":                     {"", `:1:1: the file is empty`},
		"comments only":             {"# nothing\n", `:1:1: the file is empty`},
		"binary":                    {"case: x\x00\x01\x02", `:1:8: control character U+0000`},
		"not UTF-8":                 {"case: \xff\xfe\n", `:1:7: byte 0xff is not UTF-8`},
		"a second document":         {"case: x\n---\ncase: y\n", `:2:1: a second document starts here`},
		"an alias bomb":             {"case: &a [x, x]\ntools: [*a, *a, *a]\n", `:1:7: anchor &a is not allowed`},
		"a field twice":             {"case: x\ncase: y\n", `:2:1: field "case" is given twice`},
		"an unknown field":          {"case: x\nanswer: []\n", `:2:1: unknown field "answer"; perhaps "answers" is meant`},
		"no such role":              {"case: x\nrole: gardener\n", `:2:7: "gardener" is not a role; expected homeowner, technician or support`},
		"no such tool":              {"case: x\ntools: [meter, hammer]\n", `:2:16: "hammer" is not a tool; expected collar`},
		"a tool twice":              {"case: x\ntools: [meter, meter]\n", `:2:16: tool meter is listed twice`},
		"bad YAML":                  {"case: x\nanswers: [\n", `is not closed`},
		"a bad yard in place":       {"case: x\nyard:\n  loop: {length: 480}\n", `:3:18: "480": a length needs its unit`},
		"a bare accuracy":           {"case: x\nmeters:\n  ohms: {accuracy: 0.9}\n", `:3:20: "0.9": a share needs its unit`},
		"an absurd accuracy":        {"case: x\nmeters:\n  ohms: {accuracy: 50 %}\n", `:3:20: 50 % is no meter's accuracy`},
		"negative counts":           {"case: x\nmeters:\n  ohms: {counts: -1}\n", `:3:18: -1 is out of range; expected counts from 0`},
		"leads of a capacitance":    {"case: x\nmeters:\n  capacitance: {leads: 1 ohm}\n", `:3:24: leads belong to ohms`},
		"a resolution of the wrong": {"case: x\nmeters:\n  ohms: {resolution: 1 nF}\n", `:3:22: "1 nF": "nF" is not a unit of resistance`},
		"a coarse resolution":       {"case: x\nmeters:\n  ohms: {resolution: 5 Mohm, range: 1 Mohm}\n", `:3:9: the resolution is not finer than the range`},
		"an unknown function":       {"case: x\nmeters:\n  frequency: {counts: 1}\n", `:3:3: unknown field "frequency"`},
		"no such version":           {"schema: one\ncase: x\n", `:1:9: "one" is not a version`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := folder(t, map[string]string{"bad.yaml": tt.text})
			_, _, err := Read(filepath.Join(dir, "bad.yaml"), o)
			require.Error(t, err)
			assert.Contains(t, err.Error(), "bad.yaml:")
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	t.Parallel()
	dir := folder(t, map[string]string{
		"yard.yaml": "loop: {length: 480}\n",
		"bad.yaml":  "case: x\nrole: gardener\nyard: yard.yaml\nanswers:\n  - {check: tap}\n  - {check: loop-ohms, reading: 3, at: 4}\n",
	})
	_, _, err := Read(filepath.Join(dir, "bad.yaml"), options(t))
	var faults strictyaml.Faults
	require.ErrorAs(t, err, &faults)
	assert.Len(t, faults, 6, "%v", err) // role, yard's length, the tap's place and sides, the reading's unit, its at
}

func TestNewerVersion(t *testing.T) {
	t.Parallel()
	text := "schema: 2\ncase: x\nplaces: {of: tomorrow}\n"
	dir := folder(t, map[string]string{"case.yaml": text})
	path := filepath.Join(dir, "case.yaml")
	_, err := Open(path, options(t))
	require.ErrorIs(t, err, ErrNewer)
	assert.Contains(t, err.Error(), "newer version (schema 2, this one knows 1)")
	var hinted *Error
	require.ErrorAs(t, err, &hinted)
	assert.NotEmpty(t, hinted.Hint())
	assert.Equal(t, text, fileText(t, path))
}

func fileText(t testing.TB, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(data)
}

func TestYardFilesStayInTheCasesFolder(t *testing.T) {
	t.Parallel()
	o := options(t)
	outside := folder(t, map[string]string{"yard.yaml": orchardYard})
	dir := folder(t, map[string]string{"maps/yard.yaml": orchardYard, "bad.yaml": "fence: tall\n"})
	require.NoError(t, os.Mkdir(filepath.Join(dir, "folder"), 0o755))
	linked := os.Symlink(filepath.Join(outside, "yard.yaml"), filepath.Join(dir, "link.yaml")) == nil
	read := func(yard string, o Options) error {
		path := filepath.Join(dir, "case.yaml")
		_, err := parse(path, dir, []byte("case: x\nyard: \""+filepath.ToSlash(yard)+"\"\n"), o)
		return err
	}
	for name, tt := range map[string]struct{ yard, want string }{
		"in the folder":     {"maps/yard.yaml", ""},
		"above it":          {"../yard.yaml", "outside the case's folder"},
		"absolute":          {filepath.Join(outside, "yard.yaml"), "outside the case's folder"},
		"down and up again": {"maps/../../yard.yaml", "outside the case's folder"},
		"missing":           {"none.yaml", "no such file"},
		"a folder":          {"folder", "it is not a file"},
		"not a yard":        {"bad.yaml", `bad.yaml:1:1: unknown field "fence"`},
		"a link out of it":  {"link.yaml", "outside the case's folder"},
	} {
		if !linked && name == "a link out of it" {
			continue // Windows asks for a privilege
		}
		err := read(tt.yard, o)
		if tt.want == "" {
			require.NoError(t, err, name)
			continue
		}
		require.ErrorContains(t, err, tt.want, name)
	}
	o.YardAnywhere = true
	require.NoError(t, read(filepath.Join(outside, "yard.yaml"), o))
	if linked {
		require.NoError(t, read("link.yaml", o))
	}
}

func TestAnswersWithNothingUnderThem(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"case: x\nanswers:\n", "case: x\nanswers:", "case: x\nanswers:   \n\n# none yet\n", "case: x\nanswers: []\n", "case: x\n"} {
		dir := folder(t, map[string]string{"case.yaml": text})
		path := filepath.Join(dir, "case.yaml")
		j, err := Open(path, options(t))
		require.NoError(t, err, "%q", text)
		require.NoError(t, j.Append(lamp("dark")), "%q", text)
		require.NoError(t, j.Append(lamp("lights")), "%q", text)
		require.NoError(t, j.Close())
		c, warnings, err := Read(path, options(t))
		require.NoError(t, err, "%q became %q", text, fileText(t, path))
		assert.Empty(t, warnings)
		assert.Equal(t, []diagnose.Entry{lamp("dark"), lamp("lights")}, c.Log)
		assert.True(t, strings.HasPrefix(fileText(t, path), "case: x\n"))
	}
}

func lamp(choice string) diagnose.Entry {
	return diagnose.Entry{Answer: &diagnose.Answer{Check: "contact-lamp", Choice: choice}}
}
