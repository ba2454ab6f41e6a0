package command

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
)

// treeNode is a step as the engine would take it, with what may come of it.
type treeNode struct {
	Step     string // what to do, in the role's words
	ID       string
	Likely   string // what is likely here
	Branches []treeBranch
	Rest     float64 // share of the cases here whose answers are too rare to print
	Cut      bool    // the tree ends here, the case does not
}

// treeBranch is one answer, with how often it is given of the cases that come here.
type treeBranch struct {
	Answer string
	Share  float64
	To     *treeNode
}

// rareShare is the share of all cases below which an answer is not followed.
const rareShare = 0.01

func newTree(p *program) *cobra.Command {
	var format, output, yardFile string
	var depth int
	formats := []string{"text", "dot", "html"}
	c := &cobra.Command{
		Use: "tree", Short: "Print the question tree for a role",
		Long: `Print the question tree for a role as the engine would ask it, to take along on paper. Answers
that fewer than one case in a hundred comes to are summed up, and so is what lies below --depth.`,
		Example: `  loopfault tree --role homeowner --depth 4
  loopfault tree --role technician --tools meter,spade --format dot -o tree.dot`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if depth < 1 || depth > 8 {
				return usagef("", "--depth %d: expected 1 to 8", depth)
			}
			if err := oneOf("format", format, formats); err != nil {
				return err
			}
			c, err := p.newCase(caseFlags{yard: yardFile})
			if err != nil {
				return err
			}
			s, engine, err := p.ready()
			if err != nil {
				return err
			}
			desk, err := engine.At(c)
			if err != nil {
				return err
			}
			g := grower{engine, desk, c.Role, s.Units}
			root := g.grow(cmd.Context(), nil, 1, depth)
			if err := cmd.Context().Err(); err != nil {
				return err
			}
			return p.output(output, true, func(w io.Writer) error {
				switch format {
				case "dot":
					return writeDot(w, root)
				case "html":
					return writeTreeHTML(w, root, c.Role)
				}
				return writeTree(w, root)
			})
		},
	}
	addRole(c)
	addTools(c)
	c.Flags().StringVar(&yardFile, "yard", "", "as-built map from `FILE`; an unknown yard where left out")
	c.Flags().StringVar(&format, "format", "text", "`FORMAT`: text, dot or html")
	c.Flags().IntVar(&depth, "depth", 4, "how many questions deep, `N`")
	addOutput(c, &output)
	_ = c.RegisterFlagCompletionFunc("format", fixed(formats...))
	return c
}

// grower asks the engine for the next step after every answer.
type grower struct {
	engine *diagnose.Engine
	desk   *diagnose.Desk
	role   diagnose.Role
	units  quantity.Units
}

func (g grower) words(w kb.Words) string { return w.For(string(g.role)) }

// grow is the tree below a log that a share of all cases comes to.
func (g grower) grow(ctx interface{ Err() error }, log []diagnose.Entry, share float64, depth int) *treeNode {
	a := g.desk.Assess(log)
	n := &treeNode{Step: g.step(a), ID: a.Step.ID, Likely: g.likely(a)}
	if a.Step.Kind != diagnose.NextCheck || ctx.Err() != nil {
		return n
	}
	if depth == 0 {
		n.Cut = true
		return n
	}
	branches := g.answers(a)
	if len(branches) == 0 {
		n.Cut = true // a place or a figure, which no tree can hold
		return n
	}
	for _, b := range branches {
		if share*b.share < rareShare {
			n.Rest += b.share
			continue
		}
		next := append(log[:len(log):len(log)], diagnose.Entry{Answer: b.answer})
		n.Branches = append(n.Branches, treeBranch{b.text, b.share, g.grow(ctx, next, share*b.share, depth-1)})
	}
	if len(n.Branches) == 0 {
		n.Rest, n.Cut = 0, true
	}
	return n
}

// step says what to do.
func (g grower) step(a *diagnose.Assessment) string {
	switch {
	case a.Step.Check != nil:
		return g.words(a.Step.Check.Ask)
	case a.Step.Repair != nil:
		return g.words(a.Step.Repair.Name)
	}
	return string(a.Step.Kind)
}

// likely names the leading causes.
func (g grower) likely(a *diagnose.Assessment) string {
	var names []string
	for i, r := range a.Ranking {
		if i == 3 || i > 0 && r.P < 0.1 {
			break
		}
		names = append(names, fmt.Sprintf("%s %s", g.words(r.Cause.Name), quantity.FormatPercent(r.P)))
	}
	return strings.Join(names, ", ")
}

// possible is an answer that may be given, with how often.
type possible struct {
	text   string
	answer *diagnose.Answer
	share  float64
}

// answers are those that the step's check may get here. A reading is told apart
// by the ranges that people tell apart.
func (g grower) answers(a *diagnose.Assessment) []possible {
	c := a.Step.Check
	var out []possible
	switch c.Kind {
	case kb.Choice:
		shares := make([]float64, len(c.Answers))
		var total float64
		for _, r := range a.Ranking {
			for k, q := range g.engine.AnswerChances(c.ID, "", r.Cause.ID) {
				shares[k] += r.P * q
				total += r.P * q
			}
		}
		if total == 0 {
			return nil
		}
		for k := range c.Answers {
			out = append(out, possible{g.words(c.Answers[k].Text), &diagnose.Answer{Check: c.ID, Choice: c.Answers[k].ID}, shares[k] / total})
		}
	case kb.Reading:
		out = g.readings(a, c)
	}
	return out
}

// soilOhm is above what any wire of a yard has: such a reading is soil between two ends.
const soilOhm = 1000

// readings splits what a meter may show into ranges at what a sound wire shows.
func (g grower) readings(a *diagnose.Assessment, c *kb.Check) []possible {
	q := faultmodel.Quantity(c.Quantity)
	sound := a.Model().Predict(q)
	low, high := sound.Quantile(0.02), sound.Quantile(0.98)
	if !(low > 0) {
		return nil
	}
	show := func(v float64) string { return quantity.FormatReading(v, false, c.Unit) }
	ranges := []*meterRange{{name: "below " + show(low), hi: low}}
	if math.IsInf(high, 1) {
		ranges = append(ranges, &meterRange{name: "above " + show(low), lo: low, hi: math.Inf(1)})
	} else {
		ranges = append(ranges, &meterRange{name: show(low) + " to " + show(high), lo: low, hi: high})
		above := high
		if c.Unit == "ohm" && high < soilOhm {
			ranges = append(ranges, &meterRange{name: show(high) + " to " + show(soilOhm), lo: high, hi: soilOhm})
			above = soilOhm
		}
		ranges = append(ranges, &meterRange{name: "above " + show(above), lo: above, hi: math.Inf(1)})
	}
	over := &meterRange{name: "over-range", over: true}
	var total float64
	for _, r := range a.Ranking {
		p := a.Model().Predict(q, g.fault(a, r.Cause)...)
		for _, m := range ranges {
			m.add(r.P, p)
			total += r.P * p.Probability(m.lo, m.hi)
		}
		over.share += r.P * p.OverRange
		total += r.P * p.OverRange
	}
	if !(total > 0) {
		return nil
	}
	var out []possible
	for _, m := range append(ranges, over) {
		if m.share == 0 {
			continue
		}
		reading := &faultmodel.Reading{Quantity: q, Value: m.typical, OverRange: m.over}
		out = append(out, possible{m.name, &diagnose.Answer{Check: c.ID, Reading: reading}, m.share / total})
	}
	return out
}

// meterRange is a range of readings that people tell apart.
type meterRange struct {
	name    string
	lo, hi  float64
	over    bool
	share   float64
	typical float64 // the middle of what the likeliest cause shows in it
	most    float64 // of one cause's share
}

// add takes in what a cause of probability p would show.
func (m *meterRange) add(p float64, shows faultmodel.Predictive) {
	share := shows.Probability(m.lo, m.hi)
	m.share += p * share
	if p*share > m.most {
		m.most = p * share
		m.typical = shows.Quantile(shows.Probability(0, m.lo) + share/2)
	}
}

// fault is a cause as the circuit has it, at its likeliest place.
func (g grower) fault(a *diagnose.Assessment, c *kb.Cause) []faultmodel.Fault {
	if c.Kind == "" {
		return nil
	}
	f := faultmodel.Fault{Kind: faultmodel.Kind(c.Kind)}
	if b, ok := a.Place(c.ID); ok {
		f.AtM = b.Median()
	}
	return []faultmodel.Fault{f}
}

func writeTree(w io.Writer, root *treeNode) error {
	var b strings.Builder
	var walk func(n *treeNode, indent string)
	walk = func(n *treeNode, indent string) {
		fmt.Fprintf(&b, "%s%s\n%s  (%s; likely: %s)\n", indent, clean(n.Step), indent, n.ID, clean(n.Likely))
		for _, branch := range n.Branches {
			fmt.Fprintf(&b, "%s- %s, %s of these:\n", indent, clean(branch.Answer), quantity.FormatPercent(branch.Share))
			walk(branch.To, indent+"    ")
		}
		if n.Rest > 0 {
			fmt.Fprintf(&b, "%s- another answer, %s of these: go on with loopfault diagnose\n", indent, quantity.FormatPercent(n.Rest))
		}
		if n.Cut {
			fmt.Fprintf(&b, "%s- from here go on with loopfault diagnose\n", indent)
		}
	}
	walk(root, "")
	_, err := io.WriteString(w, b.String())
	return err
}

// writeDot writes the tree in the language of Graphviz.
func writeDot(w io.Writer, root *treeNode) error {
	var b strings.Builder
	b.WriteString("digraph questions {\n  rankdir=LR;\n  node [shape=box, fontname=\"sans-serif\"];\n  edge [fontname=\"sans-serif\"];\n")
	next := 0
	label := func(text string) string {
		return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`).Replace(clean(text)) + `"`
	}
	var walk func(n *treeNode) int
	walk = func(n *treeNode) int {
		id := next
		next++
		fmt.Fprintf(&b, "  n%d [label=%s];\n", id, label(wrapped(n.Step, 32)+"\n("+n.ID+")"))
		for _, branch := range n.Branches {
			to := walk(branch.To)
			fmt.Fprintf(&b, "  n%d -> n%d [label=%s];\n", id, to, label(wrapped(branch.Answer, 24)+"\n"+quantity.FormatPercent(branch.Share)))
		}
		if n.Rest > 0 || n.Cut {
			to := next
			next++
			fmt.Fprintf(&b, "  n%d [label=\"go on with the program\", style=dashed];\n  n%d -> n%d [style=dashed];\n", to, id, to)
		}
		return id
	}
	walk(root)
	b.WriteString("}\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// wrapped breaks a text into lines of about so many characters.
func wrapped(text string, width int) string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len(line)+1+len(word) > width {
			lines = append(lines, line)
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return strings.Join(append(lines, line), "\n")
}

var treePage = template.Must(template.New("tree").Funcs(template.FuncMap{"percent": quantity.FormatPercent}).Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Questions for the {{.Role}}</title>
<style>
body { font-family: sans-serif; line-height: 1.4; margin: 2em; max-width: 60em; }
ul { border-left: 1px solid #999; list-style: none; padding-left: 1.2em; margin: .3em 0; }
.likely { color: #444; font-size: .85em; }
.answer { font-weight: bold; }
@media print { body { margin: 0; font-size: 10pt; } li { break-inside: avoid-page; } }
</style>
</head>
<body>
<h1>Questions for the {{.Role}}</h1>
{{define "node"}}<p>{{.Step}}<br><span class="likely">{{.ID}}; likely: {{.Likely}}</span></p>
{{if or .Branches .Rest .Cut}}<ul>
{{range .Branches}}<li><span class="answer">{{.Answer}}</span>, {{percent .Share}} of these
{{template "node" .To}}</li>
{{end}}{{if .Rest}}<li>another answer, {{percent .Rest}} of these: go on with the program</li>
{{end}}{{if .Cut}}<li>from here go on with the program</li>
{{end}}</ul>{{end}}{{end}}{{template "node" .Root}}
</body>
</html>
`))

func writeTreeHTML(w io.Writer, root *treeNode, role diagnose.Role) error {
	return treePage.Execute(w, struct {
		Role diagnose.Role
		Root *treeNode
	}{role, root})
}
