package draw

import (
	"fmt"
	"math"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// glyphs are the signs of a drawing in plain text.
type glyphs struct {
	level   [4]rune // by level of belief
	lead    rune
	pointer rune
}

var (
	asciiGlyphs = glyphs{level: [4]rune{'-', '+', '%', '#'}, lead: '=', pointer: '^'}
	boxGlyphs   = glyphs{level: [4]rune{'─', '░', '▒', '█'}, lead: '═', pointer: '▲'}
)

func signs(ascii bool) glyphs {
	if ascii {
		return asciiGlyphs
	}
	return boxGlyphs
}

// row is one line of a drawing in plain text.
type row []rune

func newRow(columns int) row {
	return row([]rune(strings.Repeat(" ", columns)))
}

func (r row) put(at int, s string) {
	for _, c := range s {
		if at >= 0 && at < len(r) {
			r[at] = c
		}
		at++
	}
}

// tryPut writes a word, with a blank on each side, if nothing stands there.
func (r row) tryPut(at int, s string) bool {
	width := len([]rune(s))
	at = min(max(at, 0), len(r)-width)
	if at < 0 || strings.TrimSpace(string(r[max(at-1, 0):min(at+width+1, len(r))])) != "" {
		return false
	}
	r.put(at, s)
	return true
}

func (r row) String() string { return strings.TrimRight(string(r), " ") }

// StripText draws the whole conductor in a few lines of the given width, and a
// key under it. Every line ends without blanks.
func StripText(s Scene, columns int, ascii bool) string {
	columns = max(columns, 40)
	g := signs(ascii)
	total, lead := s.Yard.TotalM(), s.Yard.LeadInM()
	span := columns - 4 // "A " and " B"
	column := func(atM float64) int {
		return 2 + min(max(int(atM/total*float64(span)), 0), span-1)
	}
	var out []string

	evidence := []row{}
	for i, m := range s.Marks {
		middle := column((m.FromM + m.ToM) / 2)
		word := Key(i)
		if m.Kind == Tap {
			word = endSign(m.A) + Key(i) + endSign(m.B)
		}
		placed := false
		for _, r := range evidence {
			if placed = r.tryPut(middle-len(word)/2, word); placed {
				break
			}
		}
		if !placed {
			r := newRow(columns)
			r.put(max(middle-len(word)/2, 0), word)
			evidence = append(evidence, r)
		}
	}
	for i := len(evidence) - 1; i >= 0; i-- {
		out = append(out, evidence[i].String())
	}

	wire := newRow(columns)
	wire.put(0, "A ")
	wire.put(columns-2, " B")
	// A column shows the most believed place in it.
	lv := levels(s.Belief)
	for k := range span {
		atM := total * (float64(k) + 0.5) / float64(span)
		level := levelAt(lv, atM, total)
		if n := len(lv); n > span {
			for i := k * n / span; i < (k+1)*n/span; i++ {
				level = max(level, lv[i])
			}
		}
		sign := g.level[level]
		if level == inRest && (atM < lead || atM > total-lead) {
			sign = g.lead
		}
		wire[2+k] = sign
	}
	out = append(out, wire.String())

	if s.Next != nil {
		next := newRow(columns)
		from, to := column(s.Next.FromM), column(s.Next.ToM)
		for k := from; k <= to; k++ {
			next[k] = g.pointer
		}
		word := s.label()
		if width := len([]rune(word)); to+2+width <= columns {
			next.put(to+2, word)
		} else {
			next.put(max(from-1-width, 0), word)
		}
		out = append(out, next.String())
	}
	features := newRow(columns)
	for _, n := range s.Features() {
		features.tryPut(column((n.Feature.FromM+n.Feature.ToM)/2), fmt.Sprint(n.Number))
	}
	if text := features.String(); text != "" {
		out = append(out, text)
	}

	axis := newRow(columns)
	u := s.Units
	step := tick(u.Of(total), max(columns/11, 3))
	for v := 0.0; v <= u.Of(total)*(1+1e-9); v += step {
		word := fmt.Sprintf("%g", v)
		if v == 0 {
			word += " " + u.String()
		}
		at := column(u.M(v))
		if v > 0 {
			at -= len(word) / 2
		}
		axis.tryPut(at, word)
	}
	out = append(out, axis.String(), "")
	out = append(out, s.keyText(columns, g)...)
	return strings.Join(out, "\n") + "\n"
}

func endSign(e End) string {
	switch e {
	case Sound:
		return "o"
	case Broken:
		return "x"
	}
	return "?"
}

// keyText explains the signs.
func (s Scene) keyText(columns int, g glyphs) []string {
	var parts []string
	if s.Shows() {
		parts = append(parts, fmt.Sprintf("%c half the chance, %c most of the rest to 90 %%, %c to 99 %%", g.level[in50], g.level[in90], g.level[in99]))
	}
	if s.Yard.LeadInM() > 0 {
		parts = append(parts, fmt.Sprintf("%c lead-in", g.lead))
	}
	for _, n := range s.Features() {
		parts = append(parts, fmt.Sprintf("%d %s", n.Number, s.featureText(n)))
	}
	for i, m := range s.Marks {
		parts = append(parts, fmt.Sprintf("%s %s", Key(i), m.Text))
	}
	return wrap(parts, columns)
}

// featureText names a feature and its place: "driveway, no-dig, 300 to 314 ft".
func (s Scene) featureText(n Numbered) string {
	var text string
	for _, k := range s.Also(n) {
		text += string(k) + ", "
	}
	return text + quantity.FormatRange(n.Feature.FromM, n.Feature.ToM, s.Units)
}

// FeatureText names a numbered feature and its place.
func (s Scene) FeatureText(n Numbered) string { return s.featureText(n) }

// wrap joins parts with semicolons, breaking between them or, in a long one,
// between words.
func wrap(parts []string, columns int) []string {
	var lines []string
	line := ""
	for i, p := range parts {
		if i < len(parts)-1 {
			p += ";"
		}
		for j, w := range strings.Fields(clean(p)) {
			fresh := j == 0 && len([]rune(line))+len([]rune(p))+1 > columns && len([]rune(p)) <= columns
			switch {
			case line == "":
				line = w
			case fresh || len([]rune(line))+1+len([]rune(w)) > columns:
				lines = append(lines, line)
				line = w
			default:
				line += " " + w
			}
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// YardText draws the yard in plain text, at most so many columns and rows, with a
// key; it is empty for a yard without a path. Letters are taken as twice as high
// as wide.
func YardText(s Scene, columns, rows int, ascii bool) string {
	low, high, ok := s.Yard.Bounds()
	if !ok {
		return ""
	}
	columns, rows = max(columns, 40), max(rows, 10)
	g := signs(ascii)
	w, h := max(high.X-low.X, 0.1), max(high.Y-low.Y, 0.1)
	const edge = 2
	perM := min(float64(columns-1-2*edge)/w, 2*float64(rows-3)/h) // columns per metre
	grid := make([]row, int(math.Ceil(h*perM/2))+1)
	for i := range grid {
		grid[i] = newRow(columns)
	}
	cell := func(p yard.Point) (int, int) {
		return edge + int(math.Round((p.X-low.X)*perM)), len(grid) - 1 - int(math.Round((p.Y-low.Y)*perM/2))
	}
	put := func(atM float64, sign string) {
		if x, y, ok := s.Yard.Place(atM); ok {
			i, j := cell(yard.Point{X: x, Y: y})
			if j >= 0 && j < len(grid) {
				grid[j].put(i, sign)
			}
		}
	}
	total, lead := s.Yard.TotalM(), s.Yard.LeadInM()
	lv := levels(s.Belief)
	// Walk fine enough to miss no letter, the less believed first.
	steps := int(math.Ceil(total*perM*3)) + 1
	for pass := inRest; pass <= in50; pass++ {
		for k := 0; k <= steps; k++ {
			atM := total * float64(k) / float64(steps)
			level := levelAt(lv, atM, total)
			if level != pass {
				continue
			}
			sign := g.level[level]
			if level == inRest {
				sign = outline(ascii)
				if atM < lead || atM > total-lead {
					sign = g.lead
				}
			}
			put(atM, string(sign))
		}
	}
	for _, n := range s.Features() {
		put((n.Feature.FromM+n.Feature.ToM)/2, fmt.Sprint(n.Number))
	}
	for i, m := range s.Marks {
		put((m.FromM+m.ToM)/2, Key(i))
	}
	if s.Next != nil {
		put((s.Next.FromM+s.Next.ToM)/2, "X")
	}
	if at := s.Yard.Transmitter.At; at != nil {
		i, j := cell(*at)
		grid[j].put(i, "T")
	}
	var b strings.Builder
	for _, r := range grid {
		b.WriteString(r.String() + "\n")
	}
	u := s.Units
	length := tick(u.Of(float64(columns)/4/perM), 1)
	if u.M(length)*perM > float64(columns)/3 {
		length /= 2
	}
	bar := max(int(math.Round(u.M(length)*perM)), 2)
	foot := fmt.Sprintf("\n|%s| %g %s", strings.Repeat("-", bar-1), length, u)
	if s.Yard.Loop.Origin != nil {
		foot += "   north is up"
	}
	b.WriteString(foot + "\n")
	var parts []string
	if s.Yard.Transmitter.At != nil {
		parts = append(parts, "T transmitter")
	}
	if s.Next != nil {
		parts = append(parts, "X "+s.label())
	}
	for _, line := range append(wrap(parts, columns), s.keyText(columns, g)...) {
		b.WriteString(line + "\n")
	}
	return b.String()
}

// outline is the wire's own sign on a map, where it runs in all directions.
func outline(ascii bool) rune {
	if ascii {
		return '.'
	}
	return '·'
}
