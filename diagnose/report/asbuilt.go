package report

import (
	"fmt"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// Field is a line of the as-built record.
type Field struct{ Name, Value string }

func (w *writer) asBuilt(r *Record) {
	m := w.c.Yard
	add := func(name, value string) {
		if value != "" {
			r.AsBuilt = append(r.AsBuilt, Field{name, value})
		}
	}
	length := func(e yard.Estimate) string {
		text := w.length(e.Value) + " ± " + w.length(e.SD)
		if !e.Known {
			text += " (not known, typical)"
		}
		return text
	}
	add("boundary", length(m.BoundaryLength()))
	add("lead-in, each leg", length(m.LeadInLength()))
	work := diagnose.Joints(w.base, w.c)
	for _, j := range work.Joints {
		where := w.length(j.FromM)
		if j.FromM < j.ToM {
			where = "within " + w.stretch(j.FromM, j.ToM)
		}
		add("new splice", where+", "+w.whatJoint(j))
	}
	for _, f := range work.Gone {
		where := w.stretch(f.FromM, f.ToM)
		if f.Unplaced {
			where = "somewhere on the wire"
		}
		add("splice gone", where+", new wire in its place")
	}
	if m == nil {
		return
	}
	var wire []string
	if m.Wire.Gauge.Known() {
		wire = append(wire, m.Wire.Gauge.String())
	}
	for _, word := range []string{m.Wire.Material, m.Wire.Strands} {
		if word != "" {
			wire = append(wire, word)
		}
	}
	add("wire", strings.Join(wire, ", "))
	if m.InstalledYear > 0 {
		add("installed", fmt.Sprint(m.InstalledYear))
	}
	if t := m.Soil.TemperatureC; t != nil {
		add("soil", strings.TrimSuffix(quantity.FormatTemperature(*t, w.o.Units)+", "+m.Soil.Moisture, ", "))
	}
	if b := m.Baseline; b != nil {
		var parts []string
		for _, x := range []struct {
			name, unit string
			r          *yard.Reading
		}{{"loop", "ohm", b.LoopOhms}, {"leg A to earth", "ohm", b.LegAToEarth}, {"capacitance A", "nF", b.CapacitanceA},
			{"capacitance B", "nF", b.CapacitanceB}} {
			if x.r != nil {
				parts = append(parts, x.name+" "+quantity.FormatReading(x.r.Value, x.r.Over, x.unit))
			}
		}
		if n := len(b.Widths); n > 0 {
			parts = append(parts, fmt.Sprintf("%d widths", n))
		}
		text := strings.Join(parts, ", ")
		if b.Date != "" {
			text = strings.TrimSuffix(b.Date+": "+text, ": ")
		}
		add("baseline", text)
	}
	for _, f := range m.Features {
		if f.Unplaced {
			add(string(f.Kind), "somewhere on the wire")
		}
	}
}

// whatJoint says what a joint is.
func (w *writer) whatJoint(j diagnose.Joint) string {
	switch {
	case j.What == diagnose.JointTap:
		return "where it was tapped"
	case w.base.RepairMade(j.What) != nil:
		return w.words().Repair(&diagnose.RepairDone{Repair: j.What})
	}
	return j.What
}
