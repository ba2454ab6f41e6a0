package diagnose

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/faultmodel"
	"loopfault/kb"
)

// newEngine is the engine on the knowledge base that ships.
func newEngine(t testing.TB) *Engine {
	t.Helper()
	base, err := kb.Load()
	require.NoError(t, err)
	return New(base, Options{Year: 2026})
}

func say(check, choice string) Entry {
	return Entry{Answer: &Answer{Check: check, Choice: choice}}
}

// choices are the checks judged by tables alone, none of which shares a fact
// with another.
func choices(e *Engine) []*kb.Check {
	var out []*kb.Check
	facts := map[string]bool{}
	for i := range e.kb.Checks {
		c := &e.kb.Checks[i]
		if c.Kind != kb.Choice || e.tables[c.ID] == nil || c.Fact != "" && facts[c.Fact] {
			continue
		}
		facts[c.Fact] = true
		out = append(out, c)
	}
	return out
}

// TestPosteriorAgainstBruteForce works the belief out again by the definition of
// the noisy-MAX, as the larger of independent contributions, with none of the
// engine's tables.
func TestPosteriorAgainstBruteForce(t *testing.T) {
	e := newEngine(t)
	checks := choices(e)
	row := func(c *kb.Check, cause *kb.Cause, k int) float64 {
		away := cause.Intermittent.Value
		if c.Lasting {
			away = 0
		}
		id := c.Answers[k].ID
		return (1-away)*c.Row(cause.ID).P[id] + away*c.Baseline.P[id]
	}
	// own is the chance that a cause by itself contributes answer k, the leak taken out.
	own := func(c *kb.Check, cause *kb.Cause) []float64 {
		out := make([]float64, len(c.Answers))
		var f, f0, before float64
		for k := range out {
			f += row(c, cause, k)
			f0 += c.Baseline.P[c.Answers[k].ID]
			g := 1.0
			if f0 > 0 && k < len(out)-1 {
				g = f / f0
			}
			out[k] = g - before
			before = g
		}
		return out
	}
	chance := func(c *kb.Check, h hypothesis, k int) float64 {
		a := &e.kb.Causes[h.a]
		var p float64
		switch {
		case h.b < 0:
			p = row(c, a, k)
		case c.Answers[k].Share.Value > 0:
			p = c.Baseline.P[c.Answers[k].ID]
		case c.Combine == "product":
			sum, free := 0.0, 1.0
			for j := range c.Answers {
				if c.Answers[j].Share.Value > 0 {
					free -= c.Baseline.P[c.Answers[j].ID]
					continue
				}
				q := row(c, a, j) * row(c, &e.kb.Causes[h.b], j) / c.Baseline.P[c.Answers[j].ID]
				sum += q
				if j == k {
					p = q
				}
			}
			p *= free / sum
		default:
			one, two := own(c, a), own(c, &e.kb.Causes[h.b])
			for i, x := range one {
				for j, y := range two {
					for l := range c.Answers {
						if max(i, j, l) == k {
							p += x * y * c.Baseline.P[c.Answers[l].ID]
						}
					}
				}
			}
		}
		return (1-c.Mistake.Value)*p + c.Mistake.Value/float64(len(c.Answers))
	}
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		var log []Entry
		want := make([]float64, len(e.space.hyps))
		copy(want, posteriorOf(e, nil))
		for _, i := range rng.Perm(len(checks))[:6] {
			k := rng.IntN(len(checks[i].Answers))
			log = append(log, say(checks[i].ID, checks[i].Answers[k].ID))
			var sum float64
			for h := range want {
				want[h] *= chance(checks[i], e.space.hyps[h], k)
				sum += want[h]
			}
			for h := range want {
				want[h] /= sum
			}
		}
		got := posteriorOf(e, log)
		for h := range want {
			if math.Abs(got[h]-want[h]) > 1e-9 {
				t.Fatalf("hypothesis %v: got %v, want %v after %v", e.space.hyps[h], got[h], want[h], log)
			}
		}
	})
}

// posteriorOf is the probability of each hypothesis after a log, on a yard of
// which nothing is known.
func posteriorOf(e *Engine, log []Entry) []float64 {
	d, err := e.At(&Case{Role: Technician})
	if err != nil {
		panic(err)
	}
	return e.believe(d.wire, log).p
}

// TestPriorIsShares checks the prior against its definition: singles share what
// is left by the double faults, and pairs go by the product of their shares.
func TestPriorIsShares(t *testing.T) {
	e := newEngine(t)
	p := e.space.prior(nil, 0.1, 1)
	var singles, pairs, shares float64
	for _, c := range e.kb.Causes {
		shares += c.Prior.Value
	}
	for h, hyp := range e.space.hyps {
		if hyp.b < 0 {
			singles += math.Exp(p[h])
			assert.InDelta(t, 0.9*e.kb.Causes[hyp.a].Prior.Value/shares, math.Exp(p[h]), 1e-12)
		} else {
			pairs += math.Exp(p[h])
		}
	}
	assert.InDelta(t, 0.9, singles, 1e-12)
	assert.InDelta(t, 0.1, pairs, 1e-12)
}

// TestLogAlgebra holds what a log must obey: order does not matter, a
// don't-know changes nothing, undo takes back, the latest answer holds.
func TestLogAlgebra(t *testing.T) {
	e := newEngine(t)
	checks := choices(e)
	same := func(t *rapid.T, what string, a, b []Entry) {
		p, q := posteriorOf(e, a), posteriorOf(e, b)
		for h := range p {
			if math.Abs(p[h]-q[h]) > 1e-12 {
				t.Fatalf("%s: hypothesis %v is %v and %v", what, e.space.hyps[h], p[h], q[h])
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		var log []Entry
		for _, i := range rng.Perm(len(checks))[:5] {
			log = append(log, say(checks[i].ID, checks[i].Answers[rng.IntN(len(checks[i].Answers))].ID))
		}
		shuffled := make([]Entry, len(log))
		for i, j := range rng.Perm(len(log)) {
			shuffled[i] = log[j]
		}
		same(t, "another order", log, shuffled)

		spare := checks[rng.IntN(len(checks))].ID
		for _, entry := range log {
			if entry.Answer.Check == spare {
				return
			}
		}
		for _, nothing := range []string{Unknown, NotApplicable, Later} {
			same(t, nothing, log, append(log[:len(log):len(log)], say(spare, nothing)))
		}
		undone := append(log[:len(log):len(log)], say(spare, e.kb.Check(spare).Answers[0].ID), Entry{Undo: true})
		same(t, "undo", log, undone)

		changed := log[0].Answer.Check
		last := e.kb.Check(changed).Answers
		replaced := append(log[1:len(log):len(log)], say(changed, last[len(last)-1].ID))
		same(t, "a changed answer", replaced, append(log[:len(log):len(log)], say(changed, last[len(last)-1].ID)))
	})
}

// TestMartingale holds that on average an answer moves nothing: the mean of the
// posterior over a check's answers is the prior.
func TestMartingale(t *testing.T) {
	e := newEngine(t)
	prior := posteriorOf(e, nil)
	for _, c := range choices(e) {
		table := e.tables[c.ID].any
		mean := make([]float64, len(prior))
		for k, a := range c.Answers {
			var chance float64
			for h := range prior {
				chance += prior[h] * table[k][h]
			}
			for h, p := range posteriorOf(e, []Entry{say(c.ID, a.ID)}) {
				mean[h] += chance * p
			}
		}
		for h := range prior {
			require.InDelta(t, prior[h], mean[h], 1e-12, "%s, hypothesis %v", c.ID, e.space.hyps[h])
		}
	}
}

// TestSameFactOnce holds that a second look at the same fact adds only its share
// of news.
func TestSameFactOnce(t *testing.T) {
	e := newEngine(t)
	byFact := map[string][]*kb.Check{}
	for i := range e.kb.Checks {
		if c := &e.kb.Checks[i]; c.Fact != "" && e.tables[c.ID] != nil {
			byFact[c.Fact] = append(byFact[c.Fact], c)
		}
	}
	pairs := 0
	for _, checks := range byFact {
		if len(checks) < 2 {
			continue
		}
		pairs++
		a, b := checks[0], checks[1]
		one := say(a.ID, a.Answers[len(a.Answers)-1].ID)
		two := say(b.ID, b.Answers[len(b.Answers)-1].ID)
		s := e.kb.Settings.SameFactShare.Value
		base, pa, pb, both := posteriorOf(e, nil), posteriorOf(e, []Entry{one}), posteriorOf(e, []Entry{two}), posteriorOf(e, []Entry{one, two})
		// Against any reference hypothesis: ln odds of both = (1+s)/2 of the sum.
		for h := range base {
			lnOdds := func(p []float64) float64 { return math.Log(p[h]/p[0]) - math.Log(base[h]/base[0]) }
			require.InDelta(t, (1+s)/2*(lnOdds(pa)+lnOdds(pb)), lnOdds(both), 1e-9)
		}
	}
	require.NotZero(t, pairs, "the knowledge base has checks that share a fact")
}

// TestFaultAway holds that what is seen while the fault is away does not speak
// against the fault, only for one that comes and goes.
func TestFaultAway(t *testing.T) {
	e := newEngine(t)
	away := []Entry{{Answer: &Answer{Check: "continuity-sign", Choice: "complete", When: FaultAbsent}}}
	now := []Entry{{Answer: &Answer{Check: "continuity-sign", Choice: "complete"}}}
	d, err := e.At(&Case{Role: Technician})
	require.NoError(t, err)
	base := d.Assess(nil)
	assert.Greater(t, d.Assess(away).P("conductor-fatigue"), base.P("conductor-fatigue"))
	assert.Less(t, d.Assess(now).P("wire-cut"), base.P("wire-cut")/3)
}

// TestSaidAgainAfterARepair holds that an answer given again after a repair that
// changed nothing is mostly the old answer over again, a share s of it news, so
// that its odds are (s p + 1-s)/(s q + 1-s) and not p/q; and that another answer
// than before is news of weight p/q.
func TestSaidAgainAfterARepair(t *testing.T) {
	e := newEngine(t)
	c, s := e.kb.Check("continuity-sign"), e.kb.Settings.SameFactShare.Value
	battery := Entry{Repair: &RepairDone{Repair: "collar-battery"}}
	index := func(id string) int {
		return slices.IndexFunc(e.space.causes, func(c kb.Cause) bool { return c.ID == id })
	}
	cut, whole := index("wire-cut"), index("width-set-low")
	first := []Entry{say(c.ID, c.Answers[1].ID), battery}
	odds := func(log []Entry) float64 { p := posteriorOf(e, log); return math.Log(p[cut] / p[whole]) }
	for k, a := range c.Answers {
		p, q := e.tables[c.ID].any[k][cut], e.tables[c.ID].any[k][whole]
		want := math.Log(p / q)
		if k == 1 {
			want = math.Log((s*p + 1 - s) / (s*q + 1 - s))
		}
		got := odds(append(first[:2:2], say(c.ID, a.ID))) - odds(first)
		require.InDelta(t, want, got, 1e-9, a.ID)
	}
}

// TestWhoUsedAToolHasIt holds that what had to be bought for one step is in the
// hand for the next, and gone again when the answer is taken back.
func TestWhoUsedAToolHasIt(t *testing.T) {
	e := newEngine(t)
	d, err := e.At(&Case{Role: Homeowner})
	require.NoError(t, err)
	minutes := func(log ...Entry) (float64, float64) {
		m, money, ok := d.Assess(log).able(nil, []string{"meter"}, false, false, nil)
		require.True(t, ok)
		return m, money
	}
	want := e.kb.Tool("meter")
	m, money := minutes()
	require.Equal(t, want.ObtainMinutes.Homeowner, m)
	require.Equal(t, want.ObtainPrice.Value, money)
	ohms := read(faultmodel.LoopOhms, 5)
	m, money = minutes(ohms)
	require.Zero(t, m)
	require.Zero(t, money)
	m, _ = minutes(ohms, Entry{Undo: true})
	require.Equal(t, want.ObtainMinutes.Homeowner, m)
	m, _ = minutes(say("loop-ohms", Unknown))
	require.Equal(t, want.ObtainMinutes.Homeowner, m, "who could not do it has no meter")
}
