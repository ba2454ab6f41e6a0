package learn

import (
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/diagnose/trial/score"
	"loopfault/kb"
)

// FewestCases is below how many nothing is learned: figures from fewer move more
// by chance than by what they show.
const FewestCases = 30

// TooFewError says how many there were.
type TooFewError struct{ Cases int }

func (e TooFewError) Error() string {
	return fmt.Sprintf("%d confirmed cases: nothing is learned from fewer than %d", e.Cases, FewestCases)
}

// Hint says what to do.
func (e TooFewError) Hint() string {
	return "close cases with a confirmed outcome, or add the counts of other archives"
}

// Equivalent sample sizes by the confidence noted beside a figure: how many cases
// it takes at least to count for as much. 10 to 20 is usual for expert tables.
var sampleSize = map[string]float64{"high": 40, "medium": 20, "low": 10}

// causesSampleSize is that of the shares of causes, which are one distribution.
const causesSampleSize = 60

// steadier are how many times over a check's tables may be trusted: the one under
// which the counts were most probable is taken. Where the tables were right all
// along, counting would otherwise only add the noise of small numbers.
var steadier = []float64{1, 2, 4, 8, 16}

// Scores judge a knowledge base on cases that it did not learn from. Less is better.
type Scores struct {
	Cases   int     // sampled and scored
	LogCase float64 // -ln of the probability given to the true cause after the answers, mean
	Brier   float64 // the multi-class Brier score of the same probabilities, mean
	First   float64 // share of cases whose true cause stands first

	Answers   int
	LogAnswer float64 // -ln of the probability given to each answer with its cause, mean
	LogCause  float64 // -ln of the share given to each cause, mean
}

// Change is one distribution that was learned.
type Change struct {
	Cause, Check string // Check is "" for the share of the cause
	Cases        int
	Before       map[string]float64
	After        map[string]float64
}

// Result is what was learned.
type Result struct {
	Cases         int
	Changes       []Change
	Overlay       []byte // YAML
	Before, After Scores // on held-out folds
	HeldOut       bool   // false where all cases lie in one fold: then there are no scores
}

// Result learns from all that was taken in. It fails with [TooFewError] below
// [FewestCases].
func (l *Learner) Result() (*Result, error) {
	r := &Result{Cases: l.counts.Cases()}
	if r.Cases < FewestCases {
		return nil, TooFewError{r.Cases}
	}
	r.Changes = l.changes(l.counts.without(-1))
	r.Overlay = l.overlay(r.Changes, r.Cases)
	if _, err := kb.LoadWith("learned", r.Overlay); err != nil {
		return nil, fmt.Errorf("what was learned does not fit the knowledge base: %w", err)
	}
	filled := 0
	for i := range l.counts.Folds {
		if len(l.counts.Folds[i].Causes) > 0 {
			filled++
		}
	}
	if r.HeldOut = filled > 1; r.HeldOut {
		if err := l.score(r); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// changes are the distributions that counts move, causes first.
func (l *Learner) changes(counts *FoldCounts) []Change {
	out := l.causes(counts)
	for i := range l.base.Checks {
		if c := &l.base.Checks[i]; len(c.Baseline.P) > 0 {
			out = append(out, l.rows(c, counts.Answers[c.ID])...)
		}
	}
	return out
}

// causes learns the shares of the causes that a repair can confirm. Together they
// keep the share they had.
func (l *Learner) causes(counts *FoldCounts) []Change {
	var at []int
	var mean, seen []float64
	var total float64
	for i := range l.base.Causes {
		c := &l.base.Causes[i]
		if repairable(l.base, c.ID) {
			at = append(at, i)
			mean = append(mean, c.Prior.Value)
			seen = append(seen, float64(counts.Causes[c.ID]))
			total += c.Prior.Value
		}
	}
	for i := range mean {
		mean[i] /= total
	}
	var out []Change
	for k, p := range NewDirichlet(mean, causesSampleSize).With(seen).Mean() {
		id := l.base.Causes[at[k]].ID
		out = append(out, Change{Cause: id, Cases: counts.Causes[id],
			Before: map[string]float64{"share": mean[k] * total}, After: map[string]float64{"share": p * total}})
	}
	return out
}

// rows learns a check's rows, one for each cause with counts of its own. Causes
// without a row share the baseline and are counted together for it.
func (l *Learner) rows(c *kb.Check, byCause map[string]map[string]int) []Change {
	var all []tableRow
	pooled := map[string]int{}
	for i := range l.base.Causes {
		id := l.base.Causes[i].ID
		if c.Row(id) == &c.Baseline {
			for a, n := range byCause[id] {
				pooled[a] += n
			}
			continue
		}
		away := l.base.Causes[i].Intermittent.Value
		if c.Lasting {
			away = 0
		}
		all = append(all, newTableRow(c, c.Row(id), id, byCause[id], away))
	}
	all = append(all, newTableRow(c, &c.Baseline, "", pooled, 0))

	best, times := math.Inf(-1), 0.0
	for _, s := range steadier {
		var evidence float64
		for i := range all {
			evidence += all[i].prior(s).LogMarginal(all[i].seen(all[i].mean))
		}
		if evidence > best {
			best, times = evidence, s
		}
	}
	var out []Change
	for i := range all {
		if all[i].cases > 0 {
			out = append(out, all[i].learn(times))
		}
	}
	return out
}

// tableRow is one distribution of a check with what was counted for it. Answers
// that say nothing about the fault have a share of their own and are left out.
type tableRow struct {
	check  *kb.Check
	cause  string
	size   float64 // equivalent sample size
	ids    []string
	mean   []float64
	counts []float64
	cases  int
	// An answer may also be a mistake, or be given while the fault was away: the
	// chance of each answer is own times the row's figure plus other.
	own   float64
	other []float64
}

func newTableRow(c *kb.Check, row *kb.Row, cause string, counts map[string]int, away float64) tableRow {
	r := tableRow{check: c, cause: cause, size: sampleSize[row.Confidence]}
	var whole float64
	for i := range c.Answers {
		if a := &c.Answers[i]; a.Share.Value == 0 {
			whole += row.P[a.ID]
		}
	}
	r.own = (1 - c.Mistake.Value) * (1 - away) * whole
	for i := range c.Answers {
		a := &c.Answers[i]
		if a.Share.Value > 0 {
			continue
		}
		r.ids = append(r.ids, a.ID)
		r.mean = append(r.mean, row.P[a.ID]/whole)
		r.counts = append(r.counts, float64(counts[a.ID]))
		r.cases += counts[a.ID]
		r.other = append(r.other, (1-c.Mistake.Value)*away*c.Baseline.P[a.ID]+c.Mistake.Value/float64(len(c.Answers)))
	}
	return r
}

func (r *tableRow) prior(times float64) Dirichlet { return NewDirichlet(r.mean, r.size*times) }

// seen is the part of the counts that came from the row itself, if p is the row.
func (r *tableRow) seen(p []float64) []float64 {
	out := make([]float64, len(p))
	for k := range p {
		if own := r.own * p[k]; own > 0 {
			out[k] = r.counts[k] * own / (own + r.other[k])
		}
	}
	return out
}

// learn adds the counts to the row, sharing them out between it and the other ways
// to give an answer by expectation and maximisation.
func (r *tableRow) learn(times float64) Change {
	p := r.mean
	for range 30 { // more than the shares need to settle to a thousandth
		p = r.prior(times).With(r.seen(p)).Mean()
	}
	change := Change{Cause: r.cause, Check: r.check.ID, Cases: r.cases, Before: map[string]float64{}, After: map[string]float64{}}
	for k, id := range r.ids {
		change.Before[id], change.After[id] = r.mean[k], p[k]
	}
	return change
}

// score judges the knowledge before and after on each fold in turn, learning from the others.
func (l *Learner) score(r *Result) error {
	r.Before.Cases = len(l.sample)
	r.After.Cases = len(l.sample)
	before := judge{engine: l.engine, into: &r.Before}
	if err := before.ready(); err != nil {
		return err
	}
	for fold := range l.counts.Folds {
		held := &l.counts.Folds[fold]
		if len(held.Causes) == 0 {
			continue
		}
		changes := l.changes(l.counts.without(fold))
		base, err := kb.LoadWith("learned", l.overlay(changes, r.Cases))
		if err != nil {
			return fmt.Errorf("what was learned does not fit the knowledge base: %w", err)
		}
		after := judge{engine: diagnose.New(base, diagnose.Options{}), into: &r.After}
		if err := after.ready(); err != nil {
			return err
		}
		for i := range l.sample {
			if l.sample[i].fold == fold {
				before.scoreCase(&l.sample[i].c)
				after.scoreCase(&l.sample[i].c)
			}
		}
		before.scoreCounts(held)
		after.scoreCounts(held)
	}
	r.Before.mean(l.counts.Cases())
	r.After.mean(l.counts.Cases())
	return nil
}

// judge scores one knowledge base.
type judge struct {
	engine *diagnose.Engine
	desk   *diagnose.Desk
	into   *Scores
}

func (j *judge) ready() (err error) {
	j.desk, err = j.engine.At(&diagnose.Case{Role: diagnose.Technician})
	return err
}

// scoreCase adds a sampled case: its outcome stands first, the answers after it.
func (j *judge) scoreCase(c *diagnose.Case) {
	truth := c.Log[0].Outcome.Cause
	ranking := j.desk.Believe(c.Log[1:]).Ranking
	p := make([]float64, len(ranking))
	at := slices.IndexFunc(ranking, func(r diagnose.CauseChance) bool { return r.Cause.ID == truth })
	for i, r := range ranking {
		p[i] = r.P
	}
	j.into.LogCase += score.LogOf(p, at)
	j.into.Brier += score.BrierOf(p, at)
	if at == 0 {
		j.into.First++
	}
}

// scoreCounts adds the answers and causes of a held-out fold.
func (j *judge) scoreCounts(held *FoldCounts) {
	var total float64
	base := j.engine.Base()
	for i := range base.Causes {
		if repairable(base, base.Causes[i].ID) {
			total += base.Causes[i].Prior.Value
		}
	}
	for i := range base.Causes {
		id := base.Causes[i].ID
		if n := held.Causes[id]; n > 0 {
			j.into.LogCause -= float64(n) * math.Log(base.Causes[i].Prior.Value/total)
		}
		for k := range base.Checks {
			c := &base.Checks[k]
			counts := held.Answers[c.ID][id]
			if len(counts) == 0 {
				continue
			}
			p := j.engine.AnswerChances(c.ID, "", id)
			for a := range c.Answers {
				if n := counts[c.Answers[a].ID]; n > 0 {
					j.into.Answers += n
					j.into.LogAnswer -= float64(n) * math.Log(max(p[a], 1e-15))
				}
			}
		}
	}
}

// mean turns sums into means.
func (s *Scores) mean(cases int) {
	n := float64(max(s.Cases, 1))
	s.LogCase, s.Brier, s.First = s.LogCase/n, s.Brier/n, s.First/n
	s.LogCause /= float64(max(cases, 1))
	s.LogAnswer /= float64(max(s.Answers, 1))
}
