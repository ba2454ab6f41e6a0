package report

import (
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
	"loopfault/kb"
)

// Stop is a danger that ended the work: the hard rule that was met, in its words.
// Every form of a report opens with it.
type Stop struct {
	Text     string
	Cautions []string
}

// The causes and acts of the knowledge base that a report treats apart.
const (
	nothingWrong = "nothing-wrong"
	refer        = "refer"
	verify       = "verify"
	done         = "done"
)

// halted is the assessment in which a hard rule took the step; nil where none did.
// A rule stays met when the case was handed on, mended elsewhere or closed: only
// another answer to the same check lifts it.
func (w *writer) halted() *diagnose.Assessment {
	if w.a.Step.Rule != nil {
		return w.a
	}
	var answers []diagnose.Entry
	kept, named := w.kept(), false
	for _, i := range kept {
		if e := w.a.Log()[i]; e.Answer != nil {
			answers = append(answers, e)
			named = named || slices.ContainsFunc(w.base.Rules, func(r kb.Rule) bool { return r.Then != "" && names(r.When, e.Answer) })
		}
	}
	if !named || len(answers) == len(kept) {
		return nil
	}
	if a := w.desk.Assess(answers); a.Step.Rule != nil {
		return a
	}
	return nil
}

// names tells whether an answer is one that a condition speaks of.
func names(c kb.Condition, a *diagnose.Answer) bool {
	choice := a.Choice
	if choice == "" {
		choice = kb.Given
	}
	return (c.Check == "" || c.Check == a.Check) && slices.Contains(c.Answers, choice) ||
		slices.ContainsFunc(c.Any, func(part kb.Condition) bool { return names(part, a) })
}

// stop opens the record with the danger, and takes back what a reader might start
// to do at the wire.
func (w *writer) stop(r *Record) {
	if w.halt == nil {
		return
	}
	rule := w.halt.Step.Rule
	r.Stop = &Stop{Text: w.of(rule.Text)}
	for _, id := range w.halt.Step.Cautions {
		r.Stop.Cautions = append(r.Stop.Cautions, strings.TrimSpace(w.base.CautionText(id, w.role)))
	}
	r.Next.Why, r.Next.Cautions = "", nil // said already
	result := w.halt.Result(w.o.Units)
	r.Result.Next, r.Result.Cautions = result.Next, result.Cautions
	r.Materials, r.Total, r.Bring, r.Plan, r.Scene.Next, r.Scene.BestM = nil, "", nil, nil, nil, nil
	r.shorten()
	if slices.Contains(rule.Stops, "wire-work") {
		r.Bring = []string{"a licensed electrician first; nothing for the wire before that"}
		r.Next.Title = "A licensed electrician first. Then: " + lower(r.Next.Title)
	}
}

// shorten keeps the likeliest causes only, where they are no longer what the
// record is about.
func (r *Record) shorten() {
	const most = 3
	for len(r.Causes) > most {
		last := len(r.Causes) - 1
		r.Rest = min(r.Rest+r.Causes[last].Chance, 1)
		r.Causes = r.Causes[:last]
	}
}

// repaired tells of an entry whether something was repaired: neither handed on nor
// only looked at.
func repaired(e diagnose.Entry) bool {
	return e.Repair != nil && !slices.Contains([]string{refer, verify, done}, e.Repair.Repair)
}

// mended is the latest repair, if the fault was gone after it; else nil.
func (w *writer) mended() *diagnose.RepairDone {
	for _, i := range slices.Backward(w.kept()) {
		if e := w.a.Log()[i]; repaired(e) {
			if e.Repair.Fixed {
				return e.Repair
			}
			return nil
		}
	}
	return nil
}

func (w *writer) outcomeOnRecord() *diagnose.Outcome {
	for _, i := range slices.Backward(w.kept()) {
		if o := w.a.Log()[i].Outcome; o != nil {
			return o
		}
	}
	return nil
}

// noted tells whether a general act is on record.
func (w *writer) noted(act string) bool {
	return slices.ContainsFunc(w.kept(), func(i int) bool {
		e := w.a.Log()[i]
		return e.Repair != nil && e.Repair.Repair == act
	})
}

// walked tells whether an acceptance walk is noted as passed after the last repair.
func (w *writer) walked() bool {
	for _, i := range slices.Backward(w.kept()) {
		switch e := w.a.Log()[i]; {
		case e.Repair != nil && e.Repair.Repair == verify:
			return e.Repair.Fixed
		case repaired(e):
			return false
		}
	}
	return false
}

// ending says of a case that is mended or closed what it was, where, and how far
// that is proved.
func (w *writer) ending(r *Record) {
	repair, outcome, cause := w.mended(), w.outcomeOnRecord(), w.turnedOut()
	if repair == nil && outcome == nil || w.halt != nil {
		return
	}
	// What speaks against the repair reopens the case.
	r.Closed = repair != nil && w.a.P(nothingWrong) >= 0.5 || outcome != nil && outcome.Confirmed
	where := ""
	switch {
	case repair != nil && repair.FromM != nil && repair.ToM != nil:
		where = w.stretch(*repair.FromM, *repair.ToM)
		w.pointAt(r, *repair.FromM, *repair.ToM, "mended")
	case repair != nil && repair.AtM != nil:
		where = "at " + w.length(*repair.AtM)
		w.pointAt(r, *repair.AtM, *repair.AtM, "mended")
	case outcome != nil && outcome.AtM != nil:
		where = "at " + w.length(*outcome.AtM)
		w.pointAt(r, *outcome.AtM, *outcome.AtM, "found")
	}
	switch {
	case cause != nil:
		r.Was = sentence(w.of(cause.Name))
		if where != "" {
			r.Was += ", " + where
		}
		if repair != nil {
			r.Was += ", mended"
		}
		r.Means = w.of(cause.Means)
	case repair != nil:
		r.Was = "Mended: " + lower(w.words().Repair(repair))
		r.Means = ""
	}
	r.Proof = w.proof(repair, outcome)
	if w.a.Step.Kind == diagnose.NextDone && (repair == nil || !w.desk.Verify(w.a.Log()).Pass) {
		r.Next.Why = "The acceptance walk is not on record; make it before anyone relies on the boundary."
		if w.walked() {
			r.Next.Why = "Write down what the acceptance walk showed, for the next call."
		}
	}
	if !r.Closed {
		return
	}
	// There is no fault to find now: the chances that matter are those from before.
	r.Causes, r.Rest = nil, 0
	w.rank(r, w.before)
	r.shorten()
	r.Two, r.Places, r.Scene.Belief, r.Scene.BestM = "", nil, nil, nil
	if r.Scene.Next != nil && r.Scene.Next.Done {
		text := sentence(r.Scene.Next.Text) + " " + where
		middle := (r.Scene.Next.FromM + r.Scene.Next.ToM) / 2
		if near := w.c.Yard.Near(middle, w.o.Units); near != "" {
			text += ", " + near
		}
		r.Places = []string{text + ".", w.phrase("chainage", nil)}
	}
}

// pointAt points the drawings at what was done, where no next step has a place.
func (w *writer) pointAt(r *Record, fromM, toM float64, text string) {
	if r.Scene.Next == nil {
		r.Scene.Next = &draw.Next{FromM: min(fromM, toM), ToM: max(fromM, toM), Text: text, Done: true}
	}
}

// proof says how far a repair is proved. Nothing is called verified that the
// acceptance walk has not shown.
func (w *writer) proof(repair *diagnose.RepairDone, outcome *diagnose.Outcome) string {
	if repair == nil {
		text := "On record is the outcome"
		if outcome.Confirmed {
			text += ", noted as confirmed"
		}
		return text + "; no repair that helped and no acceptance walk after one are on record, so nothing is verified."
	}
	v := w.desk.Verify(w.a.Log())
	if v.Pass {
		return "Mended and verified by the acceptance walk."
	}
	var todo, again, failed []string
	for _, item := range v.Items {
		switch label := kb.Label(item.Check); {
		case item.Judgement == diagnose.Fail:
			failed = append(failed, label)
		case item.Judgement == diagnose.MeasureAgain:
			again = append(again, label)
		case item.Judgement == diagnose.NotDone && item.Required:
			todo = append(todo, label)
		}
	}
	if w.walked() && len(failed)+len(again) == 0 {
		return "Mended; the acceptance walk is noted as passed, but not what it showed: " + strings.Join(todo, ", ") + "."
	}
	text := "Mended, not yet proved"
	if len(failed) > 0 {
		text = "Noted as mended, but the acceptance walk does not bear it out"
	}
	for _, part := range []struct {
		says   string
		labels []string
	}{{"failed", failed}, {"to measure again", again}, {"still to do", todo}} {
		if len(part.labels) > 0 {
			text += "; " + part.says + ": " + strings.Join(part.labels, ", ")
		}
	}
	if w.noted(verify) && len(todo) > 0 {
		text += "; the acceptance walk is noted, but not what it showed"
	}
	return text + "."
}

// told is an answer within a sentence.
func told(answer string) string {
	if strings.HasPrefix(answer, "I ") || strings.HasPrefix(answer, "I'") {
		return answer
	}
	return lower(answer)
}

// percentOf is a stretch with its chance.
func (w *writer) percentOf(fromM, toM, p float64) string {
	return w.stretch(fromM, toM) + " (" + quantity.FormatPercent(p) + ")"
}
