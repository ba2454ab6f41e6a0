package command

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"loopfault/diagnose/quantity"
	"loopfault/locate"
)

// tapsResult is design.md section 6.
type tapsResult struct {
	Next       tapsNext     `json:"next"`
	Expected   tapsExpected `json:"expected"`
	ReplaceNow bool         `json:"replace_now"`
	Plan       *planNode    `json:"plan"`
}

type tapsNext struct {
	At   *float64 `json:"at"`             // the tap, or where the stretch begins
	From *float64 `json:"from,omitempty"` // a new section, or a stretch to lay bare
	To   *float64 `json:"to,omitempty"`
	Unit string   `json:"unit"`
	Kind string   `json:"kind"` // tap, replace or open
}

type tapsExpected struct {
	Taps       float64 `json:"taps"`
	Minutes    float64 `json:"minutes"`
	Cost       float64 `json:"cost"`
	NewSplices float64 `json:"new_splices"`
}

// planNode is a tap with what to do after each of its answers, or a leaf.
type planNode struct {
	At      *float64    `json:"at,omitempty"`
	ABroken *planNode   `json:"a_broken,omitempty"`
	BBroken *planNode   `json:"b_broken,omitempty"`
	Both    []*planNode `json:"both_broken,omitempty"` // towards A, then towards B
	Replace *[2]float64 `json:"replace,omitempty"`
	By      string      `json:"by,omitempty"` // of a leaf: new wire, or open where the old one is laid bare and mended
}

func newTaps(p *program) *cobra.Command {
	var w wireFlags
	var e evidenceFlags
	var asJSON, all bool
	c := &cobra.Command{
		Use: "taps", Short: "Plan where to open the wire next, and when to stop",
		Long: `Plan where to open the wire next: the place, how many taps, minutes and how much money the search
will take on average, and when to lay a new section instead. At a tap the wire is cut, or an
old splice opened, and tested towards both terminals.`,
		Example: `  loopfault taps --length 480ft --lead-in 40ft --ohms over-range --capacitance 13.9nF,11.2nF
  loopfault taps --yard orchard.yaml --ohms over-range --all`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			i, err := p.investigate(&w, &e)
			if err != nil {
				return err
			}
			if i.found.Where == nil {
				return errNoPlace
			}
			plan := i.plan()
			switch {
			case asJSON:
				return p.printJSON(tapsJSON(plan, i.settings.Units))
			case all:
				p.printExpected(plan, i.settings)
				fmt.Fprintln(p.Out)
				return printPlan(p.Out, plan.Tree, i.settings.Units)
			}
			fmt.Fprintf(p.Out, "next: %s\n", actText(plan.Next, i.settings.Units))
			p.printExpected(plan, i.settings)
			return nil
		},
	}
	w.addYard(c)
	e.add(c)
	addRole(c)
	c.Flags().BoolVar(&all, "all", false, "print the whole plan as a tree, to follow with the program closed")
	jsonFlag(c.Flags(), &asJSON)
	return c
}

// plan is the engine's own plan where it has one in view, else the planner's.
func (i *investigation) plan() locate.Plan {
	if i.found.Plan != nil && i.found.Plan.Tree != nil {
		return *i.found.Plan
	}
	return i.desk.Planner().Plan(i.found.Where.Belief, math.NaN())
}

func (p *program) printExpected(plan locate.Plan, s *Settings) {
	e := plan.Expected
	fmt.Fprintf(p.Out, "expected: %.1f taps, %s, %s, %.1f new splices\n",
		e.Taps, quantity.FormatMinutes(e.Minutes), s.money(e.Money), e.NewSplices)
	if plan.ReplaceNow {
		fmt.Fprintln(p.Out, "searching on costs more than it saves: replace the stretch now")
	}
	if plan.Repeats > 1 {
		fmt.Fprintf(p.Out, "at each open spot test until %d more readings agree than disagree\n", plan.Repeats)
	}
}

// money writes an amount in the user's currency.
func (s *Settings) money(v float64) string { return fmt.Sprintf("%s %.2f", clean(s.Currency), v) }

func actText(a locate.Act, u quantity.Units) string {
	stretch := quantity.FormatRange(a.FromM, a.ToM, u)
	switch a.Kind {
	case locate.ActReplace:
		return "lay a new section, " + stretch
	case locate.ActOpen:
		return "lay the wire bare and mend it, " + stretch
	}
	if a.AtSplice {
		return "open the splice at " + quantity.FormatLength(a.AtM, u) + " and test both ways"
	}
	return "cut at " + quantity.FormatLength(a.AtM, u) + " and test both ways"
}

// printPlan writes the plan as steps that a person follows from the top.
func printPlan(w io.Writer, n *locate.Node, u quantity.Units) error {
	var lines []string
	var walk func(n *locate.Node, depth int, lead string)
	walk = func(n *locate.Node, depth int, lead string) {
		if n == nil {
			return
		}
		indent := strings.Repeat("  ", depth)
		if n.Replace != nil {
			lines = append(lines, indent+lead+actText(*n.Replace, u))
			return
		}
		act := locate.Act{Kind: locate.ActTap, AtM: n.AtM, AtSplice: n.AtSplice}
		lines = append(lines, indent+lead+actText(act, u))
		walk(n.ABroken, depth+1, "towards A broken: ")
		walk(n.BBroken, depth+1, "towards B broken: ")
		if len(n.Both) > 0 {
			lines = append(lines, indent+"  both broken, two breaks:")
			for _, part := range n.Both {
				walk(part, depth+2, "")
			}
		}
	}
	walk(n, 0, "")
	_, err := fmt.Fprintln(w, strings.Join(lines, "\n"))
	return err
}

func tapsJSON(plan locate.Plan, u quantity.Units) tapsResult {
	length := func(m float64) *float64 {
		v := roundTo(u.Of(m), 1)
		return &v
	}
	r := tapsResult{
		Next: tapsNext{Kind: string(plan.Next.Kind), Unit: u.String()},
		Expected: tapsExpected{roundTo(plan.Expected.Taps, 2), roundTo(plan.Expected.Minutes, 1),
			roundTo(plan.Expected.Money, 2), roundTo(plan.Expected.NewSplices, 2)},
		ReplaceNow: plan.ReplaceNow,
		Plan:       planJSON(plan.Tree, u),
	}
	if plan.Next.Kind == locate.ActTap {
		r.Next.At = length(plan.Next.AtM)
	} else {
		r.Next.From, r.Next.To = length(plan.Next.FromM), length(plan.Next.ToM)
		r.Next.At = r.Next.From
	}
	return r
}

func planJSON(n *locate.Node, u quantity.Units) *planNode {
	if n == nil {
		return nil
	}
	if n.Replace != nil {
		stretch := &[2]float64{roundTo(u.Of(n.Replace.FromM), 1), roundTo(u.Of(n.Replace.ToM), 1)}
		by := "new wire"
		if n.Replace.Kind == locate.ActOpen {
			by = "open"
		}
		return &planNode{Replace: stretch, By: by}
	}
	at := roundTo(u.Of(n.AtM), 1)
	out := &planNode{At: &at, ABroken: planJSON(n.ABroken, u), BBroken: planJSON(n.BBroken, u)}
	for _, part := range n.Both {
		out.Both = append(out.Both, planJSON(part, u))
	}
	return out
}
