package report

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/pkg/twwidth"
	"github.com/olekukonko/tablewriter/tw"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
)

// column is one column of a plain table.
type column struct {
	name  string
	right bool // figures
	prose bool // wraps to what room is left; one a table
	most  int  // wraps to this width; 0: as wide as its widest cell
}

// cellPadding is what a cell takes besides its text.
const cellPadding = 2

// plainTable lays rows out for a terminal: no frame, a rule under the heads, no
// trailing blanks. It is the only place that knows how tables are made.
func plainTable(columns []column, rows [][]string, width int) (string, error) {
	// A symbol such as ohm's is one place wide, whatever the machine's locale.
	twwidth.SetEastAsian(false)
	align := tw.CellAlignment{PerColumn: make([]tw.Align, len(columns))}
	heads := make([]any, len(columns))
	room := tw.NewMapper[int, int]()
	taken, prose := 0, -1
	for i, c := range columns {
		align.PerColumn[i] = tw.AlignLeft
		if c.right {
			align.PerColumn[i] = tw.AlignRight
		}
		heads[i] = c.name
		if c.prose {
			prose = i
			continue
		}
		widest := utf8.RuneCountInString(c.name)
		for _, r := range rows {
			for line := range strings.SplitSeq(r[i], "\n") {
				widest = max(widest, utf8.RuneCountInString(line))
			}
		}
		taken += widest + cellPadding
	}
	if prose >= 0 {
		room.Set(prose, max(width-taken, 16))
	}
	var b bytes.Buffer
	t := tablewriter.NewTable(&b,
		tablewriter.WithRendition(tw.Rendition{
			Borders:  tw.BorderNone,
			Symbols:  tw.NewSymbols(tw.StyleASCII),
			Settings: tw.Settings{Separators: tw.Separators{BetweenColumns: tw.Off}},
		}),
		tablewriter.WithConfig(tablewriter.Config{
			Header: tw.CellConfig{Alignment: align, Formatting: tw.CellFormatting{AutoFormat: tw.Off}},
			Row: tw.CellConfig{
				Alignment:    align,
				Formatting:   tw.CellFormatting{AutoWrap: tw.WrapNormal},
				ColMaxWidths: tw.CellWidth{PerColumn: room},
			},
		}))
	t.Header(heads...)
	if err := t.Bulk(rows); err != nil {
		return "", fmt.Errorf("lay out table: %w", err)
	}
	if err := t.Render(); err != nil {
		return "", fmt.Errorf("lay out table: %w", err)
	}
	var out strings.Builder
	for line := range strings.Lines(b.String()) {
		out.WriteString(strings.TrimRight(line, " \n") + "\n")
	}
	return out.String(), nil
}

// Terminal says how wide a terminal is and what it can show.
type Terminal struct {
	Columns int  // 0: 80
	ASCII   bool // no signs beyond ASCII
}

// The width of a report on a terminal: prose wider than this is hard to read.
const (
	defaultColumns = 80
	mostColumns    = 100
)

// Table is the record for a terminal.
func (r *Record) Table(t Terminal) (string, error) {
	columns := t.Columns
	if columns <= 0 {
		columns = defaultColumns
	}
	columns = min(max(columns, 40), mostColumns)
	p := page{columns: columns}
	p.line(r.title())
	p.line(strings.Repeat("=", min(utf8.RuneCountInString(r.title()), columns)))
	p.blank()
	if r.Stop != nil {
		p.item("STOP:", r.Stop.Text)
		for _, c := range r.Stop.Cautions {
			p.item("!", c)
		}
	} else {
		if r.Was != "" {
			p.line(r.Was)
			p.line(r.Proof)
		}
		p.line(r.now())
		for _, s := range r.Places {
			p.line(s)
		}
		if r.Two != "" {
			p.line(r.Two)
		}
		for _, s := range r.Remarks {
			p.item("Mind:", s)
		}
	}

	p.head("Next")
	p.line(r.Next.Title)
	p.line(r.Next.Why)
	for i, s := range r.Next.Do {
		p.item(fmt.Sprintf("%d.", i+1), s)
	}
	p.line(r.Next.takes())
	for _, c := range r.Next.Cautions {
		p.item("!", c)
	}

	p.head(r.rankingHead())
	var rows [][]string
	for i, c := range r.Causes {
		rows = append(rows, []string{fmt.Sprint(i + 1), c.Name, c.Part, quantity.FormatPercent(c.Chance), bar(c.Chance, 16, t.ASCII)})
	}
	if r.Rest > 0 {
		rows = append(rows, []string{"", "all others together", "", quantity.FormatPercent(r.Rest), bar(r.Rest, 16, t.ASCII)})
	}
	p.table([]column{{name: "#", right: true}, {name: "Cause", prose: true}, {name: "Part", most: 22}, {name: "Chance", right: true}, {name: ""}}, rows)
	for _, c := range r.Conflicts {
		p.item("?", c)
	}

	if r.Scene.Shows() || len(r.Scene.Marks) > 0 || r.Scene.Yard.HasPath() {
		p.head("Along the wire")
		p.raw(draw.StripText(r.Scene, columns, t.ASCII))
	}
	if len(r.Plan) > 0 {
		p.head("Plan")
		for _, l := range r.Plan {
			p.item(strings.Repeat("  ", l.Depth)+"-", l.Text)
		}
		p.line("On average from here: " + r.Expected + ".")
	}
	if len(r.Asked) > 0 {
		p.head("Asked and measured")
		rows = nil
		for _, a := range r.Asked {
			rows = append(rows, append([]string{a.Question, a.Answer}, fill(a.Weights, len(r.Weighed))...))
		}
		heads := []column{{name: "Question", prose: true}, {name: "Answer", most: 26}}
		for i := range r.Weighed {
			heads = append(heads, column{name: fmt.Sprintf("(%d)", i+1), right: true, most: 13})
		}
		p.table(heads, rows)
		for i, name := range r.Weighed {
			p.item(fmt.Sprintf("(%d)", i+1), "what the answer says for or against "+name)
		}
	}
	if len(r.Done) > 0 || r.Outcome != "" {
		p.head("Done")
		for _, d := range r.Done {
			p.item("-", d.String())
		}
		if r.Outcome != "" {
			p.line("Found: " + r.Outcome)
		}
	}
	for _, b := range r.bills() {
		p.head(b.Name)
		p.table([]column{{name: "Item", prose: true}, {name: "Amount", right: true}, {name: "Price", right: true}}, b.rows())
	}
	p.head("Acceptance walk")
	rows = nil
	for _, a := range r.Acceptance {
		rows = append(rows, []string{a.What, a.Expected, a.Found, a.Judgement})
	}
	p.table([]column{{name: "Check", prose: true}, {name: "Expected", most: 21}, {name: "Found", most: 12}, {name: "Judgement", most: 14}}, rows)
	p.line(r.Verdict)
	p.head("As built")
	rows = nil
	for _, f := range r.AsBuilt {
		rows = append(rows, []string{f.Name, f.Value})
	}
	p.table([]column{{name: "What", most: 20}, {name: "Value", prose: true}}, rows)
	if p.err != nil {
		return "", p.err
	}
	return p.String(), nil
}

// now is the finding of what is wrong now; nothing once the case is closed.
func (r *Record) now() string {
	finding := fmt.Sprintf("%s: %s, %s", r.Finding, quantity.FormatPercent(r.Chance), r.Word)
	switch {
	case r.Closed:
		return ""
	case r.Was != "":
		return "Now: " + lower(finding)
	}
	return finding
}

func (r *Record) rankingHead() string {
	switch {
	case r.Closed && len(r.Done) > 0:
		return "What it looked like before the repair"
	case r.Stop != nil:
		return "What it looked like before the stop"
	}
	return "What it can be"
}

// Bill is materials with a name and their sum.
type Bill struct {
	Name  string
	Lines []Material
	Total string // where there is more than one line
}

// bills are what was used and what is needed, as far as there is any of it.
func (r *Record) bills() []Bill {
	var out []Bill
	for _, b := range []Bill{{"Materials used", r.Used, r.UsedTotal}, {"Materials", r.Materials, r.Total}} {
		if len(b.Lines) == 0 {
			continue
		}
		if len(b.Lines) == 1 {
			b.Total = ""
		}
		out = append(out, b)
	}
	return out
}

func (b Bill) rows() [][]string {
	var rows [][]string
	for _, m := range b.Lines {
		rows = append(rows, []string{m.Name, m.Amount, m.Price})
	}
	if b.Total != "" {
		rows = append(rows, []string{"together", "", b.Total})
	}
	return rows
}

// title names the report.
func (r *Record) title() string {
	t := "Boundary loop report"
	if r.Case != "" {
		t += ": " + r.Case
	}
	if r.Date != "" {
		t += ", " + r.Date
	}
	return oneLine(t)
}

// takes says what a step takes.
func (s Step) takes() string {
	text := "Takes about " + s.Minutes
	if s.Cost != "" {
		text += ", " + s.Cost
	}
	return text + "."
}

// String says whether the repair helped.
func (d Done) String() string {
	if d.Fixed {
		return d.Text + ": the fault was gone"
	}
	return d.Text + ": the fault is still there"
}

// page gathers lines of at most so many columns.
type page struct {
	strings.Builder
	columns int
	err     error
}

func (p *page) blank() { p.WriteByte('\n') }

func (p *page) raw(s string) { p.WriteString(s) }

func (p *page) head(s string) {
	p.blank()
	p.line(s)
	p.line(strings.Repeat("-", utf8.RuneCountInString(s)))
}

// line writes prose, broken between words.
func (p *page) line(s string) { p.item("", s) }

// item writes prose behind a sign, its further lines under its first.
func (p *page) item(sign, s string) {
	if s = oneLine(s); s == "" {
		return
	}
	lead := sign
	if sign != "" {
		lead += " "
	}
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, empty := lead, true
	for word := range strings.FieldsSeq(s) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > p.columns {
			p.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	p.WriteString(line + "\n")
}

// table writes a table in which columns of text besides the prose wrap too, where
// a width for them is given.
func (p *page) table(columns []column, rows [][]string) {
	for i := range rows {
		for j := range rows[i] {
			rows[i][j] = oneLine(rows[i][j])
			if most := columns[j].most; most > 0 {
				rows[i][j] = shorten(rows[i][j], min(most, p.columns/3))
			}
		}
	}
	text, err := plainTable(columns, rows, p.columns)
	if err != nil && p.err == nil {
		p.err = err
	}
	p.WriteString(text)
}

// shorten breaks a cell into lines no wider than given.
func shorten(s string, width int) string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(s) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return strings.Join(append(lines, line), "\n")
}

// oneLine keeps any text on one line and takes out what a terminal would obey.
func oneLine(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r < ' ' || r >= 0x7f && r < 0xa0 || r >= 0x2028 && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// bar is a share as a row of signs.
func bar(share float64, width int, ascii bool) string {
	sign := "█"
	if ascii {
		sign = "#"
	}
	return strings.Repeat(sign, int(share*float64(width)+0.5))
}

func fill(s []string, n int) []string {
	out := make([]string, n)
	copy(out, s)
	return out
}
