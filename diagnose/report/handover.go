package report

import (
	"fmt"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
)

// handoverLines is half a page of A4 at a common size of type.
const handoverLines = 30

// Handover is the half page that goes with a call from one person to the next:
// what is known, what was ruled out and why, what to bring.
func (r *Record) Handover() string {
	p := page{columns: defaultColumns}
	head := "Hand-over"
	if r.Case != "" {
		head += ": " + r.Case
	}
	if r.Date != "" {
		head += ", " + r.Date
	}
	p.line(head)
	p.blank()
	var causes []string
	for i, c := range r.Causes {
		if i < 3 && (i == 0 || c.Chance >= 0.05) {
			causes = append(causes, fmt.Sprintf("%s (%s)", c.Name, quantity.FormatPercent(c.Chance)))
		}
	}
	if r.Was != "" {
		p.item("Was:", r.Was+".")
	}
	p.item("Likely:", strings.Join(causes, "; "))
	if len(r.Places) > 0 {
		p.item("Where:", r.Places[0])
	}
	if r.Two != "" {
		p.item("Mind:", r.Two)
	}
	for _, s := range r.Remarks {
		p.item("Mind:", s)
	}
	for _, c := range r.Conflicts {
		p.item("Ask again:", c)
	}
	p.item("Next:", r.Next.Title)
	p.blank()

	// The log is cut from its beginning when it does not fit: the latest and the
	// weightiest came last.
	var log []string
	for _, a := range r.Asked {
		log = append(log, a.Question+" "+a.Answer+".")
	}
	for _, d := range r.Done {
		log = append(log, d.String()+".")
	}
	strip := ""
	if r.Scene.Shows() {
		strip = draw.StripText(draw.Scene{Yard: r.Scene.Yard, Units: r.Scene.Units, Belief: r.Scene.Belief, BestM: r.Scene.BestM, Next: r.Scene.Next}, defaultColumns, true)
		strip, _, _ = strings.Cut(strip, "\n\n") // without its key
	}
	var tail page
	tail.columns = defaultColumns
	for _, c := range r.RuledOut {
		tail.item("Ruled out:", c.Name+" ("+c.Why+")")
	}
	if len(r.Bring) > 0 {
		tail.item("Bring:", strings.Join(r.Bring, ", "))
	}
	if strip != "" {
		tail.blank()
		tail.raw(strip + "\n")
	}
	room := handoverLines - strings.Count(p.String(), "\n") - strings.Count(tail.String(), "\n")
	for dropped := 0; len(log) > 0; dropped++ {
		var known page
		known.columns = defaultColumns
		if dropped > 0 {
			known.item("-", fmt.Sprintf("(%d earlier answers in the case file)", dropped))
		}
		for _, l := range log {
			known.item("-", l)
		}
		if strings.Count(known.String(), "\n") <= room || len(log) == 1 {
			p.raw(known.String())
			break
		}
		log = log[1:]
	}
	p.raw(tail.String())
	return p.String()
}
