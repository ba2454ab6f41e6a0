package diagnose

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/locate"
)

// ft is a length in metres.
func ft(v float64) float64 { return v * quantity.MPerFt }

func ptr[T any](v T) *T { return &v }

// plainYard is 420 ft of loop behind a 40 ft lead-in: 500 ft of 20 AWG copper.
func plainYard() *yard.Map {
	return &yard.Map{
		Name:   "five hundred feet",
		Wire:   yard.Wire{Gauge: quantity.Gauge{AWG: 20}, Material: "copper", Strands: "solid"},
		LeadIn: yard.LeadIn{LengthM: ptr(ft(40)), Twisted: ptr(true)},
		Loop:   yard.Loop{LengthM: ptr(ft(420))},
		Soil:   yard.Soil{TemperatureC: ptr(12.0), Moisture: "moist"},
	}
}

func read(q faultmodel.Quantity, value float64) Entry {
	return Entry{Answer: &Answer{Check: string(q), Reading: &faultmodel.Reading{Quantity: q, Value: value}}}
}

func tap(atFt float64, a, b locate.Side) Entry {
	return Entry{Answer: &Answer{Check: "tap", AtM: ptr(ft(atFt)), ASide: a, BSide: b}}
}

func assess(t *testing.T, role Role, log ...Entry) *Assessment {
	t.Helper()
	a, err := newEngine(t).Assess(&Case{Name: "test", Role: role, Yard: plainYard(), Log: log})
	require.NoError(t, err)
	return a
}

// TestWetSoilIsNotContinuity: both bare ends of a cut in wet soil read kilo-ohms
// (electrode formulas: about 4 kohm an inch of bare wire in 100 ohm m). A sound
// loop of 500 ft reads 5 ohm.
func TestWetSoilIsNotContinuity(t *testing.T) {
	a := assess(t, Technician, say("continuity-sign", "broken"), read(faultmodel.LoopOhms, 35e3))
	assert.Greater(t, a.breakChance(), 0.9)
	assert.Contains(t, a.Result(quantity.Feet).Notes, "35 kohm is soil between bare ends, not continuity; treat it as open.")
	// Even without the continuity sign.
	b := assess(t, Technician, read(faultmodel.LoopOhms, 35e3))
	assert.Greater(t, b.breakChance(), 0.9)
	c := assess(t, Technician, read(faultmodel.LoopOhms, 5.1))
	assert.Less(t, c.breakChance(), 0.05)
}

// TestLeadInShort: the sign says complete, the yard is silent, and the loop
// reads 2 r x with x = 15 ft: 30 ft of 20 AWG at 10.15 ohm/1000 ft is 0.30 ohm,
// plus 0.3 ohm of leads and contact.
func TestLeadInShort(t *testing.T) {
	a := assess(t, Technician, say("continuity-sign", "complete"), say("tone-extent", "nowhere"), read(faultmodel.LoopOhms, 0.6))
	assert.Equal(t, "lead-in-short", a.Ranking[0].Cause.ID)
	assert.Greater(t, a.Ranking[0].P, 0.6)
	b := assess(t, Technician, say("continuity-sign", "complete"), say("tone-extent", "nowhere"), read(faultmodel.LoopOhms, 0.6),
		read(faultmodel.LeadInOhmsOpen, 0.6))
	require.NotNil(t, b.Where)
	require.Len(t, b.Where.Modes, 2, "a short in the lead-in has two mirrored places")
	total := ft(500)
	assert.InDelta(t, total, b.Where.Modes[0].FromM+b.Where.Modes[1].ToM, ft(3))
	assert.Less(t, b.Where.Modes[0].FromM, ft(15))
	assert.Greater(t, b.Where.Modes[0].ToM, ft(8))
}

// A repair names a spot. A stretch would be read as new wire laid along it, with a
// splice at either end, in the bill and in the map.
func TestRepairNamesASpot(t *testing.T) {
	a := assess(t, Technician)
	for i := range a.desk.engine.kb.Repairs {
		r := &a.desk.engine.kb.Repairs[i]
		s := a.repairStep(act{repair: r, minutes: 1})
		_, placed := a.Place(r.Cause)
		assert.Equal(t, placed, s.AtM != nil, r.ID)
		assert.Nil(t, s.FromM, r.ID)
	}
}

// TestDarkBox: the loop light of a box without power is dark like the others. Priors
// and rows by hand: after "broken" the supply has about 0.09 x 0.10 against
// 0.38 x 0.85 for an open wire and 0.5 x 0.02 for the rest, so about 1 in 40.
func TestDarkBox(t *testing.T) {
	supply := func(a *Assessment) float64 {
		return a.P("outlet-dead") + a.P("adapter-failed") + a.P("switched-off")
	}
	for _, role := range []Role{Homeowner, Support, Technician} {
		broken := assess(t, role, say("continuity-sign", "broken"))
		assert.Less(t, supply(broken), 0.05, role)
		if r := broken.Step.Repair; r != nil && r.Cause != "" {
			assert.NotEqual(t, "supply", broken.desk.engine.kb.Cause(r.Cause).Part, role)
		}
		dark := assess(t, role, say("continuity-sign", "dark"))
		assert.Greater(t, supply(dark), 0.6, role)
		assert.Equal(t, Fail, signItem([]*Answer{{Choice: "dark"}}).Judgement, "no walk passes with a dark box")
	}
	assert.Equal(t, "repair:switched-off", assess(t, Homeowner, say("continuity-sign", "dark")).Step.ID)
	// A box without the light says nothing, so that its power is asked for soon.
	log := []Entry{say("continuity-sign", "none-fitted")}
	if a := assess(t, Homeowner, log...); a.Step.ID != "supply-sign" {
		require.Equal(t, "tone-extent", a.Step.ID)
		log = append(log, say("tone-extent", "nowhere"))
	}
	assert.Equal(t, "supply-sign", assess(t, Homeowner, log...).Step.ID)
	// Once the light is seen nobody is told to switch the box on.
	lit := assess(t, Homeowner, append(log, say("supply-sign", "on"))...)
	assert.NotEqual(t, "repair:switched-off", lit.Step.ID)
}

// A repair is called that of the likeliest cause only where it is.
func TestWhyARepairIsNext(t *testing.T) {
	// Plugging it in takes 3 min, and an adapter or an outlet is likelier.
	first := assess(t, Homeowner, say("supply-sign", "off"))
	require.Equal(t, "repair:switched-off", first.Step.ID)
	require.Less(t, first.P("switched-off"), first.Ranking[0].P)
	assert.Contains(t, first.Why(), "More likely is "+first.causeName(first.Ranking[0].Cause))
	assert.NotContains(t, first.Why(), "most likely")

	likeliest := assess(t, Homeowner, say("continuity-sign", "complete"), say("tone-extent", "nowhere"))
	require.Equal(t, "repair:collar-battery", likeliest.Step.ID)
	require.Equal(t, "collar-battery", likeliest.Ranking[0].Cause.ID)
	assert.Contains(t, likeliest.Why(), "The most likely cause is ")
}

// Only a passed walk lets anybody say that all works.
func TestWhyNothingIsLeft(t *testing.T) {
	mended := Entry{Repair: &RepairDone{Repair: "collar-battery", Fixed: true}}
	walked := Entry{Repair: &RepairDone{Repair: "verify", Fixed: true}}
	handed := Entry{Repair: &RepairDone{Repair: "refer"}}
	found := Entry{Outcome: &Outcome{Cause: "collar-battery", Confirmed: true}}
	for _, tt := range []struct {
		why string
		log []Entry
	}{
		{"Acceptance walk noted as passed; record and close.", []Entry{mended, walked}},
		{"Acceptance walk noted as passed; record and close.", []Entry{mended, walked, found}},
		{"No acceptance walk on record; make it before anyone relies on the boundary.", []Entry{mended, found}},
		{"No acceptance walk on record; make it before anyone relies on the boundary.", []Entry{handed, found}},
		{"Handed on.", []Entry{handed}},
	} {
		a := assess(t, Technician, tt.log...)
		require.Equal(t, NextDone, a.Step.Kind)
		assert.Equal(t, tt.why, a.Why())
	}
}

// TestTwoBreaks: a tap with both sides broken proves two breaks, or an error.
func TestTwoBreaks(t *testing.T) {
	one := assess(t, Technician, say("continuity-sign", "broken"), tap(250, locate.Intact, locate.Broken))
	two := assess(t, Technician, say("continuity-sign", "broken"), tap(250, locate.Broken, locate.Broken))
	assert.Less(t, one.TwoFaults, 0.2)
	assert.Greater(t, two.TwoFaults, 0.5)
	require.NotNil(t, two.Where)
	assert.True(t, two.Where.TwoBreaks)
}

// TestCapacitanceRatio: s = L C_A/(C_A+C_B) places a break; a gain error of the
// meter cancels, so both readings 10 % high place it the same.
func TestCapacitanceRatio(t *testing.T) {
	total := 500.0
	at := 0.62 * total
	for _, gain := range []float64{1, 1.1} {
		a := assess(t, Technician, say("continuity-sign", "broken"),
			Entry{Answer: &Answer{Check: "loop-ohms", Reading: &faultmodel.Reading{Quantity: faultmodel.LoopOhms, OverRange: true}}},
			read(faultmodel.CapacitanceA, gain*0.62*24e-9), read(faultmodel.CapacitanceB, gain*0.38*24e-9))
		require.NotNil(t, a.Where)
		assert.InDelta(t, ft(at), a.Where.BestM, ft(25), "gain %v", gain)
		assert.True(t, a.Where.Interval90.Holds(ft(at)), "gain %v: %v", gain, a.Where.Interval90)
	}
}

// TestAlwaysFinite holds that whatever is read and tapped, true or not, the
// belief stays a distribution and there is a next step.
func TestAlwaysFinite(t *testing.T) {
	e := newEngine(t)
	d, err := e.At(&Case{Role: Technician, Yard: plainYard()})
	require.NoError(t, err)
	ohms := []faultmodel.Quantity{faultmodel.LoopOhms, faultmodel.LoopOhmsReversed, faultmodel.BoundaryOhms,
		faultmodel.LegAToEarth, faultmodel.LegBToEarth, faultmodel.LeadInOhmsOpen}
	rapid.Check(t, func(t *rapid.T) {
		var log []Entry
		for range rapid.IntRange(1, 6).Draw(t, "entries") {
			switch rapid.IntRange(0, 4).Draw(t, "sort") {
			case 0, 1:
				q := rapid.SampledFrom(ohms).Draw(t, "quantity")
				r := &faultmodel.Reading{Quantity: q, Value: math.Pow(10, rapid.Float64Range(-2, 7).Draw(t, "ln"))}
				r.OverRange = rapid.Bool().Draw(t, "over")
				log = append(log, Entry{Answer: &Answer{Check: string(q), Reading: r}})
			case 2:
				q := rapid.SampledFrom([]faultmodel.Quantity{faultmodel.CapacitanceA, faultmodel.CapacitanceB}).Draw(t, "leg")
				log = append(log, read(q, rapid.Float64Range(0, 60e-9).Draw(t, "farad")))
			case 3:
				sides := rapid.SampledFrom([]locate.Side{locate.Intact, locate.Broken})
				log = append(log, tap(rapid.Float64Range(0, 500).Draw(t, "at"), sides.Draw(t, "a"), sides.Draw(t, "b")))
			default:
				at := ft(rapid.Float64Range(0, 500).Draw(t, "mended"))
				log = append(log, Entry{Repair: &RepairDone{Repair: "wire-cut", AtM: &at, Fixed: rapid.Bool().Draw(t, "fixed")}})
			}
		}
		a := d.Assess(log)
		var sum float64
		for _, p := range a.belief.p {
			if !(p >= 0) {
				t.Fatalf("a probability of %v after %v", p, log)
			}
			sum += p
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Fatalf("probabilities sum to %v after %v", sum, log)
		}
		if a.Step.Kind == "" || math.IsNaN(a.Step.Cost) || math.IsNaN(a.Expected.Cost) {
			t.Fatalf("no next step after %v", log)
		}
	})
}

// TestVoltsStopEverything: a.c. volts found on the wire end all wire work, whatever
// is believed, also after a repair that seemed to help.
func TestVoltsStopEverything(t *testing.T) {
	mended := Entry{Repair: &RepairDone{Repair: "wire-cut", AtM: ptr(ft(200)), Fixed: true}}
	for _, log := range [][]Entry{
		{say("continuity-sign", "broken"), say("loop-ohms", "volts-found")},
		{say("continuity-sign", "broken"), mended, say("loop-ohms", "volts-found")},
	} {
		a := assess(t, Technician, log...)
		assert.Equal(t, NextRefer, a.Step.Kind)
		require.NotNil(t, a.Step.Rule)
		assert.Equal(t, "volts-found", a.Step.Rule.ID)
		assert.Contains(t, a.Step.Cautions, "stray-volts")
	}
}

// TestHomeownerIsSplitFirst walks a homeowner with only a collar through every
// answer of the first questions: never a spade before a split.
func TestHomeownerIsSplitFirst(t *testing.T) {
	e := newEngine(t)
	d, err := e.At(&Case{Role: Homeowner})
	require.NoError(t, err)
	var walk func(log []Entry, depth int)
	walk = func(log []Entry, depth int) {
		a := d.Assess(log)
		require.NotEqual(t, NextTap, a.Step.Kind, "after %v", log)
		if a.Step.Repair != nil && depth < 2 {
			require.False(t, a.Step.Repair.Digs, "%s after %v", a.Step.ID, log)
		}
		if a.Step.Kind != NextCheck || depth == 3 {
			return
		}
		for _, ans := range a.Step.Check.Answers {
			walk(append(log[:len(log):len(log)], say(a.Step.Check.ID, ans.ID)), depth+1)
		}
	}
	first := d.Assess(nil)
	require.Equal(t, NextCheck, first.Step.Kind)
	assert.Contains(t, []string{"supply-sign", "switch-position", "continuity-sign", "tone-extent", "new-battery", "short-loop-collar", "short-loop-sign"}, first.Step.ID)
	walk(nil, 0)
}

// TestHeardToTheFarEnd: a tracer that hears the signal all the way round speaks
// against every break, one in ten of whole wires against one in twenty of broken
// ones aside (judgement), and points nowhere.
func TestHeardToTheFarEnd(t *testing.T) {
	breaks := func(a *Assessment) (p float64) {
		for _, c := range a.belief.breakCauses() {
			p += a.P(a.belief.space.causes[c].ID)
		}
		return p
	}
	before := assess(t, Technician, say("tone-extent", "nowhere"))
	heard := assess(t, Technician, say("tone-extent", "nowhere"), say("trace", "throughout"))
	lost := assess(t, Technician, say("tone-extent", "nowhere"), Entry{Answer: &Answer{Check: "trace", AtM: ptr(ft(300)), End: locate.EndA}})
	require.Greater(t, breaks(before), 0.4)
	require.Less(t, breaks(heard), 0.15)
	require.Greater(t, breaks(lost), breaks(before))
	require.NotNil(t, lost.Where)
	require.InDelta(t, ft(300), lost.Where.BestM, ft(5))
}

// TestSaidMendedAndStillBroken: "it works again" is a statement like others. Where a
// sign and a meter speak against it afterwards, the break is still believed in, at the
// joint or away from it; and without them the joint is trusted.
func TestSaidMendedAndStillBroken(t *testing.T) {
	over := Entry{Answer: &Answer{Check: "loop-ohms", Reading: &faultmodel.Reading{Quantity: faultmodel.LoopOhms, OverRange: true}}}
	log := []Entry{say("continuity-sign", "broken"), over,
		{Repair: &RepairDone{Repair: "wire-cut", AtM: ptr(ft(300)), Fixed: true}}}
	mended := assess(t, Technician, log...)
	require.Greater(t, mended.P(nothingWrong), 0.95)
	require.Equal(t, NextVerify, mended.Step.Kind)
	again := assess(t, Technician, append(log, say("continuity-sign", "broken"), over)...)
	require.Less(t, again.P(nothingWrong), 0.2)
	require.NotEqual(t, NextVerify, again.Step.Kind)
	for _, c := range again.Clashes {
		require.NotEqual(t, "continuity-sign", c.Check.ID, "it was said twice")
	}
	require.NotNil(t, again.Where)
	joint := again.Where.Belief.Mass(ft(296), ft(304))
	require.Greater(t, joint, 0.1, "the new joint is a suspect")
	require.Less(t, joint, 0.9, "and not the only one")
	// Both sound afterwards: mended for certain.
	sound := assess(t, Technician, append(log, say("continuity-sign", "complete"), read(faultmodel.LoopOhms, 5.1))...)
	require.Greater(t, sound.P(nothingWrong), mended.P(nothingWrong))
}

// TestUnsureSoftens: an answer marked as not sure moves the belief the same way, but
// less.
func TestUnsureSoftens(t *testing.T) {
	none := assess(t, Support)
	sure := assess(t, Support, say("continuity-sign", "broken"))
	unsure := assess(t, Support, Entry{Answer: &Answer{Check: "continuity-sign", Choice: "broken", Unsure: true}})
	require.Greater(t, unsure.P("wire-cut"), none.P("wire-cut")+0.05)
	require.Less(t, unsure.P("wire-cut"), sure.P("wire-cut")-0.05)
}

// TestAMendedCutSpeaksForACut: what is mended where it was seen was most likely the
// fault that the case began with.
func TestAMendedCutSpeaksForACut(t *testing.T) {
	before := assess(t, Technician, say("continuity-sign", "broken"))
	after := assess(t, Technician, say("continuity-sign", "broken"), Entry{Repair: &RepairDone{Repair: "wire-cut", AtM: ptr(ft(100)), Fixed: true}})
	require.Greater(t, after.Initial("wire-cut"), before.Initial("wire-cut"))
	require.Greater(t, after.P(nothingWrong), 0.9)
}

// TestNoLeadIn: on a loop that begins at the terminals a fault of the lead-in is
// impossible everywhere, and stays so through repairs.
func TestNoLeadIn(t *testing.T) {
	y := plainYard()
	y.LeadIn.LengthM = ptr(0.0)
	a, err := newEngine(t).Assess(&Case{Role: Technician, Yard: y, Log: []Entry{
		read(faultmodel.LoopOhms, 5), {Repair: &RepairDone{Repair: "collar-battery"}}}})
	require.NoError(t, err)
	var sum float64
	for _, p := range a.remaining() {
		require.False(t, math.IsNaN(p))
		sum += p
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.Equal(t, NextCheck, a.Step.Kind)
}

// TestSeenDamageIsMended: who saw the cut is sent to mend it, at the place where it
// was seen and with what has to be bought, and not once more where that did not help.
func TestSeenDamageIsMended(t *testing.T) {
	found := Entry{Answer: &Answer{Check: VisibleDamage, Choice: Found, AtM: ptr(ft(210))}}
	log := []Entry{say("continuity-sign", "broken"), found}
	a := assess(t, Homeowner, log...)
	require.Equal(t, "repair:wire-cut", a.Step.ID)
	require.InDelta(t, ft(210), *a.Step.AtM, 1e-9)
	require.Contains(t, a.Step.Cautions, "digging")
	plain := a.desk.engine.kb.RepairMade("wire-cut")
	require.Greater(t, a.Step.Minutes, plain.Minutes.Homeowner, "a shop is visited first")
	failed := assess(t, Homeowner, append(log, Entry{Repair: &RepairDone{Repair: "wire-cut", AtM: ptr(ft(210))}})...)
	require.NotEqual(t, "repair:wire-cut", failed.Step.ID)
}
