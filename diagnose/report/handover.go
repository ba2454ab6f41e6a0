package report

import (
	"fmt"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
)

// handoverLines is half a page of A4 at a common size of type.
const handoverLines = 30

// handoverAnswers is up to how many answers a hand-over tells one by one.
const handoverAnswers = 12

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
	if r.Stop != nil {
		p.item("STOP:", r.Stop.Text)
		for _, c := range r.Stop.Cautions {
			p.item("!", c)
		}
		p.blank()
	}
	var causes []string
	for i, c := range r.Causes {
		if i < 3 && (i == 0 || c.Chance >= 0.05) {
			causes = append(causes, fmt.Sprintf("%s (%s)", c.Name, quantity.FormatPercent(c.Chance)))
		}
	}
	if r.Was != "" {
		p.item("Was:", r.Was+".")
	}
	p.item("Proof:", r.Proof)
	if !r.Closed && r.Stop == nil {
		p.item("Likely:", strings.Join(causes, "; "))
	}
	if len(r.Places) > 0 && r.Stop == nil {
		p.item("Where:", r.Places[0])
	}
	if r.Two != "" && r.Stop == nil {
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

	// A long log is cut from its beginning: the latest and the weightiest came last.
	var log []string
	for _, a := range r.Asked {
		log = append(log, a.Label+": "+told(a.Answer)+".")
	}
	dropped := max(len(log)-handoverAnswers, 0)
	if log = log[dropped:]; dropped > 0 {
		p.item("-", fmt.Sprintf("(%d earlier answers in the case file)", dropped))
	}
	for _, d := range r.Done {
		log = append(log, d.String()+".")
	}
	for _, l := range log {
		p.item("-", l)
	}
	if r.Stop != nil {
		p.line("Before the stop it looked like " + strings.Join(causes, "; ") + ".")
	}
	strip := ""
	if r.Stop == nil && r.Scene.Shows() || r.Scene.Next != nil && r.Scene.Next.Done {
		strip = draw.StripText(draw.Scene{Yard: r.Scene.Yard, Units: r.Scene.Units, Belief: r.Scene.Belief, BestM: r.Scene.BestM, Next: r.Scene.Next}, defaultColumns, true)
		strip, _, _ = strings.Cut(strip, "\n\n") // without its key
	}
	var tail page
	tail.columns = defaultColumns
	if len(r.Bring) > 0 {
		tail.item("Bring:", strings.Join(r.Bring, ", "))
	}
	if strip != "" {
		tail.blank()
		tail.raw(strip + "\n")
	}
	// What was ruled out is told as far as the half page goes.
	room := handoverLines - strings.Count(p.String(), "\n") - strings.Count(tail.String(), "\n")
	for _, c := range r.RuledOut {
		var one page
		one.columns = defaultColumns
		one.item("Ruled out:", c.Name+" ("+c.Why+")")
		if room -= strings.Count(one.String(), "\n"); room < 0 {
			break
		}
		p.raw(one.String())
	}
	p.raw(tail.String())
	return p.String()
}
