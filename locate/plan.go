package locate

import (
	"math"
	"sync"
)

// ActKind is what is done next along the wire.
type ActKind string

// The acts.
const (
	ActTap     ActKind = "tap"     // cut the wire at AtM, or open the splice there, and test both ways
	ActReplace ActKind = "replace" // lay a new section from FromM to ToM
	ActOpen    ActKind = "open"    // lay the wire bare from FromM to ToM, and mend what is found
)

// Act is one step of the plan. A tap has AtM, the others FromM and ToM.
type Act struct {
	Kind     ActKind
	AtM      float64
	AtSplice bool // the tap opens an old splice
	FromM    float64
	ToM      float64
	Minutes  float64 // this act alone, walk included
	Money    float64 // this act alone, time included
}

// Expected is what the rest of the job takes on average under the plan.
type Expected struct {
	Taps       float64
	Minutes    float64
	Money      float64 // minutes at their rate, material, and what new splices cost later
	NewSplices float64
}

func (e *Expected) add(p float64, d Expected) {
	e.Taps += p * d.Taps
	e.Minutes += p * d.Minutes
	e.Money += p * d.Money
	e.NewSplices += p * d.NewSplices
}

// Node is one step of the whole plan as a tree. A node with a tap branches; a
// leaf has Replace, which may leave out improbable ends of the stretch.
type Node struct {
	AtM         float64 // the tap
	AtSplice    bool
	FromM, ToM  float64 // where the fault may be at this point
	Probability float64 // of coming here
	Here        float64 // of the opened splice itself being the fault, once here
	// ABroken is the plan when the wire towards terminal A is broken, BBroken
	// towards B. Both is the pair of plans, A side first, when both are; it is
	// there only where two breaks are thought possible. nil is an answer that cannot come.
	ABroken *Node
	BBroken *Node
	Both    []*Node
	Replace *Act // a leaf: replace or open
}

// Plan is the next act and what stands behind it.
type Plan struct {
	Next       Act
	Expected   Expected
	ReplaceNow bool
	Tree       *Node
	// Repeats is the lead one answer must have over the other at each open spot.
	Repeats int
	// MissProb is the chance that the stretch replaced in the end does not hold
	// the fault, as the check after the repair will show; its cost is in Expected.
	MissProb float64
}

// Planner plans taps on one site at given costs. It may be shared between goroutines.
type Planner struct {
	lines   *lines
	noise   spotNoise
	miss    float64   // money that replacing the wrong stretch leads to
	anew    Expected  // the same with its minutes, taps and splices
	perTap  float64   // what noise makes of one tap: 1 / Information
	tap     []float64 // money of a tap at each line, repeated readings and noise included
	tapTime []float64 // minutes of the same
	scratch sync.Pool // of *workspace
}

// Option changes one call of [Planner.Plan].
type Option func(*options)

type options struct {
	noReplace bool
	exact     bool
	cover     bool
	coarse    bool // a first choice of spots will do
	openedM   []float64
	opened    []int // lines
	single    *Belief
	share     float64
}

// NoReplace forbids ending the search while it can still be narrowed.
func NoReplace() Option { return func(o *options) { o.noReplace = true } }

// Exact plans over every line of the site that can be opened, up to [maxLines] of
// them. The time grows with their cube; it is there to measure what coarsening loses.
func Exact() Option { return func(o *options) { o.exact = true } }

// CoverAll plans to replace every place the fault may be, however unlikely. Otherwise
// improbable ends of a stretch are left to the check after the repair when that is cheaper.
func CoverAll() Option { return func(o *options) { o.cover = true } }

// Coarse plans over a first choice of spots only: good enough to say what a search
// will take, not where to cut.
func Coarse() Option { return func(o *options) { o.coarse = true } }

// Opened tells the planner where the wire was cut in this search: a new section
// that ends there needs no further splice, and to test there again would meet the same contact.
func Opened(atM ...float64) Option {
	return func(o *options) { o.openedM = append(o.openedM, atM...) }
}

// AlsoSingle makes [Planner.PlanPair] reckon with one fault, believed at b, with
// probability share, besides two.
func AlsoSingle(b Belief, share float64) Option {
	return func(o *options) { o.single, o.share = &b, share }
}

// NewPlanner prepares a site for planning. It panics on a site without length.
func NewPlanner(s Site, c Costs) *Planner {
	p := &Planner{lines: newLines(s, c)}
	p.scratch.New = func() any { return new(workspace) }
	p.setNoise(spotNoise{lead: 1, reads: 1})
	// Who took a wrong turn, or replaced the wrong stretch, searches from the
	// beginning: the fault is where it was not thought to be.
	anywhere := Uniform(NewAxis(s.LengthM, s.StepM))
	roughly := func(o *options) { o.cover, o.coarse = true, true }
	wrongTurn := p.Plan(anywhere, 0, roughly).Expected.Money
	p.setNoise(readSpot(c.TapError, c.PersistentError, c.ReadMinutes*c.PerMinute, wrongTurn))
	p.anew = p.Plan(anywhere, 0, roughly).Expected
	p.miss = p.anew.Money
	return p
}

// setNoise prices taps. An answer that is wrong with probability e carries
// 1 - h2(e) bits, so that a search takes 1 / (1 - h2(e)) times the taps.
func (p *Planner) setNoise(n spotNoise) {
	l := p.lines
	p.noise, p.perTap = n, 1/Information(n.wrong)
	p.tap, p.tapTime = make([]float64, l.n+1), make([]float64, l.n+1)
	more := (n.reads - 1) * l.costs.ReadMinutes
	for i := range p.tap {
		p.tapTime[i] = p.perTap * (l.minutes[i] + more)
		p.tap[i] = p.perTap * (l.money[i] + more*l.costs.PerMinute)
	}
}

// Sizes of the coarse problems. Their sum of cubes keeps a plan below 100 ms and
// a value near 30 us; what is lost against all lines is measured in the tests.
const (
	valueSpots  = 22
	planSpots   = 120
	coarseSpots = 48
	exactSpots  = 150 // up to here every line is a spot
	maxLines    = 1000
	spliceSpots = 24
)

// Value is the expected cost in money of the whole search and repair for one
// fault believed at b, from the transmitter, on a coarse choice of spots.
func (p *Planner) Value(b Belief) float64 {
	w := p.scratch.Get().(*workspace)
	defer p.scratch.Put(w)
	w.cumulate(b)
	lo, hi := p.support(w, b.Axis, 1e-4)
	w.spots = p.choose(w, b.Axis, lo, hi, valueSpots, spliceSpots/5, w.spots[:0])
	p.fill(w, b.Axis, &options{})
	w.s.solve()
	p.raiseMiss(w)
	w.from = w.from[:0]
	for _, i := range w.spots {
		w.from = append(w.from, p.lines.walkMoney(0, p.lines.xM[i]))
	}
	v, _ := w.s.root(0, w.s.n, w.from)
	// What lies beyond the ends of the stretch pays for searching it, too.
	if m := w.s.within(0, w.s.n); m > 0 {
		v += max(w.below[b.Axis.Cells]-m, 0) * (v/m + w.s.missOr(p.miss))
	}
	return v
}

// raiseMiss solves again where the belief is so hard to search that beginning
// again from a flat one would be a bargain: a miss then costs more than the search itself.
func (p *Planner) raiseMiss(w *workspace) {
	s := &w.s
	v := s.left(0, s.n) / max(s.within(0, s.n), 1e-300)
	if math.IsInf(s.miss, 1) || v <= s.miss {
		return
	}
	const dearer = 1.25
	s.miss = dearer * v
	s.solve()
}

// Plan is the plan of least expected cost for one fault believed at b, with the
// person standing at hereM; NaN is at the transmitter.
//
// Up to [exactSpots] lines in the stretch it is exact over all of them.
// Otherwise it is exact over a coarse choice, then over choices refined round the
// cuts the plan uses, down to single lines.
func (p *Planner) Plan(b Belief, hereM float64, opts ...Option) Plan {
	var o options
	for _, f := range opts {
		f(&o)
	}
	if math.IsNaN(hereM) {
		hereM = 0
	}
	w := p.scratch.Get().(*workspace)
	defer p.scratch.Put(w)
	p.place(&o)
	w.cumulate(b)
	a := b.Axis
	tail := 1e-4
	if o.cover {
		tail = 1e-12
	}
	lo, hi := p.support(w, a, tail)

	exact := o.exact
	if all := p.allLines(a, lo, hi); exact || len(all) <= exactSpots && !o.coarse {
		exact = true
		w.spots = append(w.spots[:0], all...)
	} else {
		count := planSpots
		if o.coarse {
			count = coarseSpots
		}
		w.spots = p.choose(w, a, lo, hi, count, spliceSpots, w.spots[:0])
	}
	w.spots = p.withOpened(w.spots, a, &o)
	p.fill(w, a, &o)
	w.s.solve()
	p.raiseMiss(w)
	if !exact && !o.coarse {
		p.refine(w, a, (hi-lo)/planSpots+1, hereM, &o)
	}
	return p.assemble(w, a, hereM, &o)
}
