package diagnose

import (
	"math"

	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

const (
	// soilOhm is from where a finite reading over a wire is spoken of as soil: no
	// loop of a yard reads so much, and two bare ends seldom less (electrode formulas).
	soilOhm = 500
	// spoilingOhm is the leg to earth below which a capacitance reading says little
	// of the place: at a handheld meter's 100 Hz to 1 kHz it carries as much current
	// as tens of nanofarads. Common practice, no source.
	spoilingOhm = 1e6
	// wholeTail is how far down in what the whole wire may show the sum of both legs
	// must lie for a stretch between two breaks to be spoken of.
	wholeTail = 0.1
	// galvanicShare is by how much two polarities must differ to be called a cell.
	galvanicShare = 0.05
)

// TwoFaultsNoted is the chance of two faults at once above which a note names them.
const TwoFaultsNoted = 0.3

// notes are what a practitioner would say on seeing the answers: traps avoided,
// and what two answers together mean.
func (a *Assessment) notes() []string {
	b := a.belief
	read := map[faultmodel.Quantity]*faultmodel.Reading{}
	var out []string
	add := func(id string, fields map[string]string) { out = append(out, a.phrase(id, fields)) }
	length := func(m float64) string { return quantity.FormatLength(m, a.units()) }
	away := false
	for _, f := range b.h.facts {
		away = away || f.answer.When == FaultAbsent
		if f.epoch < len(b.h.repairs) {
			continue
		}
		if r := f.answer.Reading; r != nil {
			read[r.Quantity] = r
		}
		if at := f.answer.AtM; at != nil && f.answer.ASide == f.answer.BSide {
			switch f.answer.ASide {
			case locate.Broken:
				add("both-broken", map[string]string{"At": length(*at)})
			case locate.Intact:
				add("both-intact", map[string]string{"At": length(*at)})
			}
		}
	}
	for _, q := range []faultmodel.Quantity{faultmodel.LoopOhms, faultmodel.BoundaryOhms} {
		if r := read[q]; r != nil && !r.OverRange && r.Value > soilOhm && a.breakChance() > 0.5 {
			add("soil-not-continuity", map[string]string{"Reading": quantity.FormatOhms(r.Value)})
			break
		}
	}
	for _, leg := range []struct {
		name    string
		ohms, c faultmodel.Quantity
	}{{"A", faultmodel.LegAToEarth, faultmodel.CapacitanceA}, {"B", faultmodel.LegBToEarth, faultmodel.CapacitanceB}} {
		if r := read[leg.ohms]; r != nil && !r.OverRange && r.Value < spoilingOhm && read[leg.c] != nil {
			add("capacitance-spoiled", map[string]string{"Leg": leg.name, "Reading": quantity.FormatOhms(r.Value)})
		}
	}
	if ca, cb := read[faultmodel.CapacitanceA], read[faultmodel.CapacitanceB]; ca != nil && cb != nil && a.breakChance() > 0.5 {
		// A sound wire shows the same from either end: all of it.
		whole := b.model.Predict(faultmodel.CapacitanceA)
		if sum := ca.Value + cb.Value; sum < whole.Quantile(wholeTail) {
			add("two-opens", map[string]string{"Sum": quantity.FormatFarads(sum), "Whole": quantity.FormatFarads(whole.Quantile(0.5))})
		}
	}
	if r, v := read[faultmodel.LoopOhms], read[faultmodel.LoopOhmsReversed]; r != nil && v != nil && !r.OverRange && !v.OverRange &&
		math.Abs(r.Value-v.Value) > galvanicShare*max(r.Value, v.Value)+1 {
		add("galvanic", map[string]string{"Reading": quantity.FormatOhms(r.Value), "Reversed": quantity.FormatOhms(v.Value)})
	}
	if away {
		add("fault-away", nil)
	}
	if a.TwoFaults > TwoFaultsNoted {
		if this, that, p := a.likeliestPair(); p > 0 {
			add("two-faults", map[string]string{"This": a.causeName(this), "That": a.causeName(that), "Chance": a.chance(a.TwoFaults)})
		}
	}
	return unique(out)
}

// breakChance is the probability that the conductor is parted somewhere.
func (a *Assessment) breakChance() float64 {
	var p float64
	for h, ph := range a.remaining() {
		hyp := a.belief.space.hyps[h]
		if a.belief.isBreak(hyp.a) || hyp.b >= 0 && a.belief.isBreak(hyp.b) {
			p += ph
		}
	}
	return p
}

// likeliestPair is the most probable pair of causes.
func (a *Assessment) likeliestPair() (this, that *kb.Cause, p float64) {
	for h, ph := range a.remaining() {
		if hyp := a.belief.space.hyps[h]; hyp.b >= 0 && ph > p {
			this, that, p = &a.belief.space.causes[hyp.a], &a.belief.space.causes[hyp.b], ph
		}
	}
	return this, that, p
}
