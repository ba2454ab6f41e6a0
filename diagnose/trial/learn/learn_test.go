package learn

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose"
	"loopfault/kb"
)

const exact = 1e-9

// TestBeta is example C-01: Beta(2,8) and 3 of 5 positive; mean 1/3, variance
// 1/72, log marginal of the sequence by exact arithmetic.
func TestBeta(t *testing.T) {
	prior := Dirichlet{2, 8}
	after := prior.With([]float64{3, 2})
	assert.InDelta(t, 1.0/3, after.Mean()[0], exact)
	assert.InDelta(t, .0138888889, after.Variance(0), exact)
	assert.InDelta(t, -4.9346737533, prior.LogMarginal([]float64{3, 2}), exact)
}

// TestDirichlet is C-02, and C-03 with one unconfirmed case that counts as its
// posterior: fractions of 13 and 11.
func TestDirichlet(t *testing.T) {
	prior := Dirichlet{4, 3, 2, 1}
	for _, tt := range []struct{ counts, want []float64 }{
		{[]float64{1, 0, 2, 0}, []float64{.3846153846, .2307692308, .3076923077, .0769230769}},
		{[]float64{.5, .3, .2, 0}, []float64{.4090909091, .3, .2, .0909090909}},
	} {
		assert.InDeltaSlice(t, tt.want, prior.With(tt.counts).Mean(), exact)
	}
	assert.InDeltaSlice(t, []float64(prior), []float64(NewDirichlet(prior.Mean(), prior.Size())), exact)
}

func builtIn(t testing.TB) *kb.Base {
	base, err := kb.Load()
	require.NoError(t, err)
	return base
}

// world draws closed cases from a knowledge base: a repairable cause by its share,
// and answers from the tables to each check with chance a half.
type world struct {
	base   *kb.Base
	engine *diagnose.Engine
}

func newWorld(base *kb.Base) world { return world{base, diagnose.New(base, diagnose.Options{})} }

func (w world) draw(rng *rand.Rand, name string) *diagnose.Case {
	var total float64
	for _, c := range w.base.Causes {
		if repairable(w.base, c.ID) {
			total += c.Prior.Value
		}
	}
	u, cause := rng.Float64()*total, ""
	for _, c := range w.base.Causes {
		if repairable(w.base, c.ID) {
			if cause = c.ID; u < c.Prior.Value {
				break
			}
			u -= c.Prior.Value
		}
	}
	c := &diagnose.Case{Name: name, Role: diagnose.Technician}
	for _, check := range w.base.Checks {
		p := w.engine.AnswerChances(check.ID, "", cause)
		if check.Kind != kb.Choice || p == nil || rng.IntN(2) == 0 {
			continue
		}
		k, v := 0, rng.Float64()
		for ; k < len(p)-1 && v >= p[k]; k++ {
			v -= p[k]
		}
		c.Log = append(c.Log, diagnose.Entry{Answer: &diagnose.Answer{Check: check.ID, Choice: check.Answers[k].ID}})
	}
	c.Log = append(c.Log, diagnose.Entry{Repair: &diagnose.RepairDone{Repair: cause, Fixed: true}},
		diagnose.Entry{Outcome: &diagnose.Outcome{Cause: cause, Confirmed: true}})
	return c
}

// elsewhere is a world that the knowledge base gets wrong: far more dead batteries,
// and a continuity sign that stays on with every second cut.
func elsewhere(t testing.TB) world {
	base, err := kb.LoadWith("elsewhere.yaml", []byte(`schema: 1
causes:
  - {id: collar-battery, prior: {value: 0.5, source: judgement, confidence: low, why: another country}}
checks:
  - id: continuity-sign
    rows:
      - {causes: [wire-cut, splice-open], p: {complete: 0.5, broken: 0.49, dark: 0.01}, source: judgement, confidence: low, why: another transmitter}
`))
	require.NoError(t, err)
	return newWorld(base)
}

func taught(t testing.TB, w world, cases int, seed uint64) *Learner {
	l := New(builtIn(t))
	rng := rand.New(rand.NewPCG(seed, 0))
	for i := range cases {
		require.Equal(t, Used, l.Add(w.draw(rng, fmt.Sprint("call ", i))))
	}
	return l
}

// TestLearnsAnotherWorld: from cases of another world the learned knowledge moves
// to that world's figures and does better on held-out cases by every score.
func TestLearnsAnotherWorld(t *testing.T) {
	w := elsewhere(t)
	r, err := taught(t, w, 1200, 1).Result()
	require.NoError(t, err)
	assert.Equal(t, 1200, r.Cases)
	require.True(t, r.HeldOut)
	assert.Equal(t, 1200, r.After.Cases)
	assert.Less(t, r.After.LogCase, r.Before.LogCase)
	assert.Less(t, r.After.Brier, r.Before.Brier)
	assert.Greater(t, r.After.First, r.Before.First)
	assert.Less(t, r.After.LogAnswer, r.Before.LogAnswer)
	assert.Less(t, r.After.LogCause, r.Before.LogCause)

	learned, err := kb.LoadWith("learned.yaml", r.Overlay)
	require.NoError(t, err)
	moved := func(get func(*kb.Base) float64) { // most of the way

		t.Helper()
		before, after, truth := get(builtIn(t)), get(learned), get(w.base)
		assert.Less(t, abs(after-truth), abs(before-truth)/2, "from %v to %v, truly %v", before, after, truth)
	}
	share := func(b *kb.Base) float64 {
		var total float64
		for _, c := range b.Causes {
			if repairable(b, c.ID) {
				total += c.Prior.Value
			}
		}
		return b.Cause("collar-battery").Prior.Value / total
	}
	moved(share)
	moved(func(b *kb.Base) float64 { return b.Check("continuity-sign").Row("wire-cut").P["complete"] })
}

func abs(v float64) float64 { return max(v, -v) }

// TestLearnsNothingAtHome: from cases of its own world the knowledge moves only by
// chance, and held-out scores hardly change.
func TestLearnsNothingAtHome(t *testing.T) {
	r, err := taught(t, newWorld(builtIn(t)), 600, 2).Result()
	require.NoError(t, err)
	// Shares of 31 causes with 60 cases of trust and 540 more cost up to 30/2 nats
	// over 600 cases, and the tables next to nothing.
	assert.InDelta(t, r.Before.LogAnswer, r.After.LogAnswer, 0.002)
	assert.InDelta(t, r.Before.LogCause, r.After.LogCause, 0.05)
}

// TestSharesOfWhatNoRepairConfirms stay as they were, and so does their sum.
func TestSharesOfWhatNoRepairConfirms(t *testing.T) {
	base := builtIn(t)
	r, err := taught(t, elsewhere(t), 200, 3).Result()
	require.NoError(t, err)
	learned, err := kb.LoadWith("learned.yaml", r.Overlay)
	require.NoError(t, err)
	var before, after float64
	for i := range base.Causes {
		id := base.Causes[i].ID
		if repairable(base, id) {
			before += base.Causes[i].Prior.Value
			after += learned.Cause(id).Prior.Value
			continue
		}
		assert.Equal(t, base.Causes[i].Prior.Value, learned.Cause(id).Prior.Value, id)
	}
	assert.InDelta(t, before, after, 1e-4)
}

// TestRefusesFew: 29 cases teach nothing, 30 do.
func TestRefusesFew(t *testing.T) {
	w := elsewhere(t)
	_, err := taught(t, w, 29, 4).Result()
	assert.Equal(t, TooFewError{29}, err)
	_, err = taught(t, w, 30, 4).Result()
	assert.NoError(t, err)
}

// TestOnlyConfirmedCases: what is open, unconfirmed, unknown or twofold is left
// out, and said so.
func TestOnlyConfirmedCases(t *testing.T) {
	answer := diagnose.Entry{Answer: &diagnose.Answer{Check: "supply-sign", Choice: "on"}}
	end := func(cause string, confirmed bool) diagnose.Entry {
		return diagnose.Entry{Outcome: &diagnose.Outcome{Cause: cause, Confirmed: confirmed}}
	}
	mend := func(cause string, fixed bool) diagnose.Entry {
		return diagnose.Entry{Repair: &diagnose.RepairDone{Repair: cause, Fixed: fixed}}
	}
	for _, tt := range []struct {
		want Refusal
		log  []diagnose.Entry
	}{
		{NotClosed, []diagnose.Entry{answer, mend("wire-cut", true)}},
		{NotConfirmed, []diagnose.Entry{answer, end("wire-cut", false)}},
		{UnknownCause, []diagnose.Entry{answer, end("gremlins", true)}},
		{UnknownCause, []diagnose.Entry{answer, end("something-else", true)}},
		{SeveralFaults, []diagnose.Entry{answer, mend("collar-battery", true), mend("wire-cut", true), end("wire-cut", true)}},
		{Used, []diagnose.Entry{answer, mend("collar-battery", false), mend("wire-cut", true), mend("verify", true), end("wire-cut", true)}},
		{Used, []diagnose.Entry{answer, mend("replace-section", true), end("splice-open", true)}},
	} {
		l := New(builtIn(t))
		assert.Equal(t, tt.want, l.Add(&diagnose.Case{Log: tt.log}), "%v", tt.log)
		if tt.want != Used {
			assert.Equal(t, map[Refusal]int{tt.want: 1}, l.Refused)
			assert.Zero(t, l.Counts().Cases())
		}
	}
}

// TestOnlyWhatWasSaidBeforeTheRepair counts: after it another world answers.
func TestOnlyWhatWasSaidBeforeTheRepair(t *testing.T) {
	l := New(builtIn(t))
	say := func(check, choice string) diagnose.Entry {
		return diagnose.Entry{Answer: &diagnose.Answer{Check: check, Choice: choice}}
	}
	unsure := say("skin", "healthy")
	unsure.Answer.Unsure = true
	away := say("tone-when-unplugged", "silent")
	away.Answer.When = diagnose.FaultAbsent
	l.Add(&diagnose.Case{Log: []diagnose.Entry{say("continuity-sign", "complete"), say("continuity-sign", "broken"), unsure, away,
		say("supply-sign", diagnose.Unknown), {Repair: &diagnose.RepairDone{Repair: "wire-cut", Fixed: true}}, say("terminal-look", "sound"),
		{Outcome: &diagnose.Outcome{Cause: "wire-cut", Confirmed: true}}}})
	sum := l.Counts().without(-1)
	assert.Equal(t, map[string]int{"wire-cut": 1}, sum.Causes)
	assert.Equal(t, map[string]map[string]map[string]int{"continuity-sign": {"wire-cut": {"broken": 1}}}, sum.Answers)
}

// drawCounts draws small counts of a few names.
func drawCounts(t *rapid.T, label string) *Counts {
	c := NewCounts()
	for range rapid.IntRange(0, 8).Draw(t, label) {
		f := &c.Folds[rapid.IntRange(0, Folds-1).Draw(t, "fold")]
		cause := rapid.SampledFrom([]string{"wire-cut", "collar-battery"}).Draw(t, "cause")
		f.Causes[cause] += rapid.IntRange(1, 9).Draw(t, "n")
		f.answer(rapid.SampledFrom([]string{"skin", "supply-sign"}).Draw(t, "check"), cause,
			rapid.SampledFrom([]string{"x", "y"}).Draw(t, "answer"), rapid.IntRange(1, 9).Draw(t, "m"))
	}
	return c
}

func sum(parts ...*Counts) *Counts {
	out := NewCounts()
	for _, p := range parts {
		out.Add(p)
	}
	return out
}

// TestCountsMergeInAnyOrder: adding is associative and commutative, nothing is
// its neutral element, and writing and reading changes nothing.
func TestCountsMergeInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := drawCounts(t, "a"), drawCounts(t, "b"), drawCounts(t, "c")
		left, right := sum(sum(a, b), c), sum(a, sum(b, c))
		assert.True(t, left.Equal(right))
		assert.True(t, sum(a, b).Equal(sum(b, a)))
		assert.True(t, sum(a, NewCounts()).Equal(a))
		assert.Equal(t, a.Cases()+b.Cases()+c.Cases(), left.Cases())
		var text bytes.Buffer
		require.NoError(t, left.Write(&text))
		back, err := ReadCounts(&text, "counts.json")
		require.NoError(t, err)
		assert.True(t, back.Equal(left))
	})
}

// TestArchiveInParts: cases counted in three parts and merged teach what they teach together.
func TestArchiveInParts(t *testing.T) {
	w := elsewhere(t)
	rng := rand.New(rand.NewPCG(5, 0))
	whole := New(builtIn(t))
	parts := []*Learner{New(builtIn(t)), New(builtIn(t)), New(builtIn(t))}
	for i := range 150 {
		c := w.draw(rng, fmt.Sprint(i))
		whole.Add(c)
		parts[i%3].Add(c)
	}
	merged := New(builtIn(t))
	for _, p := range []int{2, 0, 1} {
		merged.AddCounts(parts[p].Counts())
	}
	want, err := whole.Result()
	require.NoError(t, err)
	got, err := merged.Result()
	require.NoError(t, err)
	assert.Equal(t, string(want.Overlay), string(got.Overlay))
	assert.InDelta(t, want.After.LogAnswer, got.After.LogAnswer, exact)
}

// TestOrderDoesNotMatter, for the sample neither.
func TestOrderDoesNotMatter(t *testing.T) {
	w := elsewhere(t)
	rng := rand.New(rand.NewPCG(6, 0))
	var cases []*diagnose.Case
	for i := range 60 {
		cases = append(cases, w.draw(rng, fmt.Sprint(i)))
	}
	forth, back := New(builtIn(t)), New(builtIn(t))
	for _, c := range cases {
		forth.Add(c)
	}
	slices.Reverse(cases)
	for _, c := range cases {
		back.Add(c)
	}
	a, err := forth.Result()
	require.NoError(t, err)
	b, err := back.Result()
	require.NoError(t, err)
	assert.Equal(t, a, b)
}

// TestSampleIsBounded: memory does not grow with the archive.
func TestSampleIsBounded(t *testing.T) {
	w := elsewhere(t)
	l := New(builtIn(t))
	rng := rand.New(rand.NewPCG(7, 0))
	c := w.draw(rng, "")
	for i := range 3 * mostSampled {
		c.Name = fmt.Sprint(i)
		l.Add(c)
	}
	assert.Len(t, l.sample, mostSampled)
	assert.Equal(t, 3*mostSampled, l.Counts().Cases())
	assert.True(t, slices.IsSortedFunc(l.sample, func(a, b sampled) int {
		if a.key < b.key {
			return -1
		}
		return 1
	}))
}

// asLine is a case as a line of a stream.
func asLine(t testing.TB, c *diagnose.Case) string {
	var l line
	l.Case, l.Role = c.Name, string(c.Role)
	for _, e := range c.Log {
		switch {
		case e.Answer != nil:
			l.Answers = append(l.Answers, lineEntry{Check: e.Answer.Check, Answer: e.Answer.Choice})
		case e.Repair != nil:
			l.Answers = append(l.Answers, lineEntry{Repair: e.Repair.Repair, Fixed: e.Repair.Fixed})
		case e.Outcome != nil:
			l.Outcome = &lineEnd{e.Outcome.Cause, e.Outcome.Confirmed}
		}
	}
	text, err := json.Marshal(l)
	require.NoError(t, err)
	return string(text)
}

// TestStream: lines teach what the cases teach.
func TestStream(t *testing.T) {
	w := elsewhere(t)
	rng := rand.New(rand.NewPCG(8, 0))
	direct, streamed := New(builtIn(t)), New(builtIn(t))
	var text strings.Builder
	for i := range 40 {
		c := w.draw(rng, fmt.Sprint(i))
		direct.Add(c)
		fmt.Fprintf(&text, "%s\n\n", asLine(t, c))
	}
	require.NoError(t, Stream(strings.NewReader(text.String()), "cases.jsonl", func(c *diagnose.Case) error {
		streamed.Add(c)
		return nil
	}))
	assert.True(t, direct.Counts().Equal(streamed.Counts()))
}

// TestStreamOfCaseFileWords: changed answers, undo and an outcome among the answers.
func TestStreamOfCaseFileWords(t *testing.T) {
	const text = `{"case":"a","role":"homeowner","yard":{"loop":{"length":"480 ft"}},"answers":[
{"check":"supply-sign","answer":"off"},{"check":"skin","answer":"sore"},{"undo":true},
{"check":"supply-sign","answer":"on","replaces":1},{"check":"loop-ohms","reading":"5 ohm"},{"outcome":{"cause":"wire-cut","confirmed":true}}]}`
	l := New(builtIn(t))
	require.NoError(t, Stream(strings.NewReader(strings.ReplaceAll(text, "\n", "")), "a.jsonl", func(c *diagnose.Case) error {
		assert.Equal(t, Used, l.Add(c))
		return nil
	}))
	assert.Equal(t, map[string]map[string]map[string]int{"supply-sign": {"wire-cut": {"on": 1}}}, l.Counts().without(-1).Answers)
}

// TestStreamTellsTheLine of what is no case.
func TestStreamTellsTheLine(t *testing.T) {
	take := func(*diagnose.Case) error { return nil }
	for _, tt := range []struct{ text, want string }{
		{"{}\nnonsense\n", "x.jsonl:2: "},
		{"{}\n\n[]", "x.jsonl:3: "},
		{`{"answers": 3}`, "x.jsonl:1: "},
		{strings.Repeat("x", longestLine+1), "x.jsonl:1: a line of more than"},
	} {
		assert.ErrorContains(t, Stream(strings.NewReader(tt.text), "x.jsonl", take), tt.want)
	}
	assert.NoError(t, Stream(strings.NewReader(""), "x.jsonl", take))
}

// TestBadCounts of other programs are refused.
func TestBadCounts(t *testing.T) {
	for _, text := range []string{
		`{}`, `{"schema": 2, "folds": []}`, `{"schema": 1, "folds": [], "more": 1}`,
		`{"schema": 1, "folds": [{"causes": {"wire-cut": -1}}]}`, `{"schema": 1, "folds": [{"causes": {"wire-cut": 0.5}}]}`,
		`{"schema": 1, "folds": [{}, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}]}`,
		`{"schema": 1, "folds": [{"answers": {"skin": {"wire-cut": {"sore": -2}}}}]}`,
	} {
		_, err := ReadCounts(strings.NewReader(text), "counts.json")
		assert.ErrorContains(t, err, "counts.json", text)
	}
	c, err := ReadCounts(strings.NewReader(`{"schema": 1, "folds": [{"causes": {"wire-cut": 40}}]}`), "counts.json")
	require.NoError(t, err)
	l := New(builtIn(t))
	l.AddCounts(c)
	r, err := l.Result()
	require.NoError(t, err)
	assert.False(t, r.HeldOut, "one fold leaves nothing to hold out")
}

func BenchmarkStream(b *testing.B) {
	w := elsewhere(b)
	rng := rand.New(rand.NewPCG(9, 0))
	var text strings.Builder
	for i := range 1000 {
		fmt.Fprintln(&text, asLine(b, w.draw(rng, fmt.Sprint(i))))
	}
	l := New(builtIn(b))
	b.ReportAllocs()
	for b.Loop() {
		err := Stream(strings.NewReader(text.String()), "b.jsonl", func(c *diagnose.Case) error {
			l.Add(c)
			return nil
		})
		require.NoError(b, err)
	}
	b.ReportMetric(1000*float64(b.N)/b.Elapsed().Seconds(), "cases/s")
}
