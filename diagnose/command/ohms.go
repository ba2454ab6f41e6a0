package command

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
)

// ohmsResult is design.md section 6.
type ohmsResult struct {
	ExpectedOhm    float64       `json:"expected_ohm"`
	UncertaintyOhm float64       `json:"uncertainty_ohm"` // one standard deviation
	Meaning        []ohmsMeaning `json:"meaning,omitempty"`
	Equivalent     *lengthJSON   `json:"equivalent_length,omitempty"`
}

type ohmsMeaning struct {
	Cause string `json:"cause"`
	Text  string `json:"text"`
}

type lengthJSON struct {
	Unit  string  `json:"unit"`
	Value float64 `json:"value"`
}

func newOhms(p *program) *cobra.Command {
	var w wireFlags
	var reading string
	var asJSON bool
	c := &cobra.Command{
		Use: "ohms", Short: "Say what a loop should read, and what a reading means",
		Long: `Say what resistance a healthy loop should read from terminal to terminal, with its
uncertainty, and what a reading would mean. The length is that of the whole wire, lead-in
and boundary. The wire is taken for copper unless --material says otherwise.`,
		Example: `  loopfault ohms --wire 20awg --length 500ft --temperature 10C
  loopfault ohms --wire 20awg --length 500ft --temperature 10C --reading 12.3ohm`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			s, engine, err := p.ready()
			if err != nil {
				return err
			}
			m, err := ohmsYard(&w, s.Units)
			if err != nil {
				return err
			}
			c := &diagnose.Case{Role: s.roleOr(diagnose.Technician), Yard: m}
			desk, err := engine.At(c)
			if err != nil {
				return err
			}
			before := desk.Believe(nil)
			ohm, sd := expectedOhm(before.Model().Loop())
			result := ohmsResult{ExpectedOhm: roundTo(ohm, 3), UncertaintyOhm: roundTo(sd, 3)}
			if reading != "" {
				value, over, err := quantity.ParseOhms(reading, "ohm")
				if err != nil {
					return usagef("", "--reading: %v", err)
				}
				r := &faultmodel.Reading{Quantity: faultmodel.LoopOhms, Value: value, OverRange: over}
				after := desk.Believe([]diagnose.Entry{{Answer: &diagnose.Answer{Check: string(faultmodel.LoopOhms), Reading: r}}})
				result.Meaning = meaning(engine.Base(), before, after)
				if !over {
					result.Equivalent = &lengthJSON{s.Units.String(), math.Round(s.Units.Of(value / ohm * m.TotalM()))}
				}
			}
			if asJSON {
				return p.printJSON(result)
			}
			return p.printOhms(result, ohm, sd, s.Units.Of(m.TotalM()))
		},
	}
	c.Flags().StringVar(&w.length, "length", "", "of the whole wire, a `LENGTH` such as 500ft or 150m")
	c.Flags().StringVar(&w.leadIn, "lead-in", "", "of each lead-in leg, part of the whole, a `LENGTH`; 40 ft where left out")
	w.addConductor(c)
	addRole(c)
	c.Flags().StringVar(&reading, "reading", "", "what the meter shows, a `READING` such as 12.3ohm, 35kohm or over-range")
	jsonFlag(c.Flags(), &asJSON)
	return c
}

// usualLeadInShare bounds the lead-in that is assumed in a short wire: the
// legs are never more than this share of it.
const usualLeadInShare = 0.1

// ohmsYard is the wire that the flags speak of, its lead-in inside its length.
func ohmsYard(w *wireFlags, u quantity.Units) (*yard.Map, error) {
	whole, err := lengthFlag("length", w.length, u, 1, 10000)
	if err != nil {
		return nil, err
	}
	if whole == nil {
		return nil, usagef("give it as --length 500ft", "the length of the wire is missing")
	}
	leg, err := lengthFlag("lead-in", w.leadIn, u, 0, 300)
	if err != nil {
		return nil, err
	}
	if leg == nil {
		var unknown *yard.Map
		usual := min(unknown.LeadInM(), usualLeadInShare**whole)
		leg = &usual
	}
	boundary := *whole - 2**leg
	if boundary <= 0 {
		return nil, usagef("", "--lead-in: two legs of %s are all of the wire's %s",
			quantity.FormatLength(*leg, u), quantity.FormatLength(*whole, u))
	}
	m := &yard.Map{}
	m.Loop.PathUnits = u
	m.Loop.LengthM, m.LeadIn.LengthM = &boundary, leg
	if err := w.readConductor(m); err != nil {
		return nil, err
	}
	if m.Wire.Material == "" {
		m.Wire.Material = "copper" // what a reading is compared with until another metal is known
	}
	return m, nil
}

// expectedOhm is the resistance of the healthy loop, terminal to terminal, and
// one standard deviation: that of the make of wire, its length and its temperature.
//
//	R = r20 L (1 + alpha20 (T - 20 C))
func expectedOhm(l faultmodel.Loop) (ohm, sd float64) {
	warm := faultmodel.TemperatureFactor(l.AlphaPerK, l.TemperatureC)
	ohm = l.OhmPerM.Median * warm * l.TotalM()
	byTemperature := l.AlphaPerK * l.TemperatureSD / warm
	return ohm, ohm * math.Sqrt(l.OhmPerM.SigmaLn*l.OhmPerM.SigmaLn+l.LengthRelSD*l.LengthRelSD+byTemperature*byTemperature)
}

// A cause is worth telling when the reading made it likelier and it is likely.
const (
	meaningLeast = 0.03
	meaningMost  = 4
)

// meaning is what the reading says: the faults of the wire that it made
// likelier, or that it shows none.
func meaning(base *kb.Base, before, after *diagnose.Assessment) []ohmsMeaning {
	role := string(after.Role())
	sound := base.Cause("nothing-wrong")
	var out []ohmsMeaning
	for _, r := range after.Ranking {
		if len(out) == meaningMost || r.P < meaningLeast {
			break
		}
		if ohmic(r.Cause) && r.P > before.P(r.Cause.ID) {
			out = append(out, ohmsMeaning{r.Cause.ID, r.Cause.Means.For(role)})
		}
	}
	if len(out) == 0 && sound != nil {
		out = append(out, ohmsMeaning{sound.ID, sound.Means.For(role)})
	}
	return out
}

// ohmic tells whether a cause changes the ohms from terminal to terminal.
func ohmic(c *kb.Cause) bool {
	switch faultmodel.Kind(c.Kind) {
	case faultmodel.Open, faultmodel.Series, faultmodel.Leak, faultmodel.Touch, faultmodel.LeadShort,
		faultmodel.ArresterShort, faultmodel.OutsideRating:
		return true
	}
	return false
}

// mostTimes is up to how many lengths of the wire a reading is still told as a
// length: beyond it, it is no wire that was measured.
const mostTimes = 20

func (p *program) printOhms(r ohmsResult, ohm, sd, length float64) error {
	fmt.Fprintf(p.Out, "expected: %s, give or take %s (one standard deviation)\n", quantity.FormatOhms(ohm), quantity.FormatOhms(sd))
	if e := r.Equivalent; e != nil && e.Value < mostTimes*length {
		fmt.Fprintf(p.Out, "the reading is that of %.0f %s of this wire\n", e.Value, e.Unit)
	}
	for i, m := range r.Meaning {
		lead := "it may mean"
		if i > 0 {
			lead = "or         "
		}
		if _, err := fmt.Fprintf(p.Out, "%s: %s: %s\n", lead, m.Cause, m.Text); err != nil {
			return err
		}
	}
	return nil
}

func roundTo(v float64, decimals int) float64 {
	scale := math.Pow(10, float64(decimals))
	return math.Round(v*scale) / scale
}
