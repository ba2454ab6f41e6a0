package report

import (
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/diagnose/report/draw"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
)

// Key explains a number or letter of the drawings.
type Key struct{ Sign, Text string }

func (w *writer) scene(r *Record) {
	m := w.c.Yard
	if m != nil && w.o.Redact {
		blank := *m
		blank.Name, blank.Loop.Origin = "", nil
		m = &blank
	}
	if m == nil {
		m = &yard.Map{}
	}
	r.Scene = draw.Scene{Yard: m, Units: w.o.Units}
	if where := w.a.Where; where != nil && !w.unplaced() {
		r.Scene.Belief = where.All.P
		if _, _, mirrored := w.mirrored(); !mirrored && !where.TwoBreaks {
			r.Scene.BestM = &where.BestM
		}
	}
	s := w.a.Step
	switch {
	case s.AtM != nil:
		r.Scene.Next = &draw.Next{FromM: *s.AtM, ToM: *s.AtM, Text: "here"}
		if s.Kind == diagnose.NextTap {
			r.Scene.Next.Text = "tap"
		}
	case s.FromM != nil && s.ToM != nil:
		r.Scene.Next = &draw.Next{FromM: *s.FromM, ToM: *s.ToM, Text: "here"}
		if s.Kind == diagnose.NextReplaceSection {
			r.Scene.Next.Text = "new wire"
		}
	}
	for _, n := range r.Scene.Features() {
		text := r.Scene.FeatureText(n)
		if n.Feature.Note != "" && !w.o.Redact {
			text += " (" + n.Feature.Note + ")"
		}
		r.Features = append(r.Features, Key{fmt.Sprint(n.Number), text})
	}
}

// profile is the walk with the collar, beside what a sound loop would show.
func (w *writer) profile(r *Record, widths []faultmodel.Width) {
	m := w.c.Yard
	p := draw.Profile{TotalM: m.TotalM(), LeadInM: m.LeadInM(), Units: w.o.Units}
	var sounding []float64
	for _, x := range widths {
		p.Measured = append(p.Measured, draw.Width{AtM: x.AtM, WidthM: x.WidthM, Silent: x.Silent})
		if !x.Silent {
			sounding = append(sounding, x.WidthM)
		}
	}
	if m != nil && m.Baseline != nil {
		for _, x := range m.Baseline.Widths {
			p.Baseline = append(p.Baseline, draw.Width{AtM: x.AtM, WidthM: x.WidthM})
		}
	}
	if m.HasPath() && len(sounding) > 0 {
		p.Model = modelWidths(m, median(sounding))
	}
	r.Profile = p
}

// modelWidths is the width on the inside of a sound loop of the yard's shape,
// as wide in the middle as was measured; nil where the shape gives none.
func modelWidths(m *yard.Map, reachM float64) []draw.Width {
	const places = 60
	var at []float64
	for i := range places {
		if x := m.LeadInM() + (float64(i)+0.5)/places*m.BoundaryM(); !inCorner(m, x, reachM) {
			at = append(at, x)
		}
	}
	if len(at) == 0 {
		return nil // all corners
	}
	inside := diagnose.ShapeWidths(m, at, reachM)
	if median(inside) == 0 {
		return nil
	}
	// The width control is where it is: only the shape is compared.
	scale := reachM / median(inside)
	out := make([]draw.Width, len(at))
	for i, v := range inside {
		out[i] = draw.Width{AtM: at[i], WidthM: min(v*scale, 2*reachM)}
	}
	return out
}

// inCorner tells whether a place lies in a corner that points out of the yard:
// square off one of its legs the other leg runs alongside, and a width has no
// meaning there.
func inCorner(m *yard.Map, atM, reachM float64) bool {
	const turn = 40 // degrees
	for _, c := range m.Corners(turn) {
		off := math.Abs(atM - c.AtM)
		if off = min(off, m.BoundaryM()-off); !c.Reentrant && off < 2*reachM {
			return true
		}
	}
	return false
}

func median(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}
