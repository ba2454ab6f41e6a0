package report

import (
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
)

// Accept is a line of the acceptance walk.
type Accept struct{ What, Expected, Found, Judgement string }

var judgements = map[diagnose.Judgement]string{
	diagnose.Pass: "pass", diagnose.Fail: "fail", diagnose.MeasureAgain: "measure again", diagnose.NotDone: "not done",
}

func (w *writer) acceptance(r *Record) {
	v := w.desk.Verify(w.a.Log())
	// Before a repair nothing can pass: the walk is still to come.
	repaired := slices.ContainsFunc(w.kept(), func(i int) bool { return repaired(w.a.Log()[i]) })
	r.Passed = v.Pass && repaired
	for _, item := range v.Items {
		a := Accept{What: item.Check, Judgement: judgements[item.Judgement], Expected: "-", Found: "-"}
		unit := ""
		if c := w.base.Check(item.Check); c != nil {
			a.What, unit = w.question(c.ID), c.Unit
		}
		if !repaired {
			item.Judgement, item.FromM = diagnose.NotDone, nil
			a.Judgement = "to do"
		}
		done := item.Judgement != diagnose.NotDone
		switch {
		case item.Check == "continuity-sign":
			a.Expected = "complete"
			if done {
				a.Found = map[bool]string{true: "complete", false: "broken"}[item.Judgement == diagnose.Pass]
			}
		case item.Check == "tone-walk":
			a.Expected = "as wide everywhere as before"
			if done {
				a.Found = fmt.Sprintf("narrowest %.0f %% of that", 100*item.Worst)
			}
		case unit != "":
			low, high := item.Expected[0], item.Expected[1]
			if high > low && !math.IsInf(high, 0) {
				a.Expected = quantity.FormatReading(low, false, unit) + " to " + quantity.FormatReading(high, false, unit)
			} else if low > 0 && !math.IsInf(low, 0) {
				a.Expected = "above " + quantity.FormatReading(low, false, unit)
			}
			if done {
				a.Found = w.latestReading(item.Check, unit)
			}
		}
		if item.FromM != nil && item.ToM != nil {
			a.Judgement += ", " + w.stretch(*item.FromM, *item.ToM)
		}
		r.Acceptance = append(r.Acceptance, a)
	}
	switch {
	case !repaired:
	case v.Pass:
		r.Verdict = w.phrase("verify-passed", nil)
	default:
		for _, item := range v.Items {
			if item.Judgement == diagnose.Fail && item.FromM != nil && item.ToM != nil {
				r.Verdict = w.phrase("verify-failed", map[string]string{"From": w.length(*item.FromM), "To": w.length(*item.ToM)})
			}
		}
		if r.Verdict == "" {
			r.Verdict = r.Proof
		}
	}
}

func (w *writer) latestReading(check, unit string) string {
	for _, i := range slices.Backward(w.a.Log()) {
		if a := i.Answer; a != nil && a.Check == check && a.Reading != nil {
			return quantity.FormatReading(a.Reading.Value, a.Reading.OverRange, unit)
		}
	}
	return "-"
}
