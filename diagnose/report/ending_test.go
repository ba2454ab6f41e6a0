package report

import (
	"html"
	"math"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

var roles = []diagnose.Role{diagnose.Homeowner, diagnose.Technician, diagnose.Support}

// texts are the forms that people read, without their line breaks.
func texts(t *testing.T, r *Record) map[string]string {
	t.Helper()
	table, err := r.Table(Terminal{ASCII: true})
	require.NoError(t, err)
	page, err := r.HTML()
	require.NoError(t, err)
	_, page, _ = strings.Cut(page, "<body>")
	page = html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " "))
	out := map[string]string{"table": table, "markdown": strings.ReplaceAll(r.Markdown(), `\`, ""), "html": page, "hand-over": r.Handover()}
	for form, text := range out {
		out[form] = oneLine(text)
	}
	return out
}

func repair(id string, fixed bool, place ...float64) diagnose.Entry {
	d := &diagnose.RepairDone{Repair: id, Fixed: fixed}
	switch len(place) {
	case 1:
		d.AtM = ft(place[0])
	case 2:
		d.FromM, d.ToM = ft(place[0]), ft(place[1])
	}
	return diagnose.Entry{Repair: d}
}

func tap(at float64, a, b locate.Side) diagnose.Entry {
	return diagnose.Entry{Answer: &diagnose.Answer{Check: "tap", AtM: ft(at), ASide: a, BSide: b}}
}

// until is the spring call up to so many answers, and what came after.
func until(t *testing.T, role diagnose.Role, answers int, then ...diagnose.Entry) *diagnose.Case {
	c := springCall(t, role)
	c.Log = append(c.Log[:answers:answers], then...)
	return c
}

// Volts on the wire come before everything else that a report has to say, also
// when the case was handed on or mended since, until they are looked for again.
func TestDangerComesFirst(t *testing.T) {
	base := newEngine().Base()
	volts := say("loop-ohms", "volts-found")
	for _, role := range roles {
		for name, then := range map[string][]diagnose.Entry{
			"found":     {volts},
			"handed on": {volts, repair("refer", false)},
			"mended":    {volts, repair("wire-cut", true, 309)},
			"closed":    {volts, {Outcome: &diagnose.Outcome{Cause: "wire-cut", Confirmed: true}}},
		} {
			r := record(t, until(t, role, 4, then...), Options{})
			require.NotNil(t, r.Stop, name)
			var rule string
			for _, x := range base.Rules {
				if x.ID == "volts-found" {
					rule = oneLine(x.Text.For(string(role)))
					for _, id := range x.Cautions {
						assert.Contains(t, r.Stop.Cautions, strings.TrimSpace(base.CautionText(id, string(role))))
					}
				}
			}
			for form, text := range texts(t, r) {
				at := strings.Index(text, rule)
				require.GreaterOrEqual(t, at, 0, "%s, %s: %s", name, form, text)
				for _, c := range base.Causes {
					cause := strings.TrimSpace(c.Name.For(string(role)))
					if i := strings.Index(strings.ToLower(text), strings.ToLower(cause)); i >= 0 {
						assert.Less(t, at, i, "%s, %s names %q before the danger", name, form, cause)
					}
				}
				for _, c := range r.Stop.Cautions {
					assert.Contains(t, text, oneLine(c), form)
				}
			}
			bring := strings.Join(r.Bring, ", ")
			assert.Contains(t, bring, "licensed electrician first", name)
			for _, id := range []string{"meter", "spade", "splice-kit", "temporary-wire"} {
				assert.NotContains(t, r.Handover(), strings.TrimSpace(base.Tool(id).Name.For(string(role))), "no tools for the wire")
			}
			assert.Empty(t, r.Materials)
			assert.Empty(t, r.Plan)
			assert.NotContains(t, strings.ToLower(r.Was+r.Proof), "mended")
			assert.NotEmpty(t, r.Result.Cautions, "the machine interface warns too")
		}
	}
	again := read(faultmodel.LoopOhms, 5.9)
	assert.Nil(t, record(t, until(t, diagnose.Technician, 4, volts, repair("refer", false), again), Options{}).Stop,
		"the wire was measured, so the volts are gone")
}

// After a repair a report says what was mended, where, and that it is not proved
// before the walk is.
func TestMendedButNotProved(t *testing.T) {
	for _, role := range roles {
		for name, c := range map[string]*diagnose.Case{
			"not walked":           until(t, role, 8, repair("wire-cut", true, 309)),
			"walk without figures": until(t, role, 8, repair("wire-cut", true, 309), repair("verify", true)),
			"sign only":            until(t, role, 8, repair("wire-cut", true, 309), say("continuity-sign", "complete")),
			"taken back": until(t, role, 8, repair("wire-cut", true, 309), say("continuity-sign", "complete"),
				say("tone-walk", diagnose.Later), diagnose.Entry{Undo: true}),
		} {
			r := record(t, c, Options{})
			nothing := strings.TrimSpace(newEngine().Base().Cause("nothing-wrong").Name.For(string(role)))
			for form, text := range texts(t, r) {
				assert.Contains(t, text, "at 309 ft, mended", "%s, %s", name, form)
				proof := "Mended, not yet proved"
				if name == "walk without figures" {
					proof = "Mended; the acceptance walk is noted as passed, but not what it showed"
				}
				assert.Contains(t, text, proof, "%s, %s", name, form)
				assert.NotContains(t, strings.ToLower(text), "verified", "%s, %s", name, form)
				assert.NotContains(t, strings.ToLower(text), strings.ToLower(nothing), "%s, %s", name, form)
				assert.NotContains(t, text, "No place along the wire stands out", "%s, %s", name, form)
				assert.Contains(t, text, "mended 309 ft", "%s, %s: the drawing points at the repair", name, form)
				if form != "hand-over" {
					assert.Contains(t, text, "Materials used", form)
					assert.Contains(t, text, "new splice", form)
				}
			}
		}
	}
}

func TestMendedAndVerified(t *testing.T) {
	r := record(t, mended(t, diagnose.Technician), Options{})
	assert.True(t, r.Passed)
	assert.Equal(t, "Mended and verified by the acceptance walk.", r.Proof)
	for form, text := range texts(t, r) {
		assert.Contains(t, text, r.Proof, form)
	}
}

// A walk that shows a silent stretch is told as failed.
func TestMendedAndFailed(t *testing.T) {
	c := mended(t, diagnose.Technician)
	c.Log = c.Log[:len(c.Log)-1] // without the outcome
	walk := c.Log[len(c.Log)-1].Answer.Widths
	for i := 20; i < 24; i++ {
		walk[i] = faultmodel.Width{AtM: walk[i].AtM, Silent: true}
	}
	r := record(t, c, Options{})
	assert.Contains(t, r.Proof, "failed: tone walk")
	assert.NotContains(t, r.Proof, "verified")
	assert.NotContains(t, r.Proof, "not yet")
}

// An outcome without a repair proves nothing.
func TestOutcomeWithoutARepair(t *testing.T) {
	c := until(t, diagnose.Technician, 8, diagnose.Entry{Outcome: &diagnose.Outcome{Cause: "wire-cut", AtM: ft(309), Confirmed: true}})
	r := record(t, c, Options{})
	for form, text := range texts(t, r) {
		assert.Contains(t, text, "Wire cut, at 309 ft", form)
		assert.Contains(t, text, "On record is the outcome", form)
		assert.Contains(t, text, "nothing is verified", form)
		assert.NotContains(t, text, "Verified", form)
		assert.NotContains(t, text, "mended", form)
	}
	assert.Contains(t, r.Result.Next.Why, "The acceptance walk is not on record")
}

// A repair that the readings since speak against is told as such, and after one
// that did not help the search is what the report is about.
func TestRepairThatDidNotLast(t *testing.T) {
	over := read(faultmodel.LoopOhms, 0)
	over.Answer.Reading.OverRange = true
	r := record(t, until(t, diagnose.Technician, 8, repair("wire-cut", true, 309), say("continuity-sign", "broken"), over), Options{})
	for form, text := range texts(t, r) {
		assert.Contains(t, text, "does not bear it out; failed: continuity sign, loop ohms", form)
	}
	r = record(t, until(t, diagnose.Technician, 8, repair("splice-open", false, 150)), Options{})
	assert.False(t, r.Closed)
	assert.Empty(t, r.Was)
	assert.Contains(t, r.Handover(), "Likely: wire cut")
	assert.NotEmpty(t, r.Used, "what went into the ground stays on the bill")
}

// A new section has a splice at each end and none inside; a tap outside it leaves
// one; what the map knows already is not new. They are told along the wire.
func TestNewSplices(t *testing.T) {
	c := until(t, diagnose.Technician, 1, tap(200, locate.Intact, locate.Broken), tap(150, locate.Intact, locate.Broken),
		tap(300, locate.Intact, locate.Broken), repair("replace-section", true, 290, 320))
	r := record(t, c, Options{})
	var splices []string
	for _, f := range r.AsBuilt {
		if f.Name == "new splice" {
			splices = append(splices, f.Value)
		}
	}
	// The orchard yard has a splice at 150 ft.
	assert.Equal(t, []string{"200 ft, where it was tapped", "290 ft, new section begins", "320 ft, new section ends"}, splices)
	used := map[string]string{}
	for _, m := range r.Used {
		used[m.Name] = m.Amount
	}
	// 30 ft and a tenth for slack; two splices of the section and one of the tap.
	assert.Equal(t, "33 ft", used["boundary wire, direct burial, 20 awg"])
	assert.Equal(t, "3", used["gel-filled splice"])
}

// A report says where a splice is no better than the case does, which of the map's
// are gone, and bills new wire only where some was laid.
func TestSplicesOfAStretch(t *testing.T) {
	built := func(r *Record) (out []string) {
		for _, f := range r.AsBuilt {
			if strings.HasPrefix(f.Name, "splice") || strings.HasPrefix(f.Name, "new splice") {
				out = append(out, f.Name+": "+f.Value)
			}
		}
		return out
	}
	amount := func(r *Record, item string) string {
		for _, m := range r.Used {
			if strings.HasPrefix(m.Name, item) {
				return m.Amount
			}
		}
		return ""
	}
	r := record(t, until(t, diagnose.Technician, 1, repair("wire-cut", true, 290, 297)), Options{})
	rejoin := newEngine().Base().Repair("repair:wire-cut").Name.For("technician")
	assert.Equal(t, []string{"new splice: within 290 to 297 ft, " + rejoin}, built(r))
	// What the knowledge base has the repair of a cut take, whatever was laid bare.
	assert.Equal(t, "2.0 ft", amount(r, "boundary wire"))
	assert.Equal(t, "2", amount(r, "gel-filled splice"))

	// The orchard yard has splices at 150 and 431 ft, and two legs of lead-in.
	r = record(t, until(t, diagnose.Technician, 1, tap(300, locate.Intact, locate.Broken), repair("replace-section", false, 140, 160)), Options{})
	assert.Equal(t, []string{"new splice: 140 ft, new section begins", "new splice: 160 ft, new section ends",
		"new splice: 300 ft, where it was tapped", "splice gone: 150 ft, new wire in its place"}, built(r))

	m := until(t, diagnose.Technician, 1).Yard
	legM, totalM := m.LeadInM(), m.TotalM()
	r = record(t, until(t, diagnose.Technician, 1, tap(300, locate.Intact, locate.Broken), repair("replace-loop", true)), Options{})
	assert.Equal(t, []string{
		"new splice: " + quantity.FormatLength(legM, quantity.Feet) + ", replace loop",
		"new splice: " + quantity.FormatLength(totalM-legM, quantity.Feet) + ", replace loop",
		"splice gone: 150 ft, new wire in its place", "splice gone: 431 ft, new wire in its place"}, built(r))
	// All of the wire and a tenth for slack.
	assert.Equal(t, quantity.FormatLength(math.Ceil(totalM*1.1/quantity.MPerFt)*quantity.MPerFt, quantity.Feet), amount(r, "boundary wire"))
	assert.Equal(t, "2", amount(r, "gel-filled splice"), "the tap's is in the ground no more")
}

// Every material of a new section has a unit and a price.
func TestMaterialsArePriced(t *testing.T) {
	c := until(t, diagnose.Technician, 7, tap(296, locate.Intact, locate.Broken), tap(320, locate.Broken, locate.Intact))
	r := record(t, c, Options{})
	require.NotEmpty(t, r.Materials)
	for _, m := range r.Materials {
		assert.NotEmpty(t, m.Price, m.Name)
		if strings.Contains(m.Name, "wire") {
			assert.Contains(t, m.Amount, " ft")
		}
	}
	assert.NotEmpty(t, r.Total)
}

// The answers of a call by voice keep their subject, and all are told.
func TestHandoverTellsEveryAnswer(t *testing.T) {
	c := &diagnose.Case{Role: diagnose.Support, Meters: faultmodel.DefaultMeters(), Log: []diagnose.Entry{
		say("supply-sign", "on"), say("switch-position", "on"), say("continuity-sign", "broken"), say("tone-extent", "nowhere"),
		say("new-battery", "still-silent"), say("recent-work", "edging"), say("recent-weather", diagnose.Unknown),
		say("terminal-look", "sound"), say("visible-damage", diagnose.Unknown), say("system-age", "over-10-years"),
		say("width-control", "unsure"), say("neighbour-loop", "no")}}
	r := record(t, c, Options{})
	text := oneLine(r.Handover())
	for _, want := range []string{"supply sign: yes, a light is on.", "terminal look: tight and clean.", "new battery: no, it stays silent.",
		"recent weather: not known", "width control: I can't tell.", "neighbour loop: no."} {
		assert.Contains(t, text, want)
	}
	assert.NotContains(t, text, "earlier answers")
	table, err := r.Table(Terminal{})
	require.NoError(t, err)
	assert.Contains(t, oneLine(table), "New battery: does", "a question whose subject was named before it")
	assert.Equal(t, "leg A to earth", kb.Label("leg-a-to-earth"))
}

// Two breaks are two places in words and in the drawing, whichever is the surer.
func TestTwoBreaks(t *testing.T) {
	work := func(from, to float64) diagnose.Entry {
		e := say("recent-work", "trenching")
		e.Answer.FromM, e.Answer.ToM = ft(from), ft(to)
		return e
	}
	over := read(faultmodel.LoopOhms, 0)
	over.Answer.Reading.OverRange = true
	m := &yard.Map{Loop: yard.Loop{LengthM: ft(480)}, LeadIn: yard.LeadIn{LengthM: ft(40)}}
	c := &diagnose.Case{Role: diagnose.Technician, Yard: m, Meters: faultmodel.DefaultMeters(), Log: []diagnose.Entry{
		say("continuity-sign", "broken"), work(150, 160), work(380, 390), over,
		tap(270, locate.Broken, locate.Broken), tap(270, locate.Broken, locate.Broken)}}
	r := record(t, c, Options{})
	require.NotEmpty(t, r.Places)
	assert.Contains(t, r.Places[0], "Two breaks")
	assert.NotContains(t, strings.Join(r.Places, " "), "(0.", "no slivers")
	mass := func(from, to float64) (sum float64) {
		for i, p := range r.Scene.Belief {
			if at := (float64(i) + 0.5) / float64(len(r.Scene.Belief)) * 560; at > from && at < to {
				sum += p
			}
		}
		return sum
	}
	assert.InDelta(t, 1, mass(0, 560), 1e-9)
	// A break lies on either side of the tap; by the two trenches each is likelier
	// near one.
	assert.InDelta(t, 0.5, mass(0, 270), 0.1)
	assert.InDelta(t, 0.5, mass(270, 560), 0.1)
	assert.Greater(t, mass(148, 162)/14, 2*mass(170, 260)/90, "denser at the one trench")
	assert.Greater(t, mass(378, 392)/14, 2*mass(280, 370)/90, "and at the other")
	assert.Nil(t, r.Scene.BestM, "no single place is the place")
}

// A fault of the lead-in is at one of two mirrored places, never "between" them.
func TestMirroredPlaces(t *testing.T) {
	m := &yard.Map{Loop: yard.Loop{LengthM: ft(480)}, LeadIn: yard.LeadIn{LengthM: ft(40), Twisted: new(true)}}
	c := &diagnose.Case{Role: diagnose.Technician, Yard: m, Meters: faultmodel.DefaultMeters(), Log: []diagnose.Entry{
		say("continuity-sign", "complete"), say("tone-extent", "nowhere"), read(faultmodel.LoopOhms, 0.9)}}
	for _, role := range roles {
		c.Role = role
		r := record(t, c, Options{})
		require.NotEmpty(t, r.Places)
		assert.Regexp(t, `\d+ to \d+ ft (and|or)( at)? 5\d\d to 5\d\d ft`, r.Places[0])
		assert.Nil(t, r.Scene.BestM)
	}
}

// Of a yard nobody has described no place is named, however the assumed wire is
// divided.
func TestNoPlaceWithoutAYard(t *testing.T) {
	c := &diagnose.Case{Role: diagnose.Support, Meters: faultmodel.DefaultMeters(), Log: []diagnose.Entry{
		say("continuity-sign", "broken"), say("tone-extent", "nowhere"), say("new-battery", "still-silent")}}
	r := record(t, c, Options{})
	assert.Equal(t, []string{"The place along the wire is not known yet."}, r.Places)
	assert.Nil(t, r.Scene.Belief)
	assert.NotRegexp(t, `\d ft`, r.Handover()[:strings.Index(r.Handover(), "Bring:")])
}

// Every text report fits a terminal of 80 columns, in every role and units.
func TestTextsFit80Columns(t *testing.T) {
	for _, role := range roles {
		for _, c := range []*diagnose.Case{springCall(t, role), mended(t, role),
			until(t, role, 4, say("loop-ohms", "volts-found")),
			until(t, role, 8, repair("replace-section", true, 290, 320)),
			{Role: role, Meters: faultmodel.DefaultMeters(), Log: []diagnose.Entry{say("tone-extent", "nowhere"), say("continuity-sign", "broken"), say("supply-sign", "on")}},
		} {
			for _, units := range []quantity.Units{quantity.Feet, quantity.Metres} {
				r := record(t, c, Options{Units: units, Currency: "USD", Date: "2026-11-25"})
				table, err := r.Table(Terminal{})
				require.NoError(t, err)
				for line := range strings.Lines(table + r.Handover()) {
					assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), 80, line)
				}
			}
		}
	}
}
