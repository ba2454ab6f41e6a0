package bif

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const networks = "../../../testdata/networks"

func read(t testing.TB, path string) *Network {
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	n, err := Read(f, filepath.Base(path))
	require.NoError(t, err)
	return n
}

// golden is one set of evidence with the posteriors that other tools gave.
type golden struct {
	Evidence  map[string]string             `json:"evidence"`
	PEvidence float64                       `json:"p_evidence"`
	Posterior map[string]map[string]float64 `json:"posterior"`
}

// printed is to how many figures the golden posteriors are given.
const printed = 1e-11

func (g golden) check(t *testing.T, n *Network) {
	evidence := map[int]int{}
	for name, state := range g.Evidence {
		v := n.Variable(name)
		require.GreaterOrEqual(t, v, 0, name)
		evidence[v] = n.Variables[v].State(state)
	}
	for name, want := range g.Posterior {
		v := n.Variable(name)
		require.GreaterOrEqual(t, v, 0, name)
		joint := n.eliminate(v, evidence)
		var total float64
		for _, p := range joint {
			total += p
		}
		assert.InDelta(t, g.PEvidence, total, printed, "%v", g.Evidence)
		for state, p := range want {
			assert.InDelta(t, p, joint[n.Variables[v].State(state)]/total, printed, "%s = %s given %v", name, state, g.Evidence)
		}
	}
}

// TestGoldenNetworks reads each network that has published or cross-checked
// posteriors and finds the same by variable elimination. The origin of the
// figures is in the README beside them.
func TestGoldenNetworks(t *testing.T) {
	folders := []string{networks}
	if more := os.Getenv("LOOPFAULT_NETWORKS"); more != "" {
		folders = append(folders, more)
	}
	for _, folder := range folders {
		files, err := filepath.Glob(filepath.Join(folder, "*.golden.json"))
		require.NoError(t, err)
		require.NotEmpty(t, files, folder)
		for _, file := range files {
			name := strings.TrimSuffix(filepath.Base(file), ".golden.json")
			t.Run(name, func(t *testing.T) {
				text, err := os.ReadFile(file)
				require.NoError(t, err)
				var sets []golden
				require.NoError(t, json.Unmarshal(text, &sets))
				require.NotEmpty(t, sets)
				n := read(t, filepath.Join(folder, name+".bif"))
				for _, g := range sets {
					g.check(t, n)
				}
			})
		}
	}
}

// TestAsiaByHand: figures of gRain's tests (evidence asia and dysp) and of its
// printed output with smoke added.
func TestAsiaByHand(t *testing.T) {
	n := read(t, networks+"/asia.bif")
	v := n.Variable
	yes := func(query string, evidence ...string) (posterior, evidenceP float64) {
		given := map[int]int{}
		for _, e := range evidence {
			given[v(e)] = 0
		}
		p := n.eliminate(v(query), given)
		return p[0] / (p[0] + p[1]), p[0] + p[1]
	}
	p, ev := yes("lung", "asia", "dysp")
	assert.InDelta(t, 0.004501375, ev, 1e-12)
	assert.InDelta(t, .09952515, p, 5e-9)
	p, _ = yes("bronc", "asia", "dysp")
	assert.InDelta(t, .8114021, p, 5e-8)
	p, _ = yes("lung", "asia", "dysp", "smoke")
	assert.InDelta(t, .1455191, p, 5e-8)
	p, _ = yes("bronc", "smoke", "xray") // not touched by the x-ray once smoking is known
	assert.InDelta(t, .6, p, 1e-12)
}

// randomNetwork draws a small network of any shape.
func randomNetwork(t *rapid.T) *Network {
	n := &Network{Name: "drawn"}
	for i := range rapid.IntRange(1, 6).Draw(t, "variables") {
		v := Variable{Name: string(rune('a' + i))}
		for s := range rapid.IntRange(1, 3).Draw(t, "states") {
			v.States = append(v.States, string(rune('p'+s)))
		}
		for p := range i {
			if len(v.Parents) < 3 && rapid.Bool().Draw(t, "arc") {
				v.Parents = append(v.Parents, p)
			}
		}
		for range n.Rows(&v) {
			row := rapid.SliceOfN(rapid.Float64Range(0.01, 1), len(v.States), len(v.States)).Draw(t, "row")
			var sum float64
			for _, p := range row {
				sum += p
			}
			for _, p := range row {
				v.P = append(v.P, p/sum)
			}
		}
		n.Variables = append(n.Variables, v)
	}
	return n
}

// TestReadsBackWhatItWrote, figure for figure.
func TestReadsBackWhatItWrote(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t)
		n.Notes = []string{"a note; with { marks", "another"}
		var text strings.Builder
		require.NoError(t, n.Write(&text))
		got, err := Read(strings.NewReader(text.String()), "drawn.bif")
		require.NoError(t, err)
		assert.Equal(t, n, got)
	})
}

// TestEliminationIsEnumeration: the two oracles of these tests agree.
func TestEliminationIsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t)
		query := rapid.IntRange(0, len(n.Variables)-1).Draw(t, "query")
		evidence := map[int]int{}
		for i := range n.Variables {
			if i != query && rapid.Bool().Draw(t, "seen") {
				evidence[i] = rapid.IntRange(0, len(n.Variables[i].States)-1).Draw(t, "state")
			}
		}
		want, got := n.enumerate(query, evidence), n.eliminate(query, evidence)
		for i := range want {
			assert.InDelta(t, want[i], got[i], 1e-12)
		}
	})
}

// TestRefusals: each fault of a file is told with its place.
func TestRefusals(t *testing.T) {
	const head = "network n {\n}\nvariable a {\n  type discrete [ 2 ] { y, n };\n}\n"
	const second = "variable b {\n  type discrete [ 2 ] { y, n };\n}\nprobability ( a ) {\n  table .5, .5;\n}\n"
	for name, tt := range map[string]struct{ text, want string }{
		"empty":           {"", `x.bif:1:1: found the end of the file, expected "network"`},
		"count":           {"network n {}\nvariable a { type discrete [ 3 ] { y, n }; }", `x.bif:2:41: 2 states, expected 3 as declared and at least one`},
		"no states":       {"network n {} variable a { } probability ( a ) { }", `variable a has no states`},
		"no table":        {head, `variable a has 0 rows of probabilities, expected 1`},
		"not a number":    {head + "probability ( a ) { table .5, half; }", `x.bif:6:31: found "half", expected a number`},
		"unknown":         {head + "probability ( c ) { table .5, .5; }", `x.bif:6:15: no variable c was declared before`},
		"sum":             {head + "probability ( a ) { table .5, .6; }", `variable a: row 1 sums to 1.1, expected 1`},
		"negative":        {head + "probability ( a ) { table -.5, 1.5; }", `is no probability`},
		"not finite":      {head + "probability ( a ) { table NaN, 1; }", `is no probability`},
		"twice":           {head + "variable a { type discrete [ 1 ] { y }; }", `x.bif:6:10: variable a stands twice`},
		"table order":     {head + second + "probability ( b | a ) { table .5, .5, .5, .5; }", `a table for a variable with parents`},
		"row twice":       {head + second + "probability ( b | a ) { (y) .5, .5; (y) .5, .5; }", `a row of variable b stands twice`},
		"row missing":     {head + second + "probability ( b | a ) { (y) .5, .5; }", `variable b has 1 rows of probabilities, expected 2`},
		"state":           {head + second + "probability ( b | a ) { (x) .5, .5; (n) .5, .5; }", `x is no state of a`},
		"own parent":      {head + "probability ( a | a ) { (y) 1, 0; (n) 0, 1; }", `variable a is its own ancestor`},
		"open comment":    {head + "/* probability", `variable a has 0 rows`},
		"open property":   {"network n { property author", `a property without its semicolon`},
		"something other": {head + "potential", `found "potential", expected variable or probability`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Read(strings.NewReader(tt.text), "x.bif")
			assert.ErrorContains(t, err, tt.want)
		})
	}
	n := &Network{Name: "n", Variables: []Variable{{Name: "a b", States: []string{"y"}, P: []float64{1}}}}
	assert.ErrorContains(t, n.Write(&strings.Builder{}), `name "a b"`)
	n.Variables[0].Name = Word("a b")
	assert.NoError(t, n.Write(&strings.Builder{}))
}

// FuzzRead: no text makes the reader panic or give a network that it would not
// read back.
func FuzzRead(f *testing.F) {
	text, err := os.ReadFile(networks + "/asia.bif")
	require.NoError(f, err)
	f.Add(string(text))
	f.Add("network a { property \"x\" ; } variable b { type discrete [1] {c}; } probability (b) { table 1; }")
	f.Add("network /* */ //")
	f.Fuzz(func(t *testing.T, text string) {
		n, err := Read(strings.NewReader(text), "f.bif")
		if err != nil || n.checkNames() != nil {
			return
		}
		var again strings.Builder
		require.NoError(t, n.Write(&again))
		_, err = Read(strings.NewReader(again.String()), "f.bif")
		require.NoError(t, err)
	})
}

// TestNoisyOr is example: three causes with priors .1 .2 .05 and three
// noisy-OR findings with leaks, posteriors from the Quickscore formula, verified
// against enumeration in rationals.
func TestNoisyOr(t *testing.T) {
	prior := []float64{.1, .2, .05}
	leak := []float64{.01, .05, .02}
	shows := [][]float64{{.8, .3, 0}, {.5, 0, .9}, {0, .6, .4}}
	n := &Network{Name: "q"}
	for i, p := range prior {
		n.Variables = append(n.Variables, Variable{Name: "d" + string(rune('1'+i)), States: []string{"no", "yes"}, P: []float64{1 - p, p}})
	}
	for f := range leak {
		v := Variable{Name: "f" + string(rune('1'+f)), States: []string{"no", "yes"}, Parents: []int{0, 1, 2}}
		each([]int{2, 2, 2}, func(at []int) {
			no := 1 - leak[f]
			for d, on := range at {
				if on == 1 {
					no *= 1 - shows[f][d]
				}
			}
			v.P = append(v.P, no, 1-no)
		})
		n.Variables = append(n.Variables, v)
	}
	for _, tt := range []struct {
		found     map[int]int // finding to 0 or 1
		pEvidence float64
		posterior [3]float64
	}{
		{map[int]int{3: 1}, .1438480000, [3]float64{.56579167, .50392081, .05}},
		{map[int]int{3: 1, 4: 1}, .0502615335, [3]float64{.88473959, .28925328, .13335086}},
		{map[int]int{3: 1, 4: 0}, .0935864665, [3]float64{.39449755, .61921011, .00523560}},
		{map[int]int{3: 1, 4: 1, 5: 0}, .0388615253, [3]float64{.94483509, .13324969, .07126261}},
		{map[int]int{3: 1, 4: 1, 5: 1}, .0114000082, [3]float64{.67987986, .82105442, .34500367}},
	} {
		for d, want := range tt.posterior {
			p := n.eliminate(d, tt.found)
			assert.InDelta(t, tt.pEvidence, p[0]+p[1], 5e-11)
			assert.InDelta(t, want, p[1]/(p[0]+p[1]), 5e-9, "cause %d after %v", d+1, tt.found)
		}
	}
}
