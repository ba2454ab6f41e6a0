package console

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// repair says what to do and asks what came of it: repairs, new sections and the
// acceptance walk alike.
func (iv *Interview) repair(ctx context.Context) (deed, error) {
	next := iv.result.Next
	r := iv.Base.Repair(next.ID)
	if r == nil {
		return stop, fmt.Errorf("the engine asks for repair %q, which the knowledge base does not have", next.ID)
	}
	text := capital(iv.words.of(r.Name))
	if iv.words.Role == diagnose.Support {
		text = "Ask the caller to " + iv.words.of(r.Name)
	}
	text += iv.whereOf(next)
	if next.Minutes >= 1 {
		text += " (about " + quantity.FormatMinutes(next.Minutes) + ")"
	}
	iv.before(iv.result.Cautions, r.Do)
	options := []Option{{Text: "Done, and the fault is gone"}, {Text: "Done or not needed, and the fault is still there"}}
	if next.Kind == diagnose.NextVerify {
		options = []Option{{Text: "The whole boundary passed"}, {Text: "It failed, or a stretch failed"}}
		if iv.words.Role == diagnose.Technician {
			options = append(options, Option{Text: "Enter what was measured: sign, ohms, widths", Key: keyMeasured, ID: "measured"})
		}
	}
	options = append(options, Option{Text: "Can't do this: hand the case over", Key: keyHandOver})
	options = append(options, slices.DeleteFunc(iv.aside(), func(o Option) bool { return o.Key == keyHandOver })...)
	for {
		i, err := iv.Prompter.Select(ctx, Question{Text: text, Options: options, Fold: iv.fold()})
		did := again
		switch {
		case err != nil:
			return again, err
		case options[i].Key == keyMeasured:
			did, err = iv.measured(ctx)
		case i > 1:
			did, err = iv.choose(ctx, nil, options[i].Key)
		default:
			if i == 0 && next.Kind == diagnose.NextVerify {
				sure, err := iv.surelyPassed(ctx)
				if err != nil || !sure {
					return again, err
				}
			}
			return iv.repaired(ctx, r, i == 0)
		}
		if err != nil || did != again {
			return did, err
		}
	}
}

// mended logs a repair that was not asked for: whoever opens the ground may see the
// fault there. atM is where that was, nil where it is still to be asked.
func (iv *Interview) mended(ctx context.Context, atM *float64) (deed, error) {
	var options []Option
	for _, c := range iv.result.Ranking {
		cause := iv.Base.Cause(c.Cause)
		r := iv.Base.Repair("repair:" + c.Cause)
		if cause == nil || r == nil || atM != nil && len(cause.Place) == 0 {
			continue
		}
		options = append(options, Option{Text: capital(iv.words.of(cause.Name)), Note: iv.words.of(r.Name), ID: c.Cause})
	}
	options = append(options, Option{Text: backToQuestion, Key: keyCancel})
	i, err := iv.Prompter.Select(ctx, Question{Text: "What was it?", Options: options})
	if err != nil || options[i].Key == keyCancel {
		return again, err
	}
	done := &diagnose.RepairDone{Repair: options[i].ID}
	switch {
	case len(iv.Base.Cause(done.Repair).Place) == 0 || !iv.words.places(iv.Log.Case().Yard):
	case atM != nil:
		where, err := iv.askWhere(ctx, *atM)
		if err != nil {
			return again, err
		}
		done.AtM = &where
	default:
		var f journal.Fields
		if err := iv.askPlace(ctx, &f, ifKnown); errors.Is(err, errBack) {
			return again, nil
		} else if err != nil {
			return again, err
		}
		for _, place := range []struct {
			text string
			into **float64
		}{{f.At, &done.AtM}, {f.From, &done.FromM}, {f.To, &done.ToM}} {
			if m, err := journal.PlaceM(place.text, iv.Log.Case().Yard, iv.bare()); err == nil {
				*place.into = &m
			}
		}
	}
	i, err = iv.Prompter.Select(ctx, Question{Text: "Is the fault gone?", Options: []Option{{Text: "Yes"}, {Text: "No, it is still there"}}})
	if err != nil {
		return again, err
	}
	done.Fixed = i == 0
	if err := iv.log(diagnose.Entry{Repair: done}); err != nil {
		return again, err
	}
	iv.tell(Aside, "Noted: %s", iv.words.entry(diagnose.Entry{Repair: done}))
	return answered, nil
}

// measured takes the readings and widths of the acceptance walk, all but those that
// have passed, and says what came of each.
func (iv *Interview) measured(ctx context.Context) (deed, error) {
	for _, item := range iv.Engine.Verify(iv.Log.Case().Log).Items {
		c := iv.Base.Check(item.Check)
		if c == nil || item.Judgement == diagnose.Pass {
			continue
		}
		iv.before(iv.cautionsOf(c.Cautions), c.How)
		if places := iv.Engine.WalkPlaces(); c.Kind == kb.Widths && len(places) > 1 {
			first, last := places[0], places[len(places)-1]
			iv.tell(Body, "The walk wants a width about every %s, from %s.",
				quantity.FormatLength((last-first)/float64(len(places)-1), iv.Units), quantity.FormatRange(first, last, iv.Units))
		}
		if did, err := iv.askUntilDone(ctx, &asking{check: c, index: -1}); err != nil || did != answered {
			return did, err
		}
		if iv.failed(item.Check) {
			iv.tell(Trouble, "%s has failed: the rest of the walk can wait.", capital(kb.Label(item.Check)))
			break
		}
	}
	for _, item := range iv.Engine.Verify(iv.Log.Case().Log).Items {
		iv.tell(Aside, "%s: %s", capital(kb.Label(item.Check)), iv.judged(item))
	}
	return answered, nil
}

// failed tells whether what was measured last for an item of the walk speaks against
// the repair.
func (iv *Interview) failed(check string) bool {
	return slices.ContainsFunc(iv.Engine.Verify(iv.Log.Case().Log).Items, func(item diagnose.AcceptanceItem) bool {
		return item.Check == check && item.Judgement == diagnose.Fail
	})
}

// judged is what an item of the acceptance walk came to.
func (iv *Interview) judged(item diagnose.AcceptanceItem) string {
	text := map[diagnose.Judgement]string{diagnose.Pass: "passed", diagnose.Fail: "FAILED",
		diagnose.MeasureAgain: "in doubt, measure again", diagnose.NotDone: "not measured"}[item.Judgement]
	if item.FromM != nil && item.ToM != nil {
		text += ", " + quantity.FormatRange(*item.FromM, *item.ToM, iv.Units)
	}
	return text
}

// surelyPassed asks back where the walk is said to have passed, but something that
// was measured says otherwise: the animal relies on it.
func (iv *Interview) surelyPassed(ctx context.Context) (bool, error) {
	against := false
	var missing []string
	for _, item := range iv.Engine.Verify(iv.Log.Case().Log).Items {
		if item.Required && item.Judgement == diagnose.NotDone {
			missing = append(missing, kb.Label(item.Check))
		}
		if item.Judgement == diagnose.Fail || item.Judgement == diagnose.MeasureAgain {
			against = true
			iv.tell(Trouble, "%s: %s", capital(kb.Label(item.Check)), iv.judged(item))
		}
	}
	if !against {
		if len(missing) > 0 && iv.words.Role == diagnose.Technician {
			iv.tell(Aside, "Not measured, so that the record does not prove it: %s", strings.Join(missing, ", "))
		}
		return true, nil
	}
	i, err := iv.Prompter.Select(ctx, Question{Text: "What was measured has not passed. Close all the same?",
		Options: []Option{{Text: "No, go on with the walk"}, {Text: "Yes, the boundary works"}}})
	return i == 1, err
}

// whereOf is the place of a step in words, with a comma before it.
func (iv *Interview) whereOf(next diagnose.Next) string {
	switch {
	case next.From != nil && next.To != nil && next.Kind == diagnose.NextReplaceSection:
		return ", " + quantity.FormatRange(iv.Units.M(*next.From), iv.Units.M(*next.To), iv.Units) + " along the wire"
	case next.At != nil:
		return ", at " + quantity.FormatLength(iv.Units.M(*next.At), iv.Units) + " along the wire"
	}
	return ""
}

// repaired logs a repair; one that has a place is recorded where it was found.
func (iv *Interview) repaired(ctx context.Context, r *kb.Repair, fixed bool) (deed, error) {
	next := iv.result.Next
	done := &diagnose.RepairDone{Repair: strings.TrimPrefix(r.ID, "repair:"), Fixed: fixed}
	if next.Kind == diagnose.NextReplaceSection {
		done.FromM, done.ToM = iv.onWire(next.From), iv.onWire(next.To)
	} else if at := iv.proposed(); at != nil {
		where, err := iv.askWhere(ctx, *at)
		if err != nil {
			return again, err
		}
		done.AtM = &where
	}
	if err := iv.log(diagnose.Entry{Repair: done}); err != nil {
		return again, err
	}
	iv.tell(Aside, "Noted: %s", iv.words.entry(diagnose.Entry{Repair: done}))
	if !fixed && r.Cause != "" {
		iv.tell(Body, "%s", iv.words.phrase("repair-failed", map[string]string{"Repair": iv.words.of(r.Name), "Cause": iv.words.cause(r.Cause)}))
	}
	return answered, nil
}

// askWhere asks where a repair was made, for the record.
func (iv *Interview) askWhere(ctx context.Context, proposedM float64) (float64, error) {
	at := proposedM
	_, err := iv.Prompter.Line(ctx, fmt.Sprintf("Where along the wire was it? Enter alone: %s", quantity.FormatLength(proposedM, iv.Units)), func(line string) error {
		at = proposedM
		if line == "" {
			return nil
		}
		place, err := journal.PlaceM(line, iv.Log.Case().Yard, iv.bare())
		if err != nil {
			return err
		}
		at = place
		return nil
	})
	return at, err
}

// refer offers to hand the case over, where that is the step with the least cost.
func (iv *Interview) refer(ctx context.Context) (deed, error) {
	iv.before(iv.result.Cautions, kb.Steps{})
	iv.tell(Body, "%s", iv.view.Why())
	options := append([]Option{{Text: handOverText}},
		slices.DeleteFunc(iv.aside(), func(o Option) bool { return o.Key == keyHandOver })...)
	text := "Call a technician"
	if r := iv.Base.Repair(iv.result.Next.ID); r != nil {
		text = capital(iv.words.of(r.Name))
		if steps := iv.words.steps(r.Do); steps != "" {
			iv.tell(Body, "%s", steps)
		}
	}
	for {
		i, err := iv.Prompter.Select(ctx, Question{Text: text, Options: options, Fold: iv.fold()})
		if err != nil {
			return again, err
		}
		if i == 0 {
			return handOver, nil
		}
		did, err := iv.choose(ctx, nil, options[i].Key)
		if err != nil || did != again {
			return did, err
		}
	}
}

// done closes the case: what it was goes on record, for the next one to learn from.
func (iv *Interview) done(ctx context.Context) (deed, error) {
	c := iv.Log.Case()
	o := conclusion(iv.Base, c.Log)
	if o == nil && !concluded(c.Log) && repairs(c.Log) {
		cause, err := iv.askCause(ctx)
		if err != nil {
			return again, err
		}
		o = &diagnose.Outcome{Cause: cause, Confirmed: true}
	}
	if o != nil {
		if err := iv.log(diagnose.Entry{Outcome: o}); err != nil {
			return again, err
		}
		iv.tell(Aside, "On record: %s", iv.words.entry(diagnose.Entry{Outcome: o}))
	}
	iv.before(iv.result.Cautions, kb.Steps{})
	iv.tell(Body, "%s", iv.view.Why())
	return finish, nil
}

// conclusion is the outcome that the last repair that worked speaks for, where
// none is on record yet; nil where no repair names a cause.
func conclusion(base *kb.Base, log []diagnose.Entry) (o *diagnose.Outcome) {
	if concluded(log) {
		return nil
	}
	for _, i := range diagnose.Kept(log) {
		if r := log[i].Repair; r != nil && r.Fixed && base.Cause(r.Repair) != nil {
			o = &diagnose.Outcome{Cause: r.Repair, AtM: r.AtM, Confirmed: true}
		}
	}
	return o
}

// repairs tells whether anything was repaired that names no cause by itself.
func repairs(log []diagnose.Entry) bool {
	for _, i := range diagnose.Kept(log) {
		if r := log[i].Repair; r != nil && r.Fixed && r.Repair != string(diagnose.NextVerify) && r.Repair != string(diagnose.NextRefer) {
			return true
		}
	}
	return false
}

func concluded(log []diagnose.Entry) bool {
	for _, i := range diagnose.Kept(log) {
		if log[i].Outcome != nil {
			return true
		}
	}
	return false
}

// askCause asks what was found, where the repair does not tell: first what was
// likely before it.
func (iv *Interview) askCause(ctx context.Context) (string, error) {
	log := iv.Log.Case().Log
	for _, i := range slices.Backward(diagnose.Kept(log)) {
		if r := log[i].Repair; r != nil && r.Fixed && r.Repair != string(diagnose.NextVerify) {
			log = log[:i]
			break
		}
	}
	var options []Option
	for _, r := range iv.Engine.Assess(log).Result(iv.Units).Ranking {
		if c := iv.Base.Cause(r.Cause); c != nil && c.Part != "" {
			options = append(options, Option{Text: capital(iv.words.of(c.Name)), ID: c.ID})
		}
	}
	options = append(options, Option{Text: "Nobody knows", ID: "something-else"})
	i, err := iv.Prompter.Select(ctx, Question{Text: "What was it, in the end?", Options: options})
	if err != nil {
		return "", err
	}
	return options[i].ID, nil
}
