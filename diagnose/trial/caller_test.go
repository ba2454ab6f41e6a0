package trial

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

func builtIn(t testing.TB) *kb.Base {
	base, err := kb.Load()
	require.NoError(t, err)
	return base
}

func engine(t testing.TB) *diagnose.Engine {
	return diagnose.New(builtIn(t), diagnose.Options{Year: thisYear})
}

func ft(v float64) float64 { return v * quantity.MPerFt }

// fiveHundred is a plain yard: 420 ft of loop behind a lead-in of 40 ft.
func fiveHundred() *yard.Map {
	lead, loop := ft(40), ft(420)
	return &yard.Map{
		Wire:   yard.Wire{Gauge: quantity.Gauge{AWG: 20}, Material: "copper", Strands: "solid"},
		LeadIn: yard.LeadIn{LengthM: &lead}, Loop: yard.Loop{LengthM: &loop},
	}
}

// house is a technician's plain yard, made ready once for many callers.
func house(t testing.TB, e *diagnose.Engine) *household {
	h := &household{c: diagnose.Case{Name: "test", Role: diagnose.Technician, Yard: fiveHundred(), Tools: usual(e)}}
	require.NoError(t, h.settle(e, &h.c))
	return h
}

// caller is one from there with no habits and some faults.
func (h *household) caller(seed uint64, faults ...Fault) *Caller {
	c := newCaller(h, Habits{}, seed)
	for _, f := range faults {
		c.add(f)
	}
	return c
}

func usual(e *diagnose.Engine) []string {
	var out []string
	for _, tool := range e.Base().Tools {
		if slices.Contains(tool.Usual, "technician") {
			out = append(out, tool.ID)
		}
	}
	return out
}

func cut(atFt float64) Fault { return Fault{Cause: "wire-cut", AtM: ft(atFt), ToM: math.NaN()} }

func nowhere(cause string) Fault { return Fault{Cause: cause, AtM: math.NaN(), ToM: math.NaN()} }

func asking(e *diagnose.Engine, check string) diagnose.Step {
	return diagnose.Step{Kind: diagnose.NextCheck, ID: check, Check: e.Base().Check(check)}
}

func tapping(e *diagnose.Engine, atFt float64) diagnose.Step {
	at := ft(atFt)
	return diagnose.Step{Kind: diagnose.NextTap, ID: "tap", Check: e.Base().Check("tap"), AtM: &at}
}

// sigmas is how many standard errors a frequency may be off: five happen once in
// two million.
const sigmas = 5

// near checks that a count of n draws is as likely as p says.
func near(t *testing.T, p float64, count, n int, about ...any) {
	t.Helper()
	allowed := sigmas*math.Sqrt(p*(1-p)/float64(n)) + 1/float64(n)
	assert.InDelta(t, p, float64(count)/float64(n), allowed, about...)
}

// TestTruthFollowsThePrior: faults come as often as the knowledge says, on the
// household's yard.
func TestTruthFollowsThePrior(t *testing.T) {
	w := Home(builtIn(t), 3)
	h, err := w.household(1)
	require.NoError(t, err)
	const n = 4000
	count := map[string]int{}
	double := 0
	for i := range n {
		truth := w.draw(h, i).Truth()
		for _, f := range truth {
			if len(truth) == 1 {
				count[f.Cause]++
			}
			if b, ok := h.desk.PlacePrior(f.Cause); ok {
				require.Positive(t, b.P[b.Axis.Cell(f.AtM)], "%s at %v", f.Cause, f.AtM)
			} else {
				require.True(t, math.IsNaN(f.AtM))
			}
		}
		if len(truth) == 2 {
			double++
		}
	}
	var pairs float64
	for _, hyp := range h.prior {
		if len(hyp.Causes) == 1 {
			near(t, hyp.P, count[hyp.Causes[0]], n, hyp.Causes[0])
		} else {
			pairs += hyp.P
		}
	}
	near(t, pairs, double, n, "two faults")
}

// TestAnswersFollowTheTables, for single causes and for a pair.
func TestAnswersFollowTheTables(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	const n = 600
	for _, causes := range [][]string{{"collar-battery"}, {"outlet-dead"}, {"nothing-wrong"}, {"wire-cut", "collar-battery"}} {
		for _, id := range []string{"supply-sign", "continuity-sign", "tone-extent", "new-battery", "recent-weather"} {
			count := map[string]int{}
			for seed := range uint64(n) {
				var faults []Fault
				for _, c := range causes {
					f := nowhere(c)
					if c == "wire-cut" {
						f = cut(200)
					}
					faults = append(faults, f)
				}
				count[h.caller(seed, faults...).Answer(asking(e, id)).Answer.Choice]++
			}
			for k, p := range e.AnswerChances(id, "", causes...) {
				answer := e.Base().Check(id).Answers[k].ID
				near(t, p, count[answer], n, "%s to %s with %v", answer, id, causes)
			}
		}
	}
}

// TestSameQuestionSameAnswerInAnotherOrder: what a person says does not hang on
// what else was asked before.
func TestSameQuestionSameAnswerInAnotherOrder(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	ids := []string{"supply-sign", "continuity-sign", "new-battery", "loop-ohms", "skin"}
	forth, back := h.caller(9, cut(100)), h.caller(9, cut(100))
	said := map[string]*diagnose.Answer{}
	for _, id := range ids {
		said[id] = forth.Answer(asking(e, id)).Answer
	}
	slices.Reverse(ids)
	for _, id := range ids {
		assert.Equal(t, said[id], back.Answer(asking(e, id)).Answer, id)
	}
}

// TestSameFactSharesItsErrors: of a second look at the same fact only a share is
// news; the rest is what anybody who gave the first answer would say:
//
//	P(a, b | h) = P(a | h) [ s P(b | h) + (1-s) sum over h' of P(h' | a) P(b | h') ]
func TestSameFactSharesItsErrors(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	first, second := e.Base().Check("new-battery"), e.Base().Check("second-collar")
	require.Equal(t, first.Fact, second.Fact)
	const n = 4000
	count := map[[2]string]int{}
	for seed := range uint64(n) {
		c := h.caller(seed, nowhere("collar-failed"))
		a := c.Answer(asking(e, first.ID)).Answer.Choice
		count[[2]string{a, c.Answer(asking(e, second.ID)).Answer.Choice}]++
	}
	s := e.Base().Settings.SameFactShare.Value
	truth := e.AnswerChances(second.ID, "", "collar-failed")
	for j, pa := range e.AnswerChances(first.ID, "", "collar-failed") {
		anybody := make([]float64, len(second.Answers))
		var total float64
		for _, hyp := range h.prior {
			p := hyp.P * e.AnswerChances(first.ID, "", hyp.Causes...)[j]
			total += p
			for k, pb := range e.AnswerChances(second.ID, "", hyp.Causes...) {
				anybody[k] += p * pb
			}
		}
		for k := range second.Answers {
			want := pa * (s*truth[k] + (1-s)*anybody[k]/total)
			near(t, want, count[[2]string{first.Answers[j].ID, second.Answers[k].ID}], n, "%s, %s", first.Answers[j].ID, second.Answers[k].ID)
		}
	}
}

// TestTapTellsTheSide, wrong as often as the settings say, and a spot read again
// keeps what its contact does to it.
func TestTapTellsTheSide(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	s := e.Base().Settings
	wrong := s.PersistentError.Value*(1-s.TapError.Value) + (1-s.PersistentError.Value)*s.TapError.Value
	const n = 4000
	misses := 0
	for seed := range uint64(n) {
		c := h.caller(seed, cut(300))
		a := c.Answer(tapping(e, 200)).Answer
		require.Equal(t, ft(200), *a.AtM)
		if a.BSide != locate.Broken {
			misses++
		}
	}
	near(t, wrong, misses, n, "the broken side")

	both := h.caller(1, cut(100), cut(400)).Answer(tapping(e, 250)).Answer
	assert.Equal(t, [2]locate.Side{locate.Broken, locate.Broken}, [2]locate.Side{both.ASide, both.BSide})
	sound := h.caller(1, nowhere("collar-battery")).Answer(tapping(e, 250)).Answer
	assert.Equal(t, [2]locate.Side{locate.Intact, locate.Intact}, [2]locate.Side{sound.ASide, sound.BSide})
	require.NotNil(t, sound.AOhms, "with both sides whole the ohms are read too")
	// 250 ft of 20 AWG copper at 10.15 ohm a 1000 ft is 2.5 ohm, and the leads 0.3.
	assert.InDelta(t, 2.8, sound.AOhms.Value, 0.6)
}

// TestWhoOpensTheFaultMendsIt: a tap right at the cut is answered by its repair.
func TestWhoOpensTheFaultMendsIt(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	mended := 0
	const n = 300
	for seed := range uint64(n) {
		c := h.caller(seed, cut(200.4))
		entry := c.Answer(tapping(e, 200))
		require.NotNil(t, entry.Repair)
		require.Equal(t, "wire-cut", entry.Repair.Repair)
		if c.Sound() {
			mended++
		}
	}
	near(t, e.Success("wire-cut"), mended, n, "it holds as often as a repair does")
}

// TestRepairsReach only what they take in.
func TestRepairsReach(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	at := func(v float64) *float64 { m := ft(v); return &m }
	repair := func(id string, from, to *float64) diagnose.Step {
		return diagnose.Step{Kind: diagnose.NextRepair, ID: id, Repair: e.Base().Repair(id), FromM: from, ToM: to}
	}
	count := func(step diagnose.Step, faults ...Fault) (sound, said int) {
		for seed := range uint64(200) {
			c := h.caller(seed, faults...)
			r := c.Answer(step).Repair
			if c.Sound() {
				sound++
			}
			if r.Fixed {
				said++
			}
		}
		return sound, said
	}
	sound, said := count(repair("repair:wire-cut", at(190), at(210)), cut(200))
	near(t, e.Success("wire-cut"), sound, 200)
	assert.GreaterOrEqual(t, said, sound)
	sound, said = count(repair("repair:wire-cut", at(190), at(210)), cut(220))
	assert.Zero(t, sound, "ten feet off the stretch")
	near(t, strayCure, said, 200, "it looks cured all the same now and then")
	sound, _ = count(repair("repair:splice-open", at(190), at(210)), cut(200))
	assert.Positive(t, sound, "joining the wire ends whichever break was found")
	sound, _ = count(repair("repair:collar-battery", nil, nil), cut(200))
	assert.Zero(t, sound)
	sound, _ = count(repair("replace-lead-in", nil, nil), Fault{Cause: "lead-in-short", AtM: ft(490), ToM: math.NaN()})
	assert.Greater(t, sound, 180, "on either leg")
	sound, _ = count(repair("repair:wire-too-deep", at(190), at(210)), Fault{Cause: "wire-too-deep", AtM: ft(400), ToM: math.NaN()})
	assert.Greater(t, sound, 150, "what the collar tells is mended where it is")
	sound, said = count(repair("repair:wire-cut", at(190), at(210)), cut(200), cut(400))
	assert.Zero(t, sound, "the other cut stands")
	assert.Zero(t, said)
}

// TestInstallationStaysTheSame: a repair changes the fault and nothing else.
func TestInstallationStaysTheSame(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	for seed := range uint64(20) {
		never := h.caller(seed, nowhere("collar-battery"))
		c := h.caller(seed, cut(200))
		assert.Greater(t, value(c, e), 1000.0, "an open loop")
		for _, f := range c.faults {
			f.standing = false
		}
		c.circuit = nil
		// Two readings of one loop differ by the meter's counts and half a percent.
		assert.InDelta(t, value(never, e), value(c, e), 0.5)
	}
}

func value(c *Caller, e *diagnose.Engine) float64 {
	r := c.Answer(asking(e, "loop-ohms")).Answer.Reading
	if r.OverRange {
		return math.Inf(1)
	}
	return r.Value
}

// TestHabitsShow as often as they are said to.
func TestHabitsShow(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	const n = 2000
	habits := Habits{DontKnow: 0.2, Later: 0.1, Unsure: 0.3, Moment: 0.25, Volunteer: 0.15, GivesPlace: 0.5}
	got := map[string]int{}
	for seed := range uint64(n) {
		c := h.caller(seed, cut(300))
		c.habits = habits
		a := c.Answer(asking(e, "continuity-sign")).Answer
		got[a.Choice]++
		if a.Unsure {
			got["unsure"]++
		}
		if a.When != "" {
			got["when"]++
		}
		if len(c.Volunteers()) > 0 {
			got["volunteers"]++
		}
		again := c.Answer(asking(e, "continuity-sign")).Answer
		require.NotEqual(t, diagnose.Later, again.Choice, "put off once only")
	}
	near(t, 0.2, got[diagnose.Unknown], n)
	near(t, 0.1, got[diagnose.Later], n)
	near(t, 0.7*0.3, got["unsure"], n)
	near(t, 0.7*0.25, got["when"], n)
	near(t, 0.15, got["volunteers"], n)
}

// TestPlacesPointAtTheFault with the check's share, and anywhere otherwise.
func TestPlacesPointAtTheFault(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	check := e.Base().Check("recent-work")
	const n = 600
	close, given := 0, 0
	for seed := range uint64(n) {
		c := h.caller(seed, cut(300))
		c.habits.GivesPlace = 1
		a := c.Answer(asking(e, check.ID)).Answer
		if a.FromM == nil || !e.SpeaksFor(check.ID, a.Choice, "wire-cut") {
			continue
		}
		given++
		// Within three spreads of the stretch.
		reach := 3 * ft(check.SpreadFt.Value)
		if *a.FromM-reach <= ft(300) && ft(300) <= *a.ToM+reach {
			close++
		}
	}
	require.Greater(t, given, 100)
	// A stretch of 13 ft that points anywhere on 500 ft holds it in one case of ten.
	share := check.PlaceShare.Value
	assert.InDelta(t, share+(1-share)*0.1, float64(close)/float64(given), 0.1)
}

// TestTraceLosesTheSignalAtTheFirstBreak from end A.
func TestTraceLosesTheSignalAtTheFirstBreak(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	check := e.Base().Check("trace")
	var places []float64
	past, heard := 0, 0
	for seed := range uint64(400) {
		if a := h.caller(seed, cut(400), cut(150)).Answer(asking(e, "trace")).Answer; a.Choice == diagnose.Throughout {
			past++
		} else {
			places = append(places, *a.AtM)
		}
		if h.caller(seed, nowhere("collar-battery")).Answer(asking(e, "trace")).Answer.Choice == diagnose.Throughout {
			heard++
		}
	}
	slices.Sort(places)
	assert.InDelta(t, ft(150), places[len(places)/2], ft(check.SpreadFt.Value), "the median")
	near(t, 0.05, past, 400) // on a broken wire, and on a whole one: see locate.Trace
	near(t, 0.9, heard, 400)
}

// TestStrayVolts: a wire that carries someone else's volts says so at the first reading.
func TestStrayVolts(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	c := h.caller(1, cut(300))
	c.volts = true
	assert.Equal(t, "volts-found", c.Answer(asking(e, "loop-ohms")).Answer.Choice)
	assert.NotNil(t, c.Answer(asking(e, "adapter-volts")).Answer.Reading, "not on the wire")
}

// TestUnknownCause is refused.
func TestUnknownCause(t *testing.T) {
	_, err := NewCaller(engine(t), diagnose.Case{Role: diagnose.Technician}, Habits{}, 1, nowhere("gremlins"))
	assert.ErrorContains(t, err, `"gremlins"`)
}

// TestAwayWorldIsAnother: still distributions, but different ones, the same each time.
func TestAwayWorldIsAnother(t *testing.T) {
	base := builtIn(t)
	other, again := tilted(base, source(1, "tilt", 0)), tilted(base, source(1, "tilt", 0))
	assert.Equal(t, other.Causes, again.Causes)
	assert.Equal(t, other.Checks, again.Checks)
	different := 0
	for i := range base.Checks {
		for k, row := range other.Checks[i].Rows {
			var sum float64
			for _, p := range row.P {
				sum += p
			}
			require.InDelta(t, 1, sum, 1e-9, base.Checks[i].ID)
			for a, p := range row.P {
				if math.Abs(p-base.Checks[i].Rows[k].P[a]) > 0.05 {
					different++
				}
			}
		}
	}
	assert.Greater(t, different, 100)
	assert.NotEqual(t, base.Causes[0].Prior.Value, other.Causes[0].Prior.Value)
}

// TestYards are yards that the engine can work with.
func TestYards(t *testing.T) {
	e := engine(t)
	kinds := map[yard.FeatureKind]bool{}
	maps := 0
	for i := range 60 {
		role := []diagnose.Role{diagnose.Homeowner, diagnose.Technician}[i%2]
		m := drawYard(source(5, "yard", i), role)
		d, err := e.At(&diagnose.Case{Role: role, Yard: m})
		require.NoError(t, err)
		if m == nil {
			require.Equal(t, diagnose.Homeowner, role)
			continue
		}
		total := d.Axis().LengthM
		require.InDelta(t, m.TotalM(), total, 1e-9)
		for _, f := range m.Features {
			require.LessOrEqual(t, f.FromM, f.ToM)
			require.True(t, f.FromM >= 0 && f.ToM <= total, "%v of %v", f, total)
			kinds[f.Kind] = true
		}
		if m.HasPath() {
			maps++
		}
	}
	assert.Greater(t, maps, 10)
	assert.Greater(t, len(kinds), 10)
}

// TestWorldReadsWhatTheModelSays: an intact lead-in with the boundary off is open.
func TestWorldReadsWhatTheModelSays(t *testing.T) {
	e := engine(t)
	h := house(t, e)
	c := h.caller(2, Fault{Cause: "lead-in-short", AtM: ft(20), ToM: math.NaN()})
	r := c.Answer(asking(e, "lead-in-ohms-open")).Answer.Reading
	require.Equal(t, faultmodel.LeadInOhmsOpen, r.Quantity)
	assert.Less(t, r.Value, 60.0, "a short reads low")
}
