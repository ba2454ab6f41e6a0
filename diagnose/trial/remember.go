package trial

import (
	"encoding/binary"
	"math"

	"loopfault/diagnose"
	"loopfault/faultmodel"
)

// memory is an adviser that is asked only once about the same log. Calls from one
// household begin with the same questions, and most with the same answers.
type memory struct {
	Adviser
	seen map[string]Advice
	key  []byte
}

// remembered bounds what one household's memory holds.
const remembered = 4000

func remember(a Adviser) Adviser { return &memory{Adviser: a, seen: map[string]Advice{}} }

func (m *memory) Advise(log []diagnose.Entry) Advice {
	m.key = m.key[:0]
	for i := range log {
		m.key = appendEntry(m.key, &log[i])
	}
	if a, ok := m.seen[string(m.key)]; ok {
		return a
	}
	a := m.Adviser.Advise(log)
	a.Assessment = nil // large, and not asked for by those who remember
	if len(m.seen) < remembered {
		m.seen[string(m.key)] = a
	}
	return a
}

// appendEntry writes everything about an entry that bears on the advice.
func appendEntry(b []byte, e *diagnose.Entry) []byte {
	text := func(s string) { b = append(append(b, s...), 0) }
	number := func(v float64) { b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v)) }
	place := func(v *float64) {
		if v == nil {
			b = append(b, 1)
			return
		}
		b = append(b, 2)
		number(*v)
	}
	flag := func(v bool) {
		if v {
			b = append(b, 3)
		} else {
			b = append(b, 4)
		}
	}
	reading := func(r *faultmodel.Reading) {
		if r == nil {
			b = append(b, 5)
			return
		}
		text(string(r.Quantity))
		number(r.Value)
		flag(r.OverRange)
	}
	switch {
	case e.Answer != nil:
		a := e.Answer
		text(a.Check)
		text(a.Choice)
		text(string(a.When))
		flag(a.Unsure)
		place(a.AtM)
		place(a.FromM)
		place(a.ToM)
		text(string(a.End))
		text(string(a.ASide))
		text(string(a.BSide))
		for _, r := range []*faultmodel.Reading{a.Reading, a.AOhms, a.BOhms, a.AToEarth, a.BToEarth} {
			reading(r)
		}
		for _, w := range a.Widths {
			number(w.AtM)
			number(w.WidthM)
			flag(w.Silent)
		}
	case e.Repair != nil:
		r := e.Repair
		b = append(b, 6)
		text(r.Repair)
		place(r.AtM)
		place(r.FromM)
		place(r.ToM)
		flag(r.Fixed)
	}
	return append(b, 7)
}
