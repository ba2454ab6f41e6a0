package trial

import (
	"fmt"
	"math"
	"math/rand/v2"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// Fault is one thing really wrong.
type Fault struct {
	Cause    string
	AtM      float64 // chainage, m; NaN for a cause without a place
	ToM      float64 // the other stretch of two that touch, m; NaN otherwise
	Standing bool    // no repair has ended it yet
}

// Caller is a simulated person with a hidden truth. What a caller answers depends
// on the question and on how often it was asked, not on what else was. It is not
// safe for use by several goroutines.
type Caller struct {
	house   *household
	habits  Habits
	seed    uint64
	faults  []*truth
	asked   map[string]int // how often each question, repair and spot came up
	done    map[string]diagnose.Entry
	told    []string // checks answered by choice, in order
	circuit *faultmodel.World
	volts   bool // someone else's mains on the wire: the first meter reading finds it
}

// truth is a fault and whether it still stands.
type truth struct {
	Fault
	cause    *kb.Cause
	standing bool
}

// strayVolts is how often a utility's or a house's voltage is found on the wire: judgement.
const strayVolts = 0.003

// draw is the n-th caller from a household: the same for the same numbers.
func (w *World) draw(h *household, n int) *Caller {
	seed := source(w.seed, h.c.Name, n).Uint64()
	rng := source(seed, "truth", 0)
	c := newCaller(h, w.habits(h.c.Role), seed)
	for _, id := range h.prior[pick(rng, h.share)].Causes {
		f := Fault{Cause: id, AtM: math.NaN(), ToM: math.NaN()}
		if b, ok := h.desk.PlacePrior(id); ok {
			f.AtM = place(rng, b)
			if cause := w.engine.Base().Cause(id); faultmodel.Kind(cause.Kind) == faultmodel.Touch {
				f.ToM = place(rng, b)
			}
		}
		c.add(f)
	}
	c.volts = chance(rng, strayVolts)
	return c
}

// Draw is the first caller from the household of a number.
func (w *World) Draw(number int) (*Caller, error) {
	h, err := w.household(number)
	if err != nil {
		return nil, err
	}
	return w.draw(h, 0), nil
}

// NewCaller is a caller with a given truth: for the demo, and for tests. The
// case's log is not used.
func NewCaller(e *diagnose.Engine, c diagnose.Case, habits Habits, seed uint64, faults ...Fault) (*Caller, error) {
	c.Log = nil
	h := &household{c: c}
	if err := h.settle(e, &h.c); err != nil {
		return nil, err
	}
	out := newCaller(h, habits, seed)
	for _, f := range faults {
		if e.Base().Cause(f.Cause) == nil {
			return nil, fmt.Errorf("a caller cannot have %q: the knowledge has no such cause", f.Cause)
		}
		out.add(f)
	}
	return out, nil
}

func newCaller(h *household, habits Habits, seed uint64) *Caller {
	return &Caller{house: h, habits: habits, seed: seed, asked: map[string]int{}, done: map[string]diagnose.Entry{}}
}

func (c *Caller) add(f Fault) {
	cause := c.base().Cause(f.Cause)
	c.faults = append(c.faults, &truth{f, cause, f.Cause != nothingWrong})
}

// nothingWrong and somethingElse are the causes that no repair ends.
const (
	nothingWrong  = "nothing-wrong"
	somethingElse = "something-else"
)

// Case is what the caller tells at first: name, role, tools and yard; no log.
func (c *Caller) Case() *diagnose.Case {
	told := c.house.c
	return &told
}

// Truth is what is really wrong; Standing tells which are left.
func (c *Caller) Truth() []Fault {
	var out []Fault
	for _, f := range c.faults {
		f.Fault.Standing = f.standing
		out = append(out, f.Fault)
	}
	return out
}

// Sound tells whether nothing is wrong any more.
func (c *Caller) Sound() bool {
	for _, f := range c.faults {
		if f.standing {
			return false
		}
	}
	return true
}

func (c *Caller) engine() *diagnose.Engine { return c.house.desk.Engine() }
func (c *Caller) base() *kb.Base           { return c.engine().Base() }
func (c *Caller) lengthM() float64         { return c.house.desk.Axis().LengthM }

// standing are the causes that are still there.
func (c *Caller) standing() []string {
	var out []string
	for _, f := range c.faults {
		if f.standing {
			out = append(out, f.Cause)
		}
	}
	return out
}

// again is a random source for the next time a thing is asked.
func (c *Caller) again(what string) *rand.Rand {
	n := c.asked[what]
	c.asked[what]++
	return source(c.seed, what, n)
}

// Answer does what a step asks and says what came of it.
func (c *Caller) Answer(step diagnose.Step) diagnose.Entry {
	switch step.Kind {
	case diagnose.NextCheck, diagnose.NextTap:
		if r := c.seen(step); r != nil {
			return diagnose.Entry{Repair: r}
		}
		a := c.answer(step)
		if check := c.base().Check(a.Check); check.Kind == kb.Choice && check.Answer(a.Choice) != nil {
			c.done[check.ID] = diagnose.Entry{Answer: a}
			c.told = append(c.told, check.ID)
		}
		return diagnose.Entry{Answer: a}
	}
	return diagnose.Entry{Repair: c.repair(step)}
}

func (c *Caller) answer(step diagnose.Step) *diagnose.Answer {
	check := step.Check
	rng := c.again(check.ID)
	a := &diagnose.Answer{Check: check.ID}
	if check.Kind == kb.Tap {
		c.tap(a, step, rng)
		return a
	}
	switch u := rng.Float64(); {
	case u < c.habits.DontKnow:
		a.Choice = diagnose.Unknown
		return a
	case u < c.habits.DontKnow+c.habits.Later && c.asked[check.ID] == 1:
		a.Choice = diagnose.Later
		return a
	}
	switch check.Kind {
	case kb.Choice:
		c.choose(a, check, rng)
	case kb.Reading:
		c.read(a, check, rng)
	case kb.Position:
		c.trace(a, check, rng)
	case kb.Stretch:
		c.stretch(a, check, step, rng)
	case kb.Widths:
		a.Widths = c.world().Widths(c.house.desk.WalkPlaces(), rng)
	}
	return a
}

// choose answers from the tables of the truth, with the person's habits.
func (c *Caller) choose(a *diagnose.Answer, check *kb.Check, rng *rand.Rand) {
	settings := &c.base().Settings
	p := c.engine().AnswerChances(check.ID, "", c.standing()...)
	if chance(rng, c.habits.Moment) && !check.Lasting {
		a.When = diagnose.FaultPresent
		if c.away(rng) {
			a.When = diagnose.FaultAbsent
		}
		p = c.engine().AnswerChances(check.ID, a.When, c.standing()...)
	}
	k := pick(rng, p)
	if shared, ok := c.sameFact(check, rng); ok {
		k = shared
	}
	if chance(rng, c.habits.Unsure) {
		a.Unsure = true
		if chance(rng, settings.Unsure.Value) {
			k = rng.IntN(len(check.Answers))
		}
	}
	a.Choice = check.Answers[k].ID
	if check.Answers[k].Place && chance(rng, c.habits.GivesPlace) {
		c.point(a, check, c.speaksFor(check, a.Choice, rng), rng)
	}
}

// away tells whether every fault hides at this moment.
func (c *Caller) away(rng *rand.Rand) bool {
	for _, f := range c.faults {
		if f.standing && !chance(rng, f.cause.Intermittent.Value) {
			return false
		}
	}
	return true
}

// sameFact is an answer given with the same eyes as an earlier one: only a share
// of it is news; otherwise it is what anybody who gave the first would give to the second.
func (c *Caller) sameFact(check *kb.Check, rng *rand.Rand) (k int, ok bool) {
	if check.Fact == "" || chance(rng, c.base().Settings.SameFactShare.Value) {
		return 0, false
	}
	for _, id := range c.told {
		first := c.base().Check(id)
		if first.ID == check.ID || first.Fact != check.Fact {
			continue
		}
		j := first.AnswerIndex(c.done[id].Answer.Choice)
		weight := make([]float64, len(c.house.prior))
		for h, hyp := range c.house.prior {
			weight[h] = hyp.P * c.engine().AnswerChances(first.ID, "", hyp.Causes...)[j]
		}
		other := c.house.prior[pick(rng, weight)]
		return pick(rng, c.engine().AnswerChances(check.ID, "", other.Causes...)), true
	}
	return 0, false
}

// speaksFor picks a standing fault with a place that an answer bears on; nil where none.
func (c *Caller) speaksFor(check *kb.Check, answer string, rng *rand.Rand) *truth {
	var of []*truth
	for _, f := range c.faults {
		if f.standing && !math.IsNaN(f.AtM) && c.engine().SpeaksFor(check.ID, answer, f.Cause) {
			of = append(of, f)
		}
	}
	if len(of) == 0 {
		return nil
	}
	return of[rng.IntN(len(of))]
}

// point gives a stretch with an answer: about the fault with the check's share,
// anywhere otherwise.
func (c *Caller) point(a *diagnose.Answer, check *kb.Check, f *truth, rng *rand.Rand) {
	length := within(rng, 1, 25) * quantity.MPerFt
	from := rng.Float64() * (c.lengthM() - length)
	if f != nil && chance(rng, check.PlaceShare.Value) {
		from = f.AtM - rng.Float64()*length + check.SpreadFt.Value*quantity.MPerFt*rng.NormFloat64()
	}
	from = min(max(from, 0), c.lengthM()-length)
	to := from + length
	a.FromM, a.ToM = &from, &to
}

// world is the installation as it stands. Its unknowns are the same before and
// after a repair.
func (c *Caller) world() *faultmodel.World {
	if c.circuit == nil {
		var faults []faultmodel.Fault
		for _, f := range c.faults {
			if kind := faultmodel.Kind(f.cause.Kind); f.standing && kind != faultmodel.Healthy {
				faults = append(faults, faultmodel.Fault{Kind: kind, AtM: orZero(f.AtM), ToM: orZero(f.ToM)})
			}
		}
		c.circuit = c.house.desk.Model().Draw(source(c.seed, "installation", 0), faults...)
	}
	return c.circuit
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// read takes a reading from the circuit, or finds volts where there should be none.
func (c *Caller) read(a *diagnose.Answer, check *kb.Check, rng *rand.Rand) {
	if c.volts && check.OnWire && len(check.Answers) > 0 {
		a.Choice = check.Answers[0].ID
		return
	}
	r := c.meter(faultmodel.Quantity(check.Quantity), 0, rng)
	a.Reading = &r
}

// meter is one reading, now and then of something else altogether: anything over
// the twenty e-folds an ohmmeter spans.
func (c *Caller) meter(q faultmodel.Quantity, atM float64, rng *rand.Rand) faultmodel.Reading {
	r := c.world().Read(q, atM, rng)
	if chance(rng, c.habits.Misread) {
		if r.OverRange = chance(rng, 0.2); !r.OverRange {
			r.Value = max(r.Value, 1e-9) * math.Exp(within(rng, -8, 8))
		}
	}
	return r
}

// trace follows the signal fed into end A.
func (c *Caller) trace(a *diagnose.Answer, check *kb.Check, rng *rand.Rand) {
	at := math.Inf(1)
	for _, f := range c.faults {
		if c.isBreak(f) {
			at = min(at, f.AtM)
		}
	}
	stray := rng.Float64() * c.lengthM()
	broken := !math.IsInf(at, 1)
	switch {
	case !chance(rng, locate.Trace{}.Lost(broken)): // what the engine reckons with
		a.Choice = diagnose.Throughout
		return
	case !broken || chance(rng, 1-check.PlaceShare.Value):
		at = stray
	default:
		at = min(max(at+check.SpreadFt.Value*quantity.MPerFt*rng.NormFloat64(), 0), c.lengthM())
	}
	a.AtM, a.End = &at, locate.EndA
}

func (c *Caller) isBreak(f *truth) bool {
	return f.standing && faultmodel.Kind(f.cause.Kind) == faultmodel.Open && !math.IsNaN(f.AtM)
}

// stretch is a silent stretch, or a bridge laid across one.
func (c *Caller) stretch(a *diagnose.Answer, check *kb.Check, step diagnose.Step, rng *rand.Rand) {
	if len(check.Answers) == 0 {
		var of []*truth
		for _, f := range c.faults {
			if f.standing && !math.IsNaN(f.AtM) {
				of = append(of, f)
			}
		}
		if len(of) == 0 {
			a.Choice = diagnose.NotApplicable
			return
		}
		c.point(a, check, of[rng.IntN(len(of))], rng)
		return
	}
	from, to := step.FromM, step.ToM
	if from == nil || to == nil {
		lo := rng.Float64() * c.lengthM() * 0.8
		hi := lo + 0.2*c.lengthM()
		from, to = &lo, &hi
	}
	a.FromM, a.ToM = from, to
	cured, parted := true, false
	for _, f := range c.faults {
		if c.isBreak(f) {
			parted = true
			cured = cured && f.AtM >= *from && f.AtM < *to
		}
	}
	k := 0
	if parted && cured {
		k = 1
	}
	if chance(rng, max(check.Mistake.Value, 0.02)) {
		k = 1 - k
	}
	a.Choice = check.Answers[k].ID
}

// tap cuts the wire and tests both ways. Both sides may mislead: each reading by
// itself, and the spot's contact for as long as it is open.
func (c *Caller) tap(a *diagnose.Answer, step diagnose.Step, rng *rand.Rand) {
	s := &c.base().Settings
	at := *step.AtM
	a.AtM = &at
	var broken [2]bool
	for _, f := range c.faults {
		if c.isBreak(f) {
			if f.AtM < at {
				broken[0] = true
			} else {
				broken[1] = true
			}
		}
	}
	contact := source(c.seed, "contact", int(math.Round(at/quantity.MPerFt)))
	sides := [2]*locate.Side{&a.ASide, &a.BSide}
	for i, side := range sides {
		bad := chance(contact, s.PersistentError.Value)
		wrong := chance(rng, s.TapError.Value)
		*side = locate.Intact
		if broken[i] != bad != wrong {
			*side = locate.Broken
		}
	}
	// Where both sides are whole it is no break that is looked for: ohms tell more.
	if a.ASide == locate.Intact && a.BSide == locate.Intact {
		for _, r := range []struct {
			to **faultmodel.Reading
			q  faultmodel.Quantity
		}{{&a.AOhms, faultmodel.SideAOhms}, {&a.BOhms, faultmodel.SideBOhms}, {&a.AToEarth, faultmodel.SideAToEarth}, {&a.BToEarth, faultmodel.SideBToEarth}} {
			v := c.meter(r.q, at, rng)
			*r.to = &v
		}
	}
}

// seen is the repair of a fault that lies bare in a spot opened for a tap: whoever
// opens the very splice that is bad sees it and mends it. nil where none does.
func (c *Caller) seen(step diagnose.Step) *diagnose.RepairDone {
	if step.Kind != diagnose.NextTap {
		return nil
	}
	for _, f := range c.faults {
		switch faultmodel.Kind(f.cause.Kind) {
		case faultmodel.Open, faultmodel.Series, faultmodel.Leak, faultmodel.Touch:
		default:
			continue
		}
		if f.standing && math.Abs(f.AtM-*step.AtM) <= pitM {
			at := *step.AtM
			mend := diagnose.Step{Kind: diagnose.NextRepair, ID: f.Cause, AtM: &at}
			return c.repair(mend)
		}
	}
	return nil
}

// pitM is how far either side of an opened spot the wire lies bare.
const pitM = 0.3048

// strayCure is the chance that things look right after a repair that did not end
// the fault: what the engine assumes.
const strayCure = 0.02

// repair does a repair and tells whether everything works after it.
func (c *Caller) repair(step diagnose.Step) *diagnose.RepairDone {
	r := &diagnose.RepairDone{Repair: step.ID, AtM: step.AtM, FromM: step.FromM, ToM: step.ToM}
	if step.Repair != nil && step.Repair.Cause != "" {
		r.Repair = step.Repair.Cause
	}
	if c.heard(r.Repair) { // found by the collar on the spot, wherever it was thought to be
		r.AtM, r.FromM, r.ToM = nil, nil, nil
	}
	if at := c.sawIt(r); at != nil { // mended where it is seen, wherever it was paced off to be
		r.AtM, r.FromM, r.ToM = at, nil, nil
	}
	rng := c.again("repair " + r.Repair)
	ended := false
	for _, f := range c.faults {
		if f.standing && c.engine().Ends(r.Repair, f.Cause) && c.reaches(r, f) && chance(rng, c.engine().Success(r.Repair)) {
			f.standing = false
			ended = true
		}
	}
	if ended {
		c.circuit = nil
	}
	r.Fixed = c.Sound()
	if !ended && chance(rng, strayCure) {
		r.Fixed = !r.Fixed
	}
	return r
}

// sawIt is where the fault is that a repair is to mend, if it is what the person saw
// along the wire: nil where it is not.
func (c *Caller) sawIt(r *diagnose.RepairDone) *float64 {
	told, ok := c.done[diagnose.VisibleDamage]
	if !ok || told.Answer == nil || told.Answer.Choice != diagnose.Found || told.Answer.AtM == nil || r.AtM == nil || *r.AtM != *told.Answer.AtM {
		return nil
	}
	spread := c.base().Check(diagnose.VisibleDamage).SpreadFt.Value * quantity.MPerFt
	for _, f := range c.faults {
		if f.standing && c.engine().Ends(r.Repair, f.Cause) && math.Abs(f.AtM-*r.AtM) < 3*spread {
			at := f.AtM
			return &at
		}
	}
	return nil
}

// heard tells whether a cause shows in the field alone, as a stretch where the
// collar goes quiet: whoever comes to mend it walks to where that is.
func (c *Caller) heard(cause string) bool {
	k := c.base().Cause(cause)
	if k == nil {
		return false
	}
	switch faultmodel.Kind(k.Kind) {
	case faultmodel.TooDeep, faultmodel.CloseRun, faultmodel.Corner, faultmodel.MetalAlong, faultmodel.ServiceAlong:
		return true
	}
	return false
}

// reaches tells whether the work done took in the fault's place.
func (c *Caller) reaches(r *diagnose.RepairDone, f *truth) bool {
	if math.IsNaN(f.AtM) || c.heard(f.Cause) {
		return true
	}
	lo, hi := f.AtM, f.AtM
	switch {
	case r.FromM != nil && r.ToM != nil:
		lo, hi = min(*r.FromM, *r.ToM), max(*r.FromM, *r.ToM)
	case r.AtM != nil:
		lo, hi = *r.AtM, *r.AtM
	}
	near := func(x float64) bool { return x >= lo-diagnose.RepairReachM && x <= hi+diagnose.RepairReachM }
	if f.cause.Mirror { // one spot, written down by either of its two chainages
		return near(f.AtM) || near(c.lengthM()-f.AtM)
	}
	return near(f.AtM)
}

// Volunteers is what the caller says unasked before the next question: an answer
// to something else, or the same answer again.
func (c *Caller) Volunteers() []diagnose.Entry {
	rng := c.again("unasked")
	var out []diagnose.Entry
	if len(c.told) > 0 && chance(rng, c.habits.Repeat) {
		out = append(out, c.done[c.told[rng.IntN(len(c.told))]])
	}
	if !chance(rng, c.habits.Volunteer) {
		return out
	}
	var free []*kb.Check
	for i := range c.base().Checks {
		k := &c.base().Checks[i]
		if k.Kind == kb.Choice && len(k.Needs) == 0 && len(k.Tools) == 0 && !k.OnWire && c.asked[k.ID] == 0 {
			free = append(free, k)
		}
	}
	if len(free) > 0 {
		k := free[rng.IntN(len(free))]
		out = append(out, c.Answer(diagnose.Step{Kind: diagnose.NextCheck, ID: k.ID, Check: k}))
	}
	return out
}
