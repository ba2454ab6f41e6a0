package locate

import (
	"cmp"
	"math"
	"slices"
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

// workspace is what one valuation needs, kept between calls.
type workspace struct {
	below  []float64
	spots  []int
	from   []float64
	likely []likely
	s      search
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

// Exact plans over every line of the site that can be opened, however many. The
// time grows with their cube; it is there to measure what coarsening loses.
func Exact() Option { return func(o *options) { o.exact = true } }

// CoverAll plans to replace every place the fault may be, however unlikely. Otherwise
// improbable ends of a stretch are left to the check after the repair when that is cheaper.
func CoverAll() Option { return func(o *options) { o.cover = true } }

// Opened tells the planner where the wire was cut in this search: a new section
// that ends there needs no further splice.
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
	planSpots   = 160
	exactSpots  = 200 // up to here every line is a spot
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

// cumulate sets below to the probability before each edge of the axis.
func (w *workspace) cumulate(b Belief) {
	if cap(w.below) < len(b.P)+1 {
		w.below = make([]float64, len(b.P)+1)
	}
	w.below = w.below[:len(b.P)+1]
	sum := 0.0
	for i, q := range b.P {
		w.below[i] = sum
		sum += q
	}
	w.below[len(b.P)] = sum
}

// upTo is the probability before chainage x.
func (w *workspace) upTo(a Axis, x float64) float64 {
	u := x / a.StepM()
	i := int(u)
	switch {
	case u <= 0:
		return 0
	case i >= a.Cells:
		return w.below[a.Cells]
	}
	return w.below[i] + (u-float64(i))*(w.below[i+1]-w.below[i])
}

// support is the range of lines outside which each end holds at most tail.
func (p *Planner) support(w *workspace, a Axis, tail float64) (lo, hi int) {
	first, _ := slices.BinarySearchFunc(w.below, tail, func(v, t float64) int {
		if v <= t {
			return -1
		}
		return 1
	})
	last, _ := slices.BinarySearch(w.below, w.below[a.Cells]-tail)
	step := p.lines.stepM
	lo = int(math.Floor(a.Edge(max(first-1, 0))/step + 1e-9))
	hi = int(math.Ceil(a.Edge(min(last, a.Cells))/step - 1e-9))
	lo, hi = max(lo, 0), min(hi, p.lines.n)
	if hi <= lo {
		lo, hi = max(lo-1, 0), min(hi+1, p.lines.n)
	}
	return lo, hi
}

// choose picks lines to open between lo and hi: count of them so that half share
// the length and half the probability between them, each moved to where opening
// is cheap; and the likeliest old splices. The ends stand first and last.
func (p *Planner) choose(w *workspace, a Axis, lo, hi, count, splices int, spots []int) []int {
	l := p.lines
	spots = append(spots, lo, hi)
	lowX, highX := l.xM[lo], l.xM[hi]
	f0 := w.upTo(a, lowX)
	perLength := 0.5 / (highX - lowX)
	perMass := 0.5 / max(w.upTo(a, highX)-f0, 1e-300)
	// Dear ground is no place to tap, but a new section may end there.
	add := func(i int) {
		for _, i := range [2]int{i, int(l.better[i])} {
			if i > lo && i < hi && !math.IsInf(p.tap[i], 1) {
				spots = append(spots, i)
			}
		}
	}
	// Walk the edges of the axis and step over count equal shares of the mixture.
	next, share := 1, 1/float64(count)
	from, to := a.Cell(lowX), a.Cell(highX)
	prevX, prevS := lowX, 0.0
	for c := from + 1; c <= to+1 && next < count; c++ {
		x := min(a.Edge(c), highX)
		s := (x-lowX)*perLength + (w.below[min(c, a.Cells)]-f0)*perMass
		for next < count && s >= float64(next)*share {
			at := x
			if s > prevS {
				at = prevX + (x-prevX)*(float64(next)*share-prevS)/(s-prevS)
			}
			add(int(math.Round(at / l.stepM)))
			next++
		}
		prevX, prevS = x, s
	}
	spots = p.chooseBanks(w, a, lo, hi, 2*splices, spots)
	if len(l.site.SplicesM) > 0 {
		spots = p.chooseSplices(w, a, lo, hi, splices, spots)
	}
	slices.Sort(spots)
	return p.spaced(slices.Compact(spots), a)
}

// likely is something to open with the probability that makes it worth it.
type likely struct {
	index int
	mass  float64
}

// likeliest keeps the most probable few, in falling order.
func likeliest(all []likely, most int) []likely {
	slices.SortStableFunc(all, func(u, v likely) int { return cmp.Compare(v.mass, u.mass) })
	return all[:min(len(all), most)]
}

// chooseSplices adds the likeliest splices between lo and hi.
func (p *Planner) chooseSplices(w *workspace, a Axis, lo, hi, most int, spots []int) []int {
	l := p.lines
	w.likely = w.likely[:0]
	for _, x := range l.site.SplicesM {
		i := int(math.Round(x / l.stepM))
		if i > lo && i < hi && l.splice[i] && !math.IsInf(p.tap[i], 1) {
			w.likely = append(w.likely, likely{i, p.pit(w, a, i)})
		}
	}
	for _, f := range likeliest(w.likely, most) {
		spots = append(spots, f.index)
	}
	return spots
}

// chooseBanks adds the banks with most probability within a few metres, between lo and hi.
func (p *Planner) chooseBanks(w *workspace, a Axis, lo, hi, most int, spots []int) []int {
	const nearM = 3
	l := p.lines
	w.likely = w.likely[:0]
	for _, i := range l.banks {
		if i > lo && i < hi {
			w.likely = append(w.likely, likely{i, w.upTo(a, l.xM[i]+nearM) - w.upTo(a, l.xM[i]-nearM)})
		}
	}
	for _, f := range likeliest(w.likely, most) {
		spots = append(spots, f.index)
	}
	return spots
}

// reach is how far either side of an old splice its opening lays the wire bare.
func (p *Planner) reach(a Axis) float64 { return max(p.lines.stepM, a.StepM()) }

// pit is the probability that opening the splice on line i shows the fault itself.
func (p *Planner) pit(w *workspace, a Axis, i int) float64 {
	x, h := p.lines.xM[i], p.reach(a)
	return w.upTo(a, x+h) - w.upTo(a, x-h)
}

// spaced drops spots that lie in the pit of a splice, keeping both ends.
func (p *Planner) spaced(spots []int, a Axis) []int {
	l, h := p.lines, p.reach(a)
	if len(l.site.SplicesM) == 0 {
		return spots
	}
	inPit := func(i, j int) bool { // i is swallowed by j's pit
		if !l.splice[j] || i == j {
			return false
		}
		d := math.Abs(l.xM[i] - l.xM[j])
		if l.splice[i] {
			return d < 2*h && i > j // of two near splices the first
		}
		return d <= h
	}
	out := spots[:1]
	for k := 1; k < len(spots)-1; k++ {
		i, drop := spots[k], false
		for d := k - 1; d > 0 && !drop && l.xM[i]-l.xM[spots[d]] <= 2*h; d-- {
			drop = inPit(i, spots[d])
		}
		for d := k + 1; d < len(spots)-1 && !drop && l.xM[spots[d]]-l.xM[i] <= 2*h; d++ {
			drop = inPit(i, spots[d])
		}
		if !drop {
			out = append(out, i)
		}
	}
	return append(out, spots[len(spots)-1])
}

// fill states the search over the chosen spots.
func (p *Planner) fill(w *workspace, a Axis, o *options) {
	l, s := p.lines, &w.s
	n := len(w.spots) - 1
	N := n + 1
	s.reset(n)
	c := &l.costs
	s.found = c.CheckMinutes * c.PerMinute
	s.miss = p.miss
	join := c.JoinMinutes*c.PerMinute + c.JoinPrice + c.SpliceLater
	for k := range w.spots {
		s.newEnd[k] = join * p.bare(w.spots[k], o)
	}
	if o.cover || o.noReplace {
		s.miss = math.Inf(1)
	}
	h := p.reach(a)
	for k, i := range w.spots {
		x := l.xM[i]
		if k > 0 && k < n && l.splice[i] {
			s.before[k], s.after[k] = w.upTo(a, x-h), w.upTo(a, x+h)
		} else {
			s.before[k] = w.upTo(a, x)
			s.after[k] = s.before[k]
		}
		s.cost[k] = p.tap[i]
		if k == 0 || k == n {
			s.cost[k] = math.Inf(1)
		}
	}
	perWalk := l.costs.WalkMinutesPerM * l.costs.PerMinute
	for i := range n {
		for j := i + 1; j <= n; j++ {
			if o.noReplace && j > i+1 {
				s.leaf[i*N+j] = math.Inf(1)
			} else {
				s.leaf[i*N+j] = l.end(w.spots[i], w.spots[j], p.bareEnds(w.spots, i, j, o)).money
			}
			d := perWalk * l.distanceM(l.xM[w.spots[i]], l.xM[w.spots[j]])
			s.walk[i*N+j], s.walk[j*N+i] = d, d
		}
		s.walk[i*N+i] = 0
	}
	s.walk[n*N+n] = 0
}

// bareEnds is how many ends of the stretch between spots i and j would need a
// new splice: those at the ends of the search, unless there is one already.
func (p *Planner) bareEnds(spots []int, i, j int, o *options) float64 {
	ends := 0.0
	if i == 0 {
		ends += p.bare(spots[0], o)
	}
	if last := len(spots) - 1; j == last {
		ends += p.bare(spots[last], o)
	}
	return ends
}

// bare is 1 for a line where a new section would need a splice, 0 where the
// wire was opened before, at an old splice, and at the terminals.
func (p *Planner) bare(line int, o *options) float64 {
	if line == 0 || line == p.lines.n || p.lines.splice[line] || slices.Contains(o.opened, line) {
		return 0
	}
	return 1
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
			count = planSpots / 2
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

// place finds the lines that were opened before.
func (p *Planner) place(o *options) {
	for _, x := range o.openedM {
		o.opened = append(o.opened, min(max(int(math.Round(x/p.lines.stepM)), 0), p.lines.n))
	}
}

// withOpened adds the lines opened before to the spots between the first and last.
func (p *Planner) withOpened(spots []int, a Axis, o *options) []int {
	if len(o.opened) == 0 {
		return spots
	}
	lo, hi := spots[0], spots[len(spots)-1]
	for _, i := range o.opened {
		if i > lo && i < hi && !math.IsInf(p.tap[i], 1) {
			spots = append(spots, i)
		}
	}
	slices.Sort(spots)
	return p.spaced(slices.Compact(spots), a)
}

// allLines is every line between lo and hi that can be opened, thinned evenly to
// [maxLines] (splices stay), with the two ends.
func (p *Planner) allLines(a Axis, lo, hi int) []int {
	stride := max((hi-lo+maxLines-1)/maxLines, 1)
	spots := []int{lo}
	for i := lo + 1; i < hi; i++ {
		if math.IsInf(p.tap[i], 1) || (i-lo)%stride != 0 && !p.lines.splice[i] {
			continue
		}
		spots = append(spots, i)
	}
	return p.spaced(append(spots, hi), a)
}

// refine solves again and again with spots round those the plan uses, over a
// thin skeleton that keeps other shapes of plan within reach: ever closer down to single
// lines, then while that still helps.
func (p *Planner) refine(w *workspace, a Axis, stride int, hereM float64, o *options) {
	s := &w.s
	lo, hi, miss := w.spots[0], w.spots[s.n], s.miss
	before, _ := s.root(0, s.n, p.walksFrom(w, hereM))
	const most = 8 // rounds
	for range most {
		stride = max(stride/3, 1)
		used := p.usedSpots(w, hereM)
		spots := p.choose(w, a, lo, hi, planSpots/3, spliceSpots, nil)
		for _, i := range used {
			for d := -3; d <= 3; d++ {
				if j := i + d*stride; j > lo && j < hi && !math.IsInf(p.tap[j], 1) {
					spots = append(spots, j)
				}
			}
		}
		slices.Sort(spots)
		w.spots = append(w.spots[:0], p.withOpened(p.spaced(slices.Compact(spots), a), a, o)...)
		p.fill(w, a, o)
		s.miss = miss
		s.solve()
		now, _ := s.root(0, s.n, p.walksFrom(w, hereM))
		if stride == 1 && now > before*(1-1e-4) {
			return
		}
		before = now
	}
}

// usedSpots lists the lines where the plan would open the wire or begin or end a
// new section, likelier than one in a thousand, at most 48 of them.
func (p *Planner) usedSpots(w *workspace, hereM float64) []int {
	s := &w.s
	N := s.n + 1
	w.likely = w.likely[:0]
	total := s.within(0, s.n)
	use := func(k int, m float64) {
		if k > 0 && k < s.n {
			w.likely = append(w.likely, likely{w.spots[k], m})
		}
	}
	var visit func(i, j, k int)
	visit = func(i, j, k int) {
		m := s.within(i, j)
		if m <= 1e-3*total {
			return
		}
		if k == leafCut {
			if r := s.stretch[i*N+j]; int(r[0]) > i || int(r[1]) < j {
				use(int(r[0]), m)
				use(int(r[1]), m)
			}
			return
		}
		use(k, m)
		visit(i, k, int(s.cutRight[i*N+k]))
		visit(k, j, int(s.cutLeft[j*N+k]))
	}
	_, k := s.root(0, s.n, p.walksFrom(w, hereM))
	visit(0, s.n, k)
	var out []int
	for _, u := range likeliest(w.likely, 48) {
		out = append(out, u.index)
	}
	return out
}

func (p *Planner) walksFrom(w *workspace, hereM float64) []float64 {
	from := make([]float64, len(w.spots))
	for k, i := range w.spots {
		from[k] = p.lines.walkMoney(hereM, p.lines.xM[i])
	}
	return from
}

// assemble reads the plan out of the solved search.
func (p *Planner) assemble(w *workspace, a Axis, hereM float64, o *options) Plan {
	s := &w.s
	_, k := s.root(0, s.n, p.walksFrom(w, hereM))
	t := treeBuilder{p: p, o: o, spots: w.spots, s: s, total: max(s.within(0, s.n), 1e-300)}
	plan := Plan{Repeats: p.noise.lead, Tree: t.node(0, s.n, k, hereM)}
	// What lies beyond the ends of the stretch pays for searching it, too.
	t.missed += max(w.below[a.Cells]-t.total, 0)
	return t.finish(plan, hereM)
}

// finish adds what a miss costs: the search from the beginning.
func (t *treeBuilder) finish(plan Plan, hereM float64) Plan {
	plan.Expected, plan.MissProb = t.sum, t.missed
	if plan.MissProb < 1e-12 {
		plan.MissProb = 0
	}
	if again := t.p.anew; plan.MissProb > 0 {
		// In proportion where a miss was reckoned dearer than a new search.
		dearer := t.s.missOr(t.p.miss) / t.p.miss
		plan.Expected.add(plan.MissProb*dearer, again)
	}
	plan.Next = t.act(plan.Tree, hereM)
	plan.ReplaceNow = plan.Tree != nil && plan.Tree.Replace != nil
	return plan
}

// treeBuilder turns solved tables into nodes and adds up what they cost.
type treeBuilder struct {
	p     *Planner
	o     *options
	spots []int
	s     *search
	total float64

	sum    Expected
	missed float64 // probability that a stretch is replaced in vain
}

// node is the plan between spots i and j, with k tested next by a person at hereM.
func (t *treeBuilder) node(i, j, k int, hereM float64) *Node {
	m := t.s.within(i, j)
	if m <= 0 {
		return nil
	}
	l, N := t.p.lines, t.s.n+1
	n := &Node{FromM: l.xM[t.spots[i]], ToM: l.xM[t.spots[j]], Probability: m / t.total}
	if k == leafCut {
		n.Replace = t.leaf(i, j, n.Probability)
		return n
	}
	line := t.spots[k]
	n.AtM, n.AtSplice = l.xM[line], l.splice[line]
	here := t.s.after[k] - t.s.before[k]
	n.Here = here / m
	t.tap(line, n.Probability, hereM)
	t.sum.add(here/t.total, Expected{Minutes: l.costs.CheckMinutes, Money: t.s.found})
	n.ABroken = t.node(i, k, int(t.s.cutRight[i*N+k]), n.AtM)
	n.BBroken = t.node(k, j, int(t.s.cutLeft[j*N+k]), n.AtM)
	return n
}

func (t *treeBuilder) tap(line int, probability, hereM float64) {
	p := t.p
	walk := p.lines.distanceM(hereM, p.lines.xM[line]) * p.lines.costs.WalkMinutesPerM
	t.sum.add(probability, Expected{
		Taps:       p.perTap,
		Minutes:    p.tapTime[line] + walk,
		Money:      p.tap[line] + walk*p.lines.costs.PerMinute,
		NewSplices: p.perTap * p.lines.joins[line],
	})
}

func (t *treeBuilder) leaf(i, j int, probability float64) *Act {
	r := t.s.stretch[i*(t.s.n+1)+j]
	ends := t.p.bareEnds(t.spots, int(r[0]), int(r[1]), t.o)
	if int(r[0]) > i {
		ends += t.p.bare(t.spots[r[0]], t.o)
	}
	if int(r[1]) < j {
		ends += t.p.bare(t.spots[r[1]], t.o)
	}
	if m := t.s.within(i, j); m > 0 {
		t.missed += probability * max(1-t.s.within(int(r[0]), int(r[1]))/m, 0)
	}
	i, j = int(r[0]), int(r[1])
	e := t.p.lines.end(t.spots[i], t.spots[j], ends)
	t.sum.add(probability, Expected{Minutes: e.minutes, Money: e.money, NewSplices: e.splices})
	return &Act{Kind: e.kind, FromM: t.p.lines.xM[t.spots[i]], ToM: t.p.lines.xM[t.spots[j]], Minutes: e.minutes, Money: e.money}
}

// act is the first step of a plan.
func (t *treeBuilder) act(n *Node, hereM float64) Act {
	if n == nil {
		return Act{}
	}
	if n.Replace != nil {
		return *n.Replace
	}
	l := t.p.lines
	line := min(max(int(math.Round(n.AtM/l.stepM)), 1), l.n-1)
	more := (t.p.noise.reads - 1) * l.costs.ReadMinutes
	walk := l.distanceM(hereM, n.AtM) * l.costs.WalkMinutesPerM
	return Act{
		Kind: ActTap, AtM: n.AtM, AtSplice: n.AtSplice,
		Minutes: l.minutes[line] + more + walk,
		Money:   l.money[line] + (more+walk)*l.costs.PerMinute,
	}
}
