package draw

import (
	"cmp"
	"slices"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// Scene is what is known of a wire, as far as it can be drawn.
type Scene struct {
	Yard  *yard.Map
	Units quantity.Units
	// Belief is the probability that the fault lies in each of equal cells along
	// the whole conductor; nil where no wire fault is in view.
	Belief []float64
	BestM  *float64 // the single place to name
	Next   *Next
	Marks  []Mark // evidence with a place, in the order of the answers
}

// Next is where the next step is done: a spot, or a stretch.
type Next struct {
	FromM, ToM float64
	Text       string // "tap", "lay new wire"
	Done       bool   // it is what was done there, not what comes next
}

// label is the next step in a few words: "tap 309 ft".
func (s Scene) label() string {
	const most = 24
	text := []rune(clean(s.Next.Text))
	return string(text[:min(len(text), most)]) + " " + quantity.FormatRange(s.Next.FromM, s.Next.ToM, s.Units)
}

// MarkKind is the sort of an evidence mark.
type MarkKind int

// The sorts of evidence that have a place.
const (
	Spot    MarkKind = iota // something seen or found there
	Stretch                 // work reported, a bridge
	Silent                  // the collar stays silent
	Tap                     // the wire opened and tested both ways
	Repair                  // mended
)

// End is what a tap showed towards one terminal.
type End int

// What a tap can show.
const (
	NotTested End = iota
	Sound
	Broken
)

// Mark is one piece of evidence at a place.
type Mark struct {
	Kind       MarkKind
	FromM, ToM float64
	A, B       End // of a tap
	Text       string
}

// Key is the letter of the mark at an index: a, b, ... z, then aa.
func Key(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return Key(i/26-1) + Key(i%26)
}

// Numbered is a feature with the number that the drawings give it.
type Numbered struct {
	Number  int
	Feature yard.Feature
}

// maxNumbered is how many features a drawing this small can carry.
const maxNumbered = 24

// Features are the yard's features in the order of their numbers.
func (s Scene) Features() []Numbered {
	if s.Yard == nil {
		return nil
	}
	var out []Numbered
	for _, f := range s.Yard.Features {
		if f.Unplaced || len(out) == maxNumbered {
			continue
		}
		// What covers the same stretch is one number: a driveway that is also no-dig.
		same := slices.ContainsFunc(out, func(n Numbered) bool {
			return n.Feature.FromM == f.FromM && n.Feature.ToM == f.ToM
		})
		if !same {
			out = append(out, Numbered{len(out) + 1, f})
		}
	}
	return out
}

// Also lists the kinds of all features that share the stretch of a numbered one.
func (s Scene) Also(n Numbered) []yard.FeatureKind {
	var kinds []yard.FeatureKind
	for _, f := range s.Yard.Features {
		if !f.Unplaced && f.FromM == n.Feature.FromM && f.ToM == n.Feature.ToM {
			kinds = append(kinds, f.Kind)
		}
	}
	return kinds
}

// The levels of belief: how small a set of places the cell belongs to.
const (
	inRest = iota
	in99
	in90
	in50
)

// levels ranks each cell: the most believed half of the probability is in50, the
// rest of the most believed nine tenths in90, and so on. Where nine tenths need
// most of the wire no place stands out, and all is inRest.
func levels(belief []float64) []int {
	out := make([]int, len(belief))
	if slices.ContainsFunc(belief, func(p float64) bool { return !(p >= 0) }) {
		return out // no belief at all
	}
	order := make([]int, len(belief))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(belief[b], belief[a]) })
	const noPlace = 0.85
	sum, cells90 := 0.0, 0
	for start := 0; start < len(order); {
		// Cells as likely as one another share a level: that of the first of them.
		end := start + 1
		for end < len(order) && belief[order[end]] == belief[order[start]] {
			end++
		}
		level := inRest
		switch {
		case sum < 0.5:
			level = in50
		case sum < 0.9:
			level = in90
		case sum < 0.99:
			level = in99
		}
		for _, cell := range order[start:end] {
			out[cell] = level
			sum += belief[cell]
		}
		if level >= in90 {
			cells90 = end
		}
		start = end
	}
	if float64(cells90) > noPlace*float64(len(belief)) && len(belief) > 1 {
		clear(out)
	}
	return out
}

// Shows tells whether the belief makes any place stand out.
func (s Scene) Shows() bool {
	return slices.ContainsFunc(levels(s.Belief), func(l int) bool { return l > inRest })
}

// run is a stretch of wire of one level.
type run struct {
	fromM, toM float64
	level      int
}

// runs cuts the whole conductor into stretches of one level.
func (s Scene) runs() []run {
	total := s.Yard.TotalM()
	if len(s.Belief) == 0 {
		return []run{{0, total, inRest}}
	}
	step := total / float64(len(s.Belief))
	var out []run
	for i, l := range levels(s.Belief) {
		if n := len(out); n > 0 && out[n-1].level == l {
			out[n-1].toM = float64(i+1) * step
			continue
		}
		out = append(out, run{float64(i) * step, float64(i+1) * step, l})
	}
	return out
}

// levelAt is the level of the place at a chainage.
func levelAt(lv []int, atM, totalM float64) int {
	if len(lv) == 0 {
		return inRest
	}
	return lv[min(max(int(atM/totalM*float64(len(lv))), 0), len(lv)-1)]
}

// tick is the round distance that divides a length into at most so many parts.
func tick(length float64, most int) float64 {
	for scale := 0.001; ; scale *= 10 {
		for _, step := range []float64{1, 2, 5} {
			if length <= step*scale*float64(most) {
				return step * scale
			}
		}
	}
}
