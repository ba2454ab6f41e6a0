package command

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/locate"
)

// wireFlags say on the command line what is known of a wire.
type wireFlags struct {
	yard, length, leadIn, gauge, material, strands, temperature string
}

func (w *wireFlags) addConductor(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&w.gauge, "wire", "", "its `GAUGE`, such as 20awg or 0.75mm2; unknown where left out")
	f.StringVar(&w.material, "material", "", "its `METAL`: copper, tinned-copper, copper-clad-aluminium or copper-clad-steel")
	f.StringVar(&w.strands, "strands", "", "its `STRANDS`: solid or stranded")
	f.StringVar(&w.temperature, "temperature", "", "its `TEMPERATURE`, such as 10C or 50F; unknown where left out")
	_ = c.RegisterFlagCompletionFunc("material", fixed("copper", "tinned-copper", "copper-clad-aluminium", "copper-clad-steel"))
	_ = c.RegisterFlagCompletionFunc("strands", fixed("solid", "stranded"))
}

func (w *wireFlags) addYard(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&w.yard, "yard", "", "as-built map from `FILE`; otherwise what --length, --lead-in, --wire and the like say")
	f.StringVar(&w.length, "length", "", "of the boundary, a `LENGTH` such as 480ft or 146m")
	f.StringVar(&w.leadIn, "lead-in", "", "of each leg of the lead-in, a `LENGTH`")
	w.addConductor(c)
}

// describes tells whether any flag says something of the wire.
func (w *wireFlags) describes() bool {
	return w.length+w.leadIn+w.gauge+w.material+w.strands+w.temperature != ""
}

// read makes a yard of what the flags say.
func (w *wireFlags) read(u quantity.Units) (*yard.Map, error) {
	if w.yard != "" {
		if w.describes() {
			return nil, usagef("leave out one of them", "--yard says all of the wire: --length, --lead-in, --wire and the like do not go with it")
		}
		return loadYard(w.yard)
	}
	m := &yard.Map{}
	m.Loop.PathUnits = u
	var err error
	if m.Loop.LengthM, err = lengthFlag("length", w.length, u, 1, 10000); err != nil {
		return nil, err
	}
	if m.LeadIn.LengthM, err = lengthFlag("lead-in", w.leadIn, u, 0, 300); err != nil {
		return nil, err
	}
	return m, w.readConductor(m)
}

func (w *wireFlags) readConductor(m *yard.Map) (err error) {
	if w.gauge != "" {
		if m.Wire.Gauge, err = quantity.ParseWire(w.gauge, quantity.Strict); err != nil {
			return usagef("", "--wire: %v", err)
		}
	}
	for _, word := range []struct {
		flag, text string
		into       *string
		allowed    []string
	}{
		{"material", w.material, &m.Wire.Material, []string{"copper", "tinned-copper", "copper-clad-aluminium", "copper-clad-steel"}},
		{"strands", w.strands, &m.Wire.Strands, []string{"solid", "stranded"}},
	} {
		if word.text != "" && !slices.Contains(word.allowed, word.text) {
			return usagef("", "--%s: %q: expected %s", word.flag, word.text, listed(word.allowed))
		}
		*word.into = word.text
	}
	if w.temperature != "" {
		celsius, err := quantity.ParseTemperature(w.temperature, quantity.Strict)
		if err != nil {
			return usagef("", "--temperature: %v", err)
		}
		m.Soil.TemperatureC = &celsius
	}
	return nil
}

// lengthFlag reads a length; a bare number is in the units asked for. nil where
// the flag is not given.
func lengthFlag(name, text string, u quantity.Units, leastM, mostM float64) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := quantity.ParseLength(text, u.String())
	if err == nil && (v < leastM || v > mostM) {
		err = fmt.Errorf("%s: expected %s", text, quantity.FormatRange(leastM, mostM, u))
	}
	if err != nil {
		return nil, usagef("", "--%s: %v", name, err)
	}
	return &v, nil
}

// evidenceFlags are the readings and findings that place a fault.
type evidenceFlags struct {
	ohms, leadIn, capacitance, earth string
	taps, traces                     []string
}

func (e *evidenceFlags) add(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&e.ohms, "ohms", "", "of the whole loop, a `READING` such as 5.2ohm, 35kohm or over-range")
	f.StringVar(&e.leadIn, "lead-in-ohms", "", "of the lead-in with the boundary taken off, a `READING`")
	f.StringVar(&e.capacitance, "capacitance", "", "of leg A and of leg B to earth, `A,B` such as 13.9nF,11.2nF")
	f.StringVar(&e.earth, "to-earth", "", "ohms of leg A and of leg B to earth, `A,B` such as over-range,30kohm")
	f.StringArrayVar(&e.taps, "tap", nil, "a tap, `AT:A-SIDE:B-SIDE` such as 314ft:broken:intact; may be repeated")
	f.StringArrayVar(&e.traces, "trace", nil, "where the signal fed from a terminal was lost, `AT[:END]` such as 210ft:a; may be repeated")
}

// given is one answer from the command line and the flag it stands in.
type given struct {
	flag string
	journal.Fields
}

// fields turns the flags into answers as a case file would hold them.
func (e *evidenceFlags) fields() ([]given, error) {
	var out []given
	reading := func(flag, check, text string) {
		out = append(out, given{flag, journal.Fields{Check: check, Reading: strings.TrimSpace(text)}})
	}
	if e.ohms != "" {
		reading("ohms", "loop-ohms", e.ohms)
	}
	if e.leadIn != "" {
		reading("lead-in-ohms", "lead-in-ohms-open", e.leadIn)
	}
	for _, pair := range []struct{ flag, text, a, b string }{
		{"to-earth", e.earth, "leg-a-to-earth", "leg-b-to-earth"},
		{"capacitance", e.capacitance, "capacitance-a", "capacitance-b"},
	} {
		if pair.text == "" {
			continue
		}
		a, b, ok := strings.Cut(pair.text, ",")
		if !ok || strings.Contains(b, ",") {
			return nil, usagef("", "--%s: %q: expected the two legs' readings as A,B", pair.flag, pair.text)
		}
		reading(pair.flag, pair.a, a)
		reading(pair.flag, pair.b, b)
	}
	for _, text := range e.traces {
		at, end, _ := strings.Cut(text, ":")
		out = append(out, given{"trace", journal.Fields{Check: "trace", At: at, End: end}})
	}
	for _, text := range e.taps {
		part := strings.Split(text, ":")
		if len(part) != 3 {
			return nil, usagef("", "--tap: %q: expected AT:A-SIDE:B-SIDE, such as 314ft:broken:intact", text)
		}
		out = append(out, given{"tap", journal.Fields{Check: "tap", At: part[0], ASide: part[1], BSide: part[2]}})
	}
	return out, nil
}

// investigation is what locate and taps work on.
type investigation struct {
	settings *Settings
	desk     *diagnose.Desk
	found    *diagnose.Assessment
}

// investigate makes a case of the flags and judges it. The person is taken for a
// technician unless a role is set, since these are a technician's readings.
func (p *program) investigate(w *wireFlags, e *evidenceFlags) (*investigation, error) {
	s, engine, err := p.ready()
	if err != nil {
		return nil, err
	}
	given, err := e.fields()
	if err != nil {
		return nil, err
	}
	m, err := w.read(s.Units)
	if err != nil {
		return nil, err
	}
	base := engine.Base()
	if err := checkTools(base, s.Tools, s.origin["tools"]); err != nil {
		return nil, err
	}
	c := &diagnose.Case{Role: s.roleOr(diagnose.Technician), Tools: s.Tools, Yard: m}
	for _, g := range given {
		check := base.Check(g.Check)
		if check == nil {
			return nil, fmt.Errorf("the knowledge base has no check %s, which --%s speaks of", g.Check, g.flag)
		}
		a, err := g.AnswerTo(check, m, journal.Bare{Typed: true, Length: s.Units})
		if err != nil {
			return nil, usagef("", "--%s: %v", g.flag, err)
		}
		c.Log = append(c.Log, diagnose.Entry{Answer: a})
	}
	desk, err := engine.At(c)
	if err != nil {
		return nil, err
	}
	found := desk.Assess(c.Log)
	if found.Where == nil {
		found.Where = wherever(found)
	}
	return &investigation{s, desk, found}, nil
}

// wherever is the place of whatever fault the wire may have, however unlikely
// one is: who asks for the place takes it that there is one. nil where no cause
// has a place.
func wherever(a *diagnose.Assessment) *diagnose.Where {
	mix := locate.Belief{Axis: a.Axis(), P: make([]float64, a.Axis().Cells)}
	var total float64
	for _, r := range a.Ranking {
		b, ok := a.Place(r.Cause.ID)
		if !ok {
			continue
		}
		total += r.P
		for i, q := range b.P {
			mix.P[i] += r.P * q
		}
	}
	if !(total > 0) || math.IsInf(total, 0) {
		return nil
	}
	for i := range mix.P {
		mix.P[i] /= total
	}
	return &diagnose.Where{
		Belief: mix, BestM: mix.Best(), Interval50: mix.Interval(0.5), Interval90: mix.Interval(0.9), Modes: mix.Modes(0.9),
	}
}

var errNoPlace = errors.New("nothing that the readings allow has a place along the wire")

// listed joins words as a sentence does: "a, b or c".
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// jsonFlag adds --json.
func jsonFlag(f *pflag.FlagSet, into *bool) {
	f.BoolVar(into, "json", false, "print JSON, for other programs")
}
