package report

import (
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/report/draw"
	"loopfault/kb"
	"loopfault/locate"
)

// Asked is one answer of the log.
type Asked struct {
	Key      string // letter in the drawings; empty without a place
	Label    string // the check in a few words
	Question string
	Answer   string
	Note     string
	Weights  []string // for each of the causes weighed
}

// Done is a repair that was made.
type Done struct {
	Text  string
	Fixed bool
}

func (w *writer) asked(r *Record) {
	causes := w.weighedCauses()
	for _, cause := range causes {
		r.Weighed = append(r.Weighed, w.of(cause.Name))
	}
	standing := w.engine.Standing(w.a.Log())
	for _, i := range w.kept() {
		e := w.a.Log()[i]
		switch {
		case e.Answer != nil && (slices.Contains(standing, i) || w.leftOpen(i)):
			w.answered(r, i, causes)
		case e.Repair != nil:
			w.done(r, e.Repair)
		case e.Outcome != nil:
			r.Outcome = w.outcome(e.Outcome)
		}
	}
}

// leftOpen tells whether an entry is a don't-know that nothing later replaced:
// whoever takes the case on need not ask again.
func (w *writer) leftOpen(entry int) bool {
	log := w.a.Log()
	if !diagnose.Unanswered(log[entry].Answer.Choice) {
		return false
	}
	for _, i := range w.kept() {
		if a := log[i].Answer; i > entry && a != nil && a.Check == log[entry].Answer.Check {
			return false
		}
	}
	return true
}

func (w *writer) answered(r *Record, entry int, causes []*kb.Cause) {
	ans := w.a.Log()[entry].Answer
	a := Asked{Label: kb.Label(ans.Check), Question: w.question(ans.Check), Answer: w.words().Answer(ans)}
	for _, cause := range causes {
		a.Weights = append(a.Weights, w.weight(w.decibans(entry, cause.ID)))
	}
	if !w.o.Redact {
		a.Note = ans.Note
	}
	if mark, ok := markOf(ans); ok {
		a.Key = draw.Key(len(r.Scene.Marks))
		mark.Text = w.markText(ans)
		r.Scene.Marks = append(r.Scene.Marks, mark)
		r.Evidence = append(r.Evidence, Key{a.Key, mark.Text})
	}
	if len(ans.Widths) > 0 {
		w.profile(r, ans.Widths)
	}
	r.Asked = append(r.Asked, a)
}

func (w *writer) outcome(o *diagnose.Outcome) string {
	text := sentence(w.words().Outcome(o))
	if o.Confirmed {
		text += ", confirmed"
	}
	return text + "."
}

func (w *writer) done(r *Record, d *diagnose.RepairDone) {
	text := sentence(w.words().Repair(d))
	mark := draw.Mark{Kind: draw.Repair, Text: "repair: " + lower(text)}
	switch {
	case d.FromM != nil && d.ToM != nil:
		mark.FromM, mark.ToM = *d.FromM, *d.ToM
	case d.AtM != nil:
		mark.FromM, mark.ToM = *d.AtM, *d.AtM
	}
	if d.AtM != nil || d.FromM != nil {
		r.Evidence = append(r.Evidence, Key{draw.Key(len(r.Scene.Marks)), mark.Text})
		r.Scene.Marks = append(r.Scene.Marks, mark)
	}
	r.Done = append(r.Done, Done{Text: text, Fixed: d.Fixed})
}

// markText explains a letter of the drawings in a few words.
func (w *writer) markText(a *diagnose.Answer) string {
	return kb.Label(a.Check) + ": " + told(w.words().Answer(a))
}

// markOf is the evidence of an answer that speaks of a place.
func markOf(a *diagnose.Answer) (draw.Mark, bool) {
	var m draw.Mark
	switch {
	case a.FromM != nil && a.ToM != nil:
		m.FromM, m.ToM, m.Kind = *a.FromM, *a.ToM, draw.Stretch
		if a.Check == "silent-stretch" || a.Choice == "stretch-silent" {
			m.Kind = draw.Silent
		}
	case a.AtM != nil:
		m.FromM, m.ToM, m.Kind = *a.AtM, *a.AtM, draw.Spot
	default:
		return m, false
	}
	if a.Check == "tap" {
		m.Kind = draw.Tap
		m.A, m.B = end(a.ASide), end(a.BSide)
	}
	return m, true
}

func end(s locate.Side) draw.End {
	switch s {
	case locate.Intact:
		return draw.Sound
	case locate.Broken:
		return draw.Broken
	}
	return draw.NotTested
}

// question is what a check asks, without what leads up to it; where that named
// the subject, the check's label does.
func (w *writer) question(check string) string {
	c := w.base.Check(check)
	if c == nil {
		return check
	}
	ask := w.of(c.Ask)
	for i, s := range strings.SplitAfter(ask, ". ") {
		if end := strings.IndexByte(s, '?'); end >= 0 {
			q := strings.TrimSpace(s[:end+1])
			if i > 0 {
				q = sentence(kb.Label(check)) + ": " + told(q)
			}
			return q
		}
	}
	return ask
}
