package trial

import (
	"loopfault/diagnose"
)

// Adviser says what to do next in one case.
type Adviser interface {
	// Advise judges a log. The advice is not changed afterwards.
	Advise(log []diagnose.Entry) Advice
}

// Advice is the next step, and what is believed where the adviser believes things.
type Advice struct {
	Step       diagnose.Step
	Assessment *diagnose.Assessment // nil where the adviser holds no belief, or keeps only what it stated
	Stated     *Stated              // nil where the adviser holds no belief
}

// Turn is one exchange of a call.
type Turn struct {
	Advice
	Entry diagnose.Entry // what came of the step; empty for the last one
	Bill  Bill           // so far, this turn included
}

// Ending is how a call came out.
type Ending string

// The endings.
const (
	Solved    Ending = "solved"     // repaired and proved
	HandedOn  Ending = "handed on"  // to a technician, or to the next one
	Mistaken  Ending = "mistaken"   // closed while a fault still stood
	GoesRound Ending = "goes round" // not at an end after longestCall turns
)

// Outcome is a finished call.
type Outcome struct {
	Bill   Bill
	Ending Ending
	Log    []diagnose.Entry
	Turns  int
}

// longestCall is after how many turns a call is broken off and handed on.
const longestCall = 80

// Call leads a caller through the dialogue by an adviser's advice until the loop
// is repaired and verified or the case is handed on. Observe, which may be nil,
// sees each turn.
func Call(a Adviser, c *Caller, observe func(Turn)) Outcome {
	m := newMeter(c)
	var log []diagnose.Entry
	for turn := 0; ; turn++ {
		log = append(log, c.Volunteers()...)
		advice := a.Advise(log)
		step := advice.Step
		if turn == longestCall {
			step = diagnose.Step{Kind: diagnose.NextRefer, ID: "refer"}
		}
		if m.unsafe(step, log) {
			m.Unsafe++
		}
		m.charge(step)
		if step.Kind == diagnose.NextDone || step.Kind == diagnose.NextRefer {
			if observe != nil {
				observe(Turn{Advice: advice, Bill: m.Bill})
			}
			end := c.ending(step.Kind)
			if turn == longestCall {
				end = GoesRound
			}
			if end == Mistaken { // somebody has to come after all
				m.charge(diagnose.Step{Kind: diagnose.NextRefer})
			}
			return Outcome{m.Bill, end, log, turn + 1}
		}
		entry := c.Answer(step)
		if step.Kind == diagnose.NextTap && entry.Repair != nil {
			m.mended()
		}
		log = append(log, entry)
		if observe != nil {
			observe(Turn{advice, entry, m.Bill})
		}
	}
}

func (c *Caller) ending(kind diagnose.NextKind) Ending {
	switch {
	case kind == diagnose.NextRefer:
		return HandedOn
	case c.Sound():
		return Solved
	}
	return Mistaken
}
