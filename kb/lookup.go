package kb

import (
	"fmt"
	"slices"
	"strings"
	"text/template"
)

// The three people, as Words, Steps and PerRole know them.
const (
	homeowner  = "homeowner"
	support    = "support"
	technician = "technician"
)

// For is the wording for a role. An unknown role is a mistake of the caller and
// gets the homeowner's, the plainest.
func (w Words) For(role string) string {
	switch role {
	case support:
		return w.Support
	case technician:
		return w.Technician
	}
	return w.Homeowner
}

// For is the list of steps for a role.
func (s Steps) For(role string) []string {
	switch role {
	case support:
		return s.Support
	case technician:
		return s.Technician
	}
	return s.Homeowner
}

// For is the figure for a role.
func (p PerRole) For(role string) float64 {
	switch role {
	case support:
		return p.Support
	case technician:
		return p.Technician
	}
	return p.Homeowner
}

// index finds entries by id.
type index struct {
	parts, causes, checks, tools, repairs, items, cautions, phrases, scales map[string]int
}

func places[T any](entries []T, id func(*T) string) map[string]int {
	m := make(map[string]int, len(entries))
	for i := range entries {
		m[id(&entries[i])] = i
	}
	return m
}

func (b *Base) buildIndex() {
	b.index = index{
		parts:    places(b.Parts, func(e *Part) string { return e.ID }),
		causes:   places(b.Causes, func(e *Cause) string { return e.ID }),
		checks:   places(b.Checks, func(e *Check) string { return e.ID }),
		tools:    places(b.Tools, func(e *Tool) string { return e.ID }),
		repairs:  places(b.Repairs, func(e *Repair) string { return e.ID }),
		items:    places(b.Items, func(e *Item) string { return e.ID }),
		cautions: places(b.Cautions, func(e *Caution) string { return e.ID }),
		phrases:  places(b.Phrases, func(e *Phrase) string { return e.ID }),
		scales:   places(b.Scales, func(e *Scale) string { return e.ID }),
	}
}

func lookup[T any](entries []T, places map[string]int, id string) *T {
	if i, ok := places[id]; ok {
		return &entries[i]
	}
	return nil
}

// Part is the part with an id, nil where there is none.
func (b *Base) Part(id string) *Part { return lookup(b.Parts, b.index.parts, id) }

// Cause is the cause with an id, nil where there is none.
func (b *Base) Cause(id string) *Cause { return lookup(b.Causes, b.index.causes, id) }

// Check is the check with an id, nil where there is none.
func (b *Base) Check(id string) *Check { return lookup(b.Checks, b.index.checks, id) }

// Tool is the tool with an id, nil where there is none.
func (b *Base) Tool(id string) *Tool { return lookup(b.Tools, b.index.tools, id) }

// Repair is the repair with an id ("repair:CAUSE" or a general act), nil where
// there is none.
func (b *Base) Repair(id string) *Repair { return lookup(b.Repairs, b.index.repairs, id) }

// RepairMade is the repair that a log names, by its id or by its cause's; nil where
// there is none.
func (b *Base) RepairMade(name string) *Repair {
	if r := b.Repair(name); r != nil {
		return r
	}
	return b.Repair("repair:" + name)
}

// Item is the material with an id, nil where there is none.
func (b *Base) Item(id string) *Item { return lookup(b.Items, b.index.items, id) }

// CautionText is a caution in a role's words, "" where there is none of that id.
func (b *Base) CautionText(id, role string) string {
	if c := lookup(b.Cautions, b.index.cautions, id); c != nil {
		return c.Text.For(role)
	}
	return ""
}

// Answer is the check's own answer with an id, nil where there is none.
func (c *Check) Answer(id string) *Answer {
	if i := c.AnswerIndex(id); i >= 0 {
		return &c.Answers[i]
	}
	return nil
}

// AnswerIndex is where an answer stands among the check's own, or -1.
func (c *Check) AnswerIndex(id string) int {
	return slices.IndexFunc(c.Answers, func(a Answer) bool { return a.ID == id })
}

// Row is the distribution over the check's answers where a cause is the only
// fault: the cause's own row, or the baseline.
func (c *Check) Row(cause string) *Row {
	for i := range c.Rows {
		for _, id := range c.Rows[i].Causes {
			if id == cause {
				return &c.Rows[i]
			}
		}
	}
	return &c.Baseline
}

// Phrase fills the gaps of a phrase in a role's words. The fields must be those
// that the phrase declares; one that is empty may be left out by the text.
func (b *Base) Phrase(id, role string, fields map[string]string) (string, error) {
	p := lookup(b.Phrases, b.index.phrases, id)
	if p == nil {
		return "", fmt.Errorf("kb: no phrase %q", id)
	}
	for _, name := range p.Fields {
		if _, ok := fields[name]; !ok {
			return "", fmt.Errorf("kb: phrase %q lacks its field %s", id, name)
		}
	}
	return p.fill(role, fields)
}

func (p *Phrase) fill(role string, fields map[string]string) (string, error) {
	t, err := template.New(p.ID).Option("missingkey=error").Parse(p.Text.For(role))
	if err != nil {
		return "", fmt.Errorf("kb: phrase %q: %w", p.ID, err)
	}
	var s strings.Builder
	if err := t.Execute(&s, fields); err != nil {
		return "", fmt.Errorf("kb: phrase %q: %w", p.ID, err)
	}
	return s.String(), nil
}

// Word is the word of a scale for a figure, "" where there is no such scale.
// Figures below the first step get its word.
func (b *Base) Word(scale, role string, figure float64) string {
	s := lookup(b.Scales, b.index.scales, scale)
	if s == nil || len(s.Steps) == 0 {
		return ""
	}
	word := s.Steps[0].Word
	for _, step := range s.Steps[1:] {
		if figure >= step.From {
			word = step.Word
		}
	}
	return word.For(role)
}

// Label is a check in a few words for who was not there when it was asked: its id,
// with the legs as they are marked.
func Label(check string) string {
	words := strings.Split(check, "-")
	for i, word := range words {
		if word == "a" || word == "b" {
			words[i] = strings.ToUpper(word)
		}
	}
	return strings.Join(words, " ")
}
