package command_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// root is the module's folder, seen from this package.
var root = filepath.Join("..", "..")

func golist(t *testing.T, args ...string) []string {
	t.Helper()
	c := exec.Command("go", append([]string{"list"}, args...)...)
	c.Dir = root
	var trouble bytes.Buffer
	c.Stderr = &trouble
	out, err := c.Output()
	require.NoError(t, err, trouble.String())
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}

// arrows is what each room may import of ours. A room not named here is a room
// that nobody has thought about.
var arrows = map[string][]string{
	"loopfault":                      {"diagnose/command"},
	"loopfault/kb":                   {"kb/strictyaml"},
	"loopfault/kb/strictyaml":        {},
	"loopfault/faultmodel":           {},
	"loopfault/locate":               {"faultmodel"},
	"loopfault/diagnose/quantity":    {},
	"loopfault/diagnose/yard":        {"diagnose/quantity", "kb/strictyaml"},
	"loopfault/diagnose/policy":      {},
	"loopfault/diagnose":             {"kb", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard", "diagnose/policy"},
	"loopfault/diagnose/journal":     {"diagnose", "kb", "kb/strictyaml", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard"},
	"loopfault/diagnose/report/draw": {"diagnose", "kb", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard"},
	"loopfault/diagnose/report":      {"diagnose", "kb", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard", "diagnose/journal", "diagnose/report/draw"},
	"loopfault/diagnose/console":     {"diagnose", "kb", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard", "diagnose/journal"},
	"loopfault/diagnose/trial":       {"diagnose", "kb", "kb/strictyaml", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard", "diagnose/policy", "diagnose/journal", "diagnose/trial/bif", "diagnose/trial/score"},
	"loopfault/diagnose/trial/bif":   {"kb", "diagnose"},
	"loopfault/diagnose/trial/learn": {"diagnose", "kb", "kb/strictyaml", "diagnose/trial/score"},
	"loopfault/diagnose/trial/score": {},
	"loopfault/diagnose/command": {"diagnose", "kb", "kb/strictyaml", "faultmodel", "locate", "diagnose/quantity", "diagnose/yard",
		"diagnose/journal", "diagnose/report", "diagnose/report/draw", "diagnose/console", "diagnose/trial", "diagnose/trial/bif", "diagnose/trial/learn"},
}

// only is which of our rooms may import a library directly.
var only = map[string][]string{
	"github.com/AlecAivazis/survey":        {"loopfault/diagnose/console"},
	"github.com/olekukonko/tablewriter":    {"loopfault/diagnose/report"},
	"github.com/spf13/viper":               {"loopfault/diagnose/command"},
	"github.com/spf13/cobra":               {"loopfault/diagnose/command"},
	"github.com/tkrajina/gpxgo":            {"loopfault/diagnose/yard"},
	"github.com/peterstace/simplefeatures": {"loopfault/diagnose/yard"},
	"github.com/stretchr/testify":          {},
	"pgregory.net/rapid":                   {},
	"github.com/chromedp":                  {},
	// Nothing of ours opens a connection, starts a program or reaches past the
	// language's own rules.
	"net":     {},
	"os/exec": {},
	"unsafe":  {},
	"plugin":  {},
}

func TestArrowsRunOneWay(t *testing.T) {
	for _, line := range golist(t, "-f", `{{.ImportPath}} {{join .Imports " "}}`, "./...") {
		fields := strings.Fields(line)
		room, imports := fields[0], fields[1:]
		allowed, known := arrows[room]
		if !assert.True(t, known, "%s is a room without arrows", room) {
			continue
		}
		for _, i := range imports {
			if own, ok := strings.CutPrefix(i, "loopfault/"); ok {
				assert.Contains(t, allowed, own, "%s imports %s", room, i)
			}
			for library, rooms := range only {
				if i == library || strings.HasPrefix(i, library+"/") {
					assert.Contains(t, rooms, room, "%s imports %s", room, i)
				}
			}
		}
	}
}

// TestOneFileKnowsViper keeps the settings' library behind config.go.
func TestOneFileKnowsViper(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		if file != "config.go" && file != "architecture_test.go" {
			assert.NotContains(t, string(text), "spf13/viper", file)
		}
	}
}

func TestMainOnlyStartsTheCommands(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root, "main.go"))
	require.NoError(t, err)
	assert.LessOrEqual(t, bytes.Count(text, []byte("\n")), 15)
}

func TestTopLevelHoldsTheRoomsAndNothingElse(t *testing.T) {
	entries, err := os.ReadDir(root)
	require.NoError(t, err)
	rooms := []string{"README.md", "DEVELOPERS.md", "go.mod", "go.sum", "main.go", "diagnose", "faultmodel", "locate", "kb", "testdata"}
	ignored, err := os.ReadFile(filepath.Join(root, ".gitignore"))
	require.NoError(t, err)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") || strings.Contains(string(ignored), "/"+e.Name()+"\n") {
			continue
		}
		assert.Contains(t, rooms, e.Name())
	}
}

// TestNothingInTheProgramConnectsOrStartsAnother looks at what the linker kept.
// The graph of imports holds net/http, by way of viper's file system, and
// os/exec, by way of survey's editor prompt; neither is reachable, and the
// linker drops what they would do. (net.(*Dialer).DialContext stays, held by a
// variable of net/http that nothing left can use.)
func TestNothingInTheProgramConnectsOrStartsAnother(t *testing.T) {
	if testing.Short() {
		t.Skip("links the program")
	}
	program := filepath.Join(t.TempDir(), "loopfault")
	build := exec.Command("go", "build", "-o", program, ".")
	build.Dir = root
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	nm := exec.Command("go", "tool", "nm", program)
	symbols, err := nm.Output()
	require.NoError(t, err)
	held := map[string]bool{}
	for line := range strings.Lines(string(symbols)) {
		fields := strings.Fields(line)
		held[fields[len(fields)-1]] = true
	}
	require.True(t, held["main.main"], "no symbols to look at")
	for _, act := range []string{
		"net.Dial", "net.DialTimeout", "net.(*Dialer).Dial", "net.Listen", "net.(*ListenConfig).Listen", "net.LookupHost",
		"net/http.(*Client).Do", "net/http.(*Transport).RoundTrip", "net/http.ListenAndServe", "net/http.(*Server).Serve",
		"os/exec.(*Cmd).Start", "os.StartProcess", "plugin.Open",
	} {
		assert.False(t, held[act], "%s is in the program", act)
	}
}
