package console

import (
	"context"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// ruler is a terminal of so many columns that counts the lines of a step, and
// ends the conversation at its question.
type ruler struct {
	surveyPrompter
	columns, lines int
}

var errMeasured = errors.New("measured")

func (r *ruler) Tell(style Style, text string) {
	if style == Heading || style == Aside {
		r.lines = 0 // where we are may leave the screen, once read
		return
	}
	r.lines += len(wrap(r.show(text), columns(r.columns)))
}

func (r *ruler) Select(_ context.Context, q Question) (int, error) {
	answers := 0
	for i, o := range q.Options {
		if !o.Aside {
			answers += len(wrap(cleanLine(o.line()), columns(r.columns)-pointer-len(q.marks()[i]+". ")))
		}
	}
	r.lines += len(wrap(q.Text, columns(r.columns))) + answers + 1 + aroundOptions // with what is folded
	return 0, errMeasured
}

func (r *ruler) Line(_ context.Context, prompt string, _ func(string) error) (string, error) {
	r.lines += len(wrap(prompt, columns(r.columns))) + 1
	return "", errMeasured
}

// Every check and every repair of the knowledge base fits a terminal of 24 lines
// with all that belongs to it, from its first caution to the last answer, for
// whoever may be asked for it.
func TestEveryStepFitsAScreen(t *testing.T) {
	t.Parallel()
	base := testBase(t)
	const rows = 24
	// These take five cautions, and tools that these people have bought for it. Their
	// first cautions leave the screen, but not before they were there.
	long := map[string]bool{"tap, homeowner": true, "tap, support": true, "replace-section, homeowner": true, "replace-loop, homeowner": true}
	fits := func(id string, role diagnose.Role, lines int, usual bool) {
		most := rows
		if long[id+", "+string(role)] {
			most = 30
		}
		if usual {
			assert.LessOrEqual(t, lines, most, "%s, %s", id, role)
		}
	}
	for _, role := range []diagnose.Role{diagnose.Homeowner, diagnose.Support, diagnose.Technician} {
		measure := func(next diagnose.Next, cautions []string) int {
			log := memory(t, role)
			r := &ruler{columns: 80}
			iv := &Interview{Prompter: r, Base: base, Log: log, Units: quantity.Feet}
			iv.words = speech{diagnose.Wording{Base: base, Role: role}}
			engine := inTurn(next)
			engine.cautions = iv.cautionsOf(cautions)
			iv.Engine = engine
			_, err := iv.Run(t.Context())
			assert.ErrorIs(t, err, errMeasured)
			return r.lines
		}
		usual := func(tools []string) bool {
			for _, id := range tools {
				if tool := base.Tool(id); role != diagnose.Technician && tool.ObtainMinutes.For(string(role)) < 0 {
					return false // never asked of this person
				}
			}
			return true
		}
		for i := range base.Checks {
			c := &base.Checks[i]
			next := check(c.ID)
			if c.Kind == kb.Tap {
				next = tapNext(309)
			}
			fits(c.ID, role, measure(next, c.Cautions), usual(c.Tools))
		}
		for i := range base.Repairs {
			r := &base.Repairs[i]
			fits(r.ID, role, measure(diagnose.Next{Kind: diagnose.NextRepair, ID: r.ID, At: new(309.0), Minutes: 20}, r.Cautions), usual(r.Tools))
		}
	}
}
