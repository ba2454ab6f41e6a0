package console

import (
	"fmt"
	"math"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
)

// Engine is what a conversation needs of the engine. [NewEngine] gives the real
// one; tests put one in its place whose questions they choose.
type Engine interface {
	Assess(log []diagnose.Entry) View
	// Standing lists the indexes of the log's answers that hold.
	Standing(log []diagnose.Entry) []int
	// InHand tells whether the person has the tools that a check takes.
	InHand(c *kb.Check) bool
	// Verify judges the acceptance walk, and WalkPlaces are where it wants a width, m.
	Verify(log []diagnose.Entry) diagnose.Acceptance
	WalkPlaces() []float64
}

// View is what a conversation needs of an assessment.
type View interface {
	Result(u quantity.Units) diagnose.Result
	Why() string
	// WhyNot lists the answers that speak against a cause, the heaviest first.
	WhyNot(cause string) []diagnose.Weight
	// Sound is what a reading would show, in SI, on a wire with nothing wrong;
	// ok is false where that is no figure.
	Sound(c *kb.Check) (value float64, ok bool)
}

// NewEngine puts the engine to work on a case's yard, role and tools.
func NewEngine(e *diagnose.Engine, c *diagnose.Case) (Engine, error) {
	desk, err := e.At(c)
	if err != nil {
		return nil, err
	}
	return deskEngine{desk, e}, nil
}

type deskEngine struct {
	*diagnose.Desk
	engine *diagnose.Engine
}

func (d deskEngine) Assess(log []diagnose.Entry) View {
	return assessment{d.Desk.Assess(log)}
}

func (d deskEngine) Standing(log []diagnose.Entry) []int { return d.engine.Standing(log) }

type assessment struct{ *diagnose.Assessment }

func (a assessment) Sound(c *kb.Check) (float64, bool) {
	if c.Quantity == "" {
		return 0, false
	}
	p := a.Model().Predict(faultmodel.Quantity(c.Quantity))
	if p.OverRange > 0.1 {
		return 0, false
	}
	v := p.Quantile(0.5 * (1 - p.OverRange))
	return v, v > 0 && !math.IsInf(v, 0)
}

// Log is where answers are kept. A [*journal.Journal] is one.
type Log interface {
	Case() *diagnose.Case
	// Append adds an entry; it is safe when Append returns.
	Append(e diagnose.Entry) error
	// Replace puts an answer in the place of another to the same check.
	Replace(index int, e diagnose.Entry) error
}

// Memory is a log without a file.
type Memory struct{ C *diagnose.Case }

// Case is the case.
func (m *Memory) Case() *diagnose.Case { return m.C }

// Append adds an entry.
func (m *Memory) Append(e diagnose.Entry) error {
	m.C.Log = append(m.C.Log, e)
	return nil
}

// Replace changes an answer.
func (m *Memory) Replace(index int, e diagnose.Entry) error {
	if index < 0 || index >= len(m.C.Log) {
		return fmt.Errorf("the log has no entry %d", index)
	}
	m.C.Log[index] = e
	return nil
}
