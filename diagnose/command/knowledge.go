package command

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/kb"
)

// knowledge is what the program reasons with, loaded on first use.
type knowledge struct {
	base   func() (*kb.Base, error)
	engine func() (*diagnose.Engine, error)
}

func (p *program) learnAtNeed() {
	p.base = sync.OnceValues(func() (*kb.Base, error) {
		s, err := p.settings()
		if err != nil {
			return nil, err
		}
		return loadBase(s)
	})
	p.engine = sync.OnceValues(func() (*diagnose.Engine, error) {
		s, err := p.settings()
		if err != nil {
			return nil, err
		}
		base, err := p.base()
		if err != nil {
			return nil, err
		}
		o := diagnose.Options{Units: s.Units, Year: p.Now().Year()}
		if s.PerMinute != nil {
			o.PerMinute = map[diagnose.Role]float64{}
			for _, role := range roles {
				o.PerMinute[role] = *s.PerMinute
			}
		}
		return diagnose.New(priced(base, s), o), nil
	})
}

// ready is what most commands need: the settings and the engine.
func (p *program) ready() (*Settings, *diagnose.Engine, error) {
	s, err := p.settings()
	if err != nil {
		return nil, nil, err
	}
	engine, err := p.engine()
	return s, engine, err
}

// loadBase is the built-in knowledge with the user's changes.
func loadBase(s *Settings) (*kb.Base, error) {
	if s.Overlay == "" {
		return kb.Load()
	}
	data, err := os.ReadFile(s.Overlay)
	if err != nil {
		return nil, withHint(fmt.Errorf("reading the overlay named by %s: %w", s.origin["overlay"], err),
			"check the name, or leave the overlay out")
	}
	return kb.LoadWith(s.Overlay, data)
}

// The materials of the knowledge base whose prices the settings may change.
const (
	spliceItem = "waterproof-splice"
	wireItem   = "boundary-wire"
)

// priced is the base at the user's prices. The base itself is shared and stays
// as it is.
func priced(base *kb.Base, s *Settings) *kb.Base {
	if s.PerSplice == nil && s.PerFootDug == nil {
		return base
	}
	own := *base
	own.Items = slices.Clone(base.Items)
	if item := own.Item(spliceItem); item != nil && s.PerSplice != nil {
		item.Price.Value = *s.PerSplice
	}
	if item := own.Item(wireItem); item != nil && s.PerFootDug != nil {
		// A foot of new trench holds a foot of wire.
		item.Price.Value += *s.PerFootDug
	}
	return &own
}

// caseOptions are how case files are read and written.
func (p *program) caseOptions() (journal.Options, error) {
	base, err := p.base()
	if err != nil {
		return journal.Options{}, err
	}
	s, err := p.settings()
	if err != nil {
		return journal.Options{}, err
	}
	return journal.Options{Base: base, Units: s.Units, DefaultRole: s.roleOr(diagnose.Homeowner)}, nil
}

// checkTools refuses a tool that the knowledge base does not know.
func checkTools(base *kb.Base, tools []string, from string) error {
	for _, id := range tools {
		if base.Tool(id) != nil {
			continue
		}
		known := make([]string, len(base.Tools))
		for i := range base.Tools {
			known[i] = base.Tools[i].ID
		}
		err := fmt.Errorf("%q is no tool (%s): expected some of %s", id, from, listed(known))
		if strings.HasPrefix(from, "flag ") {
			return usagef("", "%v", err)
		}
		return err
	}
	return nil
}
