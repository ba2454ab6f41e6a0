package command

import (
	"fmt"

	"github.com/spf13/cobra"

	"loopfault/diagnose/console"
	"loopfault/diagnose/trial"
)

// mostCases keeps a typing slip from running for days.
const mostCases = 1_000_000

func newSimulate(p *program) *cobra.Command {
	var plan trial.Plan
	var names []string
	var asJSON bool
	var known []string
	text := "Run simulated callers, each with a hidden fault, against strategies, and print what became of\nthem: success, minutes and money, taps, coverage of the position intervals and calibration of\nthe probabilities. The same seed gives the same table. The strategies:\n"
	for _, s := range trial.Strategies() {
		known = append(known, s.ID)
		text += fmt.Sprintf("\n  %-12s %s", s.ID, s.Text)
	}
	c := &cobra.Command{
		Use: "simulate", Short: "Try the engine on simulated callers, beside other strategies",
		Long:    text,
		Example: "  loopfault simulate --cases 200\n  loopfault simulate --cases 1000 --strategy ours,checklist --away --seed 3",
		Args:    noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if plan.Cases < 1 || plan.Cases > mostCases {
				return usagef("", "--cases %d: expected 1 to %d", plan.Cases, mostCases)
			}
			strategies, err := trial.StrategiesNamed(names...)
			if err != nil {
				return usagef("", "--strategy: %v", err)
			}
			base, err := p.base()
			if err != nil {
				return err
			}
			s, err := p.settings()
			if err != nil {
				return err
			}
			plan.Base, plan.Strategies = priced(base, s), strategies
			if _, out, ok := p.terminal(); ok {
				plan.Progress = func(cases int) { fmt.Fprintf(out, "\r%d of %d cases", cases, plan.Cases) }
				defer fmt.Fprint(out, "\r\033[K")
			}
			r, err := trial.Simulate(cmd.Context(), plan)
			if err != nil {
				if cmd.Context().Err() != nil {
					return console.ErrInterrupted
				}
				return err
			}
			if asJSON {
				return p.printJSON(simulationJSON(r))
			}
			return r.Write(p.Out)
		},
	}
	c.Flags().IntVar(&plan.Cases, "cases", 500, "how many calls, `N`")
	c.Flags().Uint64Var(&plan.Seed, "seed", 1, "another `SEED` draws other callers")
	c.Flags().StringSliceVar(&names, "strategy", nil, "`STRATEGIES` to compare; all where left out")
	c.Flags().BoolVar(&plan.Away, "away", false, "callers from a world that the knowledge gets wrong")
	c.Flags().IntVar(&plan.Workers, "workers", 0, "`N` at a time; one a processor where left out")
	jsonFlag(c.Flags(), &asJSON)
	_ = c.RegisterFlagCompletionFunc("strategy", fixed(known...))
	return c
}

// simulationRow is a strategy's results, means a case.
type simulationRow struct {
	Strategy      string  `json:"strategy"`
	Cases         int     `json:"cases"`
	Solved        float64 `json:"solved"` // share
	HandedOn      float64 `json:"handed_on"`
	Mistaken      float64 `json:"mistaken"`
	Minutes       float64 `json:"minutes"`
	Cost          float64 `json:"cost"`
	CostError     float64 `json:"cost_error"` // standard error of the mean
	Taps          float64 `json:"taps"`
	Splices       float64 `json:"new_splices"`
	NeedlessDigs  float64 `json:"needless_digs"`
	NeedlessParts float64 `json:"needless_parts"`
	Unsafe        int     `json:"unsafe"`

	Covered50   *float64 `json:"interval50_holds,omitempty"` // share; where places were stated
	Covered90   *float64 `json:"interval90_holds,omitempty"`
	Calibration *float64 `json:"calibration_error,omitempty"` // where probabilities were stated
}

func simulationJSON(r *trial.Report) any {
	out := struct {
		World      string          `json:"world"`
		Cases      int             `json:"cases"`
		Seed       uint64          `json:"seed"`
		Strategies []simulationRow `json:"strategies"`
	}{World: r.World, Cases: r.Cases, Seed: r.Seed}
	for _, s := range r.Strategies {
		row := simulationRow{
			Strategy: s.ID, Cases: s.Cases, Solved: s.Solved(),
			HandedOn: s.Mean(float64(s.Endings[trial.HandedOn] + s.Endings[trial.GoesRound])),
			Mistaken: s.Mean(float64(s.Endings[trial.Mistaken])),
			Minutes:  s.MeanMinutes(), Cost: s.MeanMoney(), CostError: s.MoneyError(),
			Taps: s.Mean(float64(s.Total.Taps)), Splices: s.Mean(s.Total.Splices),
			NeedlessDigs: s.Mean(float64(s.Total.NeedlessDigs)), NeedlessParts: s.Mean(float64(s.Total.NeedlessParts)),
			Unsafe: s.Total.Unsafe,
		}
		if s.Where.N > 0 {
			half, most := s.Where.Share50(), s.Where.Share90()
			row.Covered50, row.Covered90 = &half, &most
		}
		if s.Causes.N() > 0 {
			e := s.Causes.ExpectedError()
			row.Calibration = &e
		}
		out.Strategies = append(out.Strategies, row)
	}
	return out
}
