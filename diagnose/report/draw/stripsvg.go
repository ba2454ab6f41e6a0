package draw

import (
	"fmt"
	"slices"

	"loopfault/diagnose/yard"
)

// The strip's levels, from the top.
const (
	stripEdge    = 16.0 // left and right of the wire
	evidenceY    = 14.0 // letters of the evidence
	rowHeight    = 16.0
	evidenceRows = 3
	curveTop     = evidenceY + evidenceRows*rowHeight + 6
	curveHeight  = 56.0
	wireY        = curveTop + curveHeight
	featureY     = wireY + 20
	axisY        = featureY + 16
	stripHeight  = axisY + 22
)

// StripSVG draws the whole conductor as a straight line from terminal A to
// terminal B, with the belief as a curve over it, evidence above and features
// below.
func StripSVG(s Scene) string {
	c := newCanvas(stripHeight)
	total := s.Yard.TotalM()
	x := func(atM float64) float64 { return stripEdge + min(max(atM/total, 0), 1)*(wide-2*stripEdge) }
	lead := s.Yard.LeadInM()

	for _, n := range s.Features() {
		if f := n.Feature; f.ToM > f.FromM {
			c.add(`<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`, num(x(f.FromM)), num(wireY-7), num(max(x(f.ToM)-x(f.FromM), 1)), "14", band)
		}
	}
	drawCurve(c, s, x)
	for _, r := range s.runs() {
		c.line(x(r.fromM), wireY, x(r.toM), wireY, heat[r.level].colour, heat[r.level].width, "")
	}
	for _, leg := range [][2]float64{{0, lead}, {total - lead, total}} {
		c.line(x(leg[0]), wireY, x(leg[1]), wireY, heat[inRest].colour, 5, "")
		c.line(x(leg[0]), wireY, x(leg[1]), wireY, "#fff", 1.4, `stroke-dasharray="4 3"`)
	}
	c.text(4, wireY+4, "start", ink, "A", `font-weight="bold"`)
	c.text(wide-4, wireY+4, "end", ink, "B", `font-weight="bold"`)

	if s.Next != nil {
		from, to := x(s.Next.FromM), x(s.Next.ToM)
		if to > from {
			c.line(from, wireY, to, wireY, pointer, 3, `stroke-dasharray="7 4"`)
		}
		middle := (from + to) / 2
		c.line(middle, evidenceY, middle, wireY-14, pointer, 1.2, "")
		c.add(`<polygon points="%s" fill="%s" stroke="#fff" stroke-width="1"/>`, pointList([]yard.Point{{X: middle, Y: wireY - 4}, {X: middle - 6, Y: wireY - 18}, {X: middle + 6, Y: wireY - 18}}), pointer)
		text := s.label()
		anchor, at := "start", middle+5
		if middle > wide/2 {
			anchor, at = "end", middle-5
		}
		c.text(at, evidenceY-2, anchor, pointer, text, `font-weight="bold"`)
	}
	drawStripEvidence(c, s, x)
	drawStripFeatures(c, s, x)

	u := s.Units
	step := tick(u.Of(total), 7)
	for v := 0.0; v <= u.Of(total)*(1+1e-9); v += step {
		at := x(u.M(v))
		c.line(at, axisY, at, axisY+4, soft, 1, "")
		label := num(v)
		if v == 0 {
			label = "0 " + u.String()
		}
		c.tryText(at, axisY+16, anchorAt(at), soft, label, "")
	}
	c.line(x(0), axisY, x(total), axisY, soft, 1, "")
	return c.svg("strip", "The wire from terminal A to terminal B", s.describe())
}

func anchorAt(x float64) string {
	switch {
	case x < 30:
		return "start"
	case x > wide-30:
		return "end"
	}
	return "middle"
}

// drawCurve fills the belief over the wire, its height by probability per length.
func drawCurve(c *canvas, s Scene, x func(float64) float64) {
	if len(s.Belief) == 0 || !s.Shows() {
		return
	}
	total := s.Yard.TotalM()
	// A column a unit wide holds the most believed of its cells, so that a single
	// sharp spot is seen.
	columns := int(wide - 2*stripEdge)
	heights := make([]float64, columns)
	most := 0.0
	for i, p := range s.Belief {
		column := i * columns / len(s.Belief)
		last := (i+1)*columns/len(s.Belief) - 1
		for k := column; k <= max(column, min(last, columns-1)); k++ {
			heights[k] = max(heights[k], p)
		}
		most = max(most, p)
	}
	if most == 0 {
		return
	}
	points := []yard.Point{{X: x(0), Y: wireY}}
	for k, h := range heights {
		at := x(total * (float64(k) + 0.5) / float64(columns))
		points = append(points, yard.Point{X: at, Y: wireY - h/most*(curveHeight-8)})
	}
	points = append(points, yard.Point{X: x(total), Y: wireY})
	c.add(`<polygon points="%s" fill="%s" fill-opacity="0.35" stroke="%s" stroke-width="1"/>`, pointList(points), heat[in90].colour, heat[in90].colour)
}

func drawStripEvidence(c *canvas, s Scene, x func(float64) float64) {
	var taken [evidenceRows][][2]float64
	if s.Next != nil {
		middle := (x(s.Next.FromM) + x(s.Next.ToM)) / 2
		taken[0] = append(taken[0], [2]float64{middle - 3, middle + 3})
	}
	for i, m := range s.Marks {
		from, to := x(m.FromM), x(m.ToM)
		middle := (from + to) / 2
		reach := 7.0
		if m.Kind == Tap {
			reach = 16
		}
		want := [2]float64{min(from, middle-reach), max(to, middle+reach)}
		row := 0
		for ; row < evidenceRows-1; row++ {
			if !slices.ContainsFunc(taken[row], func(t [2]float64) bool { return t[0] < want[1] && want[0] < t[1] }) {
				break
			}
		}
		// In a full last row the letter goes aside.
		for slices.ContainsFunc(taken[row], func(t [2]float64) bool { return t[0] < want[1] && want[0] < t[1] }) && want[1]+reach < wide {
			middle += reach
			want = [2]float64{middle - reach, middle + reach}
		}
		taken[row] = append(taken[row], want)
		y := evidenceY + float64(row+1)*rowHeight
		letters := `font-style="italic" font-weight="bold"`
		c.line(middle, y+4, (from+to)/2, wireY, soft, 1, `stroke-dasharray="1 3"`)
		switch m.Kind {
		case Tap:
			c.text(middle, y, "middle", ink, Key(i), letters)
			drawEnd(c, middle-11, y-4, m.A)
			drawEnd(c, middle+11, y-4, m.B)
		case Spot, Repair:
			c.text(middle, y, "middle", ink, Key(i), letters)
		default:
			dash := ""
			if m.Kind == Silent {
				dash = `stroke-dasharray="2 4"`
			}
			c.line(from, y+4, to, y+4, ink, 2.5, dash)
			c.text(middle, y, "middle", ink, Key(i), letters)
		}
	}
}

// drawEnd shows what a tap found towards one terminal: a dot for sound wire, a
// cross for broken.
func drawEnd(c *canvas, x, y float64, e End) {
	switch e {
	case Sound:
		c.circle(x, y, 3.2, ink, ink, 1)
	case Broken:
		c.cross(x, y, 3.2, ink)
	}
}

func drawStripFeatures(c *canvas, s Scene, x func(float64) float64) {
	for _, n := range s.Features() {
		f := n.Feature
		middle := (x(f.FromM) + x(f.ToM)) / 2
		if f.FromM == f.ToM {
			c.line(middle, wireY-6, middle, wireY+6, ink, 2, "")
		}
		for _, aside := range []float64{0, 10, -10, 19, -19} {
			if c.free(middle+aside, featureY, 8) {
				c.badge(middle+aside, featureY, fmt.Sprint(n.Number))
				break
			}
		}
	}
}
