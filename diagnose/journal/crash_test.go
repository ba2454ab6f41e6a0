//go:build !windows

package journal

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/locate"
)

// The environment that turns the test program into a child that is to be killed.
const (
	childCase  = "LOOPFAULT_TEST_CASE"  // the case it answers
	childBytes = "LOOPFAULT_TEST_BYTES" // it kills itself when it has written so many; "": it is killed
)

func TestMain(m *testing.M) {
	if path := os.Getenv(childCase); path != "" {
		answerUntilKilled(path, os.Getenv(childBytes))
		return
	}
	os.Exit(m.Run())
}

// dying writes a byte at a time and takes the process with it after so many.
type dying struct {
	file
	left int // -1: never
}

func (d *dying) WriteAt(p []byte, off int64) (int, error) {
	for i := range p {
		if d.left == 0 {
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
			time.Sleep(time.Hour) // the signal is on its way
		}
		if _, err := d.file.WriteAt(p[i:i+1], off+int64(i)); err != nil {
			return i, err
		}
		d.left--
	}
	return len(p), nil
}

// crashEntry is the nth entry of a child; its place tells which it is.
func crashEntry(n int) diagnose.Entry { return tapAt(float64(n%500), locate.Broken, locate.Intact) }

// answerUntilKilled is the child: it says each number once its answer is safe.
func answerUntilKilled(path, most string) {
	fail := func(err error) {
		if err != nil {
			fmt.Println("failed:", err)
			os.Exit(1)
		}
	}
	j, err := Open(path, Options{Base: mustBase()})
	fail(err)
	left := -1
	if most != "" {
		left, err = strconv.Atoi(most)
		fail(err)
	}
	j.f = &dying{file: j.f, left: left}
	for n := len(j.Case().Log); ; n++ {
		fail(j.Append(crashEntry(n)))
		fmt.Println(n)
	}
}

// child runs the child until it is gone and gives the number of answers that it said were safe.
func child(t *testing.T, path, most string, killAfter time.Duration) int {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), childCase+"="+path, childBytes+"="+most)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	if killAfter > 0 {
		time.AfterFunc(killAfter, func() { _ = cmd.Process.Kill() })
	}
	safe := 0
	for lines := bufio.NewScanner(out); lines.Scan(); {
		require.NotContains(t, lines.Text(), "failed")
		safe++
	}
	_ = cmd.Wait()
	require.Equal(t, syscall.SIGKILL, cmd.ProcessState.Sys().(syscall.WaitStatus).Signal())
	return safe
}

// checkSurvivors opens the case after a kill: every answer said to be safe is
// there, at most the one in flight besides, and the lock is free.
func checkSurvivors(t *testing.T, path string, before, safe int) int {
	t.Helper()
	j, err := Open(path, options(t))
	require.NoError(t, err, fileText(t, path))
	log := j.Case().Log
	require.GreaterOrEqual(t, len(log), before+safe, "an answer that was safe is gone")
	require.LessOrEqual(t, len(log), before+safe+1)
	for n, e := range log {
		require.Equal(t, crashEntry(n), e)
	}
	require.NoError(t, j.Close())
	return len(log)
}

// A process that kills itself at every byte of its first line, in the line's
// beginning the name of the list too, and at the first bytes of the next.
//
// Neither this test nor the next runs beside others: a process that is just being
// started holds every open file of this one for a moment, and its lock with it.
func TestKilledAtEveryByte(t *testing.T) {
	first := len("answers:\n  - {check: tap, at: 0 ft, a_side: broken, b_side: intact}\n")
	points := first + 3
	if testing.Short() {
		points = 12
	}
	for n := range points {
		path := filepath.Join(t.TempDir(), "case.yaml")
		require.NoError(t, os.WriteFile(path, []byte("case: x\n"), 0o644))
		at := n
		if testing.Short() {
			at = n * first / points
		}
		safe := child(t, path, strconv.Itoa(at), 0)
		checkSurvivors(t, path, 0, safe)
	}
	t.Logf("killed at %d bytes", points)
}

// A process killed at moments of chance, over and over on one case.
func TestKilledAtAnyMoment(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 9))
	path := filepath.Join(t.TempDir(), "case.yaml")
	require.NoError(t, os.WriteFile(path, []byte("answers: []\ncase: x\n"), 0o644)) // to be laid out anew first
	kills, held := 20, 0
	if testing.Short() {
		kills = 4
	}
	for range kills {
		safe := child(t, path, "", 30*time.Millisecond+time.Duration(rng.IntN(120))*time.Millisecond)
		held = checkSurvivors(t, path, held, safe)
	}
	names, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	t.Logf("%d kills, %d answers kept, %d files in the folder", kills, held, len(names))
	require.True(t, strings.HasPrefix(fileText(t, path), "case: x\n") || held == 0)
}
