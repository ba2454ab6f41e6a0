package report

import (
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/kb"
)

// worthWeighing is the chance below which a second cause is not worth a column of
// weights.
const worthWeighing = 0.02

// leaveOut judges the case again without each of its answers.
func (w *writer) leaveOut() {
	log := w.a.Log()
	w.before = w.a
	for _, i := range w.kept() {
		if e := log[i]; repaired(e) && e.Repair.Fixed {
			log = log[:i]
			w.before = w.desk.Assess(log)
			break
		}
	}
	w.without = map[int]*diagnose.Assessment{}
	for _, i := range w.engine.Standing(log) {
		w.without[i] = w.desk.Assess(slices.Delete(slices.Clone(log), i, i+1))
	}
}

// weighedCauses are the causes that the answers' weights are told for: what it
// turned out to be, or else the two most likely.
func (w *writer) weighedCauses() []*kb.Cause {
	if c := w.turnedOut(); c != nil {
		return []*kb.Cause{c}
	}
	var causes []*kb.Cause
	for _, c := range w.before.Ranking {
		if len(causes) == 0 || len(causes) < 2 && c.P >= worthWeighing {
			causes = append(causes, c.Cause)
		}
	}
	return causes
}

// decibans is what an entry of the log weighed for a cause: ten times the common
// logarithm of how far it moved the odds.
func (w *writer) decibans(entry int, cause string) float64 {
	less, ok := w.without[entry]
	if !ok {
		return 0
	}
	return 10 * math.Log10(odds(w.before.Initial(cause))/odds(less.Initial(cause)))
}

func odds(p float64) float64 {
	const least = 1e-9
	p = min(max(p, least), 1-least)
	return p / (1 - p)
}

// weight is a weight of evidence: decibans for who works with figures, words
// with a direction for the others.
func (w *writer) weight(decibans float64) string {
	if math.IsNaN(decibans) {
		return ""
	}
	const silent = 0.5 // decibans; below it an answer says nothing
	switch {
	case math.Abs(decibans) < silent:
		return "–"
	case w.role == string(diagnose.Technician):
		return fmt.Sprintf("%+.0f dB", decibans)
	case decibans > 0:
		return w.base.Word("weight", w.role, decibans) + " for"
	}
	return w.base.Word("weight", w.role, -decibans) + " against"
}
