package command

import (
	_ "embed"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/console"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/trial"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

//go:embed demo.yaml
var demoYard []byte

// longestDemo is after how many steps the demo gives up: several times what it takes.
const longestDemo = 60

func newDemo(p *program) *cobra.Command {
	var seed uint64
	var cause string
	c := &cobra.Command{
		Use: "demo", Short: "Show the whole job on a built-in yard with a hidden fault",
		Long: `Show the whole job on a built-in yard: the wire has a hidden fault, and a simulated technician
answers the questions from the physics of the loop. It asks, ranks, locates, taps, repairs,
proves the boundary and prints the record. The same seed gives the same output.`,
		Example: "  loopfault demo\n  loopfault demo --seed 7 --units m",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			m, err := yard.Parse("demo.yaml", demoYard)
			if err != nil {
				return err
			}
			s, engine, err := p.ready()
			if err != nil {
				return err
			}
			d := demo{program: p, units: s.Units, currency: s.Currency, engine: engine, said: map[string]bool{}}
			return d.run(&diagnose.Case{
				Name: "corner garden, demo", Role: diagnose.Technician, Yard: m,
				Tools: []string{"collar", "lamp", "spare-wire", "meter", "capacitance", "spade", "splice-kit", "temporary-wire"},
			}, cause, seed)
		},
	}
	c.Flags().Uint64Var(&seed, "seed", 4, "another `SEED` hides another fault")
	c.Flags().StringVar(&cause, "cause", "", "the `CAUSE` to hide; an open wire somewhere where left out")
	return c
}

// demo is one showing.
type demo struct {
	*program
	units    quantity.Units
	currency string
	engine   *diagnose.Engine
	desk     *diagnose.Desk
	call     *diagnose.Case
	said     map[string]bool // cautions, by id
}

func (d *demo) run(c *diagnose.Case, cause string, seed uint64) (err error) {
	d.call = c
	if d.desk, err = d.engine.At(c); err != nil {
		return err
	}
	fault, err := d.hide(cause, rand.New(rand.NewPCG(seed, 0)))
	if err != nil {
		return err
	}
	caller, err := trial.NewCaller(d.engine, *c, trial.Habits{GivesPlace: 1}, seed, fault)
	if err != nil {
		return err
	}
	d.say("A call to the %s: the collar has gone silent. A fault is hidden in the wire; a\nsimulated technician answers.\n", c.Yard.Name)
	c.Log = caller.Volunteers()
	for n := 1; n <= longestDemo; n++ {
		a := d.desk.Assess(c.Log)
		if a.Step.Kind == diagnose.NextDone || a.Step.Kind == diagnose.NextRefer {
			d.show(n, a)
			return d.close(a, fault)
		}
		d.show(n, a)
		if a.Step.Kind == diagnose.NextVerify {
			d.walk(caller)
		}
		e := asNoted(caller.Answer(a.Step), d.units)
		c.Log = append(c.Log, e)
		d.say("   answer:  %s\n", d.entry(e))
	}
	return fmt.Errorf("the demo found no end in %d steps", longestDemo)
}

// hide draws a fault of the wire and its place as the knowledge has them.
func (d *demo) hide(cause string, rng *rand.Rand) (trial.Fault, error) {
	if cause == "" {
		var total float64
		open := func(h diagnose.Hypothesis) bool {
			c := d.engine.Base().Cause(h.Causes[0])
			return len(h.Causes) == 1 && c.Kind == string(faultmodel.Open) && !c.Mirror
		}
		for _, h := range d.desk.Prior() {
			if open(h) {
				total += h.P
			}
		}
		left := rng.Float64() * total
		for _, h := range d.desk.Prior() {
			if left > 0 && open(h) {
				cause = h.Causes[0]
				left -= h.P
			}
		}
	}
	f := trial.Fault{Cause: cause, AtM: math.NaN(), ToM: math.NaN()}
	c := d.engine.Base().Cause(cause)
	if c == nil {
		return f, usagef("see loopfault kb list cause", "--cause: %q is no cause", cause)
	}
	if b, ok := d.desk.PlacePrior(cause); ok {
		f.AtM = drawn(rng, b)
		if faultmodel.Kind(c.Kind) == faultmodel.Touch {
			f.ToM = drawn(rng, b)
		}
	}
	return f, nil
}

// drawn is a place by its probability.
func drawn(rng *rand.Rand, b locate.Belief) float64 {
	left := rng.Float64()
	for i, p := range b.P {
		if left -= p; left < 0 {
			return b.Axis.Edge(i) + rng.Float64()*b.Axis.StepM()
		}
	}
	return b.Axis.LengthM / 2
}

// walk is the acceptance walk: the technician measures everything it asks for,
// and what is in doubt again, a few times at the most.
func (d *demo) walk(caller *trial.Caller) {
	const rounds = 4
	for range rounds {
		for _, item := range d.desk.Verify(d.call.Log).Items {
			check := d.engine.Base().Check(item.Check)
			if check == nil || item.Judgement == diagnose.Pass {
				continue
			}
			e := asNoted(caller.Answer(diagnose.Step{Kind: diagnose.NextCheck, ID: check.ID, Check: check}), d.units)
			if a := e.Answer; item.FromM != nil && item.ToM != nil {
				a.Widths = slices.DeleteFunc(a.Widths, func(w faultmodel.Width) bool { return w.AtM <= *item.FromM || w.AtM >= *item.ToM })
			}
			d.call.Log = append(d.call.Log, e)
			d.say("   walk:    %s: %s\n", check.ID, d.entry(e))
		}
	}
}

func (d *demo) say(format string, args ...any) { fmt.Fprintf(d.Out, format, args...) }

// show writes a step and what is believed before it.
func (d *demo) show(n int, a *diagnose.Assessment) {
	r := a.Result(d.units)
	role := string(d.call.Role)
	var likely []string
	for i, c := range a.Ranking {
		if i == 3 || i > 0 && c.P < 0.05 {
			break
		}
		likely = append(likely, fmt.Sprintf("%s %s", c.Cause.Name.For(role), quantity.FormatPercent(c.P)))
	}
	d.say("\n   likely:  %s\n", strings.Join(likely, ", "))
	if pos := r.Position; pos != nil {
		d.say("   where:   %s, 90 %% sure; best %s", quantity.FormatRange(d.units.M(pos.Interval90[0]), d.units.M(pos.Interval90[1]), d.units),
			quantity.FormatLength(d.units.M(pos.Best), d.units))
		if pos.Near != "" {
			d.say("; near: %s", pos.Near)
		}
		d.say("\n")
	}
	if e := r.Expected; e.Minutes > 0 {
		d.say("   to go:   about %s, %s %.0f", quantity.FormatMinutes(e.Minutes), d.currency, e.Cost)
		if e.Taps >= 0.05 {
			d.say(", %.1f taps", e.Taps)
		}
		d.say("\n")
	}
	for _, c := range r.Conflicts {
		d.say("   doubt:   %s\n", c.Message)
	}
	for _, note := range r.Notes {
		d.say("   note:    %s\n", note)
	}
	text := string(a.Step.Kind)
	switch {
	case a.Step.Check != nil:
		text = a.Step.Check.Ask.For(role)
	case a.Step.Repair != nil:
		text = upperFirst(a.Step.Repair.Name.For(role))
	}
	switch {
	case a.Step.FromM != nil && a.Step.ToM != nil:
		text = withPlace(text, quantity.FormatRange(*a.Step.FromM, *a.Step.ToM, d.units))
	case a.Step.AtM != nil:
		text = withPlace(text, "at "+quantity.FormatLength(*a.Step.AtM, d.units))
	}
	d.say("%2d. %s (%s, %s)\n", n, text, a.Step.ID, quantity.FormatMinutes(a.Step.Minutes))
	var again []string
	for _, c := range r.Cautions {
		if d.said[c.ID] {
			again = append(again, c.ID)
			continue
		}
		d.said[c.ID] = true
		d.say("   caution: %s\n", c.Text)
	}
	if len(again) > 0 {
		d.say("   caution, as before: %s\n", strings.Join(again, ", "))
	}
	d.say("   why:     %s\n", r.Next.Why)
}

// withPlace puts a place into a step's words, before the mark that ends them.
func withPlace(text, place string) string {
	words := strings.TrimRight(text, ".?")
	return words + ", " + place + text[len(words):]
}

// entry is what was said or done, in words.
func (d *demo) entry(e diagnose.Entry) string {
	words := diagnose.Wording{Base: d.engine.Base(), Role: d.call.Role, Units: d.units}
	if r := e.Repair; r != nil {
		if r.Repair == string(diagnose.NextVerify) && r.Fixed {
			return "the whole boundary passed"
		}
		if r.Fixed {
			return words.Repair(r) + ": done, and it works"
		}
		return words.Repair(r) + ": done, and the fault is still there"
	}
	return words.Answer(e.Answer)
}

// close proves the boundary, tells what was hidden and prints the record.
func (d *demo) close(a *diagnose.Assessment, hidden trial.Fault) error {
	c := d.call
	if a.Step.Kind == diagnose.NextDone {
		d.say("\nAcceptance walk:\n")
		acceptance := d.desk.Verify(c.Log)
		if err := d.printVerify(d.engine.Base(), verifyJSON(d.engine.Base(), acceptance, d.desk.WalkPlaces(), d.units), c.Role); err != nil {
			return err
		}
		c.Log = append(c.Log, diagnose.Entry{Outcome: outcome(d.engine.Base(), a, acceptance.Pass)})
	}
	d.say("\nHidden was: %s", d.engine.Base().Cause(hidden.Cause).Name.For(string(c.Role)))
	if !math.IsNaN(hidden.AtM) {
		d.say(" at %s", quantity.FormatLength(hidden.AtM, d.units))
	}
	d.say("\n\nThe record, as the case file holds it:\n  answers:\n")
	for _, e := range c.Log {
		var check *kb.Check
		if e.Answer != nil {
			check = d.engine.Base().Check(e.Answer.Check)
		}
		d.say("    - %s\n", console.Clean(cutLong(journal.Line(e, check, d.units))))
	}
	return nil
}

// cutLong leaves out the middle of a line with the widths of a whole walk.
func cutLong(line string) string {
	const kept = 2
	items := strings.Split(line, "}, {")
	if len(items) <= 2*kept {
		return line
	}
	return strings.Join(items[:kept], "}, {") + fmt.Sprintf("}, ... %d more ..., {", len(items)-2*kept) + strings.Join(items[len(items)-kept:], "}, {")
}

// outcome is what it was: the cause that the repair names, or else the likeliest
// when the case began, at the middle of what was mended.
func outcome(base *kb.Base, a *diagnose.Assessment, proved bool) *diagnose.Outcome {
	o := &diagnose.Outcome{Confirmed: proved}
	var best float64
	for _, r := range a.Ranking {
		if p := a.Initial(r.Cause.ID); p > best {
			best, o.Cause = p, r.Cause.ID
		}
	}
	for _, e := range a.Log() {
		if r := e.Repair; r != nil && r.Fixed {
			if base.Cause(r.Repair) != nil {
				o.Cause = r.Repair
			}
			switch {
			case r.AtM != nil:
				o.AtM = r.AtM
			case r.FromM != nil && r.ToM != nil:
				middle := (*r.FromM + *r.ToM) / 2
				o.AtM = &middle
			}
		}
	}
	return o
}

// asNoted is an entry as a person notes it: whole feet along the wire and half
// feet of width, or tenths of a metre.
func asNoted(e diagnose.Entry, u quantity.Units) diagnose.Entry {
	noted := func(places ...*float64) {
		for _, m := range places {
			if m != nil {
				*m = u.Noted(*m)
			}
		}
	}
	if a := e.Answer; a != nil {
		noted(a.AtM, a.FromM, a.ToM)
		for i := range a.Widths {
			w := &a.Widths[i]
			noted(&w.AtM)
			w.WidthM = u.Noted(2*w.WidthM) / 2
		}
	}
	if r := e.Repair; r != nil {
		noted(r.AtM, r.FromM, r.ToM)
	}
	return e
}
