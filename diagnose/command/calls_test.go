package command_test

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/command"
)

// TestCalls plays the whole calls of testdata/calls: one per role, from the first
// question to the end.
func TestCalls(t *testing.T) {
	calls, err := filepath.Abs(filepath.Join("..", "..", "testdata", "calls"))
	require.NoError(t, err)
	for _, role := range []string{"homeowner", "technician", "support"} {
		t.Run(role, func(t *testing.T) {
			file := filepath.Join(calls, role+".txtar")
			call, err := txtar.ParseFile(file)
			require.NoError(t, err)
			want := map[string]string{}
			for _, f := range call.Files {
				want[f.Name] = string(f.Data)
			}
			screen, held := played(t, call)
			if *update {
				for i, f := range call.Files {
					switch f.Name {
					case "screen":
						call.Files[i].Data = []byte(screen)
					case "case.yaml":
						call.Files[i].Data = []byte(held)
					}
				}
				require.NoError(t, os.WriteFile(file, txtar.Format(call), 0o644))
				return
			}
			assert.Equal(t, want["screen"], screen, "see testdata/calls/README.md")
			assert.Equal(t, want["case.yaml"], held)
		})
	}
}

// times are the moments of the entries, which no two runs share.
var times = regexp.MustCompile(`, time: [0-9TZ:+-]+`)

// played runs the commands of a call in a folder of its own. What is typed goes to
// the first of them.
func played(t *testing.T, call *txtar.Archive) (screen, held string) {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Chdir(t.TempDir())
	var run, typed string
	for _, f := range call.Files {
		switch f.Name {
		case "run":
			run = string(f.Data)
		case "typed":
			typed = string(f.Data)
		case "screen", "case.yaml":
		default:
			require.NoError(t, os.WriteFile(f.Name, f.Data, 0o644))
		}
	}
	var out bytes.Buffer
	for line := range strings.Lines(run) {
		line = strings.TrimSpace(line)
		out.WriteString("$ loopfault " + line + "\n")
		// As on a terminal, where results and prompts meet.
		code := command.Main(strings.Fields(line), strings.NewReader(typed), &out, &out)
		require.Zero(t, code, out.String())
		typed = ""
	}
	text, err := os.ReadFile("case.yaml")
	require.NoError(t, err)
	return out.String(), times.ReplaceAllString(string(text), "")
}
