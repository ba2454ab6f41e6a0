//go:build !windows

package command_test

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The bars, each for a whole process: 50 ms to the first question, 100 ms for the
// result of a case of nine answers. Measured, not asserted: time on a shared
// machine proves nothing.

// program is this test's own binary under the program's name, which it answers to.
func program(b *testing.B) string {
	b.Helper()
	self, err := os.Executable()
	require.NoError(b, err)
	name := filepath.Join(b.TempDir(), "loopfault")
	require.NoError(b, os.Symlink(self, name))
	b.Setenv("XDG_CONFIG_HOME", b.TempDir())
	return name
}

func BenchmarkVersion(b *testing.B) {
	name := program(b)
	for b.Loop() {
		require.NoError(b, exec.Command(name, "version").Run())
	}
}

func BenchmarkFirstQuestion(b *testing.B) {
	for _, role := range []string{"homeowner", "technician", "support"} {
		b.Run(role, func(b *testing.B) {
			name := program(b)
			for b.Loop() {
				c := exec.Command(name, "diagnose", "--dialogue", "--role", role)
				in, err := c.StdinPipe()
				require.NoError(b, err)
				out, err := c.StdoutPipe()
				require.NoError(b, err)
				require.NoError(b, c.Start())
				_, err = bufio.NewReader(out).ReadString('\n')
				require.NoError(b, err)
				b.StopTimer()
				require.NoError(b, in.Close())
				require.NoError(b, c.Wait())
				b.StartTimer()
			}
		})
	}
}

const nineAnswers = `case: orchard house, spring call
role: technician
tools: [meter, capacitance, spade, splice-kit, temporary-wire]
yard:
  wire: {gauge: 20 awg, material: copper, strands: solid}
  lead_in: {length: 40 ft, twisted: true}
  loop: {length: 480 ft}
answers:
  - {check: supply-sign, answer: on}
  - {check: continuity-sign, answer: broken}
  - {check: recent-work, answer: edging, from: 290 ft, to: 330 ft}
  - {check: loop-ohms, reading: over-range}
  - {check: leg-a-to-earth, reading: over-range}
  - {check: capacitance-a, reading: 13.9 nF}
  - {check: capacitance-b, reading: 11.2 nF}
  - {check: tap, at: 314 ft, a_side: broken, b_side: intact}
  - {check: contact-lamp, answer: unknown}
`

func BenchmarkResultOfNineAnswers(b *testing.B) {
	name := program(b)
	file := filepath.Join(b.TempDir(), "case.yaml")
	require.NoError(b, os.WriteFile(file, []byte(nineAnswers), 0o644))
	for b.Loop() {
		require.NoError(b, exec.Command(name, "diagnose", file, "--json").Run())
	}
}
