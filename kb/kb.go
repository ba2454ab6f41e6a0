package kb

import "loopfault/kb/strictyaml"

// Note says where a number comes from and why it is what it is. Every number
// of the knowledge base carries one.
type Note struct {
	Source     string `yaml:"source"`     // a published source, "common practice", "judgement" or "from memory"
	Confidence string `yaml:"confidence"` // high | medium | low: how many closed cases it takes to move it
	Why        string `yaml:"why"`        // one line
}

// Number is one figure with its origin.
type Number struct {
	Value float64 `yaml:"value"`
	Note  `yaml:",inline"`
}

// PerRole is one figure for each of the three people, with one origin.
type PerRole struct {
	Homeowner  float64 `yaml:"homeowner"`
	Support    float64 `yaml:"support"`
	Technician float64 `yaml:"technician"`
	Note       `yaml:",inline"`
}

// Words is one wording for each of the three people. In a file it may be one
// text for all of them.
type Words struct {
	Homeowner  string `yaml:"homeowner"`  // plain words
	Support    string `yaml:"support"`    // a sentence to read aloud
	Technician string `yaml:"technician"` // terse
}

// DecodeYAML reads one text for all three, or one for each.
func (w *Words) DecodeYAML(v strictyaml.Value) {
	if v.Kind() == strictyaml.Scalar {
		text := v.Text().Value
		*w = Words{text, text, text}
		return
	}
	type each Words
	v.Decode((*each)(w))
}

// Steps are instructions for each of the three people, each a sentence or two.
// In a file they may be one list for all of them.
type Steps struct {
	Homeowner  []string `yaml:"homeowner"`
	Support    []string `yaml:"support"`
	Technician []string `yaml:"technician"`
}

// DecodeYAML reads one list for all three, or one for each.
func (s *Steps) DecodeYAML(v strictyaml.Value) {
	if v.Kind() == strictyaml.List {
		var list []string
		v.Decode(&list)
		*s = Steps{list, list, list}
		return
	}
	type each Steps
	v.Decode((*each)(s))
}

// Base is the whole knowledge, checked: every reference in it resolves.
// It is read-only once loaded and may be shared between goroutines.
type Base struct {
	Parts      []Part
	Causes     []Cause
	Checks     []Check
	Tools      []Tool
	Repairs    []Repair
	Items      []Item // materials with prices
	Rules      []Rule // hard safety rules
	Cautions   []Caution
	Materials  []ConductorMaterial
	Insulation []Insulation
	Phrases    []Phrase
	Scales     []Scale
	Settings   Settings

	index index
}

// Part is one of the places a fault can live: supply, transmitter, lead-in,
// boundary-wire, surroundings, collar, pet.
type Part struct {
	ID   string `yaml:"id"`
	Name Words  `yaml:"name"`
}

// Cause is one thing that can be wrong. The causes "nothing-wrong" and
// "something-else" are always present and are never combined with another.
type Cause struct {
	ID    string   `yaml:"id"`
	Part  string   `yaml:"part"`  // "" for nothing-wrong and something-else
	Name  Words    `yaml:"name"`  // fits into a sentence: small first letter, no full stop
	Means Words    `yaml:"means"` // what it is and how it shows
	Prior Number   `yaml:"prior"` // share of calls in which this alone is the fault; the sum is normalised
	Given []Factor `yaml:"given"` // facts of the yard that change the prior

	// Kind is how the wire and its field see the cause, one of faultmodel's
	// kinds by name ("open", "series", "leak", ...); "" where a circuit sees nothing.
	Kind string `yaml:"kind"`
	// Place is the prior over position as a mixture; empty for a cause with no position.
	Place   []Place `yaml:"place"`
	Mirror  bool    `yaml:"mirror"`  // lives in the lead-in, where x and total - x are one spot
	Repeats bool    `yaml:"repeats"` // two of it may be present at once
	// Intermittent is the chance that the fault is away at the moment of a test.
	Intermittent Number `yaml:"intermittent"`
}

// Factor multiplies a prior where a fact holds. The facts are those of
// diagnose: has-splices, no-known-splices, old, new, crosses-driveway, bordered,
// arrester, no-arrester, earthed, reversed-runs, deep-soil-added, metal, utility, gate, no-map,
// age-known.
type Factor struct {
	Fact  string  `yaml:"fact"`
	Times float64 `yaml:"times"`
	Note  `yaml:",inline"`
}

// Place is one part of the mixture prior over position: a share of the mass
// spread over every feature of a kind in the yard, or over a region.
type Place struct {
	// On is a feature kind of the yard (splice, driveway, edge, bed, ...), or the
	// region "boundary", "lead-in" or "anywhere".
	On      string  `yaml:"on"`
	Share   float64 `yaml:"share"`
	ReachFt float64 `yaml:"reach_ft"` // how far beyond the feature's ends the mass reaches
	Note    `yaml:",inline"`
}

// CheckKind is the form of a check's answer.
type CheckKind string

// The forms an answer can take.
const (
	Choice   CheckKind = "choice"
	Reading  CheckKind = "reading"
	Position CheckKind = "position"
	Stretch  CheckKind = "stretch"
	Tap      CheckKind = "tap"
	Widths   CheckKind = "widths"
)

// Check is one thing a person can look at, try or measure.
type Check struct {
	ID   string    `yaml:"id"`
	Kind CheckKind `yaml:"kind"`
	// Fact groups checks that look at the same thing with the same eyes: their
	// answers share errors, so together they count for little more than one.
	Fact string `yaml:"fact"`
	// KnownBy lists facts of the yard that answer it, and that the priors already
	// take in: it is not asked where one of them holds.
	KnownBy []string `yaml:"known_by"`

	Ask Words `yaml:"ask"`
	How Steps `yaml:"how"`

	Minutes  PerRole     `yaml:"minutes"`
	Tools    []string    `yaml:"tools"`    // all are needed
	Roles    []string    `yaml:"roles"`    // who can do it; empty for everyone
	Cautions []string    `yaml:"cautions"` // said before it, every time
	Needs    []Condition `yaml:"needs"`    // offered only while all hold
	OnWire   bool        `yaml:"on_wire"`  // touches the wire or its terminals: barred by the rules that stop wire work
	Digs     bool        `yaml:"digs"`     // opens the ground

	Answers  []Answer `yaml:"answers"` // from the most normal to the most telling
	Baseline Row      `yaml:"baseline"`
	Rows     []Row    `yaml:"rows"`
	// Combine says how two causes show together. "max", also where it is left out:
	// the more telling of the two answers that each would give, so that with
	// cumulative shares F in the order of the answers F12 = F1 F2 / F of the
	// baseline; the rows are such that this is a distribution. "product": the answers
	// have no order (what work was done, what the weather was), and
	// p12 is p1 p2 / p of the baseline, normalised.
	Combine string `yaml:"combine"`
	// Lasting marks a check of what stays or has been seen over days: a fault that
	// comes and goes does not hide from it. The others look at one moment, and a
	// fault that is away then leaves the baseline.
	Lasting bool `yaml:"lasting"`
	// Mistake is the chance that the person answers wrongly, spread evenly over the answers.
	Mistake Number `yaml:"mistake"`

	Quantity string `yaml:"quantity"` // kind reading: what the physics predicts, one of faultmodel's quantities
	Unit     string `yaml:"unit"`     // kind reading: ohm, nF, V, mA
	// PlaceShare is the chance that a place given with the answer has to do with
	// the fault, SpreadFt how far beyond the place the fault may still lie.
	PlaceShare Number `yaml:"place_share"`
	SpreadFt   Number `yaml:"spread_ft"`
}

// Answer is one of a check's own answers.
type Answer struct {
	ID    string `yaml:"id"`
	Text  Words  `yaml:"text"`
	Means Words  `yaml:"means"` // what it says about the fault, in a sentence; may be empty
	Place bool   `yaml:"place"` // a place may be given with it
	// Share is set for an answer that says nothing about the fault ("no such sign
	// fitted"): how often it is given, whatever the fault. Such answers stand last. In the file the rows speak of the other answers only; once
	// loaded, every row holds all answers and sums to 1.
	Share Number `yaml:"share"`
}

// Row is the distribution over a check's answers when one of the named causes is
// the only fault; in Baseline, when none of the causes that have a row is present.
type Row struct {
	Causes []string           `yaml:"causes"`
	P      map[string]float64 `yaml:"p"`
	Note   `yaml:",inline"`
}

// Condition holds while the latest answer to a check is one of those named.
// A check that is unanswered, or answered by a don't-know, satisfies it only if
// OrUnanswered is set.
type Condition struct {
	Check string `yaml:"check"`
	// Answers are the check's own. Where an answer is no choice, [Given] stands
	// for any reading, place, stretch, tap or walk.
	Answers      []string `yaml:"answers"`
	OrUnanswered bool     `yaml:"or_unanswered"`
	// Any, given instead of Check, holds while at least one of its parts does.
	Any []Condition `yaml:"any"`
}

// Given in the answers of a [Condition] is any answer to a check that takes no
// choice: a reading (over-range too), a place, a stretch, a tap, a walk.
const Given = "given"

// Tool is something a check or repair needs in the hand.
type Tool struct {
	ID   string `yaml:"id"`
	Name Words  `yaml:"name"`
	// Usual lists the roles that have it without saying so.
	Usual []string `yaml:"usual"`
	// Instead lists tools that serve as well, such as a spade for an earth rod.
	Instead []string `yaml:"instead"`
	// Obtain is what it costs to get one during the call, in minutes and money
	// for each role; a negative figure means it cannot be had.
	ObtainMinutes PerRole `yaml:"obtain_minutes"`
	ObtainPrice   Number  `yaml:"obtain_price"`
}

// Repair is an act that ends a cause, or one of the general acts
// replace-section, replace-lead-in, replace-loop, refer, verify, done.
type Repair struct {
	ID       string   `yaml:"id"`    // "repair:CAUSE" or the general act
	Cause    string   `yaml:"cause"` // "" for a general act
	Name     Words    `yaml:"name"`
	Do       Steps    `yaml:"do"`
	Minutes  PerRole  `yaml:"minutes"`
	Uses     []Use    `yaml:"uses"`
	Tools    []string `yaml:"tools"`
	Roles    []string `yaml:"roles"` // who can do it; others refer
	Cautions []string `yaml:"cautions"`
	// Needs hold before the repair is offered: no digging and cutting before a
	// check has put the fault in the wire.
	Needs   []Condition `yaml:"needs"`
	OnWire  bool        `yaml:"on_wire"`
	Digs    bool        `yaml:"digs"`
	Success Number      `yaml:"success"` // chance that it holds if the cause was right
	Proof   string      `yaml:"proof"`   // the check that proves it
}

// Use is an amount of a material.
type Use struct {
	Item     string  `yaml:"item"`
	Quantity float64 `yaml:"quantity"`
	Note     `yaml:",inline"`
}

// Item is a material with its price in the currency of the settings.
type Item struct {
	ID    string `yaml:"id"`
	Name  Words  `yaml:"name"`
	Unit  string `yaml:"unit"` // each | ft
	Price Number `yaml:"price"`
}

// Caution is a safety text, said before each step that names it.
type Caution struct {
	ID   string `yaml:"id"`
	Text Words  `yaml:"text"`
}

// Phrase is a sentence of the program's own with gaps for its findings, as
// text/template: {{.Cause}}. See [Base.Phrase].
type Phrase struct {
	ID     string   `yaml:"id"`
	Fields []string `yaml:"fields"` // the gaps it may use, each a string
	Text   Words    `yaml:"text"`
}

// Scale turns a figure into a word: "weight" (decibans of evidence, without
// sign) and "chance" (probability).
type Scale struct {
	ID    string      `yaml:"id"`
	Steps []ScaleStep `yaml:"steps"` // rising
	Note  `yaml:",inline"`
}

// ScaleStep is the word for figures from From up to the next step's.
type ScaleStep struct {
	From float64 `yaml:"from"`
	Word Words   `yaml:"word"`
}

// Rule is a hard rule, obeyed before any cost is weighed.
type Rule struct {
	ID   string    `yaml:"id"`
	When Condition `yaml:"when"`
	// Stops is what may no longer be offered: "wire-work" (checks and repairs
	// marked on_wire), "digging" (marked digs), "collar-on-pet".
	Stops []string `yaml:"stops"`
	// Then is the general act to take at once ("refer"), or "" to go on without the barred steps.
	Then     string   `yaml:"then"`
	Cautions []string `yaml:"cautions"`
	Text     Words    `yaml:"text"`
}

// ConductorMaterial is one row of conductors.yaml.
type ConductorMaterial struct {
	ID           string `yaml:"id"`           // copper | tinned-copper | copper-clad-aluminium | copper-clad-steel
	Conductivity Number `yaml:"conductivity"` // as a fraction of IACS, 58 MS/m
	SpreadLn     Number `yaml:"spread_ln"`    // standard deviation of ln(ohm per length) between makes
	AlphaPerK    Number `yaml:"alpha_per_k"`  // temperature coefficient of resistance at 20 C
	Share        Number `yaml:"share"`        // how often it is met where nobody knows
}

// Insulation is one row of conductors.yaml: what stands between wire and soil.
type Insulation struct {
	ID           string `yaml:"id"`
	Permittivity Number `yaml:"permittivity"` // relative
	ThicknessMM  Number `yaml:"thickness_mm"`
	Share        Number `yaml:"share"`
}

// Settings are the figures that belong to the job as a whole.
type Settings struct {
	TwoFaults Number `yaml:"two_faults"` // share of calls with two faults at once
	// SameAgain is how much likelier two faults of one cause are than chance would
	// have it: one event makes both.
	SameAgain          Number       `yaml:"same_again"`
	SameFactShare      Number       `yaml:"same_fact_share"` // 0: a second look at the same fact is worth nothing; 1: it is independent
	PerMinute          PerRole      `yaml:"per_minute"`      // what a minute of this person costs
	ReferCost          PerRole      `yaml:"refer_cost"`      // what it costs to hand the case on
	ReferMinutes       PerRole      `yaml:"refer_minutes"`
	Surfaces           []Surface    `yaml:"surfaces"` // digging by surface
	WalkMinutesPerFt   Number       `yaml:"walk_minutes_per_ft"`
	TapMinutes         Number       `yaml:"tap_minutes"`            // cut, strip, test both ways
	OpenSpliceMinutes  Number       `yaml:"open_splice_minutes"`    // open and test an existing splice instead of cutting
	JoinMinutes        Number       `yaml:"join_minutes"`           // make good with one waterproof splice
	TrenchMinutesPerFt Number       `yaml:"trench_minutes_per_ft"`  // new section in turf
	ReadMinutes        Number       `yaml:"read_minutes"`           // one more reading both ways at an open spot
	LayMinutesPerFt    Number       `yaml:"lay_minutes_per_ft"`     // temporary wire out and in
	SpliceLater        Number       `yaml:"splice_later"`           // money: what a new splice costs later, as the next suspect
	ReplaceMinutes     Number       `yaml:"replace_minutes"`        // for each new section: fetch, lay out, tidy
	OpenMinutesPerFt   Number       `yaml:"open_minutes_per_ft"`    // laying bare a stretch along the old wire
	OpenMaxFt          Number       `yaml:"open_max_ft"`            // the longest stretch laid bare whole
	TestMinutes        Number       `yaml:"test_minutes"`           // the end-to-end test after a repair
	TapError           Number       `yaml:"tap_error"`              // chance that one tap result is wrong
	PersistentError    Number       `yaml:"persistent_error"`       // the part of it that repeating at the spot cannot remove
	SettleProbability  Number       `yaml:"settle_probability"`     // a cause this likely is spoken of as found
	Unsure             Number       `yaml:"unsure"`                 // how far an answer marked unsure is a guess: 0 as good as any, 1 worthless
	GaugeShares        []GaugeShare `yaml:"-"`                      // how often each gauge is met where nobody knows; "gauges" in the file
	WirePerAcre        Number       `yaml:"wire_per_third_acre_ft"` // a third of an acre wants about this much
}

// Surface is what lies over the wire.
type Surface struct {
	ID          string `yaml:"id"`            // surface (reachable without digging) | turf | bed | gravel | slab | driveway | path
	DigMinutes  Number `yaml:"dig_minutes"`   // to open one spot
	PerFtFactor Number `yaml:"per_ft_factor"` // trenching against turf
}

// GaugeShare is how often a gauge is met.
type GaugeShare struct {
	AWG   float64 `yaml:"awg"`
	Share float64 `yaml:"share"`
	Note  `yaml:",inline"`
}
