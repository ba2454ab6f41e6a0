package yard

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"loopfault/diagnose/quantity"
)

// maxImportBytes is far above any yard: a day of walking at a point a second
// is some ten megabytes.
const maxImportBytes = 32 << 20

// farOffM is how far from the wire an imported feature may lie and still be
// taken for one of the wire's.
const farOffM = 8.0

// ErrNoOrigin says that a map hangs free: nothing ties it to the earth.
var ErrNoOrigin = errors.New("the map is not tied to the earth: give its path an origin, such as origin: [-1.4821, 52.9203], the longitude and latitude of its x, y = 0, 0")

// Import tells how a map made elsewhere was read.
type Import struct {
	Points   int      // of the wire, as read
	Kept     int      // of the wire, on the map
	ClosingM float64  // from the last point to the first
	RMSM     float64  // how far the points lie off the line kept, root mean square
	Notes    []string // what was left out or guessed, for the person to check
}

func (i *Import) note(format string, args ...any) {
	i.Notes = append(i.Notes, fmt.Sprintf(format, args...))
}

// drawing is what a file made elsewhere holds, before it becomes a map.
type drawing struct {
	wire        []LonLat
	closed      bool // drawn as a ring
	origin      *LonLat
	transmitter *LonLat
	leadIn      []LonLat
	marks       []mark
	name        string
	words       map[string]string // what the wire's own properties say
}

// mark is a feature with its place on the earth.
type mark struct {
	label    string // where it stands in its file
	kind     FeatureKind
	note     string
	places   []LonLat
	at       string // chainage as the file says it, or ""
	from, to string
}

// toMap projects a drawing and finds the chainage of its features.
func (d *drawing) toMap(walked bool) (*Map, *Import, error) {
	report := &Import{Points: len(d.wire)}
	if len(d.wire) < 3 {
		return nil, nil, fmt.Errorf("the wire has %d points; expected a line of three or more round the yard", len(d.wire))
	}
	m := &Map{Name: printableLine(d.name)}
	d.fillWords(m, report)
	origin := d.wire[0]
	if d.origin != nil {
		origin = *d.origin
	}
	f := frameAt(origin)
	path := make([]Point, len(d.wire))
	for i, g := range d.wire {
		path[i] = f.local(g)
	}
	report.ClosingM = distance(path[0], path[len(path)-1])
	raw := 0.0
	for i := range path[1:] {
		raw += distance(path[i], path[i+1])
	}
	if walked {
		path, report.RMSM = simplify(path, walkToleranceM)
	}
	for i := range path {
		path[i] = rounded(path[i], m.Loop.PathUnits)
	}
	path = withoutRepeats(path)
	report.Kept = len(path)
	if len(path) < 3 {
		return nil, nil, errors.New("the wire's points fall together; expected a line of three or more round the yard")
	}
	if round := perimeter(path); !(round >= minLoopM && round <= maxLoopM) {
		return nil, nil, fmt.Errorf("the wire is %.0f m round; expected %g to %g m", round, minLoopM, maxLoopM)
	}
	m.Loop.Path, m.Loop.Origin = path, &origin
	switch {
	case walked:
		// What the walk leaves open: its closing error, and the wandering of its
		// points, by which a walked line is longer than the wire. Judgement.
		share := max(0.01, math.Hypot(report.ClosingM, max(0, raw-perimeter(path))/2)/perimeter(path))
		share = math.Round(min(share, 0.5)*1000) / 1000
		m.Loop.LengthUncertainty = &share
	case !d.closed && report.ClosingM > max(5, 0.1*raw):
		report.note("the wire's two ends are %.1f m apart and were joined by a straight line", report.ClosingM)
	}
	if d.transmitter != nil {
		at := rounded(f.local(*d.transmitter), m.Loop.PathUnits)
		m.Transmitter.At = &at
	}
	if m.LeadIn.LengthM == nil {
		m.LeadIn.LengthM = d.leadInLength(f, m, report)
	}
	for _, k := range d.marks {
		k.addTo(m, f, report)
	}
	m.findFeatures()
	// What other tools draw has to satisfy the same rules as a file.
	checked, err := Parse("imported", m.Marshal())
	if err != nil {
		return nil, nil, fmt.Errorf("the map does not hold together: %w", err)
	}
	return checked, report, nil
}

// rounded brings a point to thousandths of its unit: finer than anybody walks or
// draws, coarser than the ninth decimal of a degree, so that a map keeps its
// numbers when it goes out and comes back.
func rounded(p Point, u quantity.Units) Point {
	thousandths := func(m float64) float64 { return u.M(math.Round(u.Of(m)*1000) / 1000) }
	return Point{thousandths(p.X), thousandths(p.Y)}
}

// fillWords takes over what the wire's properties say in the yard file's words.
func (d *drawing) fillWords(m *Map, report *Import) {
	lengths := map[string]**float64{"length": &m.Loop.LengthM, "lead_in": &m.LeadIn.LengthM}
	for name, into := range lengths {
		text := d.words[name]
		if text == "" {
			continue
		}
		if l, err := quantity.ParseLength(text, quantity.Strict); err != nil {
			report.note("%s was left out: %v", name, err)
		} else {
			*into = &l
			m.Loop.PathUnits = unitsOf(text)
		}
	}
	if text := d.words["units"]; text != "" {
		if u, err := quantity.ParseUnits(text); err == nil {
			m.Loop.PathUnits = u
		}
	} else if len(d.words["length"]) == 0 && len(d.words["lead_in"]) == 0 {
		m.Loop.PathUnits = quantity.Metres // the earth is measured in metres
	}
	if text := d.words["gauge"]; text != "" {
		g, err := quantity.ParseWire(text, quantity.Strict)
		if err != nil {
			report.note("gauge was left out: %v", err)
		}
		m.Wire.Gauge = g
	}
	for name, field := range map[string]struct {
		into  *string
		words []string
	}{
		"material": {&m.Wire.Material, materials},
		"strands":  {&m.Wire.Strands, strands},
	} {
		if text := d.words[name]; text != "" {
			if slices.Contains(field.words, text) {
				*field.into = text
			} else {
				report.note("%s was left out: %q is not known here", name, text)
			}
		}
	}
	if text := d.words["twisted"]; slices.Contains(yesNo, text) {
		twisted := text == "yes" || text == "true"
		m.LeadIn.Twisted = &twisted
	}
	if text := d.words["length_uncertainty"]; text != "" {
		if share, err := quantity.ParsePercent(text, quantity.Strict); err == nil {
			m.Loop.LengthUncertainty = &share
		}
	}
	slices.Sort(report.Notes) // a map has no order
}

// leadInLength is the length of the line drawn for it, or the way from the
// transmitter to the loop; nil where neither is drawn.
func (d *drawing) leadInLength(f frame, m *Map, report *Import) *float64 {
	sum := 0.0
	switch {
	case len(d.leadIn) > 1:
		for i := range d.leadIn[1:] {
			sum += distance(f.local(d.leadIn[i]), f.local(d.leadIn[i+1]))
		}
	case m.Transmitter.At != nil:
		sum = distance(*m.Transmitter.At, m.Loop.Path[0])
		report.note("the lead-in was taken as straight from the transmitter to the wire's first point, %s", quantity.FormatLength(sum, m.Loop.PathUnits))
	default:
		return nil
	}
	if sum > maxLeadInM {
		report.note("the lead-in was left out: %.0f m is too long", sum)
		return nil
	}
	return &sum
}

// addTo puts a mark on the map: at the chainage it states, or at the nearest.
func (k mark) addTo(m *Map, f frame, report *Import) {
	feature := Feature{Kind: k.kind, Note: k.note}
	stated := func(text string) (float64, bool) {
		at, err := quantity.ParseLength(text, quantity.Strict)
		return at, err == nil && at <= m.TotalM()+roundingM
	}
	if at, ok := stated(k.at); ok {
		feature.FromM, feature.ToM = at, at
		m.Features = append(m.Features, feature)
		return
	}
	from, okFrom := stated(k.from)
	to, okTo := stated(k.to)
	if okFrom && okTo && from <= to {
		feature.FromM, feature.ToM = from, to
		m.Features = append(m.Features, feature)
		return
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, g := range k.places {
		p := f.local(g)
		at, off, ok := m.Chainage(p.X, p.Y)
		if ok && off <= farOffM {
			low, high = min(low, at), max(high, at)
		}
	}
	if high < low {
		report.note("%s (%s) was left out: it lies more than %.0f m off the wire", k.label, k.kind, farOffM)
		return
	}
	if high-low > m.BoundaryM()/2 {
		report.note("%s (%s) was left out: it spans the place where the loop begins; give it from and to", k.label, k.kind)
		return
	}
	feature.FromM, feature.ToM = low, high
	m.Features = append(m.Features, feature)
}

// kindOf reads a feature's kind from the words that a drawing gives it: the
// first that names one.
func kindOf(words ...string) (FeatureKind, bool) {
	for _, w := range words {
		w = strings.ToLower(strings.TrimSpace(w))
		for _, kind := range FeatureKinds {
			if w == string(kind) {
				return kind, true
			}
		}
	}
	for _, w := range words {
		for _, part := range strings.FieldsFunc(strings.ToLower(w), func(r rune) bool {
			return !(r >= 'a' && r <= 'z' || r == '-')
		}) {
			for _, kind := range FeatureKinds {
				if part == string(kind) {
					return kind, true
				}
			}
		}
	}
	return "", false
}

// walkToleranceM is how far a walked track may be off the line kept for it: a
// consumer receiver under open sky wanders by about as much. Judgement.
const walkToleranceM = 1.5

// simplify keeps the points of a closed walk that no straight line within the
// tolerance can stand for (Douglas and Peucker, The Canadian Cartographer 10(2),
// 1973), and gives the root mean square of the distances left out.
func simplify(path []Point, toleranceM float64) (kept []Point, rmsM float64) {
	n := len(path)
	keep := make([]bool, n)
	// A closed walk has no ends: the first point, and the one farthest from it.
	far := 0
	for i, p := range path {
		if distance(p, path[0]) > distance(path[far], path[0]) {
			far = i
		}
	}
	keep[0], keep[far], keep[n-1] = true, true, true
	stack := [][2]int{{0, far}, {far, n - 1}}
	squares := 0.0
	for len(stack) > 0 {
		a, b := stack[len(stack)-1][0], stack[len(stack)-1][1]
		stack = stack[:len(stack)-1]
		worst, worstOff, sum := -1, toleranceM, 0.0
		for i := a + 1; i < b; i++ {
			_, off := nearest(path[a], path[b], path[i])
			sum += off * off
			if off > worstOff {
				worst, worstOff = i, off
			}
		}
		if worst < 0 {
			squares += sum
			continue
		}
		keep[worst] = true
		stack = append(stack, [2]int{a, worst}, [2]int{worst, b})
	}
	for i, p := range path {
		if keep[i] {
			kept = append(kept, p)
		}
	}
	// The last point stands for the first again where the walk came home.
	if len(kept) > 3 && distance(kept[0], kept[len(kept)-1]) < 4*toleranceM {
		kept = kept[:len(kept)-1]
	}
	return kept, math.Sqrt(squares / float64(n))
}

// withoutRepeats drops points that fall on the one before, and a last point
// that falls on the first. Drawn files hold centimetres at best.
func withoutRepeats(path []Point) []Point {
	const same = 0.001
	var out []Point
	for _, p := range path {
		if len(out) == 0 || distance(out[len(out)-1], p) > same {
			out = append(out, p)
		}
	}
	for len(out) > 1 && distance(out[0], out[len(out)-1]) <= same {
		out = out[:len(out)-1]
	}
	return out
}
