package diagnose

import (
	"math"

	"loopfault/kb"
)

// fact is one entry of the log that still holds, with its epoch: the number of
// repairs done before it.
type fact struct {
	entry  int // index in the log
	epoch  int
	answer *Answer
}

// history is the log as it holds, after undo and changed answers.
type history struct {
	facts   []fact
	repairs []*RepairDone // by epoch: repairs[e] ends epoch e
	outcome *Outcome
	handed  bool               // the case was handed on
	latest  map[string]*Answer // by check, over the whole log
	asked   map[string]bool    // answered in a way that need not be asked again
	later   map[string]bool
	used    map[string]bool // tools that an answer or a repair took: who used one has it
}

// adds tells whether answers to the check add up instead of replacing one another.
func adds(c *kb.Check) bool {
	switch c.Kind {
	case kb.Tap, kb.Position, kb.Stretch:
		return true
	}
	for _, a := range c.Answers {
		if a.Place {
			return true
		}
	}
	return false
}

// Standing lists the indexes of the log's entries that hold: not undone, and not
// replaced by a later answer to the same check.
func (e *Engine) Standing(log []Entry) []int {
	h := e.read(log)
	var out []int
	for _, f := range h.facts {
		out = append(out, f.entry)
	}
	return out
}

// Kept lists the indexes of the entries that are not taken back.
func Kept(log []Entry) []int {
	var kept []int
	for i, entry := range log {
		if entry.Undo {
			if len(kept) > 0 {
				kept = kept[:len(kept)-1]
			}
			continue
		}
		kept = append(kept, i)
	}
	return kept
}

// read derives what holds from the log.
func (e *Engine) read(log []Entry) history {
	h := history{latest: map[string]*Answer{}, asked: map[string]bool{}, later: map[string]bool{}, used: map[string]bool{}}
	use := func(tools []string) {
		for _, t := range tools {
			h.used[t] = true
		}
	}
	for _, i := range Kept(log) {
		switch entry := log[i]; {
		case entry.Repair != nil && entry.Repair.Repair == refer:
			h.handed = true
		case entry.Repair != nil:
			h.repairs = append(h.repairs, entry.Repair)
			e.reopen(&h)
			if r := e.kb.RepairMade(entry.Repair.Repair); r != nil {
				use(r.Tools)
			}
		case entry.Outcome != nil:
			h.outcome = entry.Outcome
		case entry.Answer != nil:
			a := entry.Answer
			check := e.kb.Check(a.Check)
			if check == nil {
				continue // refused by the readers; a log made in code may still hold it
			}
			h.latest[a.Check] = a
			h.later[a.Check] = a.Choice == Later
			h.asked[a.Check] = a.Choice != Later
			if a.Choice == Unknown || a.Choice == NotApplicable || a.Choice == Later {
				h.drop(a.Check, len(h.repairs), check)
				continue
			}
			use(check.Tools)
			f := fact{entry: i, epoch: len(h.repairs), answer: a}
			if adds(check) && !replaces(check, a, h.facts) {
				h.facts = append(h.facts, f)
				continue
			}
			h.drop(a.Check, len(h.repairs), check, a.When)
			h.facts = append(h.facts, f)
		}
	}
	return h
}

// replaces tells whether an answer to a check that adds up takes the place of
// what was said before: "none" does, and so does the first place after "none".
func replaces(c *kb.Check, a *Answer, facts []fact) bool {
	if c.Kind != kb.Choice {
		return false
	}
	if a.AtM == nil && a.FromM == nil {
		return true
	}
	for _, f := range facts {
		if f.answer.Check == c.ID && f.answer.AtM == nil && f.answer.FromM == nil {
			return true
		}
	}
	return false
}

// drop removes the answers of an epoch to a check, of the given moments or all.
func (h *history) drop(check string, epoch int, c *kb.Check, when ...When) {
	if adds(c) && len(when) == 0 {
		return // a don't-know does not take back a tap
	}
	kept := h.facts[:0]
	for _, f := range h.facts {
		same := f.answer.Check == check && f.epoch == epoch
		if same && (len(when) == 0 || f.answer.When == when[0]) {
			continue
		}
		kept = append(kept, f)
	}
	h.facts = kept
}

// reopen lets the checks that a repair may have changed be asked again: the one
// that proves it and, after work on the wire, those on the wire.
func (e *Engine) reopen(h *history) {
	r := e.kb.RepairMade(h.last().Repair)
	if r == nil {
		return
	}
	for id := range h.asked {
		if c := e.kb.Check(id); c.ID == r.Proof || c.OnWire && r.OnWire {
			h.asked[id] = false
		}
	}
}

// circuitEpoch is the epoch that a reading or tap belongs to: repairs of what no
// circuit sees, such as a collar's battery, do not part readings, which share the
// wire's unknowns.
func (e *Engine) circuitEpoch(h *history, epoch int) int {
	for epoch > 0 && !e.touches[h.repairs[epoch-1].Repair] {
		epoch--
	}
	return epoch
}

// last is the latest repair, or nil.
func (h *history) last() *RepairDone {
	if len(h.repairs) == 0 {
		return nil
	}
	return h.repairs[len(h.repairs)-1]
}

// reaches tells whether a repair took in the wire at xM; one without a place took in all.
func (r *RepairDone) reaches(xM float64) bool {
	lo, hi, ok := span(r.AtM, r.FromM, r.ToM)
	return !ok || xM >= lo-repairReachM && xM <= hi+repairReachM
}

// span is the stretch a repair or an answer speaks of, m; ok is false without one.
func span(at, from, to *float64) (lo, hi float64, ok bool) {
	switch {
	case from != nil && to != nil:
		return math.Min(*from, *to), math.Max(*from, *to), true
	case at != nil:
		return *at, *at, true
	case from != nil:
		return *from, *from, true
	}
	return 0, 0, false
}

// Damage that was seen along the wire.
const (
	VisibleDamage = "visible-damage" // the check
	Found         = "found"          // its answer
)

// seenDamage is the answer that tells of damage seen since the last repair; nil where
// none does.
func (h *history) seenDamage() *Answer {
	for i := len(h.facts) - 1; i >= 0; i-- {
		f := &h.facts[i]
		if f.epoch == len(h.repairs) && f.answer.Check == VisibleDamage && f.answer.Choice == Found {
			return f.answer
		}
	}
	return nil
}
