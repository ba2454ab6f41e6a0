package locate

import "math"

// lines is a site worked out for planning: the wire ruled into lines a step
// apart, what it costs to open each, and running sums that give the price of a
// new section between any two in constant time.
type lines struct {
	site  Site
	costs Costs
	stepM float64
	n     int // lines are 0 to n; 0 and n are the terminals

	xM      []float64 // chainage: the line's, or that of the splice on it
	splice  []bool
	minutes []float64 // one tap there, further readings and travel apart; +Inf cannot be tapped
	money   []float64 // the same with time and material
	joins   []float64 // new splices a tap there leaves
	weighM  []float64 // metres of turf that take as long to trench as the wire up to this line
	banks   []int     // lines next to where the ground changes
	better  []int32   // the line near this one that is best opened instead

	ratio [][]float64 // straight line over wire length on a coarse lattice; nil without a map
}

// chordLattice is the number of steps of the lattice on which the map's straight
// lines are looked up once. Bilinear in between: 1/64 of a loop is a few metres.
const chordLattice = 64

func newLines(s Site, c Costs) *lines {
	a := NewAxis(s.LengthM, s.StepM)
	l := &lines{site: s, costs: c, stepM: a.StepM(), n: a.Cells}
	N := l.n + 1
	l.xM, l.minutes, l.money = make([]float64, N), make([]float64, N), make([]float64, N)
	l.joins, l.weighM, l.splice, l.better = make([]float64, N), make([]float64, N), make([]bool, N), make([]int32, N)
	if s.ChordM != nil {
		l.ratio = make([][]float64, chordLattice+1)
		for i := range l.ratio {
			l.ratio[i] = make([]float64, chordLattice+1)
		}
		for i := range l.ratio {
			l.ratio[i][i] = 1
			for j := range i {
				a, b := s.LengthM*float64(j)/chordLattice, s.LengthM*float64(i)/chordLattice
				r := s.ChordM(a, b) / (b - a)
				if !(r >= 0 && r <= 1) {
					r = 1 // a straight line is never longer than the wire
				}
				l.ratio[i][j], l.ratio[j][i] = r, r
			}
		}
	}
	surface, noDig := l.surfaces()
	for i := range N {
		l.xM[i] = a.Edge(i)
		if i > 0 {
			// A segment takes the surface under its middle.
			l.weighM[i] = l.weighM[i-1] + l.stepM*l.trenchFactor(surface[2*i-1], noDig[2*i-1])
		}
		l.minutes[i] = c.TapMinutes + l.digMinutes(surface[2*i]) + c.JoinsPerTap*c.JoinMinutes
		l.joins[i] = c.JoinsPerTap
		if noDig[2*i] || i == 0 || i == l.n {
			l.minutes[i] = math.Inf(1)
		}
	}
	for _, x := range s.SplicesM {
		if x <= 0 || x >= s.LengthM {
			continue
		}
		i := min(max(int(math.Round(x/l.stepM)), 1), l.n-1)
		over, closed := l.over(x)
		if closed || i < 1 {
			continue
		}
		l.xM[i], l.splice[i] = x, true
		l.minutes[i] = c.OpenSpliceMinutes + l.digMinutes(over) + c.JoinMinutes
		l.joins[i] = 0 // the old one is made anew
	}
	for i := range N {
		if far := l.distanceM(0, l.xM[i]); s.TempWireM > 0 && far > s.TempWireM {
			l.minutes[i] = math.Inf(1)
		} else {
			l.minutes[i] += c.LayMinutesPerM * far
		}
		joinPrice := c.JoinsPerTap * c.JoinPrice
		if l.splice[i] {
			joinPrice = c.JoinPrice
		}
		l.money[i] = l.minutes[i]*c.PerMinute + joinPrice + l.joins[i]*c.SpliceLater
	}
	l.findBanks()
	l.nearestBetter()
	return l
}

// findBanks lists the lines that can be opened nearest to where opening or
// trenching changes price markedly, on either side: the edges of a drive, a bed,
// a no-dig zone, where a plan that must cross it wants to cut.
func (l *lines) findBanks() {
	const marked = 1.3
	differ := func(u, v float64) bool { return u > marked*v || v > marked*u }
	slope := func(i int) float64 { return l.weighM[i+1] - l.weighM[i] }
	add := func(i int) {
		if i > 0 && i < l.n && (len(l.banks) == 0 || l.banks[len(l.banks)-1] < i) {
			l.banks = append(l.banks, i)
		}
	}
	for i := 1; i < l.n; i++ {
		if l.splice[i] || l.splice[i-1] || !differ(slope(i), slope(i-1)) && !differ(l.money[i], l.money[i-1]) {
			continue
		}
		before, after := i-1, i
		for before > 0 && math.IsInf(l.money[before], 1) {
			before--
		}
		for after < l.n && math.IsInf(l.money[after], 1) {
			after++
		}
		add(before)
		add(after)
	}
}

// surfaces lists surface and no-dig at every half step: lines at even, segment middles at odd places.
func (l *lines) surfaces() (surface []string, noDig []bool) {
	surface, noDig = make([]string, 2*l.n+1), make([]bool, 2*l.n+1)
	for i := range surface {
		surface[i], noDig[i] = l.over(float64(i) * l.stepM / 2)
	}
	return surface, noDig
}

// over is what lies over the wire at x, and whether it may not be opened.
func (l *lines) over(x float64) (surface string, noDig bool) {
	surface = "turf"
	const rounding = 1e-9
	for _, z := range l.site.Zones {
		if x < min(z.FromM, z.ToM)-rounding || x > max(z.FromM, z.ToM)+rounding {
			continue
		}
		if z.Surface != "" {
			surface = z.Surface
		}
		noDig = noDig || z.NoDig
	}
	return surface, noDig
}

func (l *lines) digMinutes(surface string) float64 {
	if m, ok := l.costs.DigMinutes[surface]; ok {
		return m
	}
	return l.costs.DigMinutes["turf"]
}

func (l *lines) trenchFactor(surface string, noDig bool) float64 {
	f, ok := l.costs.TrenchFactor[surface]
	if !ok {
		f = 1
	}
	if noDig {
		d := l.costs.NoDigFactor
		if d == 0 {
			d = 5
		}
		f = max(f, d)
	}
	return f
}

// nearestBetter finds for each line the one whose lower price outweighs the
// longer stretch that is left: half the trench of the way moved.
func (l *lines) nearestBetter() {
	perLine := l.costs.PerMinute * l.costs.TrenchMinutesPerM * l.stepM / 2
	perLine = max(perLine, 1e-9) // of equal prices the nearest
	best := append([]float64(nil), l.money...)
	for i := range l.better {
		l.better[i] = int32(i)
	}
	relax := func(i, j int) {
		if v := best[j] + perLine; v < best[i] {
			best[i], l.better[i] = v, l.better[j]
		}
	}
	for i := 1; i <= l.n; i++ {
		relax(i, i-1)
	}
	for i := l.n - 1; i >= 0; i-- {
		relax(i, i+1)
	}
}

// straight is the straight line over the wire length between two chainages.
func (l *lines) straight(a, b float64) float64 {
	if l.ratio == nil {
		return 1
	}
	scale := chordLattice / l.site.LengthM
	u, v := a*scale, b*scale
	i, j := min(int(u), chordLattice-1), min(int(v), chordLattice-1)
	u, v = u-float64(i), v-float64(j)
	lo, hi := l.ratio[i], l.ratio[i+1]
	return (lo[j]*(1-v)+lo[j+1]*v)*(1-u) + (hi[j]*(1-v)+hi[j+1]*v)*u
}

// distanceM is how far one walks between two chainages. Without a map it is the
// wire, the shorter way round: both legs end at the transmitter.
func (l *lines) distanceM(a, b float64) float64 {
	d := math.Abs(a - b)
	if l.ratio == nil {
		return min(d, l.site.LengthM-d)
	}
	return d * l.straight(a, b)
}

func (l *lines) walkMoney(a, b float64) float64 {
	return l.distanceM(a, b) * l.costs.WalkMinutesPerM * l.costs.PerMinute
}

// ending is the price of ending the search between two lines.
type ending struct {
	kind    ActKind
	minutes float64
	money   float64
	splices float64
}

// end is the cheaper of a new section from line i to line j and laying that
// stretch bare. ends is how many of its two ends need a splice not yet there:
// an end that is a tap has its own, counted with the tap.
func (l *lines) end(i, j int, ends float64) ending {
	c := &l.costs
	length := l.xM[j] - l.xM[i]
	weigh := l.weighM[j] - l.weighM[i]
	r := l.sectionRatio(l.xM[i], l.xM[j])
	minutes := c.ReplaceMinutes + c.TrenchMinutesPerM*weigh*r + ends*c.JoinMinutes + c.CheckMinutes
	e := ending{ActReplace, minutes, minutes*c.PerMinute + length*r*c.WirePerM + ends*(c.JoinPrice+c.SpliceLater), ends}
	if length <= c.OpenMaxM {
		minutes = c.OpenMinutesPerM*weigh + 2*c.JoinMinutes + c.CheckMinutes
		if money := minutes*c.PerMinute + 2*(c.JoinPrice+c.SpliceLater); money < e.money {
			e = ending{ActOpen, minutes, money, 2}
		}
	}
	return e
}

// sectionRatio is how much shorter than the old wire a new section may be laid:
// straight, unless that leaves the old line by more than ShiftM or cuts from a
// lead-in leg into the boundary. Of all curves of length s over a chord c none
// leaves it by more than sqrt(s^2 - c^2) / 2.
func (l *lines) sectionRatio(a, b float64) float64 {
	r := l.straight(a, b)
	if r >= 1 {
		return 1
	}
	shift := l.site.ShiftM
	if shift == 0 {
		shift = 3
	}
	if s := b - a; s*math.Sqrt(1-r*r)/2 > shift {
		return 1
	}
	part := func(x float64) int {
		switch {
		case x < l.site.LeadInM:
			return 0
		case x <= l.site.LengthM-l.site.LeadInM:
			return 1
		}
		return 2
	}
	if part(a) != part(b) {
		return 1
	}
	return r
}
