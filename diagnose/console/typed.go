package console

import (
	"fmt"
	"regexp"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/kb"
)

// typedFields reads what a person types as an answer to a check, in the form of
// its kind: "12,5 k", "210 ft", "200 to 240 ft", "314 ft broken intact",
// "60 ft: 5 ft, 70 ft: 0", or an answer's id with the place it may carry.
func typedFields(c *kb.Check, text string) (journal.Fields, error) {
	f := journal.Fields{Check: c.ID}
	text = strings.TrimSpace(text)
	first, rest, _ := strings.Cut(text, " ")
	own := strings.ToLower(strings.TrimSuffix(first, ","))
	if c.Answer(own) != nil || diagnose.Unanswered(own) {
		f.Answer = own
		rest = strings.TrimSpace(rest)
		switch {
		case rest == "":
			return f, nil
		case c.Kind == kb.Choice, c.Kind == kb.Position, c.Kind == kb.Stretch:
			return f, typedPlace(&f, rest)
		}
		return f, fmt.Errorf("nothing belongs behind %s: type it alone, or the reading", own)
	}
	switch c.Kind {
	case kb.Choice:
		return f, fmt.Errorf("%q is no answer to %s: expected %s", cleanLine(text), c.ID, strings.Join(ids(c), ", "))
	case kb.Reading:
		f.Reading = text
	case kb.Position:
		f.At = text
		if m := fedFrom.FindStringSubmatch(text); m != nil {
			f.At, f.End = m[1], strings.ToLower(m[2])
		}
	case kb.Stretch:
		return f, typedPlace(&f, text)
	case kb.Tap:
		m := tapped.FindStringSubmatch(text)
		if m == nil {
			return f, fmt.Errorf("type the place and what each side shows, such as 314 ft broken intact (towards A, then towards B)")
		}
		f.At, f.ASide, f.BSide = m[1], sideWord(m[2]), sideWord(m[3])
	case kb.Widths:
		return f, typedWidths(&f, text)
	}
	return f, nil
}

var (
	fedFrom = regexp.MustCompile(`(?i)^(.*?\S)\s+(?:from\s+)?([ab])$`)
	tapped  = regexp.MustCompile(`(?i)^(.*?\S)[\s:,]+(intact|broken|unknown|i|b|u|\?)[\s:,/]+(intact|broken|unknown|i|b|u|\?)$`)
	between = regexp.MustCompile(`(?i)\s*(?:\bto\b|\.\.+|\x{2013}|-)\s*|\s+and\s+`)
	unitEnd = regexp.MustCompile(`\s*[^\d\s.,][^\d]*$`)
)

func sideWord(text string) string {
	switch strings.ToLower(text)[0] {
	case 'i':
		return "intact"
	case 'b':
		return "broken"
	}
	return "unknown"
}

// typedPlace reads a point or a stretch.
func typedPlace(f *journal.Fields, text string) error {
	text = strings.TrimSpace(strings.TrimPrefix(strings.TrimPrefix(text, "at "), "from "))
	ends := between.Split(text, -1)
	switch {
	case len(ends) == 1:
		f.At = text
	case len(ends) == 2 && ends[0] != "" && ends[1] != "":
		f.From, f.To = ends[0], ends[1]
		if !unitEnd.MatchString(f.From) { // "200 to 240 m" means metres twice
			f.From += unitEnd.FindString(f.To)
		}
	default:
		return fmt.Errorf("%q is no place: type one such as 210 ft, or a stretch such as 200 to 240 ft", cleanLine(text))
	}
	return nil
}

// typedWidths reads "60 ft: 5 ft, 70 ft: 0". A comma between figures is a decimal
// mark; one with a space behind it, or a semicolon, separates.
func typedWidths(f *journal.Fields, text string) error {
	for _, item := range separator.Split(strings.Trim(text, " ;,"), -1) {
		at, width, ok := strings.Cut(item, ":")
		if !ok {
			at, width, ok = strings.Cut(item, "=")
		}
		if !ok || strings.ContainsAny(width, ":=") {
			return fmt.Errorf("%q is no width: type each as PLACE: WIDTH, such as 60 ft: 5 ft, 70 ft: 0", cleanLine(item))
		}
		width = strings.TrimSpace(width)
		if strings.EqualFold(width, "silent") || strings.EqualFold(width, "none") {
			width = "0"
		}
		f.Widths = append(f.Widths, journal.WidthFields{At: strings.TrimSpace(at), Width: width})
	}
	return nil
}

var separator = regexp.MustCompile(`\s*;\s*|,\s+`)

// quick reads several answers on one line: "loop-ohms=OL; capacitance-a=13.9 nF".
func quick(base *kb.Base, line string) ([]journal.Fields, error) {
	var all []journal.Fields
	for item := range strings.SplitSeq(line, ";") {
		if item = strings.TrimSpace(item); item == "" {
			continue
		}
		id, value, ok := strings.Cut(item, "=")
		c := base.Check(strings.ToLower(strings.TrimSpace(id)))
		switch {
		case !ok:
			return nil, fmt.Errorf("%q has no =: type CHECK=ANSWER; CHECK=ANSWER", cleanLine(item))
		case c == nil:
			return nil, fmt.Errorf("%q is not a check: type its id, such as loop-ohms", cleanLine(id))
		}
		f, err := typedFields(c, value)
		if err != nil {
			return nil, err
		}
		all = append(all, f)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("nothing typed: type CHECK=ANSWER; CHECK=ANSWER")
	}
	return all, nil
}

func ids(c *kb.Check) []string {
	out := make([]string, len(c.Answers))
	for i, a := range c.Answers {
		out[i] = a.ID
	}
	return append(out, diagnose.Unknown, diagnose.NotApplicable, diagnose.Later)
}
