package locate

import (
	"cmp"
	"math"
	"slices"
)

// workspace is what one valuation needs, kept between calls.
type workspace struct {
	below  []float64
	spots  []int
	from   []float64
	likely []likely
	s      search
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
		if k == 0 || k == n || slices.Contains(o.opened, i) {
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
