//go:build !windows

package command_test

import (
	"bufio"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/command"
)

// TestInterruptKeepsWhatWasAnswered stops the program in the middle of a
// dialogue: the exit code is 130 and the answer before it is in the case.
func TestInterruptKeepsWhatWasAnswered(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	file := filepath.Join(t.TempDir(), "case.yaml")
	in, answers := io.Pipe()
	questions, out := io.Pipe()
	code := make(chan int, 1)
	go func() {
		code <- command.Main([]string{"diagnose", file, "--dialogue", "--role", "homeowner"}, in, out, io.Discard)
		out.Close()
	}()
	lines := bufio.NewScanner(questions)
	require.True(t, lines.Scan())
	_, err := io.WriteString(answers, `{"check": "supply-sign", "answer": "on"}`+"\n")
	require.NoError(t, err)
	require.True(t, lines.Scan()) // the next question: the answer is saved
	require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGINT))
	assert.Equal(t, 130, <-code)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Contains(t, string(text), "{check: supply-sign, answer: ")
}
