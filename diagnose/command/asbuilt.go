package command

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/yard"
)

func newYardUpdate(p *program) *cobra.Command {
	var output string
	var yardAnywhere bool
	c := &cobra.Command{
		Use: "update FILE CASE", Short: "Add what a finished case changed to a map",
		Long: `Add what a finished case changed to a map: the splices that taps, mended spots and new sections
left in the wire, and, where the acceptance walk has passed, its readings as the new baseline.
Everything else in the file stays as its owner wrote it. FILE itself is changed unless -o names
another.`,
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
			u := yard.Update{Features: newSplices(c)}
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

// sameSpotM is within what two places along the wire are one spot.
const sameSpotM = 0.5

// newSplices are the splices that a case left in the wire and its map does not
// have: one at each spot that was opened or mended, two at the ends of a new
// section, none inside it.
func newSplices(c *diagnose.Case) []yard.Feature {
	var taps, mended []yard.Feature
	type stretch struct{ fromM, toM float64 }
	var laid []stretch
	splice := func(atM float64, note string) yard.Feature {
		return yard.Feature{FromM: atM, ToM: atM, Kind: yard.Splice, Note: note}
	}
	for _, e := range standing(c.Log) {
		switch {
		case e.Answer != nil && e.Answer.Check == "tap" && e.Answer.AtM != nil && e.Answer.Choice == "":
			taps = append(taps, splice(*e.Answer.AtM, "tap"))
		case e.Repair == nil || !e.Repair.Fixed:
		case e.Repair.FromM != nil && e.Repair.ToM != nil:
			from, to := math.Min(*e.Repair.FromM, *e.Repair.ToM), math.Max(*e.Repair.FromM, *e.Repair.ToM)
			laid = append(laid, stretch{from, to})
			mended = append(mended, splice(from, "new section begins"), splice(to, "new section ends"))
		case e.Repair.AtM != nil:
			mended = append(mended, splice(*e.Repair.AtM, e.Repair.Repair))
		}
	}
	known := c.Yard.FeaturesOf(yard.Splice)
	var out []yard.Feature
next:
	for _, f := range append(mended, taps...) {
		for _, s := range laid {
			if f.FromM > s.fromM+sameSpotM && f.FromM < s.toM-sameSpotM {
				continue next
			}
		}
		for _, k := range known {
			if !k.Unplaced && math.Abs(k.FromM-f.FromM) < sameSpotM {
				continue next
			}
		}
		out = append(out, f)
		known = append(known, f)
	}
	return out
}

// standing are the entries that are not taken back.
func standing(log []diagnose.Entry) []diagnose.Entry {
	var out []diagnose.Entry
	for _, e := range log {
		switch {
		case !e.Undo:
			out = append(out, e)
		case len(out) > 0:
			out = out[:len(out)-1]
		}
	}
	return out
}

// newBaseline are the readings since the last repair of the wire.
func newBaseline(log []diagnose.Entry, date string) *yard.Baseline {
	b := &yard.Baseline{Date: date}
	for _, e := range standing(log) {
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
