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
	// narrowShare is how much of the expected width a place may lose before it
	// fails: the walk's own error is about a tenth, see package faultmodel.
	narrowShare = 0.6
	// surely and perhaps are the two-sided chances of a sound loop's reading
	// outside which an item fails, or is measured again.
	surely  = 0.002
	perhaps = 0.05
)

// WalkPlaces are the chainages at which the acceptance walk wants a width.
func (d *Desk) WalkPlaces() []float64 {
	from, total := d.wire.yard.LeadInM(), d.wire.axis.LengthM
	n := max(4, int(math.Ceil((total-2*from)/walkStepM)))
	out := make([]float64, n)
	for i := range out {
		out[i] = from + (float64(i)+0.5)/float64(n)*(total-2*from)
	}
	return out
}

// Verify judges the acceptance walk: the answers given since the last repair
// against the model of a sound loop, or against the recorded baseline where
// there is one (the model holds it).
func (d *Desk) Verify(log []Entry) Acceptance {
	h := d.engine.read(log)
	epoch := len(h.repairs)
	// The walk may be logged before or after the verify entry itself.
	for epoch > 0 && h.repairs[epoch-1].Repair == verify {
		epoch--
	}
	latest := map[string]*Answer{}
	for _, f := range h.facts {
		if f.epoch >= epoch {
			latest[f.answer.Check] = f.answer
		}
	}
	var a Acceptance
	a.Items = append(a.Items, signItem(latest["continuity-sign"]))
	for _, q := range []faultmodel.Quantity{faultmodel.LoopOhms, faultmodel.LegAToEarth} {
		a.Items = append(a.Items, d.readingItem(q, latest[string(q)]))
	}
	a.Items = append(a.Items, d.widthItem(latest["tone-walk"]))
	a.Pass = true
	for _, i := range a.Items {
		if i.Judgement == Fail || i.Judgement == MeasureAgain || i.Required && i.Judgement == NotDone {
			a.Pass = false
		}
	}
	return a
}

func signItem(a *Answer) AcceptanceItem {
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
func (d *Desk) readingItem(q faultmodel.Quantity, a *Answer) AcceptanceItem {
	item := AcceptanceItem{Check: string(q), Judgement: NotDone}
	p := d.wire.model.Predict(q)
	item.Expected = [2]float64{p.Quantile(perhaps / 2), p.Quantile(1 - perhaps/2)}
	if a == nil || a.Reading == nil {
		return item
	}
	item.Value = a.Reading.Value
	var below float64
	if a.Reading.OverRange {
		below = 1 - p.OverRange/2
	} else {
		below = p.Probability(0, a.Reading.Value)
	}
	tail := min(below, 1-below)
	if toEarth := q == faultmodel.LegAToEarth; toEarth && below > 0.5 {
		tail = 0.5 // no leg to earth is too well insulated
	}
	switch {
	case tail < surely/2:
		item.Judgement = Fail
	case tail < perhaps/2:
		item.Judgement = MeasureAgain
	default:
		item.Judgement = Pass
	}
	return item
}

// widthItem compares the walk with the recorded widths, or with itself: a sound
// boundary is about as wide everywhere.
func (d *Desk) widthItem(a *Answer) AcceptanceItem {
	item := AcceptanceItem{Check: "tone-walk", Required: true, Judgement: NotDone, Worst: 1}
	if a == nil || len(a.Widths) == 0 {
		return item
	}
	walked := slices.Clone(a.Widths)
	slices.SortFunc(walked, func(x, y faultmodel.Width) int { return cmp.Compare(x.AtM, y.AtM) })
	share := make([]float64, len(walked))
	for i, w := range walked {
		if !w.Silent {
			share[i] = w.WidthM / d.expectedWidth(w.AtM)
		}
	}
	sorted := slices.Clone(share)
	slices.Sort(sorted)
	typical := sorted[len(sorted)/2]
	item.Judgement = Pass
	if typical == 0 {
		item.Judgement, item.Worst = Fail, 0
		return item
	}
	// With a baseline the level counts too, not only the shape.
	if d.baselineWidths() {
		typical = max(typical, 1)
	}
	for i, s := range share {
		item.Worst = min(item.Worst, s/typical)
		if s >= narrowShare*typical {
			continue
		}
		item.Judgement = Fail
		from, to := d.wire.yard.LeadInM(), d.wire.axis.LengthM-d.wire.yard.LeadInM()
		if i > 0 {
			from = walked[i-1].AtM
		}
		if i+1 < len(walked) {
			to = walked[i+1].AtM
		}
		if item.FromM == nil {
			item.FromM = &from
		}
		item.ToM = &to
	}
	// A walk that leaves more than three steps out has not shown the whole boundary.
	last := d.wire.yard.LeadInM()
	for _, w := range append(walked, faultmodel.Width{AtM: d.wire.axis.LengthM - d.wire.yard.LeadInM()}) {
		if w.AtM-last > 4*walkStepM && item.Judgement == Pass {
			from, to := last, w.AtM
			item.Judgement, item.FromM, item.ToM = MeasureAgain, &from, &to
		}
		last = w.AtM
	}
	return item
}

func (d *Desk) baselineWidths() bool {
	return d.wire.yard != nil && d.wire.yard.Baseline != nil && len(d.wire.yard.Baseline.Widths) > 0
}

// expectedWidth is the recorded width at a place, between the two nearest
// records; 1 m everywhere where nothing is recorded.
func (d *Desk) expectedWidth(atM float64) float64 {
	if !d.baselineWidths() {
		return 1
	}
	ws := slices.Clone(d.wire.yard.Baseline.Widths)
	slices.SortFunc(ws, func(x, y yard.Width) int { return cmp.Compare(x.AtM, y.AtM) })
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
