package diagnose

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/locate"
)

// Every expected place follows from the yard, two legs of 40 ft on a loop of 480 ft
// with splices at 150 and 431 ft, and from what is joined to what: two ends of wire
// by one splice, at a terminal by none.
func TestJoints(t *testing.T) {
	tap := func(atFt float64) Entry {
		return Entry{Answer: &Answer{Check: "tap", AtM: ptr(ft(atFt)), ASide: locate.Intact, BSide: locate.Broken}}
	}
	did := func(repair string, fixed bool, placeFt ...float64) Entry {
		d := &RepairDone{Repair: repair, Fixed: fixed}
		switch len(placeFt) {
		case 1:
			d.AtM = ptr(ft(placeFt[0]))
		case 2:
			d.FromM, d.ToM = ptr(ft(placeFt[0])), ptr(ft(placeFt[1]))
		}
		return Entry{Repair: d}
	}
	undo := Entry{Undo: true}
	volts := tap(200)
	volts.Answer.Choice = "volts-found"

	known := func(more ...yard.Feature) *yard.Map {
		m := plainYard()
		m.Loop.LengthM = ptr(ft(480))
		for _, at := range []float64{150, 431} {
			m.Features = append(m.Features, yard.Feature{FromM: ft(at), ToM: ft(at), Kind: yard.Splice})
		}
		m.Features = append(m.Features, more...)
		return m
	}
	unplaced := yard.Feature{Kind: yard.Splice, ToM: ft(560), Unplaced: true}
	noLeadIn := known()
	noLeadIn.LeadIn = yard.LeadIn{}

	for _, c := range []struct {
		name  string
		yard  *yard.Map // nil: known()
		log   []Entry
		joint []string
		gone  []string
		laid  []string
	}{
		{name: "a tap", log: []Entry{tap(200)}, joint: []string{"200: tap"}},
		{name: "a tap twice at one spot", log: []Entry{tap(200), tap(201)}, joint: []string{"200: tap"}},
		{name: "a tap at a splice", log: []Entry{tap(150), tap(430)}},
		{name: "a tap that was not made", log: []Entry{volts}},
		{name: "a tap taken back", log: []Entry{tap(200), undo}},
		{name: "a tap not taken back twice", log: []Entry{tap(200), tap(300), undo}, joint: []string{"200: tap"}},
		{name: "a splice somewhere is no splice here", yard: known(unplaced), log: []Entry{tap(200)}, joint: []string{"200: tap"}},
		{name: "no map", yard: &yard.Map{}, log: []Entry{tap(150)}, joint: []string{"150: tap"}},

		{name: "a repair", log: []Entry{did("wire-cut", true, 309)}, joint: []string{"309: wire-cut"}},
		{name: "by its full name", log: []Entry{did("repair:wire-cut", true, 309)}, joint: []string{"309: repair:wire-cut"}},
		{name: "one that did not help", log: []Entry{did("wire-cut", false, 309)}, joint: []string{"309: wire-cut"}},
		{name: "a repair taken back", log: []Entry{did("wire-cut", true, 309), undo}},
		{name: "a repair without a place", log: []Entry{did("wire-cut", true)}},
		{name: "a repair without a splice", log: []Entry{did("sharp-corner", true, 200), did("collar-battery", true, 300), did("verify", true, 310)}},
		{name: "a repair of another knowledge base", log: []Entry{did("moles", true, 200)}},
		{name: "a repair where it was tapped", log: []Entry{tap(309), did("wire-cut", true, 310)}, joint: []string{"310: wire-cut"}},
		{name: "a tap where it was mended", log: []Entry{did("wire-cut", false, 310), tap(309)}, joint: []string{"310: wire-cut"}},
		{name: "a splice made anew", log: []Entry{did("splice-open", true, 151)}},
		{name: "along the wire, not as they came", log: []Entry{did("wire-cut", false, 309), tap(100)}, joint: []string{"100: tap", "309: wire-cut"}},

		{name: "a stretch opened whole", log: []Entry{did("wire-cut", true, 297, 290)}, joint: []string{"290 to 297: wire-cut"}},
		{name: "opened whole twice", log: []Entry{did("wire-cut", false, 290, 297), did("conductor-fatigue", true, 290, 297)}, joint: []string{"290 to 297: conductor-fatigue"}},
		{name: "opened whole about a splice", log: []Entry{did("splice-open", true, 147, 153)}},
		{name: "opened whole about a splice that was not it", log: []Entry{did("wire-cut", true, 147, 153)}, joint: []string{"147 to 153: wire-cut"}},
		{name: "a stretch told for a repair without a splice", log: []Entry{did("neighbour-signal", true, 100, 200)}},

		{name: "both legs of the lead-in", log: []Entry{did("lead-in-open", true, 30)}, joint: []string{"30: lead-in-open", "530: lead-in-open"}},
		{name: "the other leg of a lead-in unknown", yard: noLeadIn, log: []Entry{did("lead-in-open", true, 30)}, joint: []string{"30: lead-in-open"}},

		{name: "a new section", log: []Entry{did("replace-section", true, 290, 320)},
			joint: []string{"290: new section begins", "320: new section ends"}, laid: []string{"290 to 320"}},
		{name: "one that did not help either", log: []Entry{did("replace-section", false, 320, 290)},
			joint: []string{"290: new section begins", "320: new section ends"}, laid: []string{"290 to 320"}},
		{name: "what was inside before", log: []Entry{tap(300), did("wire-cut", false, 305), did("wire-cut", false, 310, 316), tap(289), did("replace-section", true, 290, 320)},
			joint: []string{"290: new section begins", "320: new section ends"}, laid: []string{"290 to 320"}},
		{name: "what was outside before", log: []Entry{tap(200), did("replace-section", true, 290, 320)},
			joint: []string{"200: tap", "290: new section begins", "320: new section ends"}, laid: []string{"290 to 320"}},
		{name: "what came inside later", log: []Entry{did("replace-section", false, 290, 320), tap(300)},
			joint: []string{"290: new section begins", "300: tap", "320: new section ends"}, laid: []string{"290 to 320"}},
		{name: "a section over the end of another", log: []Entry{did("replace-section", false, 290, 320), did("replace-section", true, 310, 340)},
			joint: []string{"290: new section begins", "310: new section begins", "340: new section ends"}, laid: []string{"290 to 320", "310 to 340"}},
		{name: "a splice of the map inside", log: []Entry{did("replace-section", true, 140, 160)},
			joint: []string{"140: new section begins", "160: new section ends"}, gone: []string{"150"}, laid: []string{"140 to 160"}},
		{name: "a splice of the map at an end", log: []Entry{did("replace-section", true, 150, 160)},
			joint: []string{"160: new section ends"}, laid: []string{"150 to 160"}},
		{name: "a map that has it already", yard: known(yard.Feature{FromM: ft(290), ToM: ft(290), Kind: yard.Splice},
			yard.Feature{FromM: ft(320), ToM: ft(320), Kind: yard.Splice}, yard.Feature{FromM: ft(300), ToM: ft(300), Kind: yard.Splice}),
			log: []Entry{did("replace-section", false, 290, 320), tap(300)}, laid: []string{"290 to 320"}},
		{name: "from a terminal", log: []Entry{did("replace-section", true, 0, 60)}, joint: []string{"60: new section ends"}, laid: []string{"0 to 60"}},
		{name: "a section of one spot", log: []Entry{did("replace-section", true, 300)}, joint: []string{"300: replace-section"}},

		{name: "a new lead-in", log: []Entry{tap(20), did("replace-lead-in", true)},
			joint: []string{"40: replace-lead-in", "520: replace-lead-in"}, laid: []string{"0 to 40", "520 to 560"}},
		{name: "a part of the lead-in", log: []Entry{did("replace-lead-in", true, 10, 40)},
			joint: []string{"10: replace-lead-in", "40: replace-lead-in", "520: replace-lead-in", "550: replace-lead-in"}, laid: []string{"10 to 40", "520 to 550"}},
		{name: "a new lead-in of unknown length", yard: noLeadIn, log: []Entry{did("replace-lead-in", true)}},

		{name: "a new loop", yard: known(unplaced), log: []Entry{tap(200), did("wire-cut", false, 309), did("replace-section", false, 290, 320), did("replace-loop", true)},
			joint: []string{"40: replace-loop", "520: replace-loop"}, gone: []string{"150", "431", "0 to 560"}, laid: []string{"290 to 320", "0 to 560"}},
		{name: "a tap of the new loop", log: []Entry{did("replace-loop", false), tap(200)},
			joint: []string{"40: replace-loop", "200: tap", "520: replace-loop"}, gone: []string{"150", "431"}, laid: []string{"0 to 560"}},
		{name: "a new loop, at what length nobody knows", yard: noLeadIn, log: []Entry{tap(200), did("replace-loop", true)}, gone: []string{"150", "431"}},
		{name: "a new loop on the old lead-in", log: []Entry{tap(20), tap(200), did("replace-loop", true, 40, 520)},
			joint: []string{"20: tap", "40: replace-loop", "520: replace-loop"}, gone: []string{"150", "431"}, laid: []string{"40 to 520"}},
		{name: "a new loop taken back", log: []Entry{tap(200), did("replace-loop", true), undo}, joint: []string{"200: tap"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := c.yard
			if m == nil {
				m = known()
			}
			w := Joints(newEngine(t).Base(), &Case{Yard: m, Log: c.log})
			place := func(fromM, toM float64) string {
				if fromM == toM {
					return fmt.Sprintf("%.0f", fromM/quantity.MPerFt)
				}
				return fmt.Sprintf("%.0f to %.0f", fromM/quantity.MPerFt, toM/quantity.MPerFt)
			}
			var joint, gone, laid []string
			for _, j := range w.Joints {
				joint = append(joint, place(j.FromM, j.ToM)+": "+j.What)
			}
			for _, f := range w.Gone {
				gone = append(gone, place(f.FromM, f.ToM))
			}
			for _, v := range w.Laid {
				laid = append(laid, place(v.FromM, v.ToM))
			}
			assert.Equal(t, c.joint, joint, "joints")
			assert.Equal(t, c.gone, gone, "gone")
			assert.Equal(t, c.laid, laid, "laid")
		})
	}
	assert.True(t, Joints(newEngine(t).Base(), &Case{Log: []Entry{did("replace-loop", true)}}).Anew)
	assert.False(t, Joints(newEngine(t).Base(), &Case{Log: []Entry{did("replace-section", true, 1, 2)}}).Anew)
	assert.Equal(t, WireWork{}, Joints(newEngine(t).Base(), &Case{}))
}
