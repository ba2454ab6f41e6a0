package command

import (
	"fmt"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
)

func newLocate(p *program) *cobra.Command {
	var w wireFlags
	var e evidenceFlags
	var asJSON bool
	c := &cobra.Command{
		Use: "locate", Short: "Say where along the wire the fault is, from readings alone",
		Long: `Say where along the wire the fault is, from readings alone: the best estimate, the stretches that
hold it with 50 and 90 % probability, and the place on the map. Places are distances along the
wire from terminal A, through its leg of the lead-in. Without --yard or --lead-in a lead-in of
40 ft is taken.`,
		Example: `  loopfault locate --length 480ft --lead-in 40ft --ohms over-range --capacitance 13.9nF,11.2nF
  loopfault locate --yard orchard.yaml --ohms over-range --tap 314ft:broken:intact --json`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			i, err := p.investigate(&w, &e)
			if err != nil {
				return err
			}
			if i.found.Where == nil && !asJSON {
				return errNoPlace
			}
			r := i.found.Result(i.settings.Units)
			if asJSON {
				return p.printJSON(r.Position)
			}
			return p.printPosition(i.found, r)
		},
	}
	w.addYard(c)
	e.add(c)
	addRole(c)
	jsonFlag(c.Flags(), &asJSON)
	return c
}

// printPosition writes where the fault is.
func (p *program) printPosition(a *diagnose.Assessment, r diagnose.Result) error {
	pos := r.Position
	u, err := quantity.ParseUnits(pos.Unit)
	if err != nil {
		return err
	}
	stretch := func(i [2]float64) string { return quantity.FormatRange(u.M(i[0]), u.M(i[1]), u) }
	fmt.Fprintf(p.Out, "best:  %s along the wire from terminal A\n", quantity.FormatLength(u.M(pos.Best), u))
	fmt.Fprintf(p.Out, "50 %%:  %s\n", stretch(pos.Interval50))
	fmt.Fprintf(p.Out, "90 %%:  %s\n", stretch(pos.Interval90))
	if len(pos.Modes) > 1 {
		for _, m := range pos.Modes {
			fmt.Fprintf(p.Out, "  in   %s with %s\n", stretch([2]float64{m.From, m.To}), quantity.FormatPercent(m.Probability))
		}
	}
	if pos.Near != "" {
		fmt.Fprintf(p.Out, "near:  %s\n", clean(pos.Near))
	}
	if pos.Place != nil {
		fmt.Fprintf(p.Out, "place: x %.1f, y %.1f %s on the map\n", pos.Place[0], pos.Place[1], a.Case().Yard.Units())
	}
	fmt.Fprint(p.Out, "cause:")
	for i, c := range a.Ranking {
		if i == 3 || i > 0 && c.P < meaningLeast {
			break
		}
		if i > 0 {
			fmt.Fprint(p.Out, ",")
		}
		fmt.Fprintf(p.Out, " %s %s", c.Cause.ID, quantity.FormatPercent(c.P))
	}
	fmt.Fprintln(p.Out)
	for _, c := range r.Conflicts {
		fmt.Fprintf(p.Out, "doubt: %s: %s\n", c.Check, clean(c.Message))
	}
	return nil
}
