package command

import (
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"
)

func newConfig(p *program) *cobra.Command {
	var asJSON bool
	show := &cobra.Command{
		Use: "show", Short: "Show the settings and where each comes from",
		Long: `Show the settings and where each comes from: a flag, the environment, the settings file or
the default, in this order of strength.

The file is loopfault/config.yaml in the user's configuration folder, or --config FILE. It holds
any of these, one a line:

  role: technician
  units: ft
  currency: USD
  cost_per_minute: 1.50
  cost_per_foot_dug: 2
  cost_per_splice: 4
  tools: [meter, capacitance, spade, splice-kit, temporary-wire]
  case_folder: ~/calls
  overlay: own.yaml`,
		Example: "  LOOPFAULT_UNITS=m loopfault config show",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			s, err := p.settings()
			if err != nil {
				return err
			}
			if asJSON {
				type line struct {
					Key   string `json:"key"`
					Value string `json:"value"`
					From  string `json:"from"`
				}
				var lines []line
				for _, k := range settings {
					lines = append(lines, line{k.key, s.value[k.key], s.origin[k.key]})
				}
				return p.printJSON(lines)
			}
			w := tabwriter.NewWriter(p.Out, 0, 0, 2, ' ', 0)
			for _, k := range settings {
				value := s.value[k.key]
				if value == "" {
					value = "-"
				}
				fmt.Fprintf(w, "%s\t%s\t%s\n", k.key, clean(value), clean(s.origin[k.key]))
			}
			return w.Flush()
		},
	}
	show.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return newFamily("config", "The settings", show)
}
