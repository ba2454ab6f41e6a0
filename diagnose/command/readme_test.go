package command

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReadmeSession holds the session in README.md to what the program prints:
// every line of it, in its order.
func TestReadmeSession(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(readme), "```console\n$ go run . ")
	require.True(t, ok, "README.md shows a session")
	session, _, _ := strings.Cut(rest, "\n```")
	command, lines, _ := strings.Cut(session, "\n")
	args, _, _ := strings.Cut(command, "#")

	var out, errs bytes.Buffer
	require.Zero(t, Main(strings.Fields(args), strings.NewReader(""), &out, &errs), errs.String())
	printed := out.String()
	for line := range strings.SplitSeq(lines, "\n") {
		_, after, found := strings.Cut(printed, line+"\n")
		require.True(t, found, "README.md shows %q, which the program does not print there", line)
		printed = after
	}
}
