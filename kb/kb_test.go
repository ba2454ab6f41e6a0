package kb

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func load(t testing.TB) *Base {
	t.Helper()
	b, err := Load()
	require.NoError(t, err)
	return b
}

// The ids that files, commands and reports rely on.
const (
	contractCauses = `outlet-dead adapter-failed transmitter-failed surge-arrester-failed terminal-loose width-set-low
		transmitter-near-metal loop-outside-rating lead-in-open lead-in-short wire-cut splice-open splice-resistive
		insulation-leak loop-short conductor-fatigue wire-too-deep runs-too-close sharp-corner buried-service-alongside
		neighbour-signal metal-along-boundary collar-battery collar-contacts collar-fit collar-failed collar-mismatched
		switched-off training-lapse nothing-wrong something-else`
	contractPositional = `lead-in-open lead-in-short wire-cut splice-open splice-resistive insulation-leak loop-short
		conductor-fatigue wire-too-deep runs-too-close sharp-corner buried-service-alongside metal-along-boundary`
	contractTools = `collar new-battery spare-wire lamp second-collar meter capacitance clamp earth-rod tracer spade
		splice-kit temporary-wire`
	contractCautions = `unplug mains digging thunder collar-off skin contain stray-volts insulation-tester
		tools-and-traffic local-rules`
	contractParts = `supply transmitter lead-in boundary-wire surroundings collar pet`
)

// The checks and their own answers, in any order.
var contractChecks = map[string]string{
	"supply-sign": "on off", "switch-position": "on off unplugged-on-purpose", "outlet-power": "live dead",
	"continuity-sign":  "complete broken dark none-fitted",
	"tone-extent":      "everywhere narrow-everywhere wide-everywhere stretch-silent stretch-narrow near-transmitter-only nowhere comes-and-goes",
	"silent-stretch":   "",
	"recent-work":      "none planting edging aerating trenching paving fencing irrigation wall-work animals-digging",
	"recent-weather":   "none thunderstorm freeze-thaw frost-now heavy-rain drought power-cut",
	"wet-dependence":   "steady worse-wet worse-dry comes-and-goes",
	"visible-damage":   "none found",
	"terminal-look":    "sound loose corroded wire-out",
	"metal-distance":   "clear within-3-ft",
	"width-control":    "as-installed lowered raised at-maximum unsure",
	"new-battery":      "works works-a-day still-silent",
	"contact-lamp":     "lights dark",
	"second-collar":    "works silent",
	"collar-history":   "unchanged new used reset tone-only",
	"collar-fit-look":  "snug loose long-coat",
	"collar-damage":    "none cracked-or-wet",
	"skin":             "healthy sore",
	"yard-changed":     "none wire-added wire-moved soil-added metal-added service-laid transmitter-moved",
	"neighbour-loop":   "yes no",
	"system-age":       "under-3-years 3-to-10-years over-10-years",
	"arrester-fitted":  "yes no",
	"short-loop-sign":  "complete broken",
	"lead-in-loop":     "complete broken",
	"move-transmitter": "better same",

	"pet-crosses-with-tone": "yes no", "tone-when-unplugged": "silent sounds", "tone-off-the-wire": "none found",
	"short-loop-collar": "sounds silent", "arrester-bypassed": "better same",

	"loop-ohms": "volts-found", "loop-ohms-reversed": "volts-found", "boundary-ohms": "volts-found",
	"leg-a-to-earth": "volts-found", "leg-b-to-earth": "volts-found", "capacitance-a": "volts-found",
	"capacitance-b": "volts-found", "lead-in-ohms-open": "volts-found", "adapter-volts": "",
	"terminal-volts": "volts-found", "loop-current": "volts-found",

	"tap": "volts-found", "trace": "throughout", "tone-walk": "", "bridge": "restores same",
}

func ids[T any](entries []T, id func(*T) string) []string {
	list := make([]string, len(entries))
	for i := range entries {
		list[i] = id(&entries[i])
	}
	return list
}

func TestContractIDs(t *testing.T) {
	t.Parallel()
	b := load(t)
	assert.ElementsMatch(t, strings.Fields(contractCauses), ids(b.Causes, func(c *Cause) string { return c.ID }))
	assert.ElementsMatch(t, strings.Fields(contractTools), ids(b.Tools, func(c *Tool) string { return c.ID }))
	assert.ElementsMatch(t, strings.Fields(contractCautions), ids(b.Cautions, func(c *Caution) string { return c.ID }))
	assert.Equal(t, strings.Fields(contractParts), ids(b.Parts, func(c *Part) string { return c.ID }))

	var positional []string
	want := append([]string{}, generalActs...)
	for _, c := range b.Causes {
		if len(c.Place) > 0 {
			positional = append(positional, c.ID)
		}
		assert.Equal(t, strings.HasPrefix(c.ID, "lead-in-"), c.Mirror, "%s: only lead-in faults are mirrored", c.ID)
		if c.ID != NothingWrong && c.ID != SomethingElse {
			want = append(want, "repair:"+c.ID)
		}
	}
	assert.ElementsMatch(t, strings.Fields(contractPositional), positional)
	assert.ElementsMatch(t, want, ids(b.Repairs, func(r *Repair) string { return r.ID }))

	assert.Len(t, b.Checks, len(contractChecks))
	for id, answers := range contractChecks {
		c := b.Check(id)
		if assert.NotNil(t, c, id) {
			assert.ElementsMatch(t, strings.Fields(answers), ids(c.Answers, func(a *Answer) string { return a.ID }), id)
		}
	}
}

func TestLookUps(t *testing.T) {
	t.Parallel()
	b := load(t)
	assert.Nil(t, b.Cause("no-such"))
	assert.Nil(t, b.Check("no-such"))
	assert.Nil(t, b.Repair("no-such"))
	assert.Nil(t, b.Tool("no-such"))
	assert.Nil(t, b.Part("no-such"))
	assert.Nil(t, b.Item("no-such"))
	assert.Empty(t, b.CautionText("no-such", technician))
	assert.Equal(t, "wire-cut", b.Cause("wire-cut").ID)
	assert.Equal(t, "boundary-wire", b.Part("boundary-wire").ID)
	assert.Equal(t, "repair:wire-cut", b.Repair("repair:wire-cut").ID)
	assert.NotNil(t, b.Item("boundary-wire"))
	assert.NotNil(t, b.Item("waterproof-splice"))
	assert.Contains(t, b.CautionText("unplug", support), "please unplug")
	assert.NotEqual(t, b.CautionText("unplug", homeowner), b.CautionText("unplug", technician))
	w := Words{"a", "b", "c"}
	assert.Equal(t, []string{"a", "b", "c", "a"}, []string{w.For("homeowner"), w.For("support"), w.For("technician"), w.For("")})
	assert.InDelta(t, 3, PerRole{Technician: 3}.For("technician"), 0)
	assert.Equal(t, []string{"x"}, Steps{Support: []string{"x"}}.For("support"))
	assert.Equal(t, "no", b.Check("neighbour-loop").Answer("no").ID, "no stays text")
}

func TestPhrases(t *testing.T) {
	t.Parallel()
	b := load(t)
	text, err := b.Phrase("place", technician, map[string]string{"Best": "309 ft", "From": "301 ft", "To": "318 ft", "Near": "at the driveway"})
	require.NoError(t, err)
	assert.Equal(t, "309 ft, at the driveway; 90 % interval 301 ft to 318 ft.", text)
	text, err = b.Phrase("place", technician, map[string]string{"Best": "309 ft", "From": "301 ft", "To": "318 ft", "Near": ""})
	require.NoError(t, err)
	assert.Equal(t, "309 ft; 90 % interval 301 ft to 318 ft.", text)
	_, err = b.Phrase("place", technician, map[string]string{"Best": "309 ft"})
	require.ErrorContains(t, err, "lacks its field From")
	_, err = b.Phrase("no-such", technician, nil)
	require.ErrorContains(t, err, "no phrase")
}

func TestScales(t *testing.T) {
	t.Parallel()
	b := load(t)
	for figure, want := range map[float64]string{-1: "barely", 0: "barely", 4.9: "slightly", 5: "substantially", 12: "strongly", 40: "decisively"} {
		assert.Equal(t, want, b.Word("weight", technician, figure), figure)
	}
	assert.Equal(t, "likely", b.Word("chance", homeowner, 0.6))
	assert.Empty(t, b.Word("no-such", homeowner, 1))
}

// The rows of a check with ordered answers must shift toward the telling end so
// that noisy-MAX is a distribution for every pair: the ratio of cumulative
// shares to the baseline's must not fall.
func TestRowsCanBeCombined(t *testing.T) {
	t.Parallel()
	for _, c := range load(t).Checks {
		if c.Combine == "product" || len(c.Rows) == 0 {
			continue
		}
		for _, r := range c.Rows {
			var f, base, before float64
			for _, a := range c.Answers {
				if a.Share.Value > 0 {
					continue
				}
				f += r.P[a.ID]
				base += c.Baseline.P[a.ID]
				ratio := f / base
				assert.GreaterOrEqual(t, ratio, before-1e-9, "%s, row of %v, at %s: the row is more normal than the baseline", c.ID, r.Causes, a.ID)
				before = ratio
			}
		}
	}
}

// Given facts about the age say the same as the answers to system-age, and those
// about an arrester the same as the answers to arrester-fitted: whoever knows it
// from the map must come to the same belief as whoever is asked.
func TestFactsAgreeWithAnswers(t *testing.T) {
	t.Parallel()
	b := load(t)
	for _, pair := range []struct{ fact, check, answer string }{
		{"old", "system-age", "over-10-years"}, {"new", "system-age", "under-3-years"},
		{"arrester", "arrester-fitted", "yes"}, {"no-arrester", "arrester-fitted", "no"},
	} {
		c := b.Check(pair.check)
		assert.Contains(t, c.KnownBy, pair.fact)
		for _, r := range c.Rows {
			for _, id := range r.Causes {
				asked := r.P[pair.answer] / c.Baseline.P[pair.answer]
				for _, g := range b.Cause(id).Given {
					if g.Fact == pair.fact {
						assert.InEpsilon(t, asked, g.Times, 0.15, "%s given %s", id, pair.fact)
					}
				}
			}
		}
	}
}

// An answer that says nothing about the fault keeps its share in every row, and
// the others share the rest in their proportion: 0.9 x 0.75 = 0.675 and so on.
func TestShares(t *testing.T) {
	t.Parallel()
	c := Check{
		Answers:  []Answer{{ID: "no"}, {ID: "yes"}, {ID: "none", Share: Number{Value: 0.25}}},
		Baseline: Row{P: map[string]float64{"no": 0.9, "yes": 0.1}},
		Rows:     []Row{{Causes: []string{"a"}, P: map[string]float64{"no": 0.2, "yes": 0.8}}},
	}
	c.withShares()
	for id, want := range map[string]float64{"no": 0.675, "yes": 0.075, "none": 0.25} {
		assert.InDelta(t, want, c.Row("b").P[id], 1e-12, id)
	}
	for id, want := range map[string]float64{"no": 0.15, "yes": 0.6, "none": 0.25} {
		assert.InDelta(t, want, c.Row("a").P[id], 1e-12, id)
	}
	c.withoutShares()
	assert.InDelta(t, 0.9, c.Row("b").P["no"], 1e-12)
	assert.NotContains(t, c.Row("a").P, "none")

	for _, c := range load(t).Checks { // in the base as loaded
		for _, r := range append(slices.Clone(c.Rows), c.Baseline) {
			if len(r.P) == 0 {
				continue
			}
			var sum float64
			for i, a := range c.Answers {
				sum += r.P[a.ID]
				if a.Share.Value > 0 {
					assert.InDelta(t, a.Share.Value, r.P[a.ID], 1e-12)
				} else if i > 0 {
					assert.Zero(t, c.Answers[i-1].Share.Value, "%s: answers without a say stand last", c.ID)
				}
			}
			assert.InDelta(t, 1, sum, sumTolerance, c.ID)
		}
	}
}

// Directions that anybody in the trade would sign, each from the definition of
// the cause: what it must make likelier than a healthy system does.
func TestRowsPointTheRightWay(t *testing.T) {
	t.Parallel()
	b := load(t)
	for _, x := range []struct{ cause, check, answer string }{
		{"wire-cut", "continuity-sign", "broken"}, {"wire-cut", "tone-extent", "nowhere"},
		{"wire-cut", "new-battery", "still-silent"}, {"lead-in-open", "lead-in-loop", "broken"},
		{"lead-in-short", "tone-extent", "near-transmitter-only"}, {"loop-short", "tone-extent", "stretch-silent"},
		{"transmitter-failed", "short-loop-sign", "broken"}, {"collar-battery", "short-loop-collar", "silent"},
		{"collar-failed", "new-battery", "works-a-day"}, {"conductor-fatigue", "tone-extent", "comes-and-goes"},
		{"insulation-leak", "wet-dependence", "worse-wet"}, {"neighbour-signal", "tone-when-unplugged", "sounds"},
		{"buried-service-alongside", "tone-off-the-wire", "found"}, {"width-set-low", "width-control", "lowered"},
		{"outlet-dead", "outlet-power", "dead"}, {"switched-off", "switch-position", "unplugged-on-purpose"},
		{"training-lapse", "pet-crosses-with-tone", "yes"}, {"collar-fit", "collar-fit-look", "loose"},
		{"surge-arrester-failed", "recent-weather", "thunderstorm"}, {"transmitter-near-metal", "move-transmitter", "better"},
	} {
		c := b.Check(x.check)
		assert.Greater(t, c.Row(x.cause).P[x.answer], 2*c.Baseline.P[x.answer], "%s on %s", x.check, x.cause)
	}
	// And what must leave them as they are: the fault is not in that part.
	for _, x := range []struct{ cause, check string }{
		{"wire-cut", "short-loop-sign"}, {"wire-cut", "short-loop-collar"}, {"lead-in-short", "continuity-sign"},
		{"wire-cut", "lead-in-loop"}, {"collar-battery", "continuity-sign"}, {"collar-failed", "second-collar"},
		{"wire-cut", "supply-sign"}, {"training-lapse", "tone-extent"},
	} {
		c := b.Check(x.check)
		assert.Same(t, &c.Baseline, c.Row(x.cause), "%s on %s", x.check, x.cause)
	}
}

// Nobody is led to digging or cutting before a check has put the fault in the
// wire: neither by a check that digs nor by a repair that does.
func TestNoDiggingFirst(t *testing.T) {
	t.Parallel()
	b := load(t)
	unanswered := func(c Condition) bool { return c.OrUnanswered }
	blocked := func(needs []Condition) bool {
		return slices.ContainsFunc(needs, func(c Condition) bool {
			if len(c.Any) > 0 {
				return !slices.ContainsFunc(c.Any, unanswered)
			}
			return !c.OrUnanswered
		})
	}
	for _, c := range b.Checks {
		if c.Digs || c.Kind == Tap {
			assert.True(t, blocked(c.Needs), "check %s", c.ID)
		}
	}
	for _, r := range b.Repairs {
		if r.Digs {
			assert.True(t, blocked(r.Needs), "repair %s", r.ID)
		}
	}
}

// Tools that a homeowner does not have and cannot get.
func TestToolsOutOfReach(t *testing.T) {
	t.Parallel()
	b := load(t)
	for _, id := range []string{"tracer", "capacitance", "clamp"} {
		assert.Negative(t, b.Tool(id).ObtainMinutes.Homeowner, id)
	}
	for _, id := range []string{"spare-wire", "new-battery"} {
		assert.LessOrEqual(t, b.Tool(id).ObtainMinutes.Homeowner, 10.0, id)
		assert.LessOrEqual(t, b.Tool(id).ObtainPrice.Value, 5.0, id)
	}
	usual := map[string][]string{}
	for _, tool := range b.Tools {
		for _, role := range tool.Usual {
			usual[role] = append(usual[role], tool.ID)
		}
	}
	assert.ElementsMatch(t, []string{"collar"}, usual[homeowner])
	assert.ElementsMatch(t, []string{"collar"}, usual[support])
	assert.ElementsMatch(t, strings.Fields("collar lamp spare-wire meter spade splice-kit temporary-wire"), usual[technician])
}

// Safety that the words of a step call for.
func TestCautionsFitTheWords(t *testing.T) {
	t.Parallel()
	b := load(t)
	demand := []struct {
		caution string
		words   *regexp.Regexp
	}{
		{"unplug", regexp.MustCompile(`(?i)yard wires? off|wire ends?\b.*strip|cut the (old )?wire|\bA and B\b`)},
		{"mains", regexp.MustCompile(`(?i)\b(adapter|reset button|fuse box back|very same socket)\b`)},
		{"digging", regexp.MustCompile(`(?i)open the ground|open the two joints|before you dig`)},
		{"collar-off", regexp.MustCompile(`(?i)take the collar off the pet|hold the collar|try the collar at`)},
		{"stray-volts", regexp.MustCompile(`(?i)\bohms\b.*(wire|leg)|AC volts first`)},
	}
	exempt := map[string]bool{ // where the words speak of something else
		"check adapter-volts/stray-volts": true, "repair verify/stray-volts": true, "repair replace-loop/stray-volts": true,
	}
	steps := func(name string, do Steps, cautions []string) {
		for _, d := range demand {
			for _, role := range roles {
				for _, step := range do.For(role) {
					if d.words.MatchString(step) && !exempt[name+"/"+d.caution] && !slices.Contains(cautions, d.caution) {
						wire := d.caution == "collar-off" && slices.Contains(cautions, "digging") // tried after the work, by the strap
						assert.True(t, wire, "%s needs the caution %s: %s", name, d.caution, step)
					}
				}
			}
		}
	}
	for _, c := range b.Checks {
		steps("check "+c.ID, c.How, c.Cautions)
		if c.OnWire {
			assert.Contains(t, c.Cautions, "thunder", c.ID)
		}
	}
	for _, r := range b.Repairs {
		steps("repair "+r.ID, r.Do, r.Cautions)
		if r.OnWire {
			assert.Contains(t, r.Cautions, "thunder", r.ID)
		}
	}
	for _, c := range b.Checks { // a meter on the wire: volts first, and an answer that stops the work
		if c.Quantity != "" && c.OnWire || c.Kind == Tap {
			assert.Contains(t, c.Cautions, "stray-volts", c.ID)
			assert.NotNil(t, c.Answer("volts-found"), c.ID)
			stops := slices.ContainsFunc(b.Rules[0].When.Any, func(w Condition) bool { return w.Check == c.ID })
			assert.True(t, stops, "rule %s leaves out %s", b.Rules[0].ID, c.ID)
		}
	}
}

// What nobody uses is a slip: a caution that is never said, a tool or a material
// that nothing takes, a part without a cause.
func TestNothingLiesIdle(t *testing.T) {
	t.Parallel()
	b := load(t)
	used := map[string]bool{}
	note := func(kind string, ids ...string) {
		for _, id := range ids {
			used[kind+id] = true
		}
	}
	for _, c := range b.Causes {
		note("part ", c.Part)
	}
	for _, c := range b.Checks {
		note("tool ", c.Tools...)
		note("caution ", c.Cautions...)
	}
	for _, r := range b.Repairs {
		note("tool ", r.Tools...)
		note("caution ", r.Cautions...)
		for _, u := range r.Uses {
			note("item ", u.Item)
		}
	}
	for _, r := range b.Rules {
		note("caution ", r.Cautions...)
	}
	for _, x := range b.Parts {
		assert.True(t, used["part "+x.ID], "part %s", x.ID)
	}
	for _, x := range b.Tools {
		assert.True(t, used["tool "+x.ID], "tool %s", x.ID)
	}
	for _, x := range b.Items {
		assert.True(t, used["item "+x.ID], "item %s", x.ID)
	}
	for _, x := range b.Cautions {
		assert.True(t, used["caution "+x.ID], "caution %s", x.ID)
	}
}

// The prose: sentence case, full stop, nothing clumsy, nothing that steers a terminal.
func TestProse(t *testing.T) {
	t.Parallel()
	b := load(t)
	banned := regexp.MustCompile(`(?i)\b(please note|in order to|utili[sz]e|simply|just|obviously|basically|easily|etc|e\.g|i\.e|via|shall|kindly|and/or|` +
		`inoperable|malfunction\w*|troubleshoot\w*|user|device under)\b|!|  | ,|\?\.|—|–|;.*;.*;`)
	allowed := regexp.MustCompile(`(?i)just (fits?|then|before|where|switched|slipped)\b`)
	jargon := regexp.MustCompile(`(?i)\b(chainage|continuity|galvanic|impedance|residual|arrester|boundary|terminal|splice|over-range|leg|alternating)\b`)
	glossed := regexp.MustCompile(`(?i)a splice, that is|Leg \{\{`)
	sentence := func(name, role, text string) {
		assert.Regexp(t, `^["“(]?[\p{Lu}\d{]`, text, "%s for the %s begins small", name, role)
		assert.Regexp(t, `[.?]$|\{\{end\}\}$`, text, "%s for the %s has no full stop", name, role)
		assert.NotRegexp(t, banned, allowed.ReplaceAllString(text, "x"), "%s for the %s", name, role)
		if role == homeowner && !glossed.MatchString(text) {
			assert.NotRegexp(t, jargon, text, "%s for the homeowner", name)
		}
	}
	for _, role := range roles {
		for name, texts := range passages(b, role) {
			for _, text := range texts {
				if text != "" {
					sentence(name, role, text)
				}
			}
		}
		for _, c := range b.Checks {
			for _, a := range c.Answers {
				label := a.Text.For(role)
				assert.Regexp(t, `^[\p{Lu}\d].*[^.!?]$`, label, "label of %s %s for the %s", c.ID, a.ID, role)
				assert.LessOrEqual(t, len(label), 60, "label of %s %s for the %s", c.ID, a.ID, role)
			}
		}
		var names []string
		for _, x := range b.Causes {
			names = append(names, x.Name.For(role))
		}
		for _, x := range b.Repairs {
			names = append(names, x.Name.For(role))
		}
		for _, x := range b.Tools {
			names = append(names, x.Name.For(role))
		}
		for _, x := range b.Parts {
			names = append(names, x.Name.For(role))
		}
		for _, name := range names {
			assert.Regexp(t, `^(\p{Ll}|\d|AM)`, name, "a name fits into a sentence")
			assert.NotRegexp(t, `[.!?]$`, name, "a name has no full stop")
		}
	}
	for _, role := range []string{homeowner, support} { // the plain roles have names that differ
		seen := map[string]string{}
		for _, x := range b.Causes {
			assert.Empty(t, seen[x.Name.For(role)], "two causes are called %q for the %s", x.Name.For(role), role)
			seen[x.Name.For(role)] = x.ID
		}
	}
}

// A sentence for support is read aloud: no symbols that cannot be spoken.
func TestSupportCanReadAloud(t *testing.T) {
	t.Parallel()
	for name, texts := range passages(load(t), support) {
		for _, text := range texts {
			assert.NotRegexp(t, `[;%/<>=&]|\b(ft|in|a\.c|r\.m\.s)\.?\b( |$)(?:off|clear)?$`, text, name)
			assert.NotContains(t, text, ";", name)
		}
	}
}

func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		require.NotNil(b, unpack())
	}
}

func BenchmarkRead(b *testing.B) {
	for b.Loop() {
		_, err := assemble(func() ([]*source, error) { return readSources(embedded) }, nil)
		require.NoError(b, err)
	}
}
