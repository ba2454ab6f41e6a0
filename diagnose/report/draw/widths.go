package draw

import (
	"fmt"
	"math"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// Profile is a walk along the boundary with the collar held level: how far from
// the wire it sounded.
type Profile struct {
	TotalM   float64 // the whole conductor
	LeadInM  float64
	Units    quantity.Units
	Measured []Width
	Model    []Width // of a sound loop; drawn as a line
	Baseline []Width // when it was known to be good
}

// Width is a detection width at a chainage.
type Width struct {
	AtM, WidthM float64
	Silent      bool // right at the wire
}

// WidthsSVG draws the widths that were measured over those of a sound loop; it is
// empty where nothing was measured.
func WidthsSVG(p Profile) string {
	if len(p.Measured) == 0 || !(p.TotalM > 2*p.LeadInM) {
		return ""
	}
	const (
		left, right, top, floor = 40.0, 14.0, 30.0, 168.0
		height                  = 200.0
	)
	c := newCanvas(height)
	u := p.Units
	most := 0.0
	for _, list := range [][]Width{p.Measured, p.Model, p.Baseline} {
		for _, w := range list {
			most = max(most, u.Of(w.WidthM))
		}
	}
	if most == 0 {
		most = 1
	}
	step := tick(most*1.1, 5)
	ceiling := step * math.Ceil(most*1.05/step)
	from, to := p.LeadInM, p.TotalM-p.LeadInM
	x := func(atM float64) float64 {
		return left + min(max((atM-from)/(to-from), 0), 1)*(wide-left-right)
	}
	y := func(widthM float64) float64 { return floor - u.Of(widthM)/ceiling*(floor-top) }

	for v := 0.0; v <= ceiling*(1+1e-9); v += step {
		at := floor - v/ceiling*(floor-top)
		c.line(left, at, wide-right, at, "#d5d9de", 1, "")
		label := num(v)
		if v == 0 {
			label = "0 " + u.String()
		}
		c.text(left-5, at+4, "end", soft, label, "")
	}
	along := tick(u.Of(to-from), 6)
	for v := math.Ceil(u.Of(from)/along) * along; v <= u.Of(to)*(1+1e-9); v += along {
		at := x(u.M(v))
		c.line(at, floor, at, floor+4, soft, 1, "")
		c.tryText(at, floor+17, anchorAt(at), soft, num(v)+" "+u.String(), "")
	}
	c.polyline(curve(p.Model, x, y), heat[in90].colour, 2, "")
	c.polyline(curve(p.Baseline, x, y), soft, 1.5, `stroke-dasharray="5 4"`)
	for _, w := range p.Measured {
		if w.Silent {
			c.cross(x(w.AtM), floor, 5, pointer)
			continue
		}
		c.circle(x(w.AtM), y(w.WidthM), 4, ink, "#fff", 1)
	}
	// What is what, along the top.
	c.circle(left+6, 12, 4, ink, "#fff", 1)
	c.text(left+14, 16, "start", ink, "measured", "")
	at := left + 82
	if len(p.Model) > 1 {
		c.line(at, 12, at+18, 12, heat[in90].colour, 2, "")
		c.text(at+23, 16, "start", ink, "sound loop", "")
		at += 102
	}
	if len(p.Baseline) > 1 {
		c.line(at, 12, at+18, 12, soft, 1.5, `stroke-dasharray="5 4"`)
		c.text(at+23, 16, "start", ink, "baseline", "")
		at += 86
	}
	silent := 0
	for _, w := range p.Measured {
		if w.Silent {
			silent++
		}
	}
	if silent > 0 {
		c.cross(at+6, 12, 4, pointer)
		c.text(at+15, 16, "start", ink, "silent", "")
	}
	return c.svg("widths", "Detection width along the boundary",
		fmt.Sprintf("%d places measured from %s to %s, %d of them silent.", len(p.Measured),
			quantity.FormatLength(from, u), quantity.FormatLength(to, u), silent))
}

func curve(list []Width, x, y func(float64) float64) []yard.Point {
	points := make([]yard.Point, len(list))
	for i, w := range list {
		points[i] = yard.Point{X: x(w.AtM), Y: y(w.WidthM)}
	}
	return points
}
