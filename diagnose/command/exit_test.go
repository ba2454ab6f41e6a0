package command_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/command"
)

// TestExitCodes holds the codes to what the manual page promises: 0 done, 1 not
// finished, 2 wrong usage.
func TestExitCodes(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("loop: {length: 480}\n"), 0o644))
	for _, c := range []struct {
		args string
		code int
	}{
		{"", 0},
		{"--help", 0},
		{"version", 0},
		{"kb check", 0},
		{"config show", 0},
		{"yard check " + bad, 1},
		{"yard check none.yaml", 1},
		{"diagnose", 1}, // no terminal, and nothing given in its place
		{"verify none.yaml", 1},
		{"report none.yaml", 1},
		{"kb show fishes", 1},
		{"kb check none.yaml", 1},
		{"config show --config none.yaml", 1},
		{"nonsense", 2},
		{"yard nonsense", 2},
		{"completion nonsense", 2},
		{"help nonsense", 2},
		{"version extra", 2},
		{"version --nonsense", 2},
		{"verify", 2},
		{"ohms --length much", 2},
		{"locate --tap here", 2},
		{"config show --units yd", 2},
		{"diagnose --role gardener --json", 2},
		{"diagnose --tools hammer --json", 2},
		{"diagnose --json --dialogue", 2},
		{"tree --depth 0", 2},
		{"simulate --strategy luck", 2},
	} {
		var out, errs bytes.Buffer
		code := command.Main(strings.Fields(c.args), strings.NewReader(""), &out, &errs)
		assert.Equal(t, c.code, code, "loopfault %s\n%s", c.args, errs.String())
		if c.code == 0 {
			assert.Empty(t, errs.String(), c.args)
		} else {
			assert.Empty(t, out.String(), c.args)
			assert.True(t, strings.HasPrefix(errs.String(), "loopfault: "), "%s: %s", c.args, errs.String())
		}
	}
}
