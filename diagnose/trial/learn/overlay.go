package learn

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"loopfault/kb"
)

// overlay writes changes in the form of the knowledge base's files, as flow
// mappings, a line each.
func (l *Learner) overlay(changes []Change, cases int) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Learned from %d closed and confirmed cases. Name this file as the overlay in the settings.\nschema: 1\n", cases)
	note := func(from kb.Note, n int) string {
		return fmt.Sprintf("source: judgement, confidence: %s, why: %q", from.Confidence,
			fmt.Sprintf("%d closed cases added to: %s (%s)", n, from.Why, from.Source))
	}
	fmt.Fprint(&b, "causes:\n")
	for _, c := range changes {
		if c.Check != "" {
			continue
		}
		fmt.Fprintf(&b, "  - {id: %s, prior: {value: %s, %s}}\n", c.Cause, figure(c.After["share"]), note(l.base.Cause(c.Cause).Prior.Note, c.Cases))
	}
	var written []string
	for _, c := range changes {
		if c.Check == "" || slices.Contains(written, c.Check) {
			continue
		}
		if len(written) == 0 {
			fmt.Fprint(&b, "checks:\n")
		}
		written = append(written, c.Check)
		l.overlayCheck(&b, c.Check, changes, note)
	}
	return b.Bytes()
}

func (l *Learner) overlayCheck(b *bytes.Buffer, id string, changes []Change, note func(kb.Note, int) string) {
	check := l.base.Check(id)
	fmt.Fprintf(b, "  - id: %s\n", id)
	rows := false
	for _, c := range changes {
		if c.Check == id && c.Cause == "" {
			fmt.Fprintf(b, "    baseline: {p: %s, %s}\n", distribution(check, c.After), note(check.Baseline.Note, c.Cases))
		}
	}
	for _, c := range changes {
		if c.Check != id || c.Cause == "" {
			continue
		}
		if !rows {
			fmt.Fprint(b, "    rows:\n")
			rows = true
		}
		fmt.Fprintf(b, "      - {causes: [%s], p: %s, %s}\n", c.Cause, distribution(check, c.After), note(check.Row(c.Cause).Note, c.Cases))
	}
}

// distribution writes probabilities in the order of the answers so that as printed
// they sum to 1.
func distribution(c *kb.Check, p map[string]float64) string {
	const scale = 1e6
	var parts []string
	left, largest := int64(scale), -1
	whole := make([]int64, len(c.Answers))
	for i := range c.Answers {
		v, ok := p[c.Answers[i].ID]
		if !ok {
			continue
		}
		whole[i] = int64(v*scale + 0.5)
		left -= whole[i]
		if largest < 0 || whole[i] > whole[largest] {
			largest = i
		}
	}
	whole[largest] += left
	for i := range c.Answers {
		if _, ok := p[c.Answers[i].ID]; ok {
			parts = append(parts, fmt.Sprintf("%s: %s", c.Answers[i].ID, strconv.FormatFloat(float64(whole[i])/scale, 'f', -1, 64)))
		}
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

func figure(v float64) string { return strconv.FormatFloat(v, 'f', 6, 64) }
