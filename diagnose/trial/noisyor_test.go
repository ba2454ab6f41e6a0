package trial

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/kb"
)

// The small two-level network of example Q: three causes, three findings, leaks.
var (
	qCauses = []string{"collar-contacts", "collar-fit", "outlet-dead"}
	qChecks = []string{"contact-lamp", "collar-damage", "skin"}
	qPrior  = []float64{.1, .2, .05}
	qLeak   = []float64{.01, .05, .02}
	qShows  = [][]float64{{.8, .3, 0}, {.5, 0, .9}, {0, .6, .4}} // by finding, by cause
)

// small is the built-in knowledge with its numbers changed so that only the three
// causes can be present and the three checks are noisy-OR findings of theirs.
// Pairs says whether two of them may be present together.
func small(t *testing.T, pairs bool) *kb.Base {
	base, err := kb.Load()
	require.NoError(t, err)
	own := *base
	own.Causes, own.Checks = slices.Clone(base.Causes), slices.Clone(base.Checks)
	odds := make([]float64, 3)
	for i, p := range qPrior {
		odds[i] = p / (1 - p)
	}
	// Of independent causes none has weight 1, one alone its odds, two the product.
	singles := 1 + odds[0] + odds[1] + odds[2]
	two := odds[0]*odds[1] + odds[0]*odds[2] + odds[1]*odds[2]
	own.Settings.TwoFaults.Value = two / (singles + two)
	if !pairs {
		own.Settings.TwoFaults.Value = 1e-15
	}
	for i := range own.Causes {
		c := &own.Causes[i]
		c.Prior.Value, c.Given = 1e-18, nil
		c.Intermittent.Value = 0
		if k := slices.Index(qCauses, c.ID); k >= 0 {
			c.Prior.Value = odds[k]
		}
		if c.ID == nothingWrong {
			c.Prior.Value = 1
		}
	}
	for f, id := range qChecks {
		c := own.Check(id)
		require.Len(t, c.Answers, 2, id)
		c.Mistake.Value, c.Combine, c.Fact = 0, "", ""
		row := func(yes float64) map[string]float64 {
			return map[string]float64{c.Answers[0].ID: 1 - yes, c.Answers[1].ID: yes}
		}
		c.Baseline.P = row(qLeak[f])
		c.Rows = nil
		for k, cause := range qCauses {
			c.Rows = append(c.Rows, kb.Row{Causes: []string{cause}, P: row(1 - (1-qLeak[f])*(1-qShows[f][k]))})
		}
	}
	return &own
}

// TestNoisyOrThroughTheEngine is example Q-06: all three findings present, with
// the hypotheses cut at one fault and at two. The figures are from enumeration in
// rationals. They warn: without pairs the first cause loses two thirds of its odds.
func TestNoisyOrThroughTheEngine(t *testing.T) {
	for _, tt := range []struct {
		pairs bool
		want  [3]float64
	}{
		{false, [3]float64{.269248, .671403, .056471}},
		{true, [3]float64{.661233, .810631, .306850}},
	} {
		base := small(t, tt.pairs)
		d, err := diagnose.New(base, diagnose.Options{}).At(&diagnose.Case{Role: diagnose.Technician})
		require.NoError(t, err)
		var log []diagnose.Entry
		for _, id := range qChecks {
			log = append(log, diagnose.Entry{Answer: &diagnose.Answer{Check: id, Choice: base.Check(id).Answers[1].ID}})
		}
		a := d.Believe(log)
		for k, cause := range qCauses {
			assert.InDelta(t, tt.want[k], a.P(cause), 5e-7, "%s, pairs %v", cause, tt.pairs)
		}
	}
}
