package report

import (
	"fmt"
	"slices"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
)

// Markdown is the record as CommonMark with tables. What a case file holds
// stays text: no mark-up of its own, no HTML.
func (r *Record) Markdown() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	table := func(heads []string, rows [][]string) {
		line("| %s |", strings.Join(heads, " | "))
		line("|%s", strings.Repeat(" --- |", len(heads)))
		for _, row := range rows {
			cells := make([]string, len(row))
			for i, c := range row {
				cells[i] = markdown(c)
			}
			line("| %s |", strings.Join(cells, " | "))
		}
		line("")
	}

	line("# %s\n", markdown(r.title()))
	if r.Stop != nil {
		line("**STOP. %s**\n", markdown(r.Stop.Text))
		for _, c := range r.Stop.Cautions {
			line("- %s", markdown(c))
		}
		line("")
	} else {
		switch now := markdown(r.now()); {
		case r.Was != "":
			line("**%s.** %s\n\n%s\n", markdown(r.Was), markdown(r.Means), markdown(r.Proof))
			if now != "" {
				line("%s.\n", now)
			}
		case now != "":
			line("**%s.** %s\n", now, markdown(r.Means))
		default:
			line("**%s**\n", markdown(r.Proof))
		}
		for _, s := range append(slices.Clone(r.Places), r.Two) {
			if s != "" {
				line("%s\n", markdown(s))
			}
		}
		for _, s := range r.Remarks {
			line("Mind: %s\n", markdown(s))
		}
	}
	line("## Next\n")
	line("**%s** %s %s\n", markdown(r.Next.Title), markdown(r.Next.Why), markdown(r.Next.takes()))
	for i, s := range r.Next.Do {
		line("%d. %s", i+1, markdown(s))
	}
	if len(r.Next.Cautions) > 0 {
		line("\n**Mind:**\n")
		for _, c := range r.Next.Cautions {
			line("- %s", markdown(c))
		}
	}
	line("\n## %s\n", r.rankingHead())
	var rows [][]string
	for _, c := range r.Causes {
		rows = append(rows, []string{c.Name, c.Part, quantity.FormatPercent(c.Chance)})
	}
	if r.Rest > 0 {
		rows = append(rows, []string{"all others together", "", quantity.FormatPercent(r.Rest)})
	}
	table([]string{"Cause", "Part", "Chance"}, rows)
	for _, c := range r.Conflicts {
		line("- Conflict: %s", markdown(c))
	}
	for _, c := range r.RuledOut {
		line("- Ruled out: %s (%s)", markdown(c.Name), markdown(c.Why))
	}
	if r.Scene.Shows() || len(r.Scene.Marks) > 0 {
		line("\n## Along the wire\n\n```text")
		b.WriteString(strings.ReplaceAll(draw.StripText(r.Scene, defaultColumns, true), "```", "'''"))
		line("```")
	}
	if len(r.Plan) > 0 {
		line("\n## Plan\n")
		for _, l := range r.Plan {
			line("%s- %s", strings.Repeat("  ", l.Depth), markdown(l.Text))
		}
		line("\nOn average from here: %s.", markdown(r.Expected))
	}
	if len(r.Asked) > 0 {
		line("\n## Asked and measured\n")
		heads := []string{"", "Question", "Answer"}
		for _, w := range r.Weighed {
			heads = append(heads, markdown(w))
		}
		rows = nil
		for _, a := range r.Asked {
			answer := a.Answer
			if a.Note != "" {
				answer += " (" + a.Note + ")"
			}
			rows = append(rows, append([]string{a.Key, a.Question, answer}, fill(a.Weights, len(r.Weighed))...))
		}
		table(heads, rows)
	}
	if len(r.Done) > 0 || r.Outcome != "" {
		line("## Done\n")
		for _, d := range r.Done {
			line("- %s", markdown(d.String()))
		}
		if r.Outcome != "" {
			line("- Found: %s", markdown(r.Outcome))
		}
		line("")
	}
	for _, b := range r.bills() {
		line("## %s\n", b.Name)
		table([]string{"Item", "Amount", "Price"}, b.rows())
	}
	line("## Acceptance walk\n")
	rows = nil
	for _, a := range r.Acceptance {
		rows = append(rows, []string{a.What, a.Expected, a.Found, a.Judgement})
	}
	table([]string{"Check", "Expected", "Found", "Judgement"}, rows)
	if r.Verdict != "" {
		line("%s\n", markdown(r.Verdict))
	}
	line("## As built\n")
	rows = nil
	for _, f := range r.AsBuilt {
		rows = append(rows, []string{f.Name, f.Value})
	}
	for _, k := range r.Features {
		rows = append(rows, []string{k.Sign, k.Text})
	}
	table([]string{"What", "Value"}, rows)
	return strings.TrimRight(b.String(), "\n") + "\n"
}

// markdownMarks are the signs that would mark text up.
var markdownMarks = strings.NewReplacer(
	`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "#", `\#`, "|", `\|`, "~", `\~`, "!", `\!`,
	"<", "&lt;", ">", "&gt;", "&", "&amp;",
)

// markdown makes any text plain text of one line.
func markdown(s string) string { return markdownMarks.Replace(oneLine(s)) }
