package command_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/command"
)

// steering is text that a terminal would obey: a window title, colours in seven and
// eight bits, a carriage return over what is there, a turn of the writing direction.
const steering = "\x1b]0;gone\x07\x1b[31m\u009b31m\rover\u202eback"

// ways are how such a text can stand in a YAML file: escaped, and as it is.
var ways = map[string]string{
	"escaped": `"\e]0;gone\a\e[31m\x9b31m\rover\u202eback"`,
	"raw":     "'" + steering + "'",
	"tags":    `"<script>alert(1)</script><img src=x onerror=alert(1)>"`,
}

// runs plays a command and gives all that it showed on either side.
func runs(t *testing.T, typed string, args ...string) string {
	t.Helper()
	var out bytes.Buffer
	command.Main(args, strings.NewReader(typed), &out, &out)
	return out.String()
}

// harmless asserts that nothing shown can steer a terminal.
func harmless(t *testing.T, shown string, about ...any) {
	t.Helper()
	require.True(t, utf8.ValidString(shown), about...)
	for _, r := range shown {
		steers := r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r))
		require.False(t, steers, "%U in %q %v", r, shown, about)
	}
}

// Whatever stands in any text of a map, a case, an overlay, a track, an argument:
// no command lets a terminal have it raw, or a browser run it.
func TestNoFileSteersTheTerminal(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Setenv("NO_COLOR", "1")
	t.Chdir(t.TempDir())
	for way, text := range ways {
		for name, yard := range map[string]string{
			"name":     "yard: " + text + "\nloop: {length: 480 ft}\n",
			"material": "wire: {material: " + text + "}\nloop: {length: 480 ft}\n",
			"note":     "yard: x\nloop: {path: {units: ft, points: [[0, 0], [100, 0], [100, 100]]}}\nfeatures:\n  - {at: 150 ft, kind: splice, note: " + text + "}\n",
			"kind":     "loop: {length: 480 ft}\nfeatures:\n  - {at: 150 ft, kind: " + text + "}\n",
			"length":   "loop: {length: " + text + "}\n",
			"date":     "loop: {length: 480 ft}\nbaseline: {date: " + text + ", loop-ohms: 5.9 ohm}\n",
			"field":    text + ": 1\nloop: {length: 480 ft}\n",
			"comment":  "loop: {length: 480 ft} # " + strings.Trim(text, `'"`) + "\n",
		} {
			t.Run("yard "+name+" "+way, func(t *testing.T) {
				require.NoError(t, os.WriteFile("y.yaml", []byte(yard), 0o644))
				for _, args := range [][]string{
					{"yard", "check", "y.yaml"}, {"yard", "show", "y.yaml"}, {"yard", "show", "y.yaml", "--format", "svg"}, {"yard", "export", "y.yaml"},
					{"diagnose", "--json", "--yard", "y.yaml", "--role", "technician"}, {"locate", "--yard", "y.yaml", "--ohms", "OL"},
				} {
					shown := runs(t, "", args...)
					harmless(t, shown, args)
					if slices.Contains(args, "svg") {
						unrun(t, shown, args)
					}
				}
				shown := runs(t, "q\n", "diagnose", "y-case.yaml", "--plain", "--role", "homeowner", "--yard", "y.yaml")
				harmless(t, shown)
				if _, err := os.Stat("y-case.yaml"); err == nil {
					reports(t, "y-case.yaml")
					require.NoError(t, os.Remove("y-case.yaml"))
				}
			})
		}
		for name, body := range map[string]string{
			"case":    "case: " + text + "\nrole: support\nanswers:\n  - {check: supply-sign, answer: on}\n",
			"role":    "case: x\nrole: " + text + "\n",
			"tool":    "case: x\nrole: technician\ntools: [" + text + "]\n",
			"yard":    "case: x\nrole: technician\nyard: " + text + "\n",
			"check":   "case: x\nrole: technician\nanswers:\n  - {check: " + text + ", answer: on}\n",
			"answer":  "case: x\nrole: technician\nanswers:\n  - {check: supply-sign, answer: " + text + "}\n",
			"note":    "case: x\nrole: homeowner\nanswers:\n  - {check: recent-work, answer: edging, note: " + text + "}\n",
			"reading": "case: x\nrole: technician\nanswers:\n  - {check: loop-ohms, reading: " + text + "}\n",
			"repair":  "case: x\nrole: technician\nanswers:\n  - {repair: " + text + ", fixed: true}\n",
			"outcome": "case: x\nrole: technician\nanswers:\n  - {outcome: {cause: " + text + "}}\n",
			"field":   "case: x\n" + text + ": 1\n",
			"cut":     "case: x\nrole: technician\nanswers:\n  - {check: supply-sign, answer: on}\n  - {check: " + strings.Trim(text, `'"`),
		} {
			t.Run("case "+name+" "+way, func(t *testing.T) {
				require.NoError(t, os.WriteFile("c.yaml", []byte(body), 0o644))
				for _, args := range [][]string{{"diagnose", "c.yaml", "--json"}, {"verify", "c.yaml"}, {"learn", "c.yaml"}} {
					shown := runs(t, "", args...)
					harmless(t, shown, args)
				}
				harmless(t, runs(t, "m\nv\nc\nm\nh\n", "diagnose", "c.yaml", "--plain"))
				harmless(t, runs(t, `{"command": "stop"}`+"\n", "diagnose", "c.yaml", "--dialogue"))
				reports(t, "c.yaml")
			})
		}
		for name, overlay := range map[string]string{
			"name":    "schema: 1\ncauses:\n  - {id: wire-cut, name: {homeowner: " + text + ", support: " + text + ", technician: " + text + "}}\n",
			"ask":     "schema: 1\nchecks:\n  - {id: supply-sign, ask: {homeowner: " + text + ", support: " + text + ", technician: " + text + "}}\n",
			"source":  "schema: 1\ncauses:\n  - {id: wire-cut, prior: {value: 0.2, source: " + text + ", confidence: low, why: " + text + "}}\n",
			"id":      "schema: 1\ncauses:\n  - {id: " + text + "}\n",
			"field":   "schema: 1\n" + text + ": 1\n",
			"caution": "schema: 1\ncautions:\n  - {id: unplug, text: {homeowner: " + text + ", support: " + text + ", technician: " + text + "}}\n",
		} {
			t.Run("overlay "+name+" "+way, func(t *testing.T) {
				require.NoError(t, os.WriteFile("o.yaml", []byte(overlay), 0o644))
				for _, args := range [][]string{
					{"kb", "check", "o.yaml"}, {"kb", "show", "wire-cut", "--overlay", "o.yaml"}, {"kb", "show", "supply-sign", "--overlay", "o.yaml"},
					{"kb", "list", "--overlay", "o.yaml"}, {"kb", "export", "--overlay", "o.yaml"},
					{"tree", "--role", "homeowner", "--depth", "1", "--overlay", "o.yaml"}, {"tree", "--role", "homeowner", "--depth", "1", "--format", "html", "--overlay", "o.yaml"},
					{"diagnose", "--json", "--role", "homeowner", "--overlay", "o.yaml"},
				} {
					shown := runs(t, "", args...)
					harmless(t, shown, args)
					if slices.Contains(args, "html") {
						unrun(t, shown, args)
					}
				}
				harmless(t, runs(t, "q\n", "diagnose", "o-case.yaml", "--plain", "--role", "homeowner", "--overlay", "o.yaml"))
				if _, err := os.Stat("o-case.yaml"); err == nil {
					reports(t, "o-case.yaml", "--overlay", "o.yaml")
					require.NoError(t, os.Remove("o-case.yaml"))
				}
			})
		}
	}
	t.Run("tracks", func(t *testing.T) {
		quoted := fmt.Sprintf("%q", "<script>alert(1)</script>\x1b[31m\u009b\u202e")
		quoted = strings.NewReplacer(`\x1b`, `\u001b`).Replace(quoted)
		geo := `{"type": "FeatureCollection", "features": [
			{"type": "Feature", "properties": {"name": ` + quoted + `, ` + quoted + `: 1}, "geometry": {"type": "LineString", "coordinates": [[8, 47], [8.001, 47], [8, 47.001], [8, 47]]}},
			{"type": "Feature", "properties": {"kind": ` + quoted + `, "note": ` + quoted + `}, "geometry": {"type": "Point", "coordinates": [8.0005, 47]}}]}`
		gpx := `<gpx version="1.1"><trk><name>&lt;script&gt;&#x9b;31m&#x202e;</name><trkseg><trkpt lat="47" lon="8"/><trkpt lat="47" lon="8.001"/><trkpt lat="47.001" lon="8"/></trkseg></trk>` +
			`<wpt lat="47" lon="8.0005"><name>splice &#x9b;31m&#x202e;</name><desc>&#x85;&#x2028;</desc></wpt></gpx>`
		for name, text := range map[string]string{"w.geojson": geo, "w.gpx": gpx} {
			require.NoError(t, os.WriteFile(name, []byte(text), 0o644))
			require.NoError(t, os.RemoveAll("w.yaml"))
			harmless(t, runs(t, "", "yard", "import", name))
			harmless(t, runs(t, "", "yard", "import", name, "-o", "w.yaml"))
			require.FileExists(t, "w.yaml")
			harmless(t, runs(t, "", "yard", "show", "w.yaml"))
			unrun(t, runs(t, "", "yard", "show", "w.yaml", "--format", "svg"))
		}
	})
	t.Run("arguments", func(t *testing.T) {
		for _, args := range [][]string{
			{steering}, {"diagnose", steering, "--json"}, {"diagnose", "--role", steering}, {"diagnose", "--tools", steering, "--json"}, {"kb", "show", steering},
			{"kb", "list", steering}, {"locate", "--length", steering}, {"locate", "--length", "480ft", "--tap", steering}, {"ohms", "--wire", steering, "--length", "480ft"},
			{"yard", "show", steering}, {"yard", "import", steering}, {"report", steering, "--format", steering}, {"--" + steering}, {"diagnose", "x" + steering + "y.yaml", "--plain", "--role", "support"},
			{"taps", "--length", "480 ft", "--units", steering}, {"learn", steering}, {"--config", steering, "config", "show"}, {"simulate", "--strategy", steering}, {"demo", "--cause", steering},
		} {
			harmless(t, runs(t, "q\n", args...), args)
		}
	})
}

// reports asserts that a case is harmless in every form of a report.
func reports(t *testing.T, file string, more ...string) {
	t.Helper()
	for _, format := range []string{"table", "markdown", "html", "json", "handover"} {
		shown := runs(t, "", append([]string{"report", file, "--format", format}, more...)...)
		harmless(t, shown, format)
		if format == "html" || format == "markdown" {
			unrun(t, shown, format)
		}
	}
}

// unrun asserts that no tag of a file's stands in mark-up; an error is no mark-up.
func unrun(t *testing.T, shown string, about ...any) {
	t.Helper()
	if strings.HasPrefix(shown, "loopfault: ") {
		return
	}
	assert.NotContains(t, shown, "<script>alert", about...)
	assert.NotContains(t, shown, "<img src=x", about...)
}

// What a case names stays in its folder unless the user says otherwise, whatever
// the way out.
func TestACaseStaysInItsFolder(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	outside := t.TempDir()
	t.Chdir(t.TempDir())
	secret := filepath.Join(outside, "secret.yaml")
	require.NoError(t, os.WriteFile(secret, []byte("yard: secret garden\nloop: {length: 480 ft}\n"), 0o644))
	require.NoError(t, os.Mkdir("sub", 0o755))
	require.NoError(t, os.WriteFile("here.yaml", []byte("yard: here\nloop: {length: 480 ft}\n"), 0o644))
	if err := errors.Join(os.Symlink(secret, "link.yaml"), os.Symlink(outside, "folder")); err != nil {
		t.Skipf("no links to follow here: %v", err) // Windows, for a user without the right
	}
	up, err := filepath.Rel(mustGetwd(t), secret)
	require.NoError(t, err)
	for name, tt := range map[string]struct {
		yard string
		ok   bool
	}{
		"beside it":               {"here.yaml", true},
		"by a detour":             {"sub/../here.yaml", true},
		"upwards":                 {filepath.ToSlash(up), false},
		"absolute":                {filepath.ToSlash(secret), false},
		"through a link":          {"link.yaml", false},
		"through a linked folder": {"folder/secret.yaml", false},
		"a device":                {"/dev/stdin", false},
		"backslashes":             {`..\..\secret.yaml`, false},
		"nothing":                 {".", false},
	} {
		t.Run(name, func(t *testing.T) {
			require.NoError(t, os.WriteFile("c.yaml", fmt.Appendf(nil, "case: x\nrole: technician\nyard: '%s'\n", tt.yard), 0o644))
			for _, args := range [][]string{{"diagnose", "c.yaml", "--json"}, {"report", "c.yaml", "--format", "html"}, {"verify", "c.yaml"}} {
				shown := runs(t, "", args...)
				assert.NotContains(t, shown, "secret garden")
				assert.Equal(t, tt.ok, !strings.Contains(shown, "c.yaml:3:"), shown)
			}
		})
	}
	require.NoError(t, os.WriteFile("c.yaml", fmt.Appendf(nil, "case: x\nrole: technician\nyard: '%s'\n", filepath.ToSlash(secret)), 0o644))
	assert.Contains(t, runs(t, "", "report", "c.yaml", "--yard-anywhere"), "Boundary loop report")
}

func mustGetwd(t *testing.T) string {
	t.Helper()
	wd, err := os.Getwd()
	require.NoError(t, err)
	return wd
}
