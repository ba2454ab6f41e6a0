package console

import (
	"context"
	"errors"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
)

// toldUncertainty is how well a length told from memory or paced out is known, as
// a share: judgement.
const toldUncertainty = 0.05

// AskYard asks for the three things that place a fault best, where there is no
// map; nil where none of them is known.
func AskYard(ctx context.Context, p Prompter, u quantity.Units) (*yard.Map, error) {
	p.Tell(Body, "No map is given (--yard FILE). Three figures place a fault on the wire all the same; Enter alone where one is not known.")
	m, some := &yard.Map{}, false
	length := func(into **float64) func(string) error {
		return func(text string) error {
			v, err := quantity.ParseLength(text, u.String())
			if err == nil {
				*into = &v
			}
			return err
		}
	}
	wire := func(text string) (err error) {
		m.Wire.Gauge, err = quantity.ParseWire(text, quantity.Strict)
		return err
	}
	for _, q := range []struct {
		text string
		read func(text string) error
	}{
		{"How long is the boundary wire, without the lead-in, such as " + example(u, 480) + "?", length(&m.Loop.LengthM)},
		{"How long is each leg of the lead-in, such as " + example(u, 40) + "?", length(&m.LeadIn.LengthM)},
		{"What size is the wire, such as 20 awg or 0.75 mm2?", wire},
	} {
		before := *m
		_, err := p.Line(ctx, q.text, func(line string) error {
			*m = before
			if line == "" {
				return nil
			}
			if err := q.read(line); err != nil {
				return err
			}
			some = true
			return asWritten(m)
		})
		if err != nil {
			return nil, err
		}
	}
	if !some {
		return nil, nil
	}
	if m.Loop.LengthM != nil {
		m.Loop.LengthUncertainty = new(toldUncertainty)
	}
	return m, nil
}

// asWritten says what a reader of the map would find wrong with it, without the
// place in a file that nobody sees.
func asWritten(m *yard.Map) error {
	_, err := yard.Parse("", m.Marshal())
	if err == nil {
		return nil
	}
	first, _, _ := strings.Cut(err.Error(), "\n")
	if _, message, ok := strings.Cut(first, ": "); ok {
		first = message
	}
	return errors.New(first)
}
