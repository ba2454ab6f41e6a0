package report

import (
	"fmt"
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// Cause is a line of the ranking.
type Cause struct {
	Name, Part string
	Chance     float64
}

// RuledOut is a cause that was worth a thought and is not any more.
type RuledOut struct{ Name, Why string }

// How many causes a record tells.
const (
	mostCauses  = 8
	leastChance = 0.005 // a cause below it is summed up with the rest
	mostRuled   = 4
	twoWorth    = 0.05 // chance of two faults from which it is said
)

// rank lists the causes of an assessment.
func (w *writer) rank(r *Record, a *diagnose.Assessment) {
	rest := 0.0
	for i, c := range a.Ranking {
		if i >= mostCauses || i > 0 && c.P < leastChance {
			rest += c.P
			continue
		}
		part := ""
		if p := w.base.Part(c.Cause.Part); p != nil {
			part = w.of(p.Name)
		}
		r.Causes = append(r.Causes, Cause{Name: w.of(c.Cause.Name), Part: part, Chance: c.P})
	}
	r.Rest = min(rest, 1)
}

func (w *writer) finding(r *Record) {
	w.rank(r, w.a)
	top := w.a.Ranking[0]
	r.Finding, r.Chance, r.Means = sentence(w.of(top.Cause.Name)), top.P, w.of(top.Cause.Means)
	r.Word = w.base.Word("chance", w.role, top.P)
	if two := w.a.TwoFaults; two >= twoWorth && two <= diagnose.TwoFaultsNoted { // beyond, a remark names them
		r.Two = fmt.Sprintf("Two faults at once: %s.", quantity.FormatPercent(two))
	}
	for _, n := range r.Result.Notes {
		r.Remarks = append(r.Remarks, strings.TrimSpace(n))
	}
	for _, c := range w.a.Clashes {
		r.Conflicts = append(r.Conflicts, strings.TrimSpace(w.a.ClashText(c)))
	}
	r.Expected = quantity.FormatMinutes(w.a.Expected.Minutes)
	if w.a.Expected.Taps >= 0.05 {
		r.Expected += fmt.Sprintf(", %.1f taps", w.a.Expected.Taps)
	}
	if w.a.Expected.Cost > 0 {
		r.Expected += ", " + w.money(w.a.Expected.Cost)
	}
}

// turnedOut is the cause that the case turned out to have: by its outcome, else
// by a repair after which the fault was gone; nil while nobody knows.
func (w *writer) turnedOut() *kb.Cause {
	var cause *kb.Cause
	for _, i := range w.kept() {
		switch e := w.a.Log()[i]; {
		case e.Outcome != nil:
			return w.base.Cause(e.Outcome.Cause)
		case e.Repair != nil && e.Repair.Fixed:
			if c := w.base.Cause(strings.TrimPrefix(e.Repair.Repair, "repair:")); c != nil {
				cause = c
			}
		}
	}
	return cause
}

// ruledOut names the causes that were worth a thought before the first answer
// and are not any more, with the answer that did it.
func (w *writer) ruledOut(r *Record) {
	before := map[string]float64{}
	for _, h := range w.desk.Prior() {
		for _, c := range h.Causes {
			before[c] += h.P
		}
	}
	type fallen struct {
		cause *kb.Cause
		was   float64
	}
	var list []fallen
	for _, c := range w.a.Ranking {
		// Of how the case began: what was mended since was not ruled out.
		if was, is := before[c.Cause.ID], w.a.Initial(c.Cause.ID); was >= 0.02 && is < was/5 && is < 0.02 {
			list = append(list, fallen{c.Cause, was})
		}
	}
	slices.SortStableFunc(list, func(x, y fallen) int {
		switch {
		case x.was > y.was:
			return -1
		case x.was < y.was:
			return 1
		}
		return 0
	})
	for _, f := range list[:min(len(list), mostRuled)] {
		heaviest, least := -1, -0.5
		for _, i := range w.engine.Standing(w.a.Log()) {
			if d := w.decibans(i, f.cause.ID); d < least {
				heaviest, least = i, d
			}
		}
		if heaviest < 0 {
			continue // no single answer did it
		}
		why := "the repair changed nothing"
		if ans := w.a.Log()[heaviest].Answer; ans != nil {
			why = w.markText(ans)
		}
		r.RuledOut = append(r.RuledOut, RuledOut{w.of(f.cause.Name), why})
	}
}
