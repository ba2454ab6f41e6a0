package draw

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"

	"loopfault/diagnose/yard"
)

// The inks. Lightness falls with belief, so that grey print keeps the order;
// every ink for letters has a contrast of at least 4.5 to 1 on white.
const (
	ink     = "#1b2430" // letters, outlines
	soft    = "#5b6672" // axis figures, remarks
	ground  = "#f3f5ef" // inside the boundary
	band    = "#d9dccf" // what lies over the wire
	pointer = "#a3210f" // the next step
)

// heat is how a stretch of each level is drawn.
var heat = [...]struct {
	colour string
	width  float64
}{
	inRest: {"#8d98a4", 2},
	in99:   {"#6b8fc0", 3.5},
	in90:   {"#3f6fa8", 5.5},
	in50:   {"#10294a", 9},
}

// canvas gathers the parts of one SVG drawing.
type canvas struct {
	strings.Builder
	width, height float64
	placed        []box // of letters, so that none overlap
}

type box struct{ x0, y0, x1, y1 float64 }

func (b box) meets(c box) bool { return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1 }

const wide = 400.0 // units of every drawing

func newCanvas(height float64) *canvas { return &canvas{width: wide, height: height} }

// svg closes the drawing. The title and description speak for it to those who
// cannot see it.
func (c *canvas) svg(id, title, description string) string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d" font-family="inherit" font-size="12">`+
		`<title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s</svg>`,
		num(c.width), num(c.height), id, id, id, escape(title), id, escape(description), c.String())
}

func (c *canvas) add(format string, args ...any) { fmt.Fprintf(&c.Builder, format, args...) }

func (c *canvas) line(x1, y1, x2, y2 float64, colour string, width float64, more string) {
	c.add(`<line x1="%s" y1="%s" x2="%s" y2="%s" stroke="%s" stroke-width="%s" %s/>`, num(x1), num(y1), num(x2), num(y2), colour, num(width), more)
}

func (c *canvas) polyline(points []yard.Point, colour string, width float64, more string) {
	if len(points) < 2 {
		return
	}
	c.add(`<polyline points="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round" %s/>`, pointList(points), colour, num(width), more)
}

func (c *canvas) circle(x, y, r float64, fill, stroke string, width float64) {
	c.add(`<circle cx="%s" cy="%s" r="%s" fill="%s" stroke="%s" stroke-width="%s"/>`, num(x), num(y), num(r), fill, stroke, num(width))
}

func (c *canvas) cross(x, y, r float64, colour string) {
	c.line(x-r, y-r, x+r, y+r, colour, 2, "")
	c.line(x-r, y+r, x+r, y-r, colour, 2, "")
}

// text writes letters whatever lies there, and keeps their place.
func (c *canvas) text(x, y float64, anchor, colour, s, more string) {
	c.placed = append(c.placed, textBox(x, y, anchor, s))
	c.add(`<text x="%s" y="%s" text-anchor="%s" fill="%s" %s>%s</text>`, num(x), num(y), anchor, colour, more, escape(s))
}

// tryText writes letters if they fit, on the drawing and beside all others.
func (c *canvas) tryText(x, y float64, anchor, colour, s, more string) bool {
	b := textBox(x, y, anchor, s)
	if b.x0 < 1 || b.x1 > c.width-1 || b.y0 < 1 || b.y1 > c.height-1 {
		return false
	}
	for _, p := range c.placed {
		if p.meets(b) {
			return false
		}
	}
	c.text(x, y, anchor, colour, s, more)
	return true
}

// textBox is about the room that letters of size 12 take.
func textBox(x, y float64, anchor, s string) box {
	w := 6.8 * float64(len([]rune(s)))
	switch anchor {
	case "middle":
		x -= w / 2
	case "end":
		x -= w
	}
	return box{x - 1, y - 11, x + w + 1, y + 3}
}

// badge is a number in a ring.
func (c *canvas) badge(x, y float64, s string) {
	c.placed = append(c.placed, box{x - 9, y - 9, x + 9, y + 9})
	c.circle(x, y, 8.5, "#fff", ink, 1)
	c.add(`<text x="%s" y="%s" text-anchor="middle" fill="%s">%s</text>`, num(x), num(y+4.2), ink, escape(s))
}

func (c *canvas) free(x, y, r float64) bool {
	b := box{x - r, y - r, x + r, y + r}
	if b.x0 < 1 || b.x1 > c.width-1 || b.y0 < 1 || b.y1 > c.height-1 {
		return false
	}
	for _, p := range c.placed {
		if p.meets(b) {
			return false
		}
	}
	return true
}

func pointList(points []yard.Point) string {
	var b strings.Builder
	for i, p := range points {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(num(p.X))
		b.WriteByte(',')
		b.WriteString(num(p.Y))
	}
	return b.String()
}

// num writes a coordinate with one decimal, enough for a twelve-unit letter.
func num(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
}

func escape(s string) string { return html.EscapeString(clean(s)) }

// clean keeps text on one line and takes out what no drawing may hold: control
// characters and the marks that turn the direction of writing.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r < ' ', r >= 0x7f && r < 0xa0, r >= 0x2028 && r <= 0x202e, r >= 0x2066 && r <= 0x2069, r == 0xfffe, r == 0xffff:
			return ' '
		}
		return r
	}, s)
}

// LetterInks are the colours that letters are written in, by name.
func LetterInks() map[string]string {
	return map[string]string{"ink": ink, "soft": soft, "pointer": pointer}
}

// HeatInks are the colours of the levels of belief, the least believed first.
func HeatInks() []string {
	inks := make([]string, len(heat))
	for i, h := range heat {
		inks[i] = h.colour
	}
	return inks
}
