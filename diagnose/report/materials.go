package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// Material is a line of the bill.
type Material struct{ Name, Amount, Price string }

// slack is how much longer a new section is than the stretch it replaces.
// Common practice, no source.
const slack = 1.1

// wireItem is what a section takes by the foot.
const wireItem = "boundary-wire"

// materials is the bill of what the next step, or else the likeliest repair, takes.
func (w *writer) materials(r *Record) {
	repair := w.a.Step.Repair
	if !r.Closed && (repair == nil || len(repair.Uses) == 0 && w.a.Step.Kind != diagnose.NextReplaceSection) {
		repair = w.base.Repair("repair:" + w.a.Ranking[0].Cause.ID)
	}
	b := bill{w: w}
	if repair != nil {
		b.uses(repair)
	}
	if s := w.a.Step; s.Kind == diagnose.NextReplaceSection && s.FromM != nil && s.ToM != nil {
		b.section(*s.FromM, *s.ToM)
	}
	if p := w.a.Plan; p != nil && w.a.Step.Kind == diagnose.NextTap {
		b.add(diagnose.SpliceItem, math.Ceil(p.Expected.NewSplices)-b.amounts[diagnose.SpliceItem])
	}
	r.Materials, r.Total = b.lines()
	w.bring(r, repair)
}

// used is the bill of what the repairs of this call took.
func (w *writer) used(r *Record) {
	b := bill{w: w}
	for _, i := range w.kept() {
		e := w.a.Log()[i]
		if !repaired(e) {
			continue
		}
		if known := w.base.RepairMade(e.Repair.Repair); known != nil {
			b.uses(known)
		}
	}
	work := diagnose.Joints(w.base, w.c)
	for _, v := range work.Laid {
		b.section(v.FromM, v.ToM)
	}
	if len(b.order) == 0 {
		return
	}
	for _, j := range work.Joints {
		if j.What == diagnose.JointTap {
			b.add(diagnose.SpliceItem, 1)
		}
	}
	r.Used, r.UsedTotal = b.lines()
}

// bring lists what a technician needs in the hand for the next step and the
// likeliest repair.
func (w *writer) bring(r *Record, repair *kb.Repair) {
	var tools []string
	if c := w.a.Step.Check; c != nil {
		tools = append(tools, c.Tools...)
	}
	if repair != nil {
		tools = append(tools, repair.Tools...)
	}
	if w.a.Where != nil && !r.Closed {
		tools = append(tools, "meter", "spade", "splice-kit", "temporary-wire")
	}
	for _, id := range tools {
		name := strings.ReplaceAll(id, "-", " ")
		if t := w.base.Tool(id); t != nil {
			name = w.of(t.Name)
		}
		if !slices.Contains(r.Bring, name) {
			r.Bring = append(r.Bring, name)
		}
	}
	for _, m := range r.Materials {
		r.Bring = append(r.Bring, m.Amount+" x "+m.Name)
	}
}

// bill adds up materials.
type bill struct {
	w       *writer
	amounts map[string]float64
	order   []string
}

func (b *bill) add(item string, n float64) {
	if n <= 0 {
		return
	}
	if b.amounts == nil {
		b.amounts = map[string]float64{}
	}
	if _, seen := b.amounts[item]; !seen {
		b.order = append(b.order, item)
	}
	b.amounts[item] += n
}

func (b *bill) uses(r *kb.Repair) {
	for _, u := range r.Uses {
		b.add(u.Item, u.Quantity)
	}
}

// section adds the wire of a new section.
func (b *bill) section(fromM, toM float64) {
	b.add(wireItem, math.Ceil(math.Abs(toM-fromM)*slack/quantity.MPerFt))
}

// lines are the bill's lines and their sum, the sum only where all have a price.
func (b *bill) lines() (lines []Material, sum string) {
	total, priced := 0.0, true
	for _, id := range b.order {
		n := b.amounts[id]
		m := Material{Name: strings.ReplaceAll(id, "-", " "), Amount: fmt.Sprintf("%g", n)}
		if item := b.w.base.Item(id); item != nil {
			m.Name = b.w.of(item.Name)
			if item.Unit == "ft" {
				m.Amount = quantity.FormatLength(n*quantity.MPerFt, b.w.o.Units)
			}
			m.Price = b.w.money(n * item.Price.Value)
			total += n * item.Price.Value
		} else {
			priced = false
		}
		if id == wireItem && b.w.c.Yard != nil && b.w.c.Yard.Wire.Gauge.Known() {
			m.Name += ", " + b.w.c.Yard.Wire.Gauge.String()
		}
		lines = append(lines, m)
	}
	if priced && len(lines) > 0 {
		sum = b.w.money(total)
	}
	return lines, sum
}
