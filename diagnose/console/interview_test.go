package console

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/locate"
)

// session plays typed lines through the plain form and gives what was shown.
func session(t *testing.T, engine Engine, log Log, typed string) (shown string, ending Ending, err error) {
	t.Helper()
	var out strings.Builder
	iv := &Interview{Prompter: NewPlain(strings.NewReader(typed), &out, Options{}), Engine: engine, Base: testBase(t), Log: log,
		Units: quantity.Feet, Resume: "loopfault diagnose case.yaml"}
	ending, err = iv.Run(t.Context())
	return out.String(), ending, err
}

func TestAScreenHasEverything(t *testing.T) {
	t.Parallel()
	for role, reads := range map[diagnose.Role]string{diagnose.Homeowner: "", diagnose.Support: "Read aloud: ", diagnose.Technician: ""} {
		base := testBase(t)
		shown, ending, err := session(t, inTurn(check("continuity-sign")), memory(t, role), "q\n")
		require.NoError(t, err)
		assert.Equal(t, Stopped, ending)
		flat := strings.Join(strings.Fields(shown), " ")
		c := base.Check("continuity-sign")
		at := -1
		for _, want := range []string{
			"Step 1, still about 41 min" + map[diagnose.Role]string{diagnose.Technician: ", 1.4 taps"}[role],
			"Likely now: " + base.Cause("wire-cut").Name.For(string(role)),
			"Where: ",
			"309 ft", // and the rest of the place in the base's words
			"Caution: Unplug it.",
			"1. " + c.How.For(string(role))[0],
			reads + c.Ask.For(string(role)) + " (about ",
			"1. " + capital(c.Answers[0].Text.For(string(role))),
			"d. Don't know, or can't do this", "w. Why this question?", "r. The ranking so far", "b. Go back", "m. More choices", "q. Stop and save",
			"Saved. Go on with: loopfault diagnose case.yaml",
		} {
			i := strings.Index(flat, strings.Join(strings.Fields(want), " "))
			require.Greater(t, i, at, "%s: %q in its place in\n%s", role, want, shown)
			at = i
		}
		for line := range strings.Lines(shown) {
			assert.LessOrEqual(t, len(strings.TrimSuffix(line, "\n")), 80)
		}
	}
}

func TestAnswersBecomeEntries(t *testing.T) {
	t.Parallel()
	feet := func(v float64) *float64 { v *= float64(quantity.MPerFt); return &v }
	ohm := func(q faultmodel.Quantity, v float64, at *float64) *faultmodel.Reading {
		r := &faultmodel.Reading{Quantity: q, Value: v}
		if at != nil {
			r.AtM = *at
		}
		return r
	}
	for name, tt := range map[string]struct {
		next  diagnose.Next
		typed string
		want  diagnose.Answer
	}{
		"a choice":                      {check("contact-lamp"), "2\n", diagnose.Answer{Choice: "dark"}},
		"a choice by its id":            {check("contact-lamp"), "dark\n", diagnose.Answer{Choice: "dark"}},
		"don't know":                    {check("contact-lamp"), "d\n", diagnose.Answer{Choice: diagnose.Unknown}},
		"does not apply":                {check("contact-lamp"), "m\nn\n", diagnose.Answer{Choice: diagnose.NotApplicable}},
		"later":                         {check("contact-lamp"), "m\nl\n", diagnose.Answer{Choice: diagnose.Later}},
		"not sure":                      {check("contact-lamp"), "m\nu\ndark\n", diagnose.Answer{Choice: "dark", Unsure: true}},
		"not sure, then don't know":     {check("contact-lamp"), "m\nu\nd\n", diagnose.Answer{Choice: diagnose.Unknown}},
		"while the fault is away":       {check("contact-lamp"), "m\nf\n2\ndark\n", diagnose.Answer{Choice: "dark", When: diagnose.FaultAbsent}},
		"a menu left":                   {check("contact-lamp"), "m\nc\ndark\n", diagnose.Answer{Choice: "dark"}},
		"a choice with its place":       {check("recent-work"), "edging\n290 to 330 ft\n", diagnose.Answer{Choice: "edging", FromM: feet(290), ToM: feet(330)}},
		"a choice with a point":         {check("recent-work"), "edging\nnonsense\n3000\n310\n", diagnose.Answer{Choice: "edging", AtM: feet(310)}},
		"a choice, place not known":     {check("recent-work"), "edging\n\n", diagnose.Answer{Choice: "edging"}},
		"a choice that has no place":    {check("recent-work"), "none\n", diagnose.Answer{Choice: "none"}},
		"a reading":                     {check("loop-ohms"), "12.3 ohm\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 12.3, nil)}},
		"a reading with a comma":        {check("loop-ohms"), "12,5\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 12.5, nil)}},
		"a reading asked again":         {check("loop-ohms"), "twelve\n12 nF\n-4\n\n12 ohm\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 12, nil)}},
		"over-range":                    {check("loop-ohms"), "OL\n", diagnose.Answer{Reading: &faultmodel.Reading{Quantity: faultmodel.LoopOhms, OverRange: true}}},
		"a reading not known":           {check("loop-ohms"), "d\n", diagnose.Answer{Choice: diagnose.Unknown}},
		"a reading, doubted, kept":      {check("loop-ohms"), "5 k\n2\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 5000, nil)}},
		"a reading, doubted, corrected": {check("loop-ohms"), "5.1k\n1\n5.1\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 5.1, nil)}},
		"less than the leads":           {check("loop-ohms"), ".1\n1\n5\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 5, nil)}},
		"wet soil is not doubted":       {check("loop-ohms"), ".35 Mohm\n", diagnose.Answer{Reading: ohm(faultmodel.LoopOhms, 0.35*1e6, nil)}},
		"volts on the wire, not ohms":   {check("loop-ohms"), "x\n", diagnose.Answer{Choice: "volts-found"}},
		"volts on the wire, by its id":  {check("loop-ohms"), "volts-found 3\nvolts-found\n", diagnose.Answer{Choice: "volts-found"}},
		"volts at a tap":                {tapNext(309), "volts-found\n", diagnose.Answer{Choice: "volts-found"}},
		"a bridge":                      {check("bridge"), "restores\n\n200 ft\n200 to 240\n", diagnose.Answer{Choice: "restores", FromM: feet(200), ToM: feet(240)}},
		"a tap as proposed":             {tapNext(309), "1\n", diagnose.Answer{AtM: feet(309), ASide: locate.Intact, BSide: locate.Broken}},
		"a tap, both broken":            {tapNext(309), "3\n", diagnose.Answer{AtM: feet(309), ASide: locate.Broken, BSide: locate.Broken}},
		"a tap not possible":            {tapNext(309), "d\n", diagnose.Answer{Choice: diagnose.Unknown}},
		"a tap elsewhere, with ohms": {tapNext(309), "o\n280 ft\nintact\n2.4\nunknown\n\n",
			diagnose.Answer{AtM: feet(280), ASide: locate.Intact, BSide: locate.SideUnknown, AOhms: ohm(faultmodel.SideAOhms, 2.4, feet(280))}},
		"a tap as proposed, one side": {tapNext(309), "o\n\n2\n\n3\n\n", diagnose.Answer{AtM: feet(309), ASide: locate.Broken, BSide: locate.SideUnknown}},
		"a trace":                     {check("trace"), "210 ft b\n", diagnose.Answer{AtM: feet(210), End: locate.EndB}},
		"a trace, end asked":          {check("trace"), "210\n1\n", diagnose.Answer{AtM: feet(210), End: locate.EndA}},
		"a stretch":                   {check("silent-stretch"), "240 to 200 ft\n", diagnose.Answer{FromM: feet(200), ToM: feet(240)}},
		"widths": {check("tone-walk"), "60 ft: 5 ft, 70: 0\n", diagnose.Answer{Widths: []faultmodel.Width{
			{AtM: *feet(60), WidthM: *feet(5)}, {AtM: *feet(70), Silent: true}}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := memory(t, diagnose.Technician)
			shown, _, err := session(t, inTurn(tt.next, check("supply-sign")), log, tt.typed+"q\n")
			require.NoError(t, err, shown)
			require.Len(t, log.C.Log, 1, shown)
			tt.want.Check = tt.next.ID
			if r := tt.want.Reading; r != nil {
				r.FaultAway = tt.want.When == diagnose.FaultAbsent
			}
			assert.Equal(t, &tt.want, log.C.Log[0].Answer, shown)
			assert.Contains(t, shown, "Noted: ")
		})
	}
}

func TestTypedReadingsAreEchoedInFullAndDoubted(t *testing.T) {
	t.Parallel()
	shown, _, err := session(t, inTurn(check("loop-ohms"), check("supply-sign")), memory(t, diagnose.Technician), "5.1 k\n2\nq\n")
	require.NoError(t, err)
	assert.Contains(t, shown, "5.1 kohm is a thousand times off 5.08 ohm")
	assert.Contains(t, shown, "Noted: 5.1 kohm")
	shown, _, err = session(t, inTurn(check("adapter-volts"), check("supply-sign")), memory(t, diagnose.Technician), "120\n2\nq\n")
	require.NoError(t, err)
	assert.Contains(t, shown, "120 V is far above a low-voltage adapter")
	shown, _, err = session(t, inTurn(check("tone-walk"), check("supply-sign")), memory(t, diagnose.Technician), "60 ft: 9 m\n2\nq\n")
	require.NoError(t, err)
	assert.Contains(t, shown, "30 ft from the wire is far")
	shown, _, err = session(t, inTurn(check("trace"), check("supply-sign")), memory(t, diagnose.Technician), "200 m a\n200 ft a\nq\n")
	require.NoError(t, err)
	assert.Contains(t, shown, "200 m is beyond the wire")
	assert.Contains(t, shown, "are feet meant, 200 ft?")
}

func TestExplanationsLeaveTheQuestionOpen(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	shown, _, err := session(t, inTurn(check("contact-lamp"), check("supply-sign")), log,
		"dark\nw\nr\nm\ny\ncollar-battery\nm\ny\nwire-cut\non\nq\n")
	require.NoError(t, err, shown)
	assert.Contains(t, shown, "Because it splits the likely causes.")
	assert.Contains(t, shown, "The ranking so far:\n  1. "+base.Cause("wire-cut").Name.Technician+": 62 %\n")
	flat := strings.Join(strings.Fields(shown), " ")
	against, err := base.Phrase("why-not", "technician", map[string]string{"Cause": base.Cause("collar-battery").Name.Technician, "Chance": "1.0 %",
		"Answers": `"` + base.Check("contact-lamp").Ask.Technician + " Answer: " + base.Check("contact-lamp").Answer("dark").Text.Technician + `" (strongly, 12 decibans)`})
	require.NoError(t, err)
	assert.Contains(t, flat, against)
	nothing, err := base.Phrase("why-not", "technician", map[string]string{"Cause": base.Cause("wire-cut").Name.Technician, "Chance": "62 %", "Answers": ""})
	require.NoError(t, err)
	assert.Contains(t, flat, nothing)
	assert.Len(t, log.C.Log, 2)
}

func TestGoBack(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	shown, _, err := session(t, inTurn(check("contact-lamp"), check("supply-sign"), check("new-battery")), log, "b\ndark\nb\nlights\non\nq\n")
	require.NoError(t, err, shown)
	assert.Contains(t, shown, "This is the first question.")
	assert.Contains(t, shown, "Taken back: ")
	got := standing(log.C.Log)
	require.Len(t, got, 2)
	assert.Equal(t, "lights", got[0].Answer.Choice)
	assert.Equal(t, "on", got[1].Answer.Choice)
}

func TestReviewChangesOneAnswerAndKeepsTheRest(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	engine := inTurn(check("contact-lamp"), tapNext(280), tapNext(309), check("supply-sign"))
	// Change nothing; leave one as it was; change the first tap; make the lamp unknown.
	shown, _, err := session(t, engine, log, "dark\n1\n1\nm\nv\nc\nm\nv\n1\nc\nm\nv\n2\n2\nm\nv\n1\nd\nq\n")
	require.NoError(t, err, shown)
	require.Len(t, log.C.Log, 3)
	assert.Equal(t, diagnose.Unknown, log.C.Log[0].Answer.Choice)
	assert.Equal(t, locate.Broken, log.C.Log[1].Answer.ASide)
	assert.Equal(t, locate.Intact, log.C.Log[1].Answer.BSide)
	assert.InDelta(t, 280*quantity.MPerFt, *log.C.Log[1].Answer.AtM, 1e-9)
	assert.Equal(t, locate.Intact, log.C.Log[2].Answer.ASide, "the other tap stays")
}

func TestTellAndTypeSeveral(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	shown, _, err := session(t, inTurn(check("contact-lamp"), check("contact-lamp")), log, "m\na\ntap\no\n300\n1\n\n2\n\nq\n")
	require.NoError(t, err, shown)
	require.Len(t, log.C.Log, 1, shown)
	assert.Equal(t, "tap", log.C.Log[0].Answer.Check)

	log = memory(t, diagnose.Technician)
	shown, _, err = session(t, inTurn(check("contact-lamp")), log,
		"m\ne\nloop-ohm=3\nm\nloop-ohms=OL; capacitance-a = 13,9 nF; tap=314 ft broken intact; recent-work=edging 290 to 330 ft; continuity-sign=broken; neighbour-loop=unknown\nq\n")
	require.NoError(t, err, shown)
	assert.Contains(t, shown, `"loop-ohm" is not a check`)
	assert.Contains(t, shown, `"m" has no =`)
	require.Len(t, log.C.Log, 6, shown)
	assert.True(t, log.C.Log[0].Answer.Reading.OverRange)
	assert.InEpsilon(t, 13.9e-9, log.C.Log[1].Answer.Reading.Value, 1e-9)
	assert.Equal(t, locate.Broken, log.C.Log[2].Answer.ASide)
	assert.InDelta(t, 330*quantity.MPerFt, *log.C.Log[3].Answer.ToM, 1e-9)
	assert.NotNil(t, base.Check("neighbour-loop"))
}

func TestRepairVerifyAndClose(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	shown, ending, err := session(t, inTurn(repairNext("wire-cut", 309), verifyNext), log, "w\n1\n311 ft\n1\n")
	require.NoError(t, err, shown)
	assert.Equal(t, Finished, ending)
	at := 311 * float64(quantity.MPerFt)
	assert.Equal(t, []diagnose.Entry{
		{Repair: &diagnose.RepairDone{Repair: "wire-cut", AtM: &at, Fixed: true}},
		{Repair: &diagnose.RepairDone{Repair: "verify", Fixed: true}},
		{Outcome: &diagnose.Outcome{Cause: "wire-cut", AtM: &at, Confirmed: true}},
	}, log.C.Log)
	flat := strings.Join(strings.Fields(shown), " ")
	assert.Contains(t, flat, strings.Join(strings.Fields(capital(base.Repair("repair:wire-cut").Name.Technician)), " ")+", at 309 ft along the wire")
	assert.Contains(t, flat, "Caution: Unplug it.")

	// One that did not help, and a section whose cause is asked at the end.
	log = memory(t, diagnose.Technician)
	from, to := 280.0, 330.0
	section := diagnose.Next{Kind: diagnose.NextReplaceSection, ID: "replace-section", From: &from, To: &to}
	shown, ending, err = session(t, inTurn(repairNext("wire-cut", 309), section, verifyNext), log, "2\n\n1\n1\nsplice-open\n")
	require.NoError(t, err, shown)
	assert.Equal(t, Finished, ending)
	require.Len(t, log.C.Log, 4)
	assert.False(t, log.C.Log[0].Repair.Fixed)
	assert.InDelta(t, 309*quantity.MPerFt, *log.C.Log[0].Repair.AtM, 1e-9)
	assert.InDelta(t, 280*quantity.MPerFt, *log.C.Log[1].Repair.FromM, 1e-9)
	assert.Equal(t, "splice-open", log.C.Log[3].Outcome.Cause)
}

func TestReferAndHandOver(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Support)
	refer := diagnose.Next{Kind: diagnose.NextRefer, ID: "refer"}
	shown, ending, err := session(t, inTurn(check("contact-lamp"), refer), log, "dark\nw\n1\n")
	require.NoError(t, err, shown)
	assert.Equal(t, HandedOver, ending)
	assert.Contains(t, shown, "Hand-over: fake\n")
	assert.Contains(t, shown, "Known so far:\n")
	assert.Len(t, log.C.Log, 1, "whoever takes over goes on with the same log")

	for _, typed := range []string{"m\nh\n", "h\n"} {
		_, ending, err = session(t, inTurn(check("contact-lamp")), memory(t, diagnose.Support), typed)
		require.NoError(t, err)
		assert.Equal(t, HandedOver, ending, "at any moment")
	}
	log = memory(t, diagnose.Support)
	_, ending, err = session(t, inTurn(repairNext("collar-battery", 0)), log, "h\n")
	require.NoError(t, err)
	assert.Equal(t, HandedOver, ending, "where the repair cannot be done")
}

// Who has no map and knows no length is told no distance along the wire, and tells
// a place in words, which go with the case.
func TestPlacesInWordsWithoutAMap(t *testing.T) {
	t.Parallel()
	for _, role := range []diagnose.Role{diagnose.Homeowner, diagnose.Support} {
		log := memory(t, role)
		log.C.Yard = nil
		shown, _, err := session(t, inTurn(check("recent-work"), check("silent-stretch"), check("supply-sign")), log,
			"edging\nby the drive\nalong the hedge\nr\nm\nh\n")
		require.NoError(t, err, shown)
		require.Len(t, log.C.Log, 2)
		assert.Equal(t, &diagnose.Answer{Check: "recent-work", Choice: "edging", Note: "by the drive"}, log.C.Log[0].Answer)
		assert.Equal(t, &diagnose.Answer{Check: "silent-stretch", Choice: diagnose.Unknown, Note: "along the hedge"}, log.C.Log[1].Answer)
		handOver := shown[strings.Index(shown, "Hand-over:"):]
		assert.Contains(t, handOver, "(by the drive)")
		assert.Contains(t, handOver, "along the hedge")
		assert.NotContains(t, strings.ReplaceAll(shown, "such as 200 to 240 ft", ""), " ft")
		assert.NotContains(t, shown, "taps")
	}
}

// Measured along the wire all the same, a place counts.
func TestPlacesMeasuredWithoutAMap(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Homeowner)
	log.C.Yard = nil
	shown, _, err := session(t, inTurn(check("recent-work"), check("silent-stretch"), check("supply-sign")), log, "edging\n210 ft\n200 to 240 ft\nq\n")
	require.NoError(t, err, shown)
	require.Len(t, log.C.Log, 2)
	assert.InDelta(t, 210*quantity.MPerFt, *log.C.Log[0].Answer.AtM, 1e-9)
	assert.InDelta(t, 240*quantity.MPerFt, *log.C.Log[1].Answer.ToM, 1e-9)
}

func TestAPlaceCanBeTurnedBackFrom(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	shown, _, err := session(t, inTurn(check("recent-work"), check("bridge"), check("supply-sign")), log, "edging\nb\nnone\nrestores\nB\nd\nq\n")
	require.NoError(t, err, shown)
	require.Len(t, log.C.Log, 2)
	assert.Equal(t, "none", log.C.Log[0].Answer.Choice)
	assert.Equal(t, diagnose.Unknown, log.C.Log[1].Answer.Choice)
}

// Who opens the ground may see the fault; whoever mends something says so.
func TestSomethingMendedThatWasNotAskedFor(t *testing.T) {
	t.Parallel()
	feet := func(v float64) *float64 { v *= float64(quantity.MPerFt); return &v }
	for name, tt := range map[string]struct {
		next  diagnose.Next
		typed string
		want  diagnose.RepairDone
	}{
		"seen at a tap":       {tapNext(309), "t\nwire-cut\n311 ft\n1\n", diagnose.RepairDone{Repair: "wire-cut", AtM: feet(311), Fixed: true}},
		"seen, not the cause": {tapNext(309), "t\nsplice-open\n\n2\n", diagnose.RepairDone{Repair: "splice-open", AtM: feet(309)}},
		"a place told":        {check("contact-lamp"), "m\nt\nwire-cut\n300 to 310 ft\n1\n", diagnose.RepairDone{Repair: "wire-cut", FromM: feet(300), ToM: feet(310), Fixed: true}},
		"a place not known":   {check("contact-lamp"), "m\nt\nwire-cut\nb\nm\nt\nwire-cut\n\n1\n", diagnose.RepairDone{Repair: "wire-cut", Fixed: true}},
		"without a place":     {check("contact-lamp"), "m\nt\nc\nm\nt\ncollar-battery\n1\n", diagnose.RepairDone{Repair: "collar-battery", Fixed: true}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := memory(t, diagnose.Technician)
			shown, _, err := session(t, inTurn(tt.next, check("supply-sign")), log, tt.typed+"q\n")
			require.NoError(t, err, shown)
			require.Len(t, log.C.Log, 1, shown)
			assert.Equal(t, &tt.want, log.C.Log[0].Repair, shown)
		})
	}
}

// The acceptance walk can be typed in; what was measured is held against the word
// that all has passed.
func TestTheWalkIsTypedInAndHeldAgainstTheWord(t *testing.T) {
	t.Parallel()
	feet := func(v float64) *float64 { v *= float64(quantity.MPerFt); return &v }
	engine := fakeEngine{next: func([]diagnose.Entry) diagnose.Next { return verifyNext }}
	engine.walk.Items = []diagnose.AcceptanceItem{
		{Check: "continuity-sign", Judgement: diagnose.Pass},
		{Check: "loop-ohms", Judgement: diagnose.NotDone},
		{Check: "tone-walk", Judgement: diagnose.Fail, FromM: feet(300), ToM: feet(320)},
	}
	log := memory(t, diagnose.Technician)
	shown, _, err := session(t, engine, log, "i\n5.1\n60 ft: 5 ft, 310 ft: 0\n1\n1\n1\n2\n")
	require.ErrorIs(t, err, ErrEnded, shown)
	require.Len(t, log.C.Log, 3)
	assert.Equal(t, "loop-ohms", log.C.Log[0].Answer.Check)
	assert.Equal(t, "tone-walk", log.C.Log[1].Answer.Check)
	assert.Equal(t, &diagnose.RepairDone{Repair: "verify", Fixed: true}, log.C.Log[2].Repair)
	assert.Contains(t, shown, "The walk wants a width about every 10 ft, from 42 to 62 ft.")
	assert.Contains(t, shown, "Tone walk: FAILED, 300 to 320 ft")
	assert.Equal(t, 2, strings.Count(shown, "Close all the same?"), "asked back each time")

	shown, _, err = session(t, engine, memory(t, diagnose.Homeowner), "i\n")
	require.ErrorIs(t, err, ErrEnded)
	assert.Contains(t, shown, `"i" is not one of the choices`)
}

func TestConflictsAreToldOnce(t *testing.T) {
	t.Parallel()
	engine := inTurn(check("contact-lamp"), check("supply-sign"), check("new-battery"))
	engine.clash = "contact-lamp"
	shown, _, err := session(t, engine, memory(t, diagnose.Homeowner), "dark\non\nq\n")
	require.NoError(t, err)
	assert.Equal(t, 1, strings.Count(shown, "Does not fit: that answer sits badly with the rest"))
}

func TestTheInputEnds(t *testing.T) {
	t.Parallel()
	for _, typed := range []string{"", "dark\n", "dark\nm\n", "dark\nm\nv\n", "dark\nm\ny\n", "dark\nm\ne\n", "dark\nm\na\n", "dark\nm\nf\n"} {
		log := memory(t, diagnose.Homeowner)
		shown, _, err := session(t, inTurn(check("contact-lamp"), check("supply-sign")), log, typed)
		require.ErrorIs(t, err, ErrEnded, typed)
		assert.Contains(t, shown, "Saved. Go on with: loopfault diagnose case.yaml")
		assert.Len(t, log.C.Log, min(1, len(typed)))
	}
}

func TestAnInterruptSavesAndSaysHowToGoOn(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out strings.Builder
	iv := &Interview{Prompter: NewPlain(strings.NewReader("dark\n"), &out, Options{}), Engine: inTurn(check("contact-lamp")), Base: testBase(t),
		Log: memory(t, diagnose.Homeowner), Resume: "loopfault diagnose case.yaml"}
	_, err := iv.Run(ctx)
	require.ErrorIs(t, err, ErrInterrupted)
	assert.Contains(t, out.String(), "Go on with: loopfault diagnose case.yaml")
}

// sick is a log whose disk is full for the first answers, or gone for good.
type sick struct {
	*Memory
	full int
	err  error
}

func (s *sick) Append(e diagnose.Entry) error {
	if s.full > 0 {
		s.full--
		return &journal.Error{Message: "the disk is full", Next: "free some space, then answer again", Err: journal.ErrFull}
	}
	if s.err != nil {
		return s.err
	}
	return s.Memory.Append(e)
}

func TestAFullDiskAsksAgain(t *testing.T) {
	t.Parallel()
	log := &sick{Memory: memory(t, diagnose.Homeowner), full: 2}
	shown, _, err := session(t, inTurn(check("contact-lamp"), check("supply-sign")), log, "dark\ndark\ndark\nq\n")
	require.NoError(t, err)
	assert.Equal(t, 2, strings.Count(shown, "the disk is full\nhint: free some space, then answer again\n"))
	assert.Len(t, log.C.Log, 1)

	log = &sick{Memory: memory(t, diagnose.Homeowner), err: &journal.Error{Message: "changed", Err: journal.ErrChanged}}
	_, _, err = session(t, inTurn(check("contact-lamp")), log, "dark\ndark\n")
	require.ErrorIs(t, err, journal.ErrChanged)
}

func TestEntriesAreStamped(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Homeowner)
	when := time.Date(2026, 5, 1, 14, 30, 0, 500, time.UTC)
	iv := &Interview{Prompter: NewPlain(strings.NewReader("dark\n"), &strings.Builder{}, Options{}), Engine: inTurn(check("contact-lamp"), check("supply-sign")),
		Base: testBase(t), Log: log, Now: func() time.Time { return when }}
	_, err := iv.Run(t.Context())
	require.ErrorIs(t, err, ErrEnded)
	assert.Equal(t, when.Truncate(time.Second), log.C.Log[0].Time)
}

// What a file or a person says cannot steer the terminal.
func TestNothingReachesTheTerminalRaw(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Support)
	log.C.Name = "\x1b]0;gone\x07\u202efake"
	log.C.Log = []diagnose.Entry{{Answer: &diagnose.Answer{Check: "\x1b[2J", Choice: "\x1b[31m"}}}
	shown, _, err := session(t, fakeEngine{next: func([]diagnose.Entry) diagnose.Next { return check("contact-lamp") }}, log, "\x1b[A\x9b31m\nwhat\x07\nm\nh\n")
	require.NoError(t, err)
	for _, r := range shown {
		require.False(t, r != '\n' && (r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u202e'), "%U in %q", r, shown)
	}
}

// With a journal behind it, what was answered is on disk before the next question.
func TestInterviewOnAJournal(t *testing.T) {
	t.Parallel()
	path := t.TempDir() + "/case.yaml"
	o := journal.Options{Base: testBase(t)}
	c := memory(t, diagnose.Technician).C
	j, err := journal.Create(path, c, o)
	require.NoError(t, err)
	engine := inTurn(check("contact-lamp"), tapNext(280), tapNext(309), repairNext("wire-cut", 309), verifyNext)
	_, _, err = session(t, engine, j, "dark\n1\nb\n2\n1\nm\nv\n2\n1\n")
	require.ErrorIs(t, err, ErrEnded)
	require.NoError(t, j.Close())
	held, warnings, err := journal.Read(path, o)
	require.NoError(t, err)
	assert.Empty(t, warnings)
	assert.Len(t, standing(held.Log), 3)

	j, err = journal.Open(path, o) // and goes on at the same step
	require.NoError(t, err)
	shown, ending, err := session(t, engine, j, "1\n\n1\n")
	require.NoError(t, err, shown)
	assert.Equal(t, Finished, ending)
	require.NoError(t, j.Close())
	assert.Contains(t, shown, "Step 4,")
}

func TestTypedFields(t *testing.T) {
	t.Parallel()
	base := testBase(t)
	for _, tt := range []struct {
		check, typed string
		want         journal.Fields
		err          string
	}{
		{"loop-ohms", " 12,5 k ", journal.Fields{Reading: "12,5 k"}, ""},
		{"loop-ohms", "unknown", journal.Fields{Answer: "unknown"}, ""},
		{"trace", "3' 6\" A", journal.Fields{At: "3' 6\"", End: "a"}, ""},
		{"trace", "14 m from b", journal.Fields{At: "14 m", End: "b"}, ""},
		{"silent-stretch", "200-240", journal.Fields{From: "200", To: "240"}, ""},
		{"silent-stretch", "from 200 to 240 m", journal.Fields{From: "200 m", To: "240 m"}, ""},
		{"silent-stretch", "200 ft to 240 ft", journal.Fields{From: "200 ft", To: "240 ft"}, ""},
		{"silent-stretch", "200 and 240 ft", journal.Fields{From: "200 ft", To: "240 ft"}, ""},
		{"silent-stretch", "200 to 240 to 260 ft", journal.Fields{}, "is no place"},
		{"tap", "314 ft: broken, intact", journal.Fields{At: "314 ft", ASide: "broken", BSide: "intact"}, ""},
		{"tap", "314 b i", journal.Fields{At: "314", ASide: "broken", BSide: "intact"}, ""},
		{"tap", "314 ft ? broken", journal.Fields{At: "314 ft", ASide: "unknown", BSide: "broken"}, ""},
		{"tap", "314 ft", journal.Fields{}, "type the place and what each side shows"},
		{"tone-walk", "60: 5,5; 70: silent", journal.Fields{Widths: []journal.WidthFields{{At: "60", Width: "5,5"}, {At: "70", Width: "0"}}}, ""},
		{"tone-walk", "60 ft = 5 ft", journal.Fields{Widths: []journal.WidthFields{{At: "60 ft", Width: "5 ft"}}}, ""},
		{"tone-walk", "60", journal.Fields{}, "is no width"},
		{"recent-work", "edging at 310 ft", journal.Fields{Answer: "edging", At: "310 ft"}, ""},
		{"recent-work", "gardening", journal.Fields{}, "is no answer to recent-work"},
	} {
		f, err := typedFields(base.Check(tt.check), tt.typed)
		if tt.err != "" {
			require.ErrorContains(t, err, tt.err, tt.typed)
			continue
		}
		require.NoError(t, err, tt.typed)
		tt.want.Check = tt.check
		assert.Equal(t, tt.want, f, tt.typed)
	}
	_, err := quick(base, " ; ")
	require.Error(t, err)
}

func TestAnEngineThatAsksForWhatTheBaseLacks(t *testing.T) {
	t.Parallel()
	_, _, err := session(t, inTurn(check("no-such-check")), memory(t, diagnose.Homeowner), "1\n")
	require.ErrorContains(t, err, "no-such-check")
	_, _, err = session(t, inTurn(diagnose.Next{Kind: diagnose.NextRepair, ID: "repair:none"}), memory(t, diagnose.Homeowner), "1\n")
	require.ErrorContains(t, err, "repair:none")
	require.False(t, errors.Is(err, ErrEnded))
}

// FuzzTyped: no line that a person can type makes a reader panic or gives an answer
// that cannot be told and written; what is wrong is said without control characters.
func FuzzTyped(f *testing.F) {
	base := testBase(f)
	checks := []string{"loop-ohms", "trace", "silent-stretch", "tap", "tone-walk", "recent-work", "contact-lamp"}
	for i, text := range []string{"12,5 k", "210 ft a", "200 to 240 m", "314 ft: broken, intact", "60: 5,5; 70: silent", "edging at 310 ft", "dark"} {
		f.Add(text, uint8(i))
		f.Add("loop-ohms="+text+"; "+checks[i]+"="+text, uint8(i))
	}
	f.Add("\x1b[31m; =", uint8(0))
	f.Fuzz(func(t *testing.T, text string, k uint8) {
		log := memory(t, diagnose.Technician)
		words := diagnose.Wording{Base: base, Role: diagnose.Technician}
		told := func(fields journal.Fields, err error) {
			if err == nil {
				var a *diagnose.Answer
				if a, err = fields.AnswerTo(base.Check(fields.Check), log.C.Yard, journal.Bare{Typed: true}); err == nil {
					require.NotEmpty(t, words.Answer(a))
					require.NotContains(t, journal.Line(diagnose.Entry{Answer: a}, base.Check(a.Check), quantity.Feet), "\n")
				}
			}
			if err != nil {
				require.NotContains(t, Clean(err.Error()), "\x1b")
			}
		}
		told(typedFields(base.Check(checks[int(k)%len(checks)]), text))
		all, err := quick(base, text)
		told(journal.Fields{Check: "loop-ohms"}, err)
		for _, fields := range all {
			told(fields, nil)
		}
	})
}
