package journal

import (
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// Line is an entry as it stands in a case file: one flow mapping without the
// dash. Reading it back gives the entry again, lengths and readings to one part
// in 10^10. The unit of readings comes from the check, nil where the base does
// not know it.
func Line(e diagnose.Entry, c *kb.Check, u quantity.Units) string {
	var g group
	switch {
	case e.Answer != nil:
		g.answer(e.Answer, c, u)
	case e.Repair != nil:
		g.add("repair", e.Repair.Repair)
		g.length("at", e.Repair.AtM, u)
		g.length("from", e.Repair.FromM, u)
		g.length("to", e.Repair.ToM, u)
		g.add("fixed", strconv.FormatBool(e.Repair.Fixed))
	case e.Outcome != nil:
		var o group
		o.add("cause", e.Outcome.Cause)
		o.length("at", e.Outcome.AtM, u)
		o.add("confirmed", strconv.FormatBool(e.Outcome.Confirmed))
		g = append(g, "outcome: "+o.flow())
	case e.Undo:
		g.add("undo", "true")
	}
	if !e.Time.IsZero() {
		g.add("time", e.Time.Format(time.RFC3339))
	}
	return g.flow()
}

// group collects the fields of a flow mapping; what is empty is left out.
type group []string

func (g *group) add(name, value string) {
	if value != "" {
		*g = append(*g, name+": "+scalar(value))
	}
}

func (g *group) length(name string, m *float64, u quantity.Units) {
	if m != nil {
		g.add(name, quantity.WriteLength(*m, u))
	}
}

func (g *group) reading(name string, r *faultmodel.Reading, unit string) {
	if r != nil {
		g.add(name, quantity.WriteReading(r.Value, r.OverRange, unit))
	}
}

func (g group) flow() string { return "{" + strings.Join(g, ", ") + "}" }

func (g *group) answer(a *diagnose.Answer, c *kb.Check, u quantity.Units) {
	g.add("check", a.Check)
	g.add("answer", a.Choice)
	unit := "ohm"
	if c != nil && c.Unit != "" {
		unit = c.Unit
	}
	g.reading("reading", a.Reading, unit)
	g.length("at", a.AtM, u)
	g.length("from", a.FromM, u)
	g.length("to", a.ToM, u)
	g.add("end", string(a.End))
	if c != nil && c.Kind == kb.Tap && a.Choice == "" {
		g.add("a_side", side(a.ASide))
		g.add("b_side", side(a.BSide))
	}
	g.reading("a_ohms", a.AOhms, "ohm")
	g.reading("b_ohms", a.BOhms, "ohm")
	g.reading("a_to_earth", a.AToEarth, "ohm")
	g.reading("b_to_earth", a.BToEarth, "ohm")
	if len(a.Widths) > 0 {
		items := make([]string, len(a.Widths))
		for i, w := range a.Widths {
			var item group
			item.length("at", &w.AtM, u)
			width := w.WidthM
			if w.Silent {
				width = 0
			}
			item.length("width", &width, u)
			items[i] = item.flow()
		}
		*g = append(*g, "widths: ["+strings.Join(items, ", ")+"]")
	}
	g.add("when", string(a.When))
	if a.Unsure {
		g.add("unsure", "true")
	}
	if a.Note != "" {
		*g = append(*g, "note: "+quoted(a.Note)) // quoted at all times: it is the one free text
	}
}

func side(s locate.Side) string {
	if s == "" {
		return string(locate.SideUnknown)
	}
	return string(s)
}

// bare is what needs no quotes in a flow mapping: ids, numbers with units, times.
var bare = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9 .%+-]*(?::[0-9][A-Za-z0-9.+-]*)*$`)

// scalar writes a value so that it reads back as it is.
func scalar(s string) string {
	if bare.MatchString(s) && !strings.HasSuffix(s, " ") {
		return s
	}
	return quoted(s)
}

// quoted writes text between double quotes, on one line. What no case file may
// hold (control characters, marks that turn the direction of writing, bytes
// that are not UTF-8) becomes a space or a replacement character.
func quoted(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case unicode.IsControl(r) || unicode.In(r, unicode.Zl, unicode.Zp):
			b.WriteByte(' ')
		case unicode.Is(unicode.Bidi_Control, r), !printable(r):
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// printable is what YAML 1.2 allows in a stream (section 5.1, c-printable) beyond
// the control characters: no surrogates, no U+FFFE, no U+FFFF, no byte order mark.
func printable(r rune) bool {
	return r >= ' ' && r != 0xfeff && r&0xfffe != 0xfffe && (r < 0xd800 || r > 0xdfff)
}
