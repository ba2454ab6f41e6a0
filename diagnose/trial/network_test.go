package trial

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/trial/bif"
	"loopfault/kb"
)

// newDesk is the engine on a yard of which nothing is known.
func newDesk(t testing.TB) *diagnose.Desk {
	base, err := kb.Load()
	require.NoError(t, err)
	d, err := diagnose.New(base, diagnose.Options{Year: thisYear}).At(&diagnose.Case{Role: diagnose.Technician})
	require.NoError(t, err)
	return d
}

// evidence is some answers to checks that share no fact, as a log and as states
// of the exported network.
func evidence(d *diagnose.Desk, rng *rand.Rand, many int) (log []diagnose.Entry, states map[string]string) {
	states = map[string]string{}
	base := d.Engine().Base()
	facts := map[string]bool{}
	for _, i := range rng.Perm(len(base.Checks)) {
		c := &base.Checks[i]
		if len(states) == many || c.Kind != kb.Choice || d.Engine().AnswerChances(c.ID, "") == nil || facts[c.Fact] {
			continue
		}
		facts[c.Fact] = true
		answer := c.Answers[rng.IntN(len(c.Answers))].ID
		states[CheckVariable(c.ID)] = bif.Word(answer)
		log = append(log, diagnose.Entry{Answer: &diagnose.Answer{Check: c.ID, Choice: answer}})
	}
	return log, states
}

// TestExportedNetworkIsWhatTheEngineBelieves adds up the exported network by hand:
// prior times one row of each table, over every hypothesis.
func TestExportedNetworkIsWhatTheEngineBelieves(t *testing.T) {
	d := newDesk(t)
	n := Network(d)
	require.NoError(t, n.Check())
	fault := &n.Variables[n.Variable(faultVariable)]
	for seed := range uint64(20) {
		log, states := evidence(d, rand.New(rand.NewPCG(seed, 0)), int(seed%9))
		p := append([]float64(nil), fault.P...)
		var total float64
		for h := range p {
			for name, state := range states {
				v := &n.Variables[n.Variable(name)]
				p[h] *= v.P[h*len(v.States)+v.State(state)]
			}
			total += p[h]
		}
		for _, r := range d.Believe(log).Ranking {
			v := &n.Variables[n.Variable(r.Cause.ID)]
			var want float64
			for h := range p {
				want += v.P[2*h] * p[h] / total
			}
			assert.InDelta(t, want, r.P, 1e-9, "%s after %v", r.Cause.ID, states)
		}
	}
}

// TestNetworkOfAFew: kept causes only, and it reads back.
func TestNetworkOfAFew(t *testing.T) {
	n := Network(newDesk(t), "wire-cut", "collar-battery", "adapter-failed")
	var text strings.Builder
	require.NoError(t, n.Write(&text))
	got, err := bif.Read(strings.NewReader(text.String()), "few.bif")
	require.NoError(t, err)
	assert.Equal(t, n, got)
	// Three alone, three pairs of unlike causes, and two wires cut.
	assert.Len(t, got.Variables[0].States, 7)
}

const oracleSource = "../../testdata/networks/query.cpp"

// oracle compiles the outside tool. Without dlib the test is skipped, unless
// LOOPFAULT_REQUIRE_ORACLES says that it may not be.
func oracle(t *testing.T) string {
	missing := func(err error) {
		if os.Getenv("LOOPFAULT_REQUIRE_ORACLES") != "" {
			t.Fatalf("the outside tool cannot be made: %v", err)
		}
		t.Skipf("needs g++ and Debian's libdlib-dev: %v", err)
	}
	if _, err := os.Stat("/usr/include/dlib/bayes_utils.h"); err != nil {
		missing(err)
	}
	compiler, err := exec.LookPath("g++")
	if err != nil {
		missing(err)
	}
	binary := filepath.Join(t.TempDir(), "query")
	out, err := exec.Command(compiler, "-O1", "-std=c++14", oracleSource, "-o", binary, "-ldlib").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return binary
}

// ask puts questions to the outside tool: evidence in, probabilities by variable
// and state out.
func ask(t *testing.T, tool, file string, questions []map[string]string) []map[string]float64 {
	var in strings.Builder
	for _, q := range questions {
		for v, s := range q {
			fmt.Fprintf(&in, "%s=%s ", v, s)
		}
		fmt.Fprintln(&in)
	}
	cmd := exec.Command(tool, file)
	cmd.Stdin = strings.NewReader(in.String())
	pipe, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	answers := readAnswers(t, pipe)
	require.NoError(t, cmd.Wait())
	require.Len(t, answers, len(questions))
	return answers
}

func readAnswers(t *testing.T, r io.Reader) (answers []map[string]float64) {
	now := map[string]float64{}
	for s := bufio.NewScanner(r); s.Scan(); {
		if s.Text() == "." {
			answers = append(answers, now)
			now = map[string]float64{}
			continue
		}
		var variable, state string
		var p float64
		_, err := fmt.Sscan(s.Text(), &variable, &state, &p)
		require.NoError(t, err, s.Text())
		now[variable+" "+state] = p
	}
	return answers
}

// fewCauses are enough to keep the outside tool's tables small.
var fewCauses = []string{"outlet-dead", "transmitter-failed", "lead-in-open", "lead-in-short", "wire-cut", "splice-open",
	"collar-battery", "collar-fit", "training-lapse", "nothing-wrong", "something-else"}

// TestOutsideTool writes the knowledge in the interchange format, has a
// general-purpose tool read it and work out posteriors with its join tree, and
// finds the engine's own to 1e-6: with a few causes always, and with all of them,
// which takes the tool half a minute, where LOOPFAULT_REQUIRE_ORACLES is set.
func TestOutsideTool(t *testing.T) {
	tool := oracle(t)
	t.Run("few causes", func(t *testing.T) { compare(t, tool, 20, fewCauses...) })
	t.Run("all causes", func(t *testing.T) {
		if os.Getenv("LOOPFAULT_REQUIRE_ORACLES") == "" {
			t.Skip("half a minute: set LOOPFAULT_REQUIRE_ORACLES")
		}
		compare(t, tool, 8)
	})
}

func compare(t *testing.T, tool string, sets int, only ...string) {
	base, err := kb.Load()
	require.NoError(t, err)
	own := *base
	own.Causes = slices.Clone(base.Causes)
	for i := range own.Causes {
		if len(only) > 0 && !slices.Contains(only, own.Causes[i].ID) {
			own.Causes[i].Prior.Value = 1e-15 // as good as left out
		}
	}
	d, err := diagnose.New(&own, diagnose.Options{Year: thisYear}).At(&diagnose.Case{Role: diagnose.Technician})
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "kb.bif")
	f, err := os.Create(file)
	require.NoError(t, err)
	require.NoError(t, Network(d, only...).Write(f))
	require.NoError(t, f.Close())

	var logs [][]diagnose.Entry
	var questions []map[string]string
	for seed := range uint64(sets) {
		log, states := evidence(d, rand.New(rand.NewPCG(seed, 1)), int(seed%8))
		logs, questions = append(logs, log), append(questions, states)
	}
	for i, got := range ask(t, tool, file, questions) {
		for _, r := range d.Believe(logs[i]).Ranking {
			p, ok := got[bif.Word(r.Cause.ID)+" yes"]
			if len(only) > 0 && !slices.Contains(only, r.Cause.ID) {
				continue
			}
			require.True(t, ok, r.Cause.ID)
			assert.InDelta(t, p, r.P, 1e-6, "%s after %v", r.Cause.ID, questions[i])
		}
	}
}
