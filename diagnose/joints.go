package diagnose

import (
	"cmp"
	"math"
	"slices"

	"loopfault/diagnose/yard"
	"loopfault/kb"
	"loopfault/locate"
)

// WireWork is what a call did to the wire itself, helpful or not. What the case does
// not say the place of is left out.
type WireWork struct {
	Joints []Joint           // new splices that are still in the wire, along it
	Gone   []yard.Feature    // the map's splices that new wire took the place of
	Laid   []locate.Interval // new wire, chainage in m; each leg of a lead-in by itself
	Anew   bool              // the whole loop was laid anew: the map is that of the old one
}

// Joint is a splice at a place of the wire, chainage in m. Where its ends differ, it
// lies somewhere between them: nobody noted where a stretch opened whole was mended.
type Joint struct {
	locate.Interval
	What string // one of the constants below, or the repair as logged
}

// What a joint is that is no repair's own.
const (
	JointTap    = "tap" // the wire was cut there to test it both ways
	JointBegins = "new section begins"
	JointEnds   = "new section ends"
)

// SpliceItem is the item of the knowledge base that a joint is made with.
const SpliceItem = "waterproof-splice"

// sameSpotM is within what two places along the wire are one: what is opened there
// is opened once. Judgement.
const sameSpotM = 0.5

// Joints follows the log of a case in its order: a tap cuts the wire, unless at a
// splice; a repair that takes splices leaves one where it was; new wire has a splice
// at each end that is no terminal, and takes the place of every one before it in
// between. A splice that the map has is not new.
func Joints(base *kb.Base, c *Case) WireWork {
	j := jointer{base: base, yard: c.Yard}
	for _, i := range Kept(c.Log) {
		switch e := c.Log[i]; {
		case e.Answer != nil:
			j.tapped(e.Answer)
		case e.Repair != nil:
			j.repaired(e.Repair)
		}
	}
	return j.work()
}

// jointer follows a log.
type jointer struct {
	base  *kb.Base
	yard  *yard.Map
	made  []Joint
	laid  []locate.Interval
	whole bool // the whole loop is new
}

func (j *jointer) tapped(a *Answer) {
	check := j.base.Check(a.Check)
	if check == nil || check.Kind != kb.Tap || a.Choice != "" || a.AtM == nil {
		return
	}
	at := locate.Interval{FromM: *a.AtM, ToM: *a.AtM}
	// Where this call has made a joint already, it is opened and closed again.
	if !slices.ContainsFunc(j.made, func(m Joint) bool { return same(m.Interval, at) }) {
		j.made = append(j.made, Joint{at, JointTap})
	}
}

func (j *jointer) repaired(d *RepairDone) {
	r := j.base.RepairMade(d.Repair)
	if r == nil {
		return // one of another knowledge base: nobody knows what it takes
	}
	fromM, toM, placed := span(d.AtM, d.FromM, d.ToM)
	at := locate.Interval{FromM: fromM, ToM: toM}
	stretch := placed && fromM < toM
	switch {
	case r.ID == replaceSection && stretch:
		j.lay(at, JointBegins, JointEnds)
	case r.ID == replaceLeadIn:
		leg, known := j.leadIn()
		if stretch {
			leg, known = at, true
		}
		if !known {
			return
		}
		j.lay(leg, r.ID, r.ID)
		if other, ok := j.mirrored(leg); ok && !overlap(leg, other) {
			j.lay(other, r.ID, r.ID)
		}
	case r.ID == replaceLoop && stretch:
		j.lay(at, r.ID, r.ID)
	case r.ID == replaceLoop:
		j.layAll(r.ID)
	case placed && slices.ContainsFunc(r.Uses, func(u kb.Use) bool { return u.Item == SpliceItem }):
		j.mend(at, d.Repair, j.base.Cause(r.Cause))
	}
}

// mend is a repair with splices. One of the lead-in joins both its legs, and one of a
// splice makes the map's splice anew where it lies in the stretch that was opened.
func (j *jointer) mend(at locate.Interval, what string, cause *kb.Cause) {
	if cause != nil && ofSplices(cause) {
		for _, f := range j.yard.FeaturesOf(yard.Splice) {
			if old := (locate.Interval{FromM: f.FromM, ToM: f.ToM}); !f.Unplaced && within(old, at) {
				at = old
			}
		}
	}
	j.put(Joint{at, what})
	if cause != nil && cause.Mirror {
		if other, ok := j.mirrored(at); ok {
			j.put(Joint{other, what})
		}
	}
}

// lay is new wire.
func (j *jointer) lay(v locate.Interval, begins, ends string) {
	j.laid = append(j.laid, v)
	j.made = slices.DeleteFunc(j.made, func(m Joint) bool { return within(m.Interval, v) })
	if v.FromM > sameSpotM {
		j.put(Joint{locate.Interval{FromM: v.FromM, ToM: v.FromM}, begins})
	}
	if total := j.yard.TotalLength(); !total.Known || v.ToM < total.Value-sameSpotM {
		j.put(Joint{locate.Interval{FromM: v.ToM, ToM: v.ToM}, ends})
	}
}

// layAll is a new loop and lead-in, joined where they meet.
func (j *jointer) layAll(what string) {
	j.whole, j.made = true, nil
	if total := j.yard.TotalLength(); total.Known {
		j.laid = append(j.laid, locate.Interval{ToM: total.Value})
	}
	if leg, ok := j.leadIn(); ok {
		j.put(Joint{locate.Interval{FromM: leg.ToM, ToM: leg.ToM}, what})
		if other, ok := j.mirrored(leg); ok {
			j.put(Joint{locate.Interval{FromM: other.FromM, ToM: other.FromM}, what})
		}
	}
}

// put makes a joint; at one that this call made before, it takes its place.
func (j *jointer) put(made Joint) {
	for i, m := range j.made {
		if same(m.Interval, made.Interval) {
			j.made[i] = made
			return
		}
	}
	j.made = append(j.made, made)
}

// leadIn is the leg at terminal A, where its length is known.
func (j *jointer) leadIn() (locate.Interval, bool) {
	leg := j.yard.LeadInLength()
	return locate.Interval{ToM: leg.Value}, leg.Known
}

// mirrored is the same stretch of the lead-in's other leg, where the length of the
// whole wire is known.
func (j *jointer) mirrored(v locate.Interval) (locate.Interval, bool) {
	total := j.yard.TotalLength()
	return locate.Interval{FromM: total.Value - v.ToM, ToM: total.Value - v.FromM}, total.Known
}

// work compares what was made with the map, which may have it from this very call.
func (j *jointer) work() WireWork {
	w := WireWork{Laid: j.laid, Anew: j.whole}
	old := j.yard.FeaturesOf(yard.Splice)
	isOld := func(m Joint) bool {
		return slices.ContainsFunc(old, func(f yard.Feature) bool { return joins(f, m) })
	}
	for _, f := range old {
		gone := j.whole || !f.Unplaced && slices.ContainsFunc(j.laid, func(v locate.Interval) bool {
			return within(locate.Interval{FromM: f.FromM, ToM: f.ToM}, v)
		})
		if gone && !slices.ContainsFunc(j.made, func(m Joint) bool { return joins(f, m) }) {
			w.Gone = append(w.Gone, f)
		}
	}
	w.Joints = slices.DeleteFunc(j.made, isOld)
	slices.SortStableFunc(w.Joints, func(a, b Joint) int { return cmp.Compare(a.FromM, b.FromM) })
	return w
}

// joins tells whether a splice of the map is a joint.
func joins(f yard.Feature, m Joint) bool {
	return !f.Unplaced && same(locate.Interval{FromM: f.FromM, ToM: f.ToM}, m.Interval)
}

// ofSplices tells whether a cause is mostly one of splices.
func ofSplices(c *kb.Cause) bool {
	return slices.ContainsFunc(c.Place, func(p kb.Place) bool { return p.On == string(yard.Splice) && p.Share > 0.5 })
}

func same(a, b locate.Interval) bool {
	return math.Abs(a.FromM-b.FromM) < sameSpotM && math.Abs(a.ToM-b.ToM) < sameSpotM
}

func overlap(a, b locate.Interval) bool { return a.FromM < b.ToM && b.FromM < a.ToM }

// within tells whether a place lies inside a stretch of wire: a spot not at its ends,
// a stretch as a whole.
func within(place, v locate.Interval) bool {
	inset := sameSpotM
	if place.FromM < place.ToM {
		inset = -sameSpotM
	}
	return place.FromM > v.FromM+inset && place.ToM < v.ToM-inset
}
