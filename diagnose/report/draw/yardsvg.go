package draw

import (
	"fmt"
	"math"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// sheet places a yard on a canvas: y to the north is up.
type sheet struct {
	*canvas
	low   yard.Point
	scale float64 // units per metre
	left  float64
	floor float64 // y of the lowest point
	out   float64 // +1 where the path runs counter-clockwise: its outside is to the right
}

func (s sheet) at(p yard.Point) yard.Point {
	return yard.Point{X: s.left + (p.X-s.low.X)*s.scale, Y: s.floor - (p.Y-s.low.Y)*s.scale}
}

// The margins of a yard's drawing hold numbers and figures outside the wire.
const (
	margin    = 44.0
	foot      = 16.0 // scale bar
	minHeight = 200.0
	maxHeight = 420.0
)

// YardSVG draws the yard with the belief along its wire, the features by number,
// the evidence by letter, the next step, a scale bar, and north where it is known.
// It is empty for a yard without a path.
func YardSVG(s Scene) string {
	low, high, ok := s.Yard.Bounds()
	if !ok {
		return ""
	}
	w, h := max(high.X-low.X, 0.1), max(high.Y-low.Y, 0.1)
	scale := min((wide-2*margin)/w, (maxHeight-2*margin-foot)/h)
	height := max(h*scale+2*margin+foot, minHeight)
	d := sheet{canvas: newCanvas(height), low: low, scale: scale, left: (wide - w*scale) / 2,
		floor: height - foot - margin, out: 1}
	if area(s.Yard.Loop.Path) < 0 {
		d.out = -1
	}
	d.drawGround(s)
	d.drawWire(s)
	d.drawSilent(s)
	d.drawNext(s)
	d.drawEvidence(s)
	d.drawFeatures(s)
	d.drawChainage(s)
	d.drawFoot(s)
	return d.svg("yard", "Map of the yard", s.describe())
}

// describe tells in a sentence what the drawings show.
func (s Scene) describe() string {
	text := fmt.Sprintf("The wire is %s long from terminal to terminal.", quantity.FormatLength(s.Yard.TotalM(), s.Units))
	switch {
	case s.BestM != nil && s.Shows():
		text += fmt.Sprintf(" The fault is believed to be at %s", quantity.FormatLength(*s.BestM, s.Units))
		if near := s.Yard.Near(*s.BestM, s.Units); near != "" {
			text += ", near " + near
		}
		text += "."
	case s.Shows(): // several places
	case s.Next == nil || !s.Next.Done:
		text += " No place along it stands out."
	}
	switch {
	case s.Next != nil && s.Next.Done:
		text += fmt.Sprintf(" Done: %s.", s.label())
	case s.Next != nil:
		text += fmt.Sprintf(" Next: %s.", s.label())
	}
	return text
}

func (d sheet) points(ps []yard.Point) []yard.Point {
	out := make([]yard.Point, 0, len(ps))
	for _, p := range ps {
		out = append(out, d.at(p))
	}
	return out
}

func (d sheet) drawGround(s Scene) {
	d.add(`<polygon points="%s" fill="%s"/>`, pointList(d.points(s.Yard.Loop.Path)), ground)
	for _, n := range s.Features() {
		if f := n.Feature; f.ToM > f.FromM {
			d.polyline(d.points(s.Yard.Stretch(f.FromM, f.ToM)), band, 18, `stroke-linecap="butt"`)
		}
	}
}

func (d sheet) drawWire(s Scene) {
	lead, total := s.Yard.LeadInM(), s.Yard.TotalM()
	if at := s.Yard.Transmitter.At; at != nil {
		p, q := d.at(*at), d.at(s.Yard.Loop.Path[0])
		d.line(p.X, p.Y, q.X, q.Y, heat[inRest].colour, 4, "")
		d.line(p.X, p.Y, q.X, q.Y, "#fff", 1.4, `stroke-dasharray="4 3"`)
	}
	// Thin stretches first, so that thick ends lie over them.
	runs := s.runs()
	for level := inRest; level <= in50; level++ {
		for _, r := range runs {
			from, to := max(r.fromM, lead), min(r.toM, total-lead)
			if r.level != inRest && s.Yard.Transmitter.At != nil {
				from, to = r.fromM, r.toM
			}
			if r.level == level && to > from {
				d.polyline(d.points(s.Yard.Stretch(from, to)), heat[level].colour, heat[level].width, `stroke-linecap="butt"`)
			}
		}
	}
	if at := s.Yard.Transmitter.At; at != nil {
		p := d.at(*at)
		d.add(`<rect x="%s" y="%s" width="16" height="16" fill="#fff" stroke="%s" stroke-width="1.5"/>`, num(p.X-8), num(p.Y-8), ink)
		d.text(p.X, p.Y+4.3, "middle", ink, "T", `font-weight="bold"`)
		d.placed = append(d.placed, box{p.X - 9, p.Y - 9, p.X + 9, p.Y + 9})
	}
}

// normal is a chainage's spot on the drawing and the way out of the yard.
func (d sheet) normal(s Scene, atM float64) (spot, out yard.Point, ok bool) {
	x, y, ok := s.Yard.Place(atM)
	if !ok {
		return spot, out, false
	}
	const step = 0.05 // m
	from, to := max(atM-step, 0), min(atM+step, s.Yard.TotalM())
	x1, y1, ok1 := s.Yard.Place(from)
	x2, y2, ok2 := s.Yard.Place(to)
	length := math.Hypot(x2-x1, y2-y1)
	if !ok1 || !ok2 || length == 0 {
		return d.at(yard.Point{X: x, Y: y}), yard.Point{X: 0, Y: -1}, true
	}
	// Right of the way on, seen on a drawing whose y runs down.
	return d.at(yard.Point{X: x, Y: y}),
		yard.Point{X: d.out * (y2 - y1) / length, Y: d.out * (x2 - x1) / length}, true
}

func (d sheet) drawSilent(s Scene) {
	for _, m := range s.Marks {
		if m.Kind != Silent {
			continue
		}
		var inside []yard.Point
		const parts = 40
		for i := 0; i <= parts; i++ {
			if spot, out, ok := d.normal(s, m.FromM+(m.ToM-m.FromM)*float64(i)/parts); ok {
				inside = append(inside, yard.Point{X: spot.X - 10*out.X, Y: spot.Y - 10*out.Y})
			}
		}
		d.polyline(inside, ink, 2.5, `stroke-dasharray="2 4"`)
		for _, p := range inside {
			d.placed = append(d.placed, box{p.X - 2, p.Y - 2, p.X + 2, p.Y + 2})
		}
	}
}

// label puts letters beside the wire where there is room: outside first.
func (d sheet) label(s Scene, atM float64, put func(x, y float64) bool) {
	spot, out, ok := d.normal(s, atM)
	if !ok {
		return
	}
	along := yard.Point{X: -out.Y, Y: out.X}
	for _, away := range []float64{18, -18, 30, -30, 42, -42, 54} {
		for _, aside := range []float64{0, 16, -16, 30, -30} {
			if put(spot.X+away*out.X+aside*along.X, spot.Y+away*out.Y+aside*along.Y) {
				return
			}
		}
	}
}

func (d sheet) drawNext(s Scene) {
	if s.BestM != nil && s.Shows() {
		if spot, _, ok := d.normal(s, *s.BestM); ok {
			d.circle(spot.X, spot.Y, 11, "none", ink, 1.5)
			d.placed = append(d.placed, box{spot.X - 11, spot.Y - 11, spot.X + 11, spot.Y + 11})
		}
	}
	if s.Next == nil {
		return
	}
	if s.Next.ToM > s.Next.FromM {
		d.polyline(d.points(s.Yard.Stretch(s.Next.FromM, s.Next.ToM)), pointer, 2.5, `stroke-dasharray="7 4"`)
	}
	middle := (s.Next.FromM + s.Next.ToM) / 2
	spot, out, ok := d.normal(s, middle)
	if !ok {
		return
	}
	// A needle from inside the yard, its tip on the wire.
	tip := yard.Point{X: spot.X - 3*out.X, Y: spot.Y - 3*out.Y}
	tail := yard.Point{X: spot.X - 22*out.X, Y: spot.Y - 22*out.Y}
	side := yard.Point{X: -out.Y * 6, Y: out.X * 6}
	d.add(`<polygon points="%s" fill="%s" stroke="#fff" stroke-width="1"/>`, pointList([]yard.Point{tip,
		{X: tail.X + side.X, Y: tail.Y + side.Y}, {X: tail.X - side.X, Y: tail.Y - side.Y}}), pointer)
	d.placed = append(d.placed, box{min(tip.X, tail.X) - 6, min(tip.Y, tail.Y) - 6, max(tip.X, tail.X) + 6, max(tip.Y, tail.Y) + 6})
	text := s.label()
	anchor := "middle"
	switch {
	case out.X > 0.5:
		anchor = "end"
	case out.X < -0.5:
		anchor = "start"
	}
	for _, away := range []float64{36, 48, 60} {
		x, y := spot.X-(away-6*math.Abs(out.X))*out.X, spot.Y-away*out.Y+4
		for _, aside := range []float64{0, 30, -30, 70, -70, 110, -110} {
			if d.tryText(x+aside*math.Abs(out.Y), y+aside*math.Abs(out.X)/2, anchor, pointer, text, `font-weight="bold"`) {
				return
			}
		}
	}
}

func (d sheet) drawEvidence(s Scene) {
	for i, m := range s.Marks {
		middle := (m.FromM + m.ToM) / 2
		if m.Kind == Tap || m.Kind == Spot || m.Kind == Repair {
			if spot, _, ok := d.normal(s, m.FromM); ok {
				d.circle(spot.X, spot.Y, 4, "#fff", ink, 1.5)
			}
		}
		d.label(s, middle, func(x, y float64) bool {
			return d.tryText(x, y+4, "middle", ink, Key(i), `font-style="italic" font-weight="bold"`)
		})
	}
}

func (d sheet) drawFeatures(s Scene) {
	for _, n := range s.Features() {
		f := n.Feature
		if f.FromM == f.ToM {
			if spot, out, ok := d.normal(s, f.FromM); ok {
				d.line(spot.X-5*out.X, spot.Y-5*out.Y, spot.X+5*out.X, spot.Y+5*out.Y, ink, 2, "")
			}
		}
		d.label(s, (f.FromM+f.ToM)/2, func(x, y float64) bool {
			if !d.free(x, y, 9) {
				return false
			}
			d.badge(x, y, fmt.Sprint(n.Number))
			return true
		})
	}
}

// drawChainage writes round distances along the boundary, and which way they run.
func (d sheet) drawChainage(s Scene) {
	u := s.Units
	lead, total := s.Yard.LeadInM(), s.Yard.TotalM()
	step := tick(u.Of(total), 7)
	for v := step; u.M(v) < total; v += step {
		at := u.M(v)
		if at < lead || at > total-lead {
			continue
		}
		spot, out, ok := d.normal(s, at)
		if !ok {
			continue
		}
		d.line(spot.X, spot.Y, spot.X+7*out.X, spot.Y+7*out.Y, soft, 1, "")
		anchor := "middle"
		switch {
		case out.X > 0.5:
			anchor = "start"
		case out.X < -0.5:
			anchor = "end"
		}
		for _, away := range []float64{13, 24} {
			if d.tryText(spot.X+away*out.X, spot.Y+away*out.Y+4, anchor, soft, num(v), "") {
				break
			}
		}
	}
	// An arrow where the boundary begins.
	x, y, ok := s.Yard.Place(lead)
	x2, y2, ok2 := s.Yard.Place(min(lead+8/d.scale*2, total))
	if ok && ok2 {
		p, q := d.at(yard.Point{X: x, Y: y}), d.at(yard.Point{X: x2, Y: y2})
		if l := math.Hypot(q.X-p.X, q.Y-p.Y); l > 0 {
			ex, ey := (q.X-p.X)/l, (q.Y-p.Y)/l
			d.add(`<polygon points="%s" fill="%s"/>`, pointList([]yard.Point{q, {X: q.X - 9*ex - 5*ey, Y: q.Y - 9*ey + 5*ex},
				{X: q.X - 9*ex + 5*ey, Y: q.Y - 9*ey - 5*ex}}), ink)
		}
	}
}

func (d sheet) drawFoot(s Scene) {
	u := s.Units
	length := tick(u.Of(100/d.scale), 1)
	if u.M(length)*d.scale > 150 {
		length /= 2
	}
	x, y := 6.0, d.height-8
	end := x + u.M(length)*d.scale
	d.line(x, y, end, y, ink, 1.5, "")
	d.line(x, y-4, x, y+4, ink, 1.5, "")
	d.line(end, y-4, end, y+4, ink, 1.5, "")
	d.text(end+6, y+4, "start", ink, fmt.Sprintf("%s %s", num(length), u), "")
	if s.Yard.Loop.Origin == nil {
		return // nothing says where north is
	}
	nx := d.width - 18
	d.add(`<polygon points="%s" fill="%s"/>`, pointList([]yard.Point{{X: nx, Y: y - 18}, {X: nx - 6, Y: y}, {X: nx, Y: y - 5}, {X: nx + 6, Y: y}}), ink)
	d.text(nx-12, y+2, "end", ink, "N", `font-weight="bold"`)
}

// area is positive for a path that runs counter-clockwise.
func area(path []yard.Point) float64 {
	sum := 0.0
	for i, p := range path {
		q := path[(i+1)%len(path)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return sum
}
