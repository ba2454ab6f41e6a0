package report

import (
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/locate"
)

// Step is what to do next, ready to read.
type Step struct {
	Title    string
	Why      string
	Do       []string
	Cautions []string
	Minutes  string
	Cost     string
}

// PlanLine is one line of the search plan, indented by depth.
type PlanLine struct {
	Depth int
	Text  string
}

// planDepth is how many answers ahead the plan of a search is told.
const planDepth = 3

func (w *writer) step(r *Record) {
	a := w.a
	if w.halt != nil {
		a = w.halt
	}
	s := a.Step
	r.Next.Why = strings.TrimSpace(a.Why())
	r.Next.Minutes = quantity.FormatMinutes(s.Minutes)
	if s.Cost > 0 {
		r.Next.Cost = w.money(s.Cost)
	}
	switch {
	case s.Check != nil:
		r.Next.Title = w.of(s.Check.Ask)
		r.Next.Do = s.Check.How.For(w.role)
		if s.Kind == diagnose.NextTap && s.AtM != nil {
			r.Next.Title = "Open the wire at " + w.length(*s.AtM) + " and test it both ways."
			if near := w.c.Yard.Near(*s.AtM, w.o.Units); near != "" {
				r.Next.Title += " Near: " + near + "."
			}
		}
	case s.Repair != nil:
		r.Next.Title = sentence(w.of(s.Repair.Name))
		r.Next.Do = s.Repair.Do.For(w.role)
		if s.FromM != nil && s.ToM != nil {
			r.Next.Title += ", " + w.stretch(*s.FromM, *s.ToM)
		} else if s.AtM != nil {
			r.Next.Title += ", at " + w.length(*s.AtM)
		}
		r.Next.Title += "."
	default:
		r.Next.Title = sentence(strings.ReplaceAll(s.ID, "-", " ")) + "."
	}
	for _, id := range s.Cautions {
		r.Next.Cautions = append(r.Next.Cautions, strings.TrimSpace(w.base.CautionText(id, w.role)))
	}
}

func (w *writer) plan(r *Record) {
	p := w.a.Plan
	if p == nil || p.Tree == nil {
		return
	}
	var walk func(n *locate.Node, depth int, lead string)
	walk = func(n *locate.Node, depth int, lead string) {
		if n == nil {
			return
		}
		chance := ""
		if depth > 0 {
			chance = " (" + quantity.FormatPercent(n.Probability) + ")"
		}
		if act := n.Replace; act != nil {
			verb := "lay new wire, "
			if act.Kind == locate.ActOpen {
				verb = "lay the wire bare and mend it, "
			}
			r.Plan = append(r.Plan, PlanLine{depth, lead + verb + w.stretch(act.FromM, act.ToM) + chance})
			return
		}
		if depth == planDepth {
			r.Plan = append(r.Plan, PlanLine{depth, lead + "go on between " + w.stretch(n.FromM, n.ToM) + chance})
			return
		}
		verb := "tap at "
		if n.AtSplice {
			verb = "open the splice at "
		}
		r.Plan = append(r.Plan, PlanLine{depth, lead + verb + w.length(n.AtM) + chance})
		walk(n.ABroken, depth+1, "broken towards A: ")
		walk(n.BBroken, depth+1, "broken towards B: ")
		for i, both := range n.Both {
			if both != nil && depth+1 < planDepth {
				walk(both, depth+1, []string{"both broken, first: ", "then: "}[min(i, 1)])
			}
		}
	}
	walk(p.Tree, 0, "")
}
