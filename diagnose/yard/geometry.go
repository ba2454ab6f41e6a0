package yard

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"loopfault/diagnose/quantity"
)

// What geometry looks for. Common practice, no source, as is all of the trade's
// advice on laying the loop.
const (
	closeRunM     = 5 * quantity.MPerFt // opposite runs nearer than this weaken each other
	closeRunMinM  = 3 * quantity.MPerFt // shorter approaches are corners
	cornerSpanM   = 5 * quantity.MPerFt // turns within this length are one corner
	SharpTurnDeg  = 75.0                // a corner that turns the wire by this or more is sharp
	nearM         = 5 * quantity.MPerFt // a feature this near to a place names it
	opposedCosine = -0.8                // runs within 37 degrees of opposite
	sampleM       = quantity.MPerFt     // grain of the search for close runs
	roundingM     = 1e-6                // 560 ft is the end of a wire of 2 x 40 ft + 480 ft
)

// Place is the spot at a chainage in the path's frame, in metres. It fails
// without a path, beyond the wire, and on the lead-in of a transmitter whose
// place is unknown. A leg is taken as straight from transmitter to boundary.
func (m *Map) Place(chainageM float64) (x, y float64, ok bool) {
	if !m.HasPath() || !(chainageM >= -roundingM && chainageM <= m.TotalM()+roundingM) {
		return 0, 0, false
	}
	chainageM = min(max(chainageM, 0), m.TotalM())
	lead, boundary := m.LeadInM(), m.BoundaryM()
	if chainageM < lead || chainageM > lead+boundary {
		if m.Transmitter.At == nil || lead == 0 {
			return 0, 0, false
		}
		if chainageM > lead {
			chainageM = m.TotalM() - chainageM
		}
		p := between(*m.Transmitter.At, m.Loop.Path[0], chainageM/lead)
		return p.X, p.Y, true
	}
	p := m.along((chainageM - lead) / boundary)
	return p.X, p.Y, true
}

// along is the point at a share of the way round the path.
func (m *Map) along(share float64) Point {
	path, starts := m.Loop.Path, m.Loop.rounds()
	left := share * starts[len(path)]
	// Rounding may put the last share a hair past the whole way round.
	i := min(max(sort.SearchFloat64s(starts, left)-1, 0), len(path)-1)
	p, q := path[i], path[(i+1)%len(path)]
	if d := distance(p, q); d > 0 {
		return between(p, q, min((left-starts[i])/d, 1))
	}
	return p
}

// rounds gives the distance round the path to each of its points, and the whole
// way round at the end. A map that was read has them measured, since a planner
// asks for thousands of places; one made in code is measured at every call.
func (l *Loop) rounds() []float64 {
	if len(l.Path) == 0 {
		return []float64{0}
	}
	if l.measured == &l.Path[0] && len(l.starts) == len(l.Path)+1 {
		return l.starts
	}
	starts := make([]float64, len(l.Path)+1)
	for i, p := range l.Path {
		starts[i+1] = starts[i] + distance(p, l.Path[(i+1)%len(l.Path)])
	}
	return starts
}

// measure keeps what rounds finds.
func (l *Loop) measure() {
	if len(l.Path) > 0 {
		l.starts, l.measured = l.rounds(), &l.Path[0]
	}
}

// roundM is the length round the path.
func (l *Loop) roundM() float64 {
	starts := l.rounds()
	return starts[len(starts)-1]
}

// Chainage is the place on the wire nearest to a spot, and how far the spot is
// off the wire; it fails without a path. Leg A is searched where the
// transmitter's place is known, leg B, which lies with it, is not.
func (m *Map) Chainage(x, y float64) (chainageM, offM float64, ok bool) {
	if !m.HasPath() {
		return 0, 0, false
	}
	path, spot := m.Loop.Path, Point{x, y}
	lead := m.LeadInM()
	stretch := m.BoundaryM() / m.Loop.roundM()
	offM = math.Inf(1)
	done := 0.0
	for i, p := range path {
		q := path[(i+1)%len(path)]
		share, off := nearest(p, q, spot)
		if off < offM {
			chainageM, offM = lead+(done+share*distance(p, q))*stretch, off
		}
		done += distance(p, q)
	}
	if m.Transmitter.At != nil {
		if share, off := nearest(*m.Transmitter.At, path[0], spot); off < offM {
			chainageM, offM = share*lead, off
		}
	}
	return chainageM, offM, true
}

// ChordM is the straight distance between two chainages: the temporary wire
// that a bridge needs. Without a map it is the wire between them, an upper bound,
// and ok is false.
func (m *Map) ChordM(fromM, toM float64) (chordM float64, ok bool) {
	x1, y1, ok1 := m.Place(fromM)
	x2, y2, ok2 := m.Place(toM)
	if ok1 && ok2 {
		return math.Hypot(x2-x1, y2-y1), true
	}
	return math.Abs(toM - fromM), false
}

// Near names the feature at a chainage, or within five feet of it: "driveway,
// 300 to 314 ft". It is empty where nothing is near.
func (m *Map) Near(chainageM float64, u quantity.Units) string {
	if m == nil {
		return ""
	}
	best, bestOff, bestLength := -1, math.Inf(1), math.Inf(1)
	for i, f := range m.Features {
		if f.Unplaced {
			continue
		}
		off := max(f.FromM-chainageM, chainageM-f.ToM, 0)
		length := f.ToM - f.FromM
		// The nearer names it; of those that hold it the shorter says more.
		if off <= nearM && (off < bestOff || off == bestOff && length < bestLength) {
			best, bestOff, bestLength = i, off, length
		}
	}
	if best >= 0 {
		f := m.Features[best]
		return fmt.Sprintf("%s, %s", f.Kind, quantity.FormatRange(f.FromM, f.ToM, u))
	}
	switch lead := m.LeadInLength(); {
	case !lead.Known:
		return ""
	case chainageM < lead.Value:
		return "lead-in, leg A"
	case m.TotalLength().Known && chainageM > lead.Value+m.BoundaryM():
		return "lead-in, leg B"
	}
	return ""
}

// Corner is a place where the wire turns.
type Corner struct {
	AtM       float64 // chainage
	TurnDeg   float64 // how far from straight on, 0 to 180
	Reentrant bool    // points into the yard: the only sort that weakens the pet's side
}

// Corners lists the places where the path turns by so many degrees or more
// within five feet of wire, in order of chainage.
func (m *Map) Corners(minTurnDeg float64) []Corner {
	if !m.HasPath() {
		return nil
	}
	path := m.Loop.Path
	n := len(path)
	lead, stretch := m.LeadInM(), m.BoundaryM()/m.Loop.roundM()
	clockwise := signedArea(path) < 0
	at, turn := make([]float64, n), make([]float64, n)
	done := 0.0
	for i, p := range path {
		at[i] = done
		turn[i] = turnDeg(path[(i+n-1)%n], p, path[(i+1)%n])
		done += distance(p, path[(i+1)%n])
	}
	var corners []Corner
	for i := 0; i < n; {
		j, sum, weight, centre := i, 0.0, 0.0, 0.0
		for ; j < n && at[j]-at[i] <= cornerSpanM; j++ {
			sum += turn[j]
			weight += math.Abs(turn[j])
			centre += math.Abs(turn[j]) * at[j]
		}
		if math.Abs(sum) < minTurnDeg {
			i++
			continue
		}
		corners = append(corners, Corner{
			AtM:       lead + centre/weight*stretch,
			TurnDeg:   math.Abs(sum),
			Reentrant: (sum < 0) != clockwise,
		})
		i = j
	}
	return corners
}

// Crossing is a spot where the wire lies over itself.
type Crossing struct{ AtM, OtherM float64 } // chainages, AtM the smaller

// Crossings lists the spots where two stretches of the path cross, in order.
func (m *Map) Crossings() []Crossing {
	if !m.HasPath() {
		return nil
	}
	path := m.Loop.Path
	n := len(path)
	lead, stretch := m.LeadInM(), m.BoundaryM()/m.Loop.roundM()
	starts := m.Loop.rounds()
	var crossings []Crossing
	for i := range path {
		a, b := path[i], path[(i+1)%n]
		for j := i + 2; j < n; j++ {
			if i == 0 && j == n-1 {
				continue // joined at the first point
			}
			c, d := path[j], path[(j+1)%n]
			if s, t, ok := intersect(a, b, c, d); ok {
				crossings = append(crossings, Crossing{
					AtM:    lead + (starts[i]+s*distance(a, b))*stretch,
					OtherM: lead + (starts[j]+t*distance(c, d))*stretch,
				})
			}
		}
	}
	slices.SortFunc(crossings, func(a, b Crossing) int { return sign(a.AtM - b.AtM) })
	return crossings
}

// closeRuns finds the stretches whose own opposite run lies alongside within
// five feet, as features. Points a foot apart are hashed into cells of that
// width, so that the work grows with the length of the wire and not its square.
func (m *Map) closeRuns() []Feature {
	if !m.HasPath() {
		return nil
	}
	path := m.Loop.Path
	round := m.Loop.roundM()
	n := int(math.Ceil(round / sampleM))
	if n < 8 || round > maxLoopM {
		return nil // nothing to lie alongside, or a file that is refused anyway
	}
	step := round / float64(n)
	points, headings := resample(path, n, step)
	type cell struct{ x, y int }
	cellOf := func(p Point) cell {
		return cell{int(math.Floor(p.X / closeRunM)), int(math.Floor(p.Y / closeRunM))}
	}
	cells := map[cell][]int{}
	for i, p := range points {
		cells[cellOf(p)] = append(cells[cellOf(p)], i)
	}
	hasReturn := func(i int) bool {
		c := cellOf(points[i])
		for dx := -1; dx <= 1; dx++ {
			for dy := -1; dy <= 1; dy++ {
				for _, j := range cells[cell{c.x + dx, c.y + dy}] {
					apart := math.Abs(float64(i-j)) * step
					apart = min(apart, round-apart)
					opposed := headings[i].X*headings[j].X+headings[i].Y*headings[j].Y < opposedCosine
					if opposed && apart > 2*closeRunM && distance(points[i], points[j]) < closeRunM {
						return true
					}
				}
			}
		}
		return false
	}
	alongside := make([]bool, n)
	for i := range points {
		alongside[i] = hasReturn(i)
	}
	lead, stretch := m.LeadInM(), m.BoundaryM()/round
	var found []Feature
	for i := 0; i < n; i++ {
		if !alongside[i] {
			continue
		}
		j := i
		for j+1 < n && alongside[j+1] {
			j++
		}
		if float64(j-i)*step >= closeRunMinM {
			found = append(found, Feature{
				FromM: lead + float64(i)*step*stretch,
				ToM:   lead + float64(j)*step*stretch,
				Kind:  OwnReturn, Found: true, Note: "found on the map",
			})
		}
		i = j
	}
	return found
}

// findFeatures adds what the path shows and the file does not say.
func (m *Map) findFeatures() {
	m.Loop.measure()
	m.Features = slices.DeleteFunc(m.Features, func(f Feature) bool { return f.Found })
	said := append(m.FeaturesOf(OwnReturn), m.FeaturesOf(Twisted)...)
	for _, f := range m.closeRuns() {
		known := slices.ContainsFunc(said, func(s Feature) bool { return s.FromM <= f.ToM && s.ToM >= f.FromM })
		if !known {
			m.Features = append(m.Features, f)
		}
	}
	slices.SortStableFunc(m.Features, func(a, b Feature) int { return sign(a.FromM - b.FromM) })
}

// resample walks the path in n equal steps and gives each point's heading.
func resample(path []Point, n int, step float64) (points, headings []Point) {
	points, headings = make([]Point, 0, n), make([]Point, 0, n)
	i, start := 0, 0.0
	for k := range n {
		want := float64(k) * step
		for i < len(path)-1 && start+distance(path[i], path[i+1]) <= want {
			start += distance(path[i], path[i+1])
			i++
		}
		p, q := path[i], path[(i+1)%len(path)]
		d := distance(p, q)
		if d == 0 {
			d = 1
		}
		points = append(points, between(p, q, min((want-start)/d, 1)))
		headings = append(headings, Point{(q.X - p.X) / d, (q.Y - p.Y) / d})
	}
	return points, headings
}

// Bounds is the box of everything drawn: the path and the transmitter.
func (m *Map) Bounds() (low, high Point, ok bool) {
	if !m.HasPath() {
		return Point{}, Point{}, false
	}
	low, high = m.Loop.Path[0], m.Loop.Path[0]
	points := m.Loop.Path
	if m.Transmitter.At != nil {
		points = append(slices.Clone(points), *m.Transmitter.At)
	}
	for _, p := range points {
		low = Point{min(low.X, p.X), min(low.Y, p.Y)}
		high = Point{max(high.X, p.X), max(high.Y, p.Y)}
	}
	return low, high, true
}

// perimeter is the length round a closed path.
func perimeter(path []Point) float64 {
	sum := 0.0
	for i, p := range path {
		sum += distance(p, path[(i+1)%len(path)])
	}
	return sum
}

// signedArea is positive for a path that runs counter-clockwise (shoelace rule).
func signedArea(path []Point) float64 {
	sum := 0.0
	for i, p := range path {
		q := path[(i+1)%len(path)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return sum / 2
}

func distance(p, q Point) float64 { return math.Hypot(q.X-p.X, q.Y-p.Y) }

func between(p, q Point, share float64) Point {
	return Point{p.X + share*(q.X-p.X), p.Y + share*(q.Y-p.Y)}
}

// nearest is the share of the way from p to q that lies nearest to the spot, and
// how far off the spot is.
func nearest(p, q, spot Point) (share, off float64) {
	dx, dy := q.X-p.X, q.Y-p.Y
	if d2 := dx*dx + dy*dy; d2 > 0 {
		share = min(max(((spot.X-p.X)*dx+(spot.Y-p.Y)*dy)/d2, 0), 1)
	}
	return share, distance(between(p, q, share), spot)
}

// turnDeg is the signed turn at q on the way from p to r, left positive.
func turnDeg(p, q, r Point) float64 {
	ax, ay, bx, by := q.X-p.X, q.Y-p.Y, r.X-q.X, r.Y-q.Y
	return math.Atan2(ax*by-ay*bx, ax*bx+ay*by) * 180 / math.Pi
}

// intersect gives where ab and cd cross as shares of each.
func intersect(a, b, c, d Point) (s, t float64, ok bool) {
	rx, ry, qx, qy := b.X-a.X, b.Y-a.Y, d.X-c.X, d.Y-c.Y
	den := rx*qy - ry*qx
	if den == 0 {
		return 0, 0, false
	}
	s = ((c.X-a.X)*qy - (c.Y-a.Y)*qx) / den
	t = ((c.X-a.X)*ry - (c.Y-a.Y)*rx) / den
	return s, t, s >= 0 && s <= 1 && t >= 0 && t <= 1
}

func sign(x float64) int {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}
