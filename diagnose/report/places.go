package report

import (
	"slices"
	"strings"

	"loopfault/locate"
)

const (
	leastMode = 0.01 // a stretch less likely than this is not listed
	// mostOfWire is the share of the wire from which an interval says nothing: of a
	// yard nobody knows, a place on an assumed wire is no place at all.
	mostOfWire, mostOfUnknownWire = 0.85, 0.5
	// gappy is how little of an interval its likely stretches may fill before it is
	// told as separate places.
	gappy = 0.6
	// leadInSlack lets a stretch of the lead-in end a little beyond it: its length
	// is not known better.
	leadInSlack = 1.1
)

// modes are the stretches that hold nine tenths together, but for the slivers.
func (w *writer) modes() []locate.Mode {
	return slices.DeleteFunc(slices.Clone(w.a.Where.Modes), func(m locate.Mode) bool { return m.Probability < leastMode })
}

// unplaced tells whether the belief holds no place worth a number.
func (w *writer) unplaced() bool {
	most := mostOfWire
	if !w.c.Yard.BoundaryLength().Known {
		most = mostOfUnknownWire
	}
	total := w.a.Where.Belief.Axis.LengthM
	if w.a.Where.Interval90.LengthM() < most*total {
		return false
	}
	filled := 0.0
	for _, m := range w.modes() {
		filled += m.ToM - m.FromM
	}
	return filled >= gappy*most*total // else it is a few places far apart
}

// mirrored are the two places of one spot of the lead-in, seen on both legs; ok is
// false where the fault may lie elsewhere as well.
func (w *writer) mirrored() (one, other locate.Interval, ok bool) {
	total, near := w.a.Where.Belief.Axis.LengthM, w.c.Yard.LeadInM()*leadInSlack
	widen := func(v *locate.Interval, m locate.Mode) {
		if v.ToM == 0 {
			v.FromM = m.FromM
		}
		v.ToM = m.ToM
	}
	for _, m := range w.modes() {
		switch {
		case m.ToM <= near:
			widen(&one, m)
		case m.FromM >= total-near:
			widen(&other, m)
		default:
			return one, other, false
		}
	}
	return one, other, one.ToM > 0 && other.ToM > 0
}

// places says where, as one place, as several, or as not known.
func (w *writer) places(r *Record) {
	where := w.a.Where
	if where == nil {
		return
	}
	if w.unplaced() {
		r.Places = []string{"The place along the wire is not known yet."}
		return
	}
	modes := w.modes()
	var each []string
	filled := 0.0
	for _, m := range modes {
		each = append(each, w.percentOf(m.FromM, m.ToM, m.Probability))
		filled += m.ToM - m.FromM
	}
	one, other, mirrored := w.mirrored()
	switch {
	case where.TwoBreaks:
		r.Places = append(r.Places, "Two breaks are likely; the stretches that hold nine tenths of both: "+strings.Join(each, ", ")+".")
	case mirrored:
		r.Places = append(r.Places, w.phrase("place-mirrored", map[string]string{
			"One": w.stretch(one.FromM, one.ToM), "Other": w.stretch(other.FromM, other.ToM)}))
	case len(modes) > 1 && filled < gappy*where.Interval90.LengthM():
		r.Places = append(r.Places, "In nine of ten cases "+strings.Join(each[:len(each)-1], ", ")+" or "+each[len(each)-1]+".")
	default:
		r.Places = append(r.Places, w.phrase("place", map[string]string{
			"Best": w.length(where.BestM), "Near": w.c.Yard.Near(where.BestM, w.o.Units),
			"From": w.length(where.Interval90.FromM), "To": w.length(where.Interval90.ToM)}))
		if len(modes) > 1 {
			r.Places = append(r.Places, "Places that hold 90 % together: "+strings.Join(each, ", ")+".")
		}
	}
	r.Places = append(r.Places, w.phrase("chainage", nil))
}
