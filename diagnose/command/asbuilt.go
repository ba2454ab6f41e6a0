package command

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

func newYardUpdate(p *program) *cobra.Command {
	var output string
	var yardAnywhere bool
	c := &cobra.Command{
		Use: "update FILE CASE", Short: "Add what a finished case changed to a map",
		Long: `Add what a finished case changed to a map: the splices that taps, mended spots and new sections
left in the wire, and, where the acceptance walk has passed, its readings as the new baseline.
Everything else in the file stays as its owner wrote it; what new wire took the place of is told
for its owner to take out. FILE itself is changed unless -o names another.`,
		Example: "  loopfault yard update orchard.yaml spring-call.yaml",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usagef("", "%d names: expected a yard file and a case file", len(args))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			m, err := loadYard(args[0])
			if err != nil {
				return err
			}
			c, err := p.readCase(args[1], yardAnywhere)
			if err != nil {
				return err
			}
			c.Yard = m
			engine, err := p.engine()
			if err != nil {
				return err
			}
			desk, err := engine.At(c)
			if err != nil {
				return err
			}
			work := diagnose.Joints(engine.Base(), c)
			u := yard.Update{Features: newSplices(work.Joints)}
			for _, text := range outdated(work, m.Units()) {
				fmt.Fprintln(p.Err, "note: "+text)
			}
			date := lastDay(c.Log, p.Now())
			if desk.Verify(c.Log).Pass {
				u.Baseline = newBaseline(c.Log, date)
				if sameBaseline(m.Baseline, u.Baseline) {
					u.Baseline = nil
				}
			} else {
				fmt.Fprintln(p.Err, "note: the acceptance walk has not passed; the baseline stays as it was")
			}
			if len(u.Features) == 0 && u.Baseline == nil {
				return withHint(errors.New("the case has nothing that the map does not have"), "finish the case first: loopfault diagnose %s", quoteArgument(args[1]))
			}
			data, err := os.ReadFile(args[0])
			if err != nil {
				return err
			}
			changed, err := u.Apply(args[0], data)
			if err != nil {
				return err
			}
			if output == "" {
				output = args[0]
			}
			return p.output(output, true, func(w io.Writer) error {
				_, err := w.Write(changed)
				return err
			})
		},
	}
	addOutput(c, &output)
	addYardAnywhere(c, &yardAnywhere)
	return c
}

// newSplices are the joints of a case, for its map.
func newSplices(joints []diagnose.Joint) []yard.Feature {
	var out []yard.Feature
	for _, j := range joints {
		out = append(out, yard.Feature{FromM: j.FromM, ToM: j.ToM, Kind: yard.Splice, Note: j.What})
	}
	return out
}

// outdated says what a map still shows that the case took out of the wire: only its
// owner takes anything out of a file.
func outdated(w diagnose.WireWork, u quantity.Units) []string {
	var out []string
	for _, f := range w.Gone {
		where := "at " + quantity.FormatRange(f.FromM, f.ToM, u)
		if f.Unplaced {
			where = "somewhere on the wire"
		}
		out = append(out, fmt.Sprintf("new wire took the place of the splice %s; take it out of the map", where))
	}
	if w.Anew {
		out = append(out, "the whole wire was laid anew; lengths and path in the map are those of the old one")
	}
	return out
}

// newBaseline are the readings since the last repair of the wire.
func newBaseline(log []diagnose.Entry, date string) *yard.Baseline {
	b := &yard.Baseline{Date: date}
	for _, i := range diagnose.Kept(log) {
		e := log[i]
		if e.Repair != nil && e.Repair.Repair != string(diagnose.NextVerify) {
			b = &yard.Baseline{Date: date}
		}
		if e.Answer == nil {
			continue
		}
		if e.Answer.Check == "tone-walk" {
			b.Widths = nil
			for _, w := range e.Answer.Widths {
				if !w.Silent {
					b.Widths = append(b.Widths, yard.Width{AtM: w.AtM, WidthM: w.WidthM})
				}
			}
		}
		if r := e.Answer.Reading; r != nil {
			for _, f := range b.Fields() {
				if f.Quantity == string(r.Quantity) {
					*f.Reading = &yard.Reading{Value: r.Value, Over: r.OverRange}
				}
			}
		}
	}
	return b
}

// sameBaseline compares as files do: what is written the same is the same.
func sameBaseline(a, b *yard.Baseline) bool {
	return bytes.Equal((&yard.Map{Baseline: a}).Marshal(), (&yard.Map{Baseline: b}).Marshal())
}

// lastDay is the day of the last entry that says when it was, or today.
func lastDay(log []diagnose.Entry, today time.Time) string {
	for i := len(log) - 1; i >= 0; i-- {
		if !log[i].Time.IsZero() {
			return log[i].Time.Format(time.DateOnly)
		}
	}
	return today.Format(time.DateOnly)
}
