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
			widest = max(widest, utf8.RuneCountInString(r[i]))
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
	finding := fmt.Sprintf("%s: %s, %s", r.Finding, quantity.FormatPercent(r.Chance), r.Word)
	if r.Was != "" {
		p.line(r.Was)
		finding = "Now: " + lower(finding)
	}
	p.line(finding)
	for _, s := range r.Places {
		p.line(s)
	}
	if r.Two != "" {
		p.line(r.Two)
	}
	for _, s := range r.Remarks {
		p.item("Mind:", s)
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

	p.head("What it can be")
	var rows [][]string
	for i, c := range r.Causes {
		rows = append(rows, []string{fmt.Sprint(i + 1), c.Name, c.Part, quantity.FormatPercent(c.Chance), bar(c.Chance, 16, t.ASCII)})
	}
	if r.Rest > 0 {
		rows = append(rows, []string{"", "all others together", "", quantity.FormatPercent(r.Rest), bar(r.Rest, 16, t.ASCII)})
	}
	p.table([]column{{name: "#", right: true}, {name: "Cause", prose: true}, {name: "Part"}, {name: "Chance", right: true}, {name: ""}}, rows)
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
		heads := []column{{name: "Question", prose: true}, {name: "Answer"}}
		for i := range r.Weighed {
			heads = append(heads, column{name: fmt.Sprintf("(%d)", i+1), right: true})
		}
		p.tableOf(heads, rows, 26)
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
	if len(r.Materials) > 0 {
		p.head("Materials")
		rows = nil
		for _, m := range r.Materials {
			rows = append(rows, []string{m.Name, m.Amount, m.Price})
		}
		if r.Total != "" && len(r.Materials) > 1 {
			rows = append(rows, []string{"together", "", r.Total})
		}
		p.table([]column{{name: "Item", prose: true}, {name: "Amount", right: true}, {name: "Price", right: true}}, rows)
	}
	p.head("Acceptance walk")
	rows = nil
	for _, a := range r.Acceptance {
		rows = append(rows, []string{a.What, a.Expected, a.Found, a.Judgement})
	}
	p.tableOf([]column{{name: "Check", prose: true}, {name: "Expected"}, {name: "Found"}, {name: "Judgement"}}, rows, 22)
	p.line(r.Verdict)
	if p.err != nil {
		return "", p.err
	}
	return p.String(), nil
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
		return d.Text + ": the fault is gone"
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

func (p *page) table(columns []column, rows [][]string) { p.tableOf(columns, rows, 0) }

// tableOf writes a table in which columns of text besides the prose wrap too,
// where a width for them is given.
func (p *page) tableOf(columns []column, rows [][]string, textWidth int) {
	for i := range rows {
		for j := range rows[i] {
			rows[i][j] = oneLine(rows[i][j])
			if textWidth > 0 && !columns[j].prose && !columns[j].right {
				rows[i][j] = shorten(rows[i][j], min(textWidth, p.columns/3))
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
