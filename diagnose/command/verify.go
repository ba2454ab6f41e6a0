package command

import (
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// verifyResult is the acceptance walk for other programs. Lengths are in Unit.
type verifyResult struct {
	Pass  bool         `json:"pass"`
	Unit  string       `json:"unit"`
	Items []verifyItem `json:"items"`
	Walk  []float64    `json:"walk"` // where the walk wants a width
}

type verifyItem struct {
	Check     string             `json:"check"`
	Required  bool               `json:"required"`
	Judgement diagnose.Judgement `json:"judgement"`
	Reading   string             `json:"reading,omitempty"`  // with its unit
	Expected  *[2]string         `json:"expected,omitempty"` // of a sound loop, in 95 of 100 cases
	From      *float64           `json:"from,omitempty"`
	To        *float64           `json:"to,omitempty"`
	Worst     *float64           `json:"worst,omitempty"` // least width over the width expected
}

func newVerify(p *program) *cobra.Command {
	var asJSON, yardAnywhere bool
	c := &cobra.Command{
		Use: "verify CASE", Short: "Judge the acceptance walk after a repair",
		Long: `Judge the acceptance walk after a repair: the continuity sign, the readings and the collar's
widths since the last repair, against the model of a sound loop or the recorded baseline.
The exit code is 0 only where every required item has passed.`,
		Example: "  loopfault verify spring-call.yaml",
		Args:    oneArgument("case file"),
		RunE: func(_ *cobra.Command, args []string) error {
			s, engine, err := p.ready()
			if err != nil {
				return err
			}
			c, err := p.readCase(args[0], yardAnywhere)
			if err != nil {
				return err
			}
			desk, err := engine.At(c)
			if err != nil {
				return err
			}
			r := verifyJSON(engine.Base(), desk.Verify(c.Log), desk.WalkPlaces(), s.Units)
			if asJSON {
				err = p.printJSON(r)
			} else {
				err = p.printVerify(engine.Base(), r, c.Role)
			}
			if err != nil || r.Pass {
				return err
			}
			return withHint(errors.New("the boundary is not proved: the walk has not passed"),
				"%s", "keep the pet contained another way; go on with: loopfault diagnose "+quoteArgument(args[0]))
		},
	}
	addYardAnywhere(c, &yardAnywhere)
	jsonFlag(c.Flags(), &asJSON)
	return c
}

func verifyJSON(base *kb.Base, a diagnose.Acceptance, places []float64, u quantity.Units) verifyResult {
	length := func(m *float64) *float64 {
		if m == nil {
			return nil
		}
		v := roundTo(u.Of(*m), 1)
		return &v
	}
	r := verifyResult{Pass: a.Pass, Unit: u.String()}
	for _, m := range places {
		r.Walk = append(r.Walk, *length(&m))
	}
	for _, i := range a.Items {
		item := verifyItem{Check: i.Check, Required: i.Required, Judgement: i.Judgement, From: length(i.FromM), To: length(i.ToM)}
		if c := base.Check(i.Check); c != nil && c.Kind == kb.Reading {
			if i.Expected != [2]float64{} {
				item.Expected = &[2]string{
					quantity.FormatReading(i.Expected[0], isOver(i.Expected[0]), c.Unit),
					quantity.FormatReading(i.Expected[1], isOver(i.Expected[1]), c.Unit),
				}
			}
			if i.Judgement != diagnose.NotDone {
				item.Reading = quantity.FormatReading(i.Value, i.Value == 0, c.Unit)
			}
		}
		if c := base.Check(i.Check); c != nil && c.Kind == kb.Widths && i.Judgement != diagnose.NotDone {
			worst := roundTo(i.Worst, 2)
			item.Worst = &worst
		}
		r.Items = append(r.Items, item)
	}
	return r
}

// isOver tells a bound that no meter can show.
func isOver(v float64) bool { return v > 1e12 }

func (p *program) printVerify(base *kb.Base, r verifyResult, role diagnose.Role) error {
	words := map[diagnose.Judgement]string{diagnose.Pass: "pass", diagnose.Fail: "FAIL", diagnose.MeasureAgain: "measure again", diagnose.NotDone: "not done"}
	w := tabwriter.NewWriter(p.Out, 0, 0, 2, ' ', 0)
	for _, i := range r.Items {
		need := "if you can"
		if i.Required {
			need = "required"
		}
		var about []string
		if i.Reading != "" {
			about = append(about, i.Reading)
		}
		if i.Expected != nil {
			about = append(about, fmt.Sprintf("a sound loop shows %s to %s", i.Expected[0], i.Expected[1]))
		}
		if i.Worst != nil {
			about = append(about, fmt.Sprintf("narrowest place %.0f %% of the width expected", 100**i.Worst))
		}
		if i.From != nil && i.To != nil {
			about = append(about, fmt.Sprintf("%.0f to %.0f %s along the wire", *i.From, *i.To, r.Unit))
		}
		if i.Judgement == diagnose.NotDone {
			if c := base.Check(i.Check); c != nil {
				about = append(about, shortened(c.Ask.For(string(role))))
			}
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", words[i.Judgement], i.Check, need, clean(strings.Join(about, "; ")))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if r.Pass {
		_, err := fmt.Fprintln(p.Out, "passed: the whole boundary works")
		return err
	}
	for _, i := range r.Items {
		if i.Check == "tone-walk" && i.Judgement == diagnose.NotDone {
			_, err := fmt.Fprintf(p.Out, "walk: measure the width at %d places from %.0f to %.0f %s along the wire, about every %.0f %s (--json lists them)\n",
				len(r.Walk), r.Walk[0], r.Walk[len(r.Walk)-1], r.Unit, (r.Walk[len(r.Walk)-1]-r.Walk[0])/float64(len(r.Walk)-1), r.Unit)
			return err
		}
	}
	return nil
}
