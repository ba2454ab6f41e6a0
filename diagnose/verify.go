package diagnose

import (
	"cmp"
	"math"
	"slices"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
)

// Judgement is what an acceptance item came to.
type Judgement string

// The judgements.
const (
	Pass         Judgement = "pass"
	Fail         Judgement = "fail"
	MeasureAgain Judgement = "measure-again"
	NotDone      Judgement = "not-done"
)

// AcceptanceItem is one thing the acceptance walk asks for. FromM and ToM are the
// stretch it failed on, where it has one.
type AcceptanceItem struct {
	Check      string
	Required   bool
	Judgement  Judgement
	Expected   [2]float64 // SI: the range a sound loop shows in 95 of 100 cases; 0, 0 where it is no number
	Value      float64    // SI
	FromM, ToM *float64
	Worst      float64 // widths: the least width over the one expected there
}

// Acceptance is the whole walk. Only a walk with every required item passed lets
// anyone say that the pet may rely on the boundary.
type Acceptance struct {
	Items []AcceptanceItem
	Pass  bool
}

// The walk's spacing is common practice, no source: a flag every 8 to 10 ft.
const walkStepM = 10 * quantity.MPerFt

const (
	// narrowShare is how much of the expected width a place may have left before
	// it is called narrow.
	narrowShare = 0.6
	// walkRelSD and walkAbsSD (m) are how well a width is measured by walking up to
	// a wire: judgement, as in package faultmodel.
	walkRelSD, walkAbsSD = 0.10, 0.08
	// sureSD is by how many standard deviations a width has to be narrow to fail
	// at once. With 50 places, 0.4 of the width missing and 1.6 standard deviations
	// more, a sound loop of 5 ft fails by chance once in thousands of walks, one of
	// 2 ft once in 50; what is narrow by less is measured again.
	sureSD = 1.6
	// samePlaceM is how near to another a width was measured at the same place.
	samePlaceM = 3 * quantity.MPerFt
	// perhaps is the two-sided chance of a sound loop's reading outside which it is
	// measured again, and 3.09 standard deviations, two in a thousand, is where it
	// fails. With oneSD, the chance below one standard deviation, beyond is the way
	// from 1.96 to 3.09 in steps of that from 1 to 1.96.
	perhaps = 0.05
	oneSD   = 0.1587
	beyond  = (3.09 - 1.96) / (1.96 - 1)
	// mostSpread is the ratio that a step is taken for at the most, where the upper
	// end is over-range.
	mostSpread = 10
)

// clearOfCornerM is how far from a sharp corner a width is measured: nearer, the
// other leg is heard as well, and square to which leg is anybody's guess. A corner
// that points into the yard is measured all the same, being the weakest of all.
const clearOfCornerM = 8 * quantity.MPerFt

// WalkPlaces are the chainages at which the acceptance walk wants a width: every
// 10 ft, but for the corners.
func (d *Desk) WalkPlaces() []float64 {
	from, total := d.wire.yard.LeadInM(), d.wire.axis.LengthM
	n := max(4, int(math.Ceil((total-2*from)/walkStepM)))
	corners := d.wire.yard.Corners(sharpTurnDeg)
	out := make([]float64, n)
	for i := range out {
		at := from + (float64(i)+0.5)/float64(n)*(total-2*from)
		for _, c := range corners {
			if off := at - c.AtM; !c.Reentrant && math.Abs(off) < clearOfCornerM {
				at = c.AtM + math.Copysign(clearOfCornerM, off)
			}
		}
		out[i] = min(max(at, from), total-from)
	}
	slices.Sort(out)
	return out
}

// Verify judges the acceptance walk: the answers given since the last repair
// against the model of a sound loop, or against the recorded baseline where
// there is one (the model holds it). Of a reading or a place measured twice the
// latest holds; a doubt that the second measurement repeats is settled.
func (d *Desk) Verify(log []Entry) Acceptance {
	given := sinceRepair(log)
	var a Acceptance
	a.Items = append(a.Items, signItem(given["continuity-sign"]))
	for _, q := range []faultmodel.Quantity{faultmodel.LoopOhms, faultmodel.LegAToEarth} {
		a.Items = append(a.Items, d.readingItem(q, given[string(q)]))
	}
	a.Items = append(a.Items, d.widthItem(given["tone-walk"]))
	a.Pass = true
	for _, i := range a.Items {
		if i.Judgement == Fail || i.Judgement == MeasureAgain || i.Required && i.Judgement == NotDone {
			a.Pass = false
		}
	}
	return a
}

// sinceRepair are the answers since the last repair, by check, in their order. The
// walk may be logged before or after the entry that says it was done.
func sinceRepair(log []Entry) map[string][]*Answer {
	given := map[string][]*Answer{}
	for _, i := range Kept(log) {
		switch e := log[i]; {
		case e.Repair != nil && e.Repair.Repair != verify && e.Repair.Repair != refer:
			clear(given)
		case e.Answer != nil:
			given[e.Answer.Check] = append(given[e.Answer.Check], e.Answer)
		}
	}
	return given
}

// latest is the last of the answers; nil where there is none.
func latest(answers []*Answer) *Answer {
	if len(answers) == 0 {
		return nil
	}
	return answers[len(answers)-1]
}

func signItem(answers []*Answer) AcceptanceItem {
	a := latest(answers)
	item := AcceptanceItem{Check: "continuity-sign", Judgement: NotDone, Required: true}
	switch {
	case a == nil || a.Choice == Unknown || a.Choice == Later:
	case a.Choice == "none-fitted" || a.Choice == NotApplicable:
		item.Required = false
	case a.Choice == "complete":
		item.Judgement = Pass
	default:
		item.Judgement = Fail
	}
	return item
}

// readingItem judges a reading by where it falls in what a sound loop shows.
func (d *Desk) readingItem(q faultmodel.Quantity, answers []*Answer) AcceptanceItem {
	item := AcceptanceItem{Check: string(q), Judgement: NotDone}
	p := d.wire.model.Predict(q)
	item.Expected = [2]float64{p.Quantile(perhaps / 2), p.Quantile(1 - perhaps/2)}
	a := latest(answers)
	if a == nil || a.Reading == nil {
		return item
	}
	item.Value = a.Reading.Value
	item.Judgement = judged(q, p, a.Reading)
	if n := len(answers); item.Judgement == MeasureAgain && n > 1 && answers[n-2].Reading != nil && judged(q, p, answers[n-2].Reading) == MeasureAgain {
		item.Judgement = Pass // it was no slip: rare, but a sound loop's still
	}
	return item
}

// judged is where a reading falls among those of a sound loop. The model allows one
// reading in a hundred to be of something else altogether, so that no tail of its
// own is thin: the far ends are drawn out from the near ones as a normal law has them.
func judged(q faultmodel.Quantity, p faultmodel.Predictive, r *faultmodel.Reading) Judgement {
	switch {
	case !r.OverRange:
	case q == faultmodel.LoopOhms:
		return Fail // no loop that is whole is beyond an ohmmeter's range
	default:
		return Pass // no leg to earth is too well insulated
	}
	low, nearLow := p.Quantile(perhaps/2), p.Quantile(oneSD)
	high, nearHigh := p.Quantile(1-perhaps/2), p.Quantile(1-oneSD)
	switch v := r.Value; {
	case v < low*math.Pow(low/min(nearLow, mostSpread*low), beyond):
		return Fail
	case v < low:
		return MeasureAgain
	case q == faultmodel.LegAToEarth:
		return Pass
	case v > high*math.Pow(high/nearHigh, beyond):
		return Fail
	case v > high:
		return MeasureAgain
	}
	return Pass
}

// spot is a place of the walk with its latest width, and those measured before, m.
type spot struct {
	faultmodel.Width
	before []float64
}

// width is the width in metres, zero where the collar is silent.
func (s spot) width() float64 {
	if s.Silent {
		return 0
	}
	return s.WidthM
}

// walked gathers the places of all walks, in order along the wire.
func walked(walks []*Answer) []spot {
	var spots []spot
	for _, a := range walks {
		for _, w := range a.Widths {
			k := slices.IndexFunc(spots, func(s spot) bool { return math.Abs(s.AtM-w.AtM) < samePlaceM })
			if k < 0 {
				spots = append(spots, spot{Width: w})
				continue
			}
			spots[k] = spot{w, append(spots[k].before, spots[k].width())}
		}
	}
	slices.SortFunc(spots, func(x, y spot) int { return cmp.Compare(x.AtM, y.AtM) })
	return spots
}

// widthItem compares the walk with the recorded widths, or with itself: a sound
// boundary is about as wide everywhere, but where its shape makes it narrow.
func (d *Desk) widthItem(walks []*Answer) AcceptanceItem {
	item := AcceptanceItem{Check: "tone-walk", Required: true, Judgement: NotDone, Worst: 1}
	if a := latest(walks); a == nil || len(a.Widths) == 0 {
		return item
	}
	spots := walked(walks)
	expected, worst := d.expectedWidths(spots), math.Inf(1)
	item.Judgement = Pass
	for i, s := range spots {
		if expected[i] == 0 {
			item.Judgement, item.Worst = Fail, 0 // silent all along
			return item
		}
		worst = min(worst, s.width()/expected[i])
		found := narrow(s, expected[i])
		if found == Pass || found == MeasureAgain && item.Judgement == Fail {
			continue
		}
		if found != item.Judgement {
			item.Judgement, item.FromM = found, nil // the worst of all is named
		}
		from, to := d.wire.yard.LeadInM(), d.wire.axis.LengthM-d.wire.yard.LeadInM()
		if i > 0 {
			from = spots[i-1].AtM
		}
		if i+1 < len(spots) {
			to = spots[i+1].AtM
		}
		if item.FromM == nil {
			item.FromM = &from
		}
		item.ToM = &to
	}
	item.Worst = min(worst, 1)
	// A walk that leaves more than three steps out has not shown the whole boundary.
	last := d.wire.yard.LeadInM()
	for _, w := range append(spots, spot{Width: faultmodel.Width{AtM: d.wire.axis.LengthM - d.wire.yard.LeadInM()}}) {
		if w.AtM-last > 4*walkStepM && item.Judgement == Pass {
			from, to := last, w.AtM
			item.Judgement, item.FromM, item.ToM = MeasureAgain, &from, &to
		}
		last = w.AtM
	}
	return item
}

// narrow judges one place by the width expected there. What the walk's own error
// may have made narrow is measured again; what is narrow twice fails.
func narrow(s spot, expectedM float64) Judgement {
	least := narrowShare * expectedM
	switch {
	case s.width() >= least:
		return Pass
	case s.width() < least-sureSD*(walkRelSD*expectedM+walkAbsSD):
		return Fail
	case slices.ContainsFunc(s.before, func(widthM float64) bool { return widthM < least }):
		return Fail
	}
	return MeasureAgain
}

// expectedWidths are the widths of a sound boundary, m, at the places of a walk:
// the recorded ones where there are any; else as wide as the middle one of the
// walk itself, and less where the yard's shape makes it narrow.
func (d *Desk) expectedWidths(spots []spot) []float64 {
	at, widths := make([]float64, len(spots)), make([]float64, len(spots))
	for i, s := range spots {
		at[i], widths[i] = s.AtM, s.width()
	}
	shape := make([]float64, len(spots))
	least := 0.0
	if recorded := d.recordedWidths(); recorded != nil {
		for i, x := range at {
			shape[i] = recordedWidth(recorded, x)
		}
		least = 1 // the level counts too, not only the shape
	} else if typical := median(widths); typical > 0 {
		for i := range shape {
			shape[i] = 1
		}
		if byMap := ShapeWidths(d.wire.yard, at, typical); median(byMap) > 0 {
			middle := median(byMap)
			for i, w := range byMap {
				shape[i] = min(max(w/middle, leastWidth), 1) // a corner that is wider need not be
			}
		}
	}
	level := make([]float64, len(spots))
	for i, w := range widths {
		level[i] = w / max(shape[i], 1e-9)
	}
	typical := max(median(level), least)
	for i := range shape {
		shape[i] *= typical
	}
	return shape
}

// leastWidth is the share of a straight run's width that every place has to have,
// whatever its corner: a pet walks through less. Judgement.
const leastWidth = 0.3

// median is the middle one; zero of none.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// recordedWidths are the widths of the baseline in order along the wire; nil where
// none are recorded.
func (d *Desk) recordedWidths() []yard.Width {
	if d.wire.yard == nil || d.wire.yard.Baseline == nil {
		return nil
	}
	ws := slices.DeleteFunc(slices.Clone(d.wire.yard.Baseline.Widths), func(w yard.Width) bool { return !(w.WidthM > 0) })
	if len(ws) == 0 {
		return nil
	}
	slices.SortFunc(ws, func(x, y yard.Width) int { return cmp.Compare(x.AtM, y.AtM) })
	return ws
}

// recordedWidth is the width at a place, between the two nearest records.
func recordedWidth(ws []yard.Width, atM float64) float64 {
	i, _ := slices.BinarySearchFunc(ws, atM, func(w yard.Width, x float64) int { return cmp.Compare(w.AtM, x) })
	switch {
	case i == 0:
		return ws[0].WidthM
	case i == len(ws):
		return ws[len(ws)-1].WidthM
	}
	f := (atM - ws[i-1].AtM) / (ws[i].AtM - ws[i-1].AtM)
	return ws[i-1].WidthM + f*(ws[i].WidthM-ws[i-1].WidthM)
}
