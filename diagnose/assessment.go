package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// Assessment is everything the engine holds after a log.
type Assessment struct {
	Ranking   []CauseChance // falling
	Parts     []PartChance  // falling
	TwoFaults float64
	Where     *Where // nil: no wire fault is likely enough to matter
	Step      Step
	Expected  Expected
	Plan      *locate.Plan // of the search, where one is in view
	Clashes   []Clash

	desk   *Desk
	log    []Entry
	belief *belief
	groups []group
	sample *sample // see sampled
}

// CauseChance is the probability that a cause is present.
type CauseChance struct {
	Cause *kb.Cause
	P     float64
}

// PartChance is the probability that a part holds a fault.
type PartChance struct {
	Part *kb.Part
	P    float64
}

// Where is the place of the wire fault, lengths in metres of chainage.
type Where struct {
	Belief     locate.Belief // the curve along the wire; of two breaks, that of the more certain one
	All        locate.Belief // the same of either of the two
	BestM      float64
	Interval50 locate.Interval
	Interval90 locate.Interval
	Modes      []locate.Mode // the shortest set that holds 90 %
	TwoBreaks  bool          // two breaks are likelier than one
	Two        float64       // the chance of two breaks, if there is a wire fault
}

// Step is what to do next.
type Step struct {
	Kind       NextKind
	ID         string
	Check      *kb.Check  // for a check or tap
	Repair     *kb.Repair // for a repair or general act
	AtM        *float64
	FromM, ToM *float64
	Minutes    float64
	Cost       float64
	Cautions   []string // ids
	Rule       *kb.Rule // the hard rule that made it so, or nil
}

// Clash is an answer that sits badly with the rest.
type Clash struct {
	Entry int // index in the log
	Check *kb.Check
	P     float64 // the chance of the answer, given the rest
}

// Role and Case tell whose assessment it is.
func (a *Assessment) Role() Role  { return a.desk.c.Role }
func (a *Assessment) Case() *Case { return a.desk.c }

// Log is the log that was judged.
func (a *Assessment) Log() []Entry { return a.log }

// P is the probability that a cause is present.
func (a *Assessment) P(cause string) float64 {
	for _, r := range a.Ranking {
		if r.Cause.ID == cause {
			return r.P
		}
	}
	return 0
}

// rank adds up the marginal probabilities.
func (a *Assessment) rank() {
	b := a.belief
	now := a.remaining()
	p := make([]float64, len(b.space.causes))
	parts := map[string]float64{}
	for h, ph := range now {
		hyp := b.space.hyps[h]
		p[hyp.a] += ph
		first := b.space.causes[hyp.a].Part
		parts[first] += ph
		if hyp.b < 0 {
			continue
		}
		a.TwoFaults += ph
		if hyp.b != hyp.a {
			p[hyp.b] += ph
		}
		if second := b.space.causes[hyp.b].Part; second != first {
			parts[second] += ph
		}
	}
	for c := range p {
		a.Ranking = append(a.Ranking, CauseChance{&b.space.causes[c], min(p[c], 1)})
	}
	slices.SortStableFunc(a.Ranking, func(x, y CauseChance) int { return cmp.Compare(y.P, x.P) })
	base := a.desk.engine.kb
	for i := range base.Parts {
		a.Parts = append(a.Parts, PartChance{&base.Parts[i], min(parts[base.Parts[i].ID], 1)})
	}
	slices.SortStableFunc(a.Parts, func(x, y PartChance) int { return cmp.Compare(y.P, x.P) })
}

// remaining is the probability of each hypothesis about what is wrong now,
// after the repairs: the belief speaks of how the case began.
func (a *Assessment) remaining() []float64 {
	b := a.belief
	if len(b.h.repairs) == 0 {
		return b.p
	}
	now := make([]float64, len(b.p))
	for h, p := range b.p {
		if b.mayStay(h) {
			now[h] += p * b.stays[h]
			now[b.space.nothing] += p * (1 - b.stays[h])
			continue
		}
		s := b.stand[h]
		now[s[len(s)-1]] += p
	}
	return now
}

// Initial is the probability that a cause was present when the case began,
// before any repair.
func (a *Assessment) Initial(cause string) float64 {
	var sum float64
	for h, p := range a.belief.p {
		hyp := a.belief.space.hyps[h]
		if a.belief.space.causes[hyp.a].ID == cause || hyp.b >= 0 && a.belief.space.causes[hyp.b].ID == cause {
			sum += p
		}
	}
	return sum
}

// positionMatters is how likely a fault with a place must be for the place to be
// spoken of: below it the curve is mostly prior.
const positionMatters = 0.10

// locate mixes the places of the causes that have one.
func (a *Assessment) locate() {
	b := a.belief
	now := a.remaining()
	weight := make([]float64, len(b.space.causes)) // of each cause's place
	var total, two float64
	for h, ph := range now {
		hyp := b.space.hyps[h]
		if b.jointly(h) {
			two += ph
			total += ph
			continue
		}
		placed := 0
		for _, c := range []int{hyp.a, hyp.b} {
			if c >= 0 && b.place[c] != nil {
				placed++
			}
		}
		for _, c := range []int{hyp.a, hyp.b} {
			if c >= 0 && b.place[c] != nil {
				weight[c] += ph / float64(placed)
			}
		}
		if placed > 0 {
			total += ph
		}
	}
	if total < positionMatters {
		return
	}
	mix := make([]float64, b.axis.Cells)
	for c, w := range weight {
		if w > 0 {
			for x, p := range b.place[c].P {
				mix[x] += w * p
			}
		}
	}
	w := &Where{TwoBreaks: two > total/2, Two: two / total}
	if b.pairs != nil {
		first, second := b.pairs.belief.Left(b.axis), b.pairs.belief.Right(b.axis)
		for x := range mix {
			mix[x] += two * (first.P[x] + second.P[x]) / 2
		}
		if w.TwoBreaks {
			w.Belief = first
			if second.Entropy() < first.Entropy() {
				w.Belief = second
			}
		}
	}
	all := locate.Belief{Axis: b.axis, P: mix}
	normalise(all.P)
	w.All = all
	if !w.TwoBreaks {
		w.Belief = all
	}
	w.BestM = w.Belief.Best()
	w.Interval50, w.Interval90 = w.Belief.Interval(0.5), w.Belief.Interval(0.9)
	w.Modes = all.Modes(0.9)
	a.Where = w
}

func normalise(p []float64) {
	var sum float64
	for _, v := range p {
		sum += v
	}
	for i := range p {
		p[i] /= sum
	}
}

// Place is where a cause would be if it is there; ok is false for a cause
// without a position.
func (a *Assessment) Place(cause string) (locate.Belief, bool) {
	for c := range a.belief.space.causes {
		if a.belief.space.causes[c].ID == cause && a.belief.place[c] != nil {
			return *a.belief.place[c], true
		}
	}
	return locate.Belief{}, false
}

// Model is the physics of the case's wire.
func (a *Assessment) Model() *faultmodel.Model { return a.belief.model }

// Axis is the wire's.
func (a *Assessment) Axis() locate.Axis { return a.belief.axis }

// Result is the assessment as the machine interface gives it.
func (a *Assessment) Result(u quantity.Units) Result {
	r := Result{Case: a.desk.c.Name, Role: a.desk.c.Role, TwoFaults: round(a.TwoFaults, 4),
		Conflicts: []Conflict{}, Cautions: []CautionText{}, Notes: []string{}}
	for _, c := range a.Ranking {
		r.Ranking = append(r.Ranking, RankedCause{c.Cause.ID, round(c.P, 4), c.Cause.Part})
	}
	for _, p := range a.Parts {
		r.Parts = append(r.Parts, RankedPart{p.Part.ID, round(p.P, 4)})
	}
	length := func(m float64) float64 { return round(u.Of(m), 1) }
	if w := a.Where; w != nil {
		p := &Position{Unit: u.String(), Best: length(w.BestM),
			Interval50: [2]float64{length(w.Interval50.FromM), length(w.Interval50.ToM)},
			Interval90: [2]float64{length(w.Interval90.FromM), length(w.Interval90.ToM)},
			Near:       a.desk.c.Yard.Near(w.BestM, u)}
		for _, m := range w.Modes {
			p.Modes = append(p.Modes, Mode{length(m.FromM), length(m.ToM), round(m.Probability, 4)})
		}
		if x, y, ok := a.desk.c.Yard.Place(w.BestM); ok {
			p.Place = &[2]float64{round(a.desk.c.Yard.Units().Of(x), 1), round(a.desk.c.Yard.Units().Of(y), 1)}
		}
		r.Position = p
	}
	optional := func(m *float64) *float64 {
		if m == nil {
			return nil
		}
		v := length(*m)
		return &v
	}
	r.Next = Next{Kind: a.Step.Kind, ID: a.Step.ID, At: optional(a.Step.AtM), From: optional(a.Step.FromM), To: optional(a.Step.ToM),
		Minutes: round(a.Step.Minutes, 1), Cost: round(a.Step.Cost, 2), Why: a.Why()}
	r.Expected = Expected{round(a.Expected.Minutes, 1), round(a.Expected.Cost, 2), round(a.Expected.Taps, 2)}
	for _, c := range a.Clashes {
		r.Conflicts = append(r.Conflicts, Conflict{c.Check.ID, a.ClashText(c)})
	}
	for _, id := range a.Step.Cautions {
		r.Cautions = append(r.Cautions, CautionText{id, a.desk.engine.kb.CautionText(id, string(a.desk.c.Role))})
	}
	r.Notes = append(r.Notes, a.notes()...)
	return r
}

func round(v float64, decimals int) float64 {
	scale := math.Pow(10, float64(decimals))
	return math.Round(v*scale) / scale
}

// phrase fills a sentence of the knowledge base in the role's words.
func (a *Assessment) phrase(id string, fields map[string]string) string {
	s, err := a.desk.engine.kb.Phrase(id, string(a.desk.c.Role), fields)
	if err != nil {
		// The loader checks every phrase; a missing one is a mistake in this program.
		panic(fmt.Sprintf("diagnose: %v", err))
	}
	return s
}
