package learn

import (
	"cmp"
	"hash/fnv"
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/kb"
)

// Refusal is why a case was not counted; "" where it was.
type Refusal string

// The refusals.
const (
	Used          Refusal = ""
	NotClosed     Refusal = "no outcome"
	NotConfirmed  Refusal = "outcome not confirmed by repair and verification"
	UnknownCause  Refusal = "outcome is no cause of the knowledge base that a repair can confirm"
	SeveralFaults Refusal = "more than one fault was repaired"
)

// Learner takes in cases. Its memory does not grow with their number.
type Learner struct {
	Refused map[Refusal]int

	base   *kb.Base
	engine *diagnose.Engine
	counts *Counts
	sample []sampled // the cases with the smallest keys, in rising order
}

// sampled is a case kept for scoring through the engine.
type sampled struct {
	key  uint64
	c    diagnose.Case
	fold int
}

// mostSampled bounds the sample. The standard error of a mean score over so many
// cases is a fortieth of their spread.
const mostSampled = 1500

// New starts from a knowledge base.
func New(base *kb.Base) *Learner {
	return &Learner{map[Refusal]int{}, base, diagnose.New(base, diagnose.Options{}), NewCounts(), nil}
}

// Counts is what was counted so far; to be written, or added to another's.
func (l *Learner) Counts() *Counts { return l.counts }

// AddCounts takes in what was counted elsewhere.
func (l *Learner) AddCounts(c *Counts) { l.counts.Add(c) }

// Add takes in a case, or says why not.
func (l *Learner) Add(c *diagnose.Case) Refusal {
	why := l.judge(c)
	if why != Used {
		l.Refused[why]++
		return why
	}
	cause := outcome(c).Cause
	told := l.told(c)
	key := hash(c, cause, told)
	fold := int(key % Folds)
	f := &l.counts.Folds[fold]
	f.Causes[cause]++
	for _, a := range told {
		if tells(a) {
			f.answer(a.Check, cause, a.Choice, 1)
		}
	}
	l.keep(c, told, cause, key, fold)
	return Used
}

// tells is whether an answer is counted: one that was sure, of a fault that showed.
func tells(a *diagnose.Answer) bool { return !a.Unsure && a.When != diagnose.FaultAbsent }

// outcome is the last one of the log; nil where the case is open.
func outcome(c *diagnose.Case) *diagnose.Outcome {
	for i := len(c.Log) - 1; i >= 0; i-- {
		if o := c.Log[i].Outcome; o != nil {
			return o
		}
	}
	return nil
}

// judge tells whether a case may be learned from.
func (l *Learner) judge(c *diagnose.Case) Refusal {
	o := outcome(c)
	if o == nil {
		return NotClosed
	}
	if !o.Confirmed {
		return NotConfirmed
	}
	if l.base.Cause(o.Cause) == nil || !repairable(l.base, o.Cause) {
		return UnknownCause
	}
	for _, e := range c.Log {
		// A repair of something else that is noted as the cure is a second fault.
		if r := e.Repair; r != nil && r.Fixed && !general(l.base, r.Repair) && !l.engine.Ends(r.Repair, o.Cause) {
			return SeveralFaults
		}
	}
	return Used
}

// general tells whether a repair is of no one cause.
func general(base *kb.Base, repair string) bool {
	r := base.Repair(repair)
	return r != nil && r.Cause == ""
}

// repairable tells whether some repair is of the cause.
func repairable(base *kb.Base, cause string) bool {
	return slices.ContainsFunc(base.Repairs, func(r kb.Repair) bool { return r.Cause == cause })
}

// told are the standing choices from before the first repair.
func (l *Learner) told(c *diagnose.Case) []*diagnose.Answer {
	before := c.Log
	if i := slices.IndexFunc(before, func(e diagnose.Entry) bool { return e.Repair != nil }); i >= 0 {
		before = before[:i]
	}
	latest := map[string]*diagnose.Answer{}
	var order []string
	for _, i := range l.engine.Standing(before) {
		a := before[i].Answer
		if check := l.base.Check(a.Check); check == nil || len(check.Baseline.P) == 0 || check.Answer(a.Choice) == nil {
			continue
		}
		if latest[a.Check] == nil {
			order = append(order, a.Check)
		}
		latest[a.Check] = a
	}
	slices.Sort(order)
	out := make([]*diagnose.Answer, len(order))
	for i, id := range order {
		out[i] = latest[id]
	}
	return out
}

// hash is a number from what a case says, spread evenly.
func hash(c *diagnose.Case, cause string, told []*diagnose.Answer) uint64 {
	h := fnv.New64a()
	parts := []string{c.Name, cause}
	for _, a := range told {
		parts = append(parts, a.Check, a.Choice)
	}
	h.Write([]byte(strings.Join(parts, "\x00")))
	x := h.Sum64()
	// The last multiplication of FNV leaves the low bits too plain to deal by.
	x ^= x >> 32
	x *= 0xd6e8feb86659fd93
	return x ^ x>>32
}

// keep puts a case into the sample if its key is among the smallest: which cases
// are in it does not depend on their order.
func (l *Learner) keep(c *diagnose.Case, told []*diagnose.Answer, cause string, key uint64, fold int) {
	if len(l.sample) == mostSampled && key >= l.sample[len(l.sample)-1].key {
		return
	}
	kept := diagnose.Case{Name: c.Name, Role: c.Role, Log: []diagnose.Entry{{Outcome: &diagnose.Outcome{Cause: cause}}}}
	for _, a := range told {
		plain := diagnose.Answer{Check: a.Check, Choice: a.Choice, Unsure: a.Unsure, When: a.When}
		kept.Log = append(kept.Log, diagnose.Entry{Answer: &plain})
	}
	at, _ := slices.BinarySearchFunc(l.sample, key, func(s sampled, k uint64) int { return cmp.Compare(s.key, k) })
	l.sample = slices.Insert(l.sample, at, sampled{key, kept, fold})
	l.sample = l.sample[:min(len(l.sample), mostSampled)]
}
