package diagnose

import (
	"fmt"
	"math"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// Wording puts what a log holds into one person's words and units: the one place
// where an answer becomes a sentence, for the terminal, the report and the demo.
type Wording struct {
	Base  *kb.Base
	Role  Role
	Units quantity.Units
}

// nonAnswers are the answers that any check takes besides its own, in words.
var nonAnswers = map[string]string{
	Unknown:       "not known, or could not be done",
	NotApplicable: "does not apply here",
	Later:         "put off",
}

// Unanswered tells whether a choice is one of the answers that any check takes,
// which say nothing about the fault.
func Unanswered(choice string) bool { return nonAnswers[choice] != "" }

// Answer is what a person said to a check, in full but for the places of a walk
// of many widths; "-" where nothing was said.
func (w Wording) Answer(a *Answer) string {
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	c := w.Base.Check(a.Check)
	unit := ""
	if c != nil {
		unit = c.Unit
	}
	if Unanswered(a.Choice) {
		add("%s", nonAnswers[a.Choice])
	} else if a.Choice != "" {
		add("%s", w.choice(c, a.Choice))
	}
	if a.Reading != nil {
		add("%s", reading(a.Reading, unit))
	}
	switch {
	case a.FromM != nil && a.ToM != nil:
		add("%s", quantity.FormatRange(*a.FromM, *a.ToM, w.Units))
	case a.AtM != nil:
		add("at %s", quantity.FormatLength(*a.AtM, w.Units))
	}
	if a.End != "" {
		add("fed from terminal %s", strings.ToUpper(string(a.End)))
	}
	tapped := c != nil && c.Kind == kb.Tap && a.Choice == ""
	for _, side := range []struct {
		name string
		side locate.Side
		ohms *faultmodel.Reading
	}{{"A", a.ASide, a.AOhms}, {"B", a.BSide, a.BOhms}} {
		switch {
		case side.side == locate.Intact || side.side == locate.Broken:
			add("towards %s %s", side.name, side.side)
		case tapped && side.ohms == nil:
			add("towards %s not tested", side.name)
		}
	}
	for _, side := range []struct {
		name string
		ohms *faultmodel.Reading
	}{{"A side", a.AOhms}, {"B side", a.BOhms}, {"A side to earth", a.AToEarth}, {"B side to earth", a.BToEarth}} {
		if side.ohms != nil {
			add("%s %s", side.name, reading(side.ohms, "ohm"))
		}
	}
	if len(a.Widths) > 0 {
		add("%s", w.widths(a.Widths))
	}
	switch a.When {
	case FaultPresent:
		add("while the fault showed")
	case FaultAbsent:
		add("while the fault was away")
	}
	if a.Unsure {
		add("not sure")
	}
	if len(parts) == 0 {
		return "-"
	}
	return strings.Join(parts, ", ")
}

// choice is one of a check's own answers; its id where the check has none such.
func (w Wording) choice(c *kb.Check, id string) string {
	if c != nil {
		if own := c.Answer(id); own != nil {
			return strings.TrimSuffix(strings.TrimSpace(own.Text.For(string(w.Role))), ".")
		}
	}
	return id
}

func reading(r *faultmodel.Reading, unit string) string {
	return quantity.FormatReading(r.Value, r.OverRange, unit)
}

// mostWidths is up to how many widths of a walk are told one by one.
const mostWidths = 4

func (w Wording) widths(all []faultmodel.Width) string {
	silent, least, most := 0, math.Inf(1), 0.0
	var each []string
	for _, x := range all {
		width := quantity.FormatLength(x.WidthM, w.Units)
		if x.Silent {
			silent++
			width = "silent"
		} else {
			least, most = min(least, x.WidthM), max(most, x.WidthM)
		}
		each = append(each, quantity.FormatLength(x.AtM, w.Units)+": "+width)
	}
	if len(all) <= mostWidths {
		return strings.Join(each, ", ")
	}
	var parts []string
	if n := len(all) - silent; n > 0 {
		parts = append(parts, fmt.Sprintf("%s at %d places", quantity.FormatRange(least, most, w.Units), n))
	}
	if silent > 0 {
		parts = append(parts, fmt.Sprintf("silent at %d", silent))
	}
	return strings.Join(parts, ", ")
}

// Repair is what was done and where, without what came of it.
func (w Wording) Repair(r *RepairDone) string {
	text := strings.ReplaceAll(r.Repair, "-", " ")
	if known := w.Base.RepairMade(r.Repair); known != nil {
		text = known.Name.For(string(w.Role))
	}
	return strings.TrimSpace(text) + w.where(r.AtM, r.FromM, r.ToM)
}

// Outcome is what it was in the end, and where.
func (w Wording) Outcome(o *Outcome) string {
	text := o.Cause
	if c := w.Base.Cause(o.Cause); c != nil {
		text = strings.TrimSpace(c.Name.For(string(w.Role)))
	}
	return text + w.where(o.AtM, nil, nil)
}

// where is a place behind a comma; "" without one.
func (w Wording) where(at, from, to *float64) string {
	switch {
	case from != nil && to != nil:
		return ", " + quantity.FormatRange(*from, *to, w.Units)
	case at != nil:
		return ", at " + quantity.FormatLength(*at, w.Units)
	}
	return ""
}
