package console

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/kb"
)

// The keys of what a question offers besides its answers.
const (
	keyUnknown = "d"
	keyWhy     = "w"
	keyRanking = "r"
	keyBack    = "b"
	keyMore    = "m"
	keyStop    = "q"

	keyNotApplicable = "n"
	keyLater         = "l"
	keyUnsure        = "u"
	keyMoment        = "f"
	keyWhyNot        = "y"
	keyOther         = "a"
	keySeveral       = "e"
	keyReview        = "v"
	keyHandOver      = "h"
	keyMeasured      = "i"
	keyMended        = "t"
	keyCancel        = "c"
)

// navigation is what every question offers besides its answers.
func (iv *Interview) navigation(q *asking) []Option {
	unknown := Option{Text: "Don't know, or can't do this", Key: keyUnknown, ID: diagnose.Unknown}
	if q.index >= 0 {
		return []Option{unknown, {Text: "More choices", Key: keyMore}, {Text: "Leave the answer as it was", Key: keyCancel}}
	}
	return append([]Option{unknown}, iv.aside()...)
}

// aside is what a step offers besides doing it. Who only hears of the yard hands
// over more often than others, and at any moment.
func (iv *Interview) aside() []Option {
	options := []Option{
		{Text: "Why this question?", Key: keyWhy, ID: "why"},
		{Text: "The ranking so far", Key: keyRanking, ID: "ranking"},
		{Text: "Go back", Key: keyBack, ID: "back"},
		{Text: "More choices", Key: keyMore, ID: "more"},
		{Text: "Stop and save", Key: keyStop, ID: "stop"},
	}
	if iv.words.Role == diagnose.Support {
		options = slices.Insert(options, 3, Option{Text: handOverText, Key: keyHandOver, ID: "hand-over"})
	}
	for i := range options {
		options[i].Aside = true
	}
	return options
}

// Wording that more than one menu has.
const (
	handOverText   = "Hand the case over"
	backToQuestion = "Back to the question"
)

// fold names what a small screen puts behind one option, with more before it.
func (iv *Interview) fold(before ...string) string {
	parts := append(before, "w. why", "r. ranking")
	if iv.words.Role == diagnose.Support {
		parts = append(parts, "h. hand over")
	}
	return "Something else: " + strings.Join(append(parts, "b. back", "m. more", "q. stop"), ", ")
}

// more is what fewer people need.
func (iv *Interview) more(q *asking) []Option {
	var options []Option
	if q != nil {
		options = append(options,
			Option{Text: "Does not apply here", Key: keyNotApplicable},
			Option{Text: "Ask me later", Key: keyLater},
			Option{Text: "Answer, but mark it as not sure", Key: keyUnsure},
			Option{Text: "The fault comes and goes: say whether it shows now", Key: keyMoment},
		)
	}
	if q == nil || q.index < 0 {
		options = append(options,
			Option{Text: "Why not a certain cause?", Key: keyWhyNot},
			Option{Text: "Tell something that is not asked", Key: keyOther},
			Option{Text: "Say that something was mended", Key: keyMended},
		)
		if iv.words.Role == diagnose.Technician {
			options = append(options, Option{Text: "Enter several answers on one line", Key: keySeveral})
		}
		options = append(options,
			Option{Text: "Review all answers, or change one", Key: keyReview},
			Option{Text: handOverText, Key: keyHandOver},
		)
	}
	return append(options, Option{Text: backToQuestion, Key: keyCancel})
}

// choose does what was chosen at a question (q) or, where q is nil, at a repair.
func (iv *Interview) choose(ctx context.Context, q *asking, key string) (deed, error) {
	switch key {
	case keyUnknown:
		return iv.accept(ctx, q, journal.Fields{Answer: diagnose.Unknown})
	case keyNotApplicable:
		return iv.accept(ctx, q, journal.Fields{Answer: diagnose.NotApplicable})
	case keyLater:
		return iv.accept(ctx, q, journal.Fields{Answer: diagnose.Later})
	case keyUnsure:
		q.unsure = true
		iv.tell(Aside, "The next answer will be marked as not sure.")
	case keyMoment:
		return again, iv.askMoment(ctx, q)
	case keyWhy:
		iv.tell(Body, "%s", iv.view.Why())
	case keyRanking:
		iv.tell(Body, "%s", iv.words.ranking(iv.result, iv.Log.Case().Yard))
	case keyWhyNot:
		return again, iv.whyNot(ctx)
	case keyBack:
		return iv.back()
	case keyOther:
		return iv.other(ctx)
	case keyMended:
		var at *float64
		if q != nil && q.check.Kind == kb.Tap {
			at = q.at
		}
		return iv.mended(ctx, at)
	case keySeveral:
		return iv.several(ctx)
	case keyReview:
		return iv.review(ctx)
	case keyHandOver:
		return handOver, nil
	case keyStop:
		return stop, nil
	case keyCancel:
		if q != nil && q.index >= 0 {
			return answered, nil // left as it was
		}
	case keyMore:
		options := iv.more(q)
		i, err := iv.Prompter.Select(ctx, Question{Text: "More choices", Options: options})
		if err != nil {
			return again, err
		}
		if options[i].Key == keyCancel {
			return again, nil
		}
		return iv.choose(ctx, q, options[i].Key)
	}
	return again, nil
}

func (iv *Interview) askMoment(ctx context.Context, q *asking) error {
	i, err := iv.Prompter.Select(ctx, Question{Text: "Does the fault show at this moment?", Options: []Option{
		{Text: "It shows now"}, {Text: "It is away now"}, {Text: "It does not come and go"}}})
	if err == nil {
		q.when = []diagnose.When{diagnose.FaultPresent, diagnose.FaultAbsent, ""}[i]
	}
	return err
}

// back takes back the last entry.
func (iv *Interview) back() (deed, error) {
	log := iv.Log.Case().Log
	standing := diagnose.Kept(log)
	if len(standing) == 0 {
		iv.tell(Trouble, "This is the first question.")
		return again, nil
	}
	last := log[standing[len(standing)-1]]
	if err := iv.log(diagnose.Entry{Undo: true}); err != nil {
		return again, err
	}
	iv.tell(Aside, "Taken back: %s", iv.words.entry(last))
	return answered, nil
}

// whyNot shows what speaks against a cause that the person picks.
func (iv *Interview) whyNot(ctx context.Context) error {
	var options []Option
	for _, c := range iv.result.Ranking {
		options = append(options, Option{Text: fmt.Sprintf("%s (%s)", iv.words.cause(c.Cause), iv.words.figure(c.Probability)), ID: c.Cause})
	}
	i, err := iv.Prompter.Select(ctx, Question{Text: "Which cause?", Options: options})
	if err != nil {
		return err
	}
	const mostNamed = 3
	var against []string
	for _, w := range iv.view.WhyNot(options[i].ID) {
		if len(against) < mostNamed {
			against = append(against, fmt.Sprintf("%q (%s)", iv.words.entry(iv.Log.Case().Log[w.Entry]), iv.words.weight(w.Decibans)))
		}
	}
	iv.tell(Body, "%s", iv.words.phrase("why-not", map[string]string{"Cause": iv.words.cause(options[i].ID),
		"Chance": iv.words.figure(iv.result.Ranking[i].Probability), "Answers": strings.Join(against, ", ")}))
	return nil
}

// weight is a weight of evidence in words; with the figure for who works with figures.
func (s speech) weight(decibans float64) string {
	size := max(decibans, -decibans)
	word := s.Base.Word("weight", string(s.Role), size)
	if word == "" || s.Role == diagnose.Technician {
		return fmt.Sprintf("%s, %.0f decibans", word, size)
	}
	return word
}

// other asks a check of the person's own choice, of those that the tools at hand
// allow.
func (iv *Interview) other(ctx context.Context) (deed, error) {
	var options []Option
	for i := range iv.Base.Checks {
		if c := &iv.Base.Checks[i]; iv.Engine.InHand(c) {
			options = append(options, Option{Text: iv.words.of(c.Ask), ID: c.ID})
		}
	}
	options = append(options, Option{Text: "None of these", Key: keyCancel})
	i, err := iv.Prompter.Select(ctx, Question{Text: "What do you know?", Options: options})
	if err != nil || options[i].Key == keyCancel {
		return again, err
	}
	c := iv.Base.Check(options[i].ID)
	q := &asking{check: c, index: -1}
	iv.before(iv.cautionsOf(c.Cautions), c.How)
	return iv.askUntilDone(ctx, q)
}

// several takes answers typed on one line: "loop-ohms=OL; capacitance-a=13.9 nF".
func (iv *Interview) several(ctx context.Context) (deed, error) {
	var answers []*diagnose.Answer
	_, err := iv.Prompter.Line(ctx, "Type CHECK=ANSWER; CHECK=ANSWER, such as loop-ohms=OL; capacitance-a=13.9 nF; tap=314 ft broken intact. Enter alone for none", func(line string) error {
		answers = nil
		if line == "" {
			return nil
		}
		all, err := quick(iv.Base, line)
		if err != nil {
			return err
		}
		for _, f := range all {
			a, err := f.AnswerTo(iv.Base.Check(f.Check), iv.Log.Case().Yard, iv.bare())
			if err != nil {
				return err
			}
			answers = append(answers, a)
		}
		return nil
	})
	if err != nil || len(answers) == 0 {
		return again, err
	}
	for _, a := range answers {
		c := iv.Base.Check(a.Check)
		if why := doubt(iv.words, c, a, iv.view, iv.Log.Case().Meters.Ohms.LeadsOhm); why != "" {
			iv.tell(Trouble, "%s: %s", a.Check, why)
			i, err := iv.Prompter.Select(ctx, Question{Text: "Take it as " + iv.words.Answer(a) + "?",
				Options: []Option{{Text: "Leave it out"}, {Text: "Yes, that is what it shows"}}})
			if err != nil {
				return again, err
			}
			if i == 0 {
				continue
			}
		}
		if err := iv.log(diagnose.Entry{Answer: a}); err != nil {
			return again, err
		}
		iv.tell(Aside, "Noted: %s: %s", a.Check, iv.words.Answer(a))
	}
	return answered, nil
}

// review lists every answer and lets one be changed with the rest kept.
func (iv *Interview) review(ctx context.Context) (deed, error) {
	log := iv.Log.Case().Log
	var options []Option
	var at []int
	for _, i := range iv.reviewable() {
		at = append(at, i)
		options = append(options, Option{Text: iv.words.entry(log[i])})
	}
	if len(options) == 0 {
		iv.tell(Trouble, "Nothing is answered yet.")
		return again, nil
	}
	options = append(options, Option{Text: "Change nothing", Key: keyCancel})
	i, err := iv.Prompter.Select(ctx, Question{Text: "Pick the answer to change; the others stay", Options: options})
	if err != nil || options[i].Key == keyCancel {
		return again, err
	}
	c := iv.Base.Check(log[at[i]].Answer.Check)
	return iv.askUntilDone(ctx, &asking{check: c, index: at[i]})
}

// reviewable lists the entries that an answer can be changed of: those that
// hold, and the checks that were passed over.
func (iv *Interview) reviewable() []int {
	log := iv.Log.Case().Log
	holds := map[int]bool{}
	for _, i := range iv.Engine.Standing(log) {
		holds[i] = true
	}
	latest := map[string]int{}
	for _, i := range diagnose.Kept(log) {
		if a := log[i].Answer; a != nil {
			latest[a.Check] = i
		}
	}
	var out []int
	for _, i := range diagnose.Kept(log) {
		a := log[i].Answer
		if a == nil || iv.Base.Check(a.Check) == nil {
			continue
		}
		if holds[i] || diagnose.Unanswered(a.Choice) && latest[a.Check] == i {
			out = append(out, i)
		}
	}
	return out
}
