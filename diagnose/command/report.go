package command

import (
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"loopfault/diagnose/report"
)

// reportFormats are the forms of a report, with the file endings that choose them.
var reportFormats = []struct{ name, ending string }{
	{"table", ""}, {"markdown", ".md"}, {"html", ".html"}, {"json", ".json"}, {"handover", ""},
}

func newReport(p *program) *cobra.Command {
	var format, output string
	var redact, yardAnywhere bool
	var names []string
	for _, f := range reportFormats {
		names = append(names, f.name)
	}
	c := &cobra.Command{
		Use: "report CASE", Short: "Write a case down: table, Markdown, HTML, JSON or hand-over",
		Long: `Write a case down, to keep, to print or to hand on: what was found and where, what was asked
and what each answer weighed, repairs, materials, the acceptance walk and the as-built map.
The form goes by the ending of -o FILE unless --format says otherwise; HTML is one page with
its drawings inside. With --redact it names no place and repeats no note.`,
		Example: `  loopfault report spring-call.yaml
  loopfault report spring-call.yaml -o spring-call.html
  loopfault report spring-call.yaml --format handover --redact`,
		Args: oneArgument("case file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("format") {
				format = formatFor(output)
			}
			if err := oneOf("format", format, names); err != nil {
				return err
			}
			s, engine, err := p.ready()
			if err != nil {
				return err
			}
			c, err := p.readCase(args[0], yardAnywhere)
			if err != nil {
				return err
			}
			r, err := report.New(engine, c, report.Options{
				Units: s.Units, Currency: s.Currency, Date: p.Now().Format(time.DateOnly), Redact: redact,
			})
			if err != nil {
				return err
			}
			return p.output(output, true, func(w io.Writer) error {
				text, err := p.layOut(r, format)
				if err != nil {
					return err
				}
				_, err = io.WriteString(w, strings.TrimRight(text, "\n")+"\n")
				return err
			})
		},
	}
	c.Flags().StringVar(&format, "format", "table", "`FORMAT`: table, markdown, html, json or handover")
	addOutput(c, &output)
	c.Flags().BoolVar(&redact, "redact", false, "leave out names, notes and places on earth")
	addYardAnywhere(c, &yardAnywhere)
	_ = c.RegisterFlagCompletionFunc("format", fixed(names...))
	return c
}

func formatFor(output string) string {
	ending := strings.ToLower(filepath.Ext(output))
	for _, f := range reportFormats {
		if ending != "" && f.ending == ending {
			return f.name
		}
	}
	return "table"
}

func (p *program) layOut(r *report.Record, format string) (string, error) {
	switch format {
	case "markdown":
		return r.Markdown(), nil
	case "html":
		return r.HTML()
	case "json":
		text, err := r.JSON()
		return string(text), err
	case "handover":
		return r.Handover(), nil
	}
	columns, ascii := p.page()
	return r.Table(report.Terminal{Columns: columns, ASCII: ascii})
}
