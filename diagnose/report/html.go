package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
)

//go:embed report.html
var pageText string

var pageTemplate = template.Must(template.New("report").Funcs(template.FuncMap{
	"percent": quantity.FormatPercent,
	// barWidth is a share in units of a bar 100 wide; a sliver stays visible.
	"barWidth": func(share float64) string { return fmt.Sprintf("%.1f", max(100*share, 0.8)) },
	"inc":      func(i int) int { return i + 1 },
	"indent":   func(depth int) string { return fmt.Sprintf("%.1f", 1.2*float64(depth)) },
	// The first letter's class of a judgement: pass, fail, measure, not.
	"judged": func(s string) string { return strings.Fields(strings.ReplaceAll(s, ",", " "))[0] },
}).Parse(pageText))

// HTML is the record as one page that needs nothing else: no script, no font, no
// picture from outside. It prints on two sheets and reads on a telephone.
func (r *Record) HTML() (string, error) {
	view := struct {
		*Record
		Title              string
		Map, Strip, Widths template.HTML // drawn by package draw, which escapes all text
		HasHeat            bool
		Ranking            string
		Bills              []Bill
	}{Record: r, Title: r.title(), HasHeat: r.Scene.Shows(), Ranking: r.rankingHead(), Bills: r.bills()}
	view.Map = template.HTML(draw.YardSVG(r.Scene))
	view.Strip = template.HTML(draw.StripSVG(r.Scene))
	view.Widths = template.HTML(draw.WidthsSVG(r.Profile))
	var b strings.Builder
	if err := pageTemplate.Execute(&b, view); err != nil {
		return "", fmt.Errorf("write HTML report: %w", err)
	}
	return b.String(), nil
}
