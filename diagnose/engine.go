package diagnose

import (
	"fmt"
	"slices"
	"strings"

	"loopfault/diagnose/quantity"
	"loopfault/kb"
	"loopfault/locate"
)

// Options are what the configuration may change.
type Options struct {
	Units     quantity.Units
	PerMinute map[Role]float64 // money; roles left out keep the knowledge base's figure
	Year      int              // the year it is, for the age of a yard; 0 leaves age out
	Shallow   bool             // looks one step ahead in place of two, for speed
}

// Engine judges cases with one knowledge base. It is safe for use by several
// goroutines.
type Engine struct {
	kb      *kb.Base
	options Options
	space   *space
	tables  map[string]*tables      // by check
	ended   map[string]map[int]bool // by repair as logged: the causes it ends
	touches map[string]bool         // by repair as logged: the circuit or the field sees what it ends
}

// New makes an engine.
func New(base *kb.Base, o Options) *Engine {
	e := &Engine{kb: base, options: o, space: newSpace(base.Causes),
		tables: map[string]*tables{}, ended: map[string]map[int]bool{}, touches: map[string]bool{}}
	for i := range base.Checks {
		if t := e.space.tabulate(&base.Checks[i]); t != nil {
			e.tables[base.Checks[i].ID] = t
		}
	}
	for i := range base.Repairs {
		r := &base.Repairs[i]
		e.ended[r.ID] = e.ends(r)
		for c := range e.ended[r.ID] {
			e.touches[r.ID] = e.touches[r.ID] || base.Causes[c].Kind != ""
		}
		short := strings.TrimPrefix(r.ID, "repair:")
		e.ended[short], e.touches[short] = e.ended[r.ID], e.touches[r.ID]
	}
	return e
}

// Base is the knowledge base the engine reasons with.
func (e *Engine) Base() *kb.Base { return e.kb }

// ends is the set of causes, by index, that a repair ends. Joining a parted
// wire ends whichever break was found.
func (e *Engine) ends(r *kb.Repair) map[int]bool {
	out := map[int]bool{}
	cause := e.kb.Cause(r.Cause)
	for i := range e.kb.Causes {
		c := &e.kb.Causes[i]
		switch {
		case cause != nil && c.ID == cause.ID:
			out[i] = true
		case cause != nil && searched(cause) && c.Kind == cause.Kind && searched(c):
			out[i] = true
		case r.ID == replaceSection:
			out[i] = searched(c) || c.Kind == "too-deep"
		case r.ID == replaceLeadIn:
			out[i] = c.Part == "lead-in"
		case r.ID == replaceLoop:
			out[i] = c.Part == "lead-in" || c.Part == "boundary-wire"
		}
		if !out[i] {
			delete(out, i)
		}
	}
	return out
}

// The general acts of the knowledge base.
const (
	replaceSection = "replace-section"
	replaceLeadIn  = "replace-lead-in"
	replaceLoop    = "replace-loop"
	refer          = "refer"
	verify         = "verify"
	done           = "done"
)

// searched tells whether a cause is found by opening the wire: it has a place
// and the circuit sees it.
func searched(c *kb.Cause) bool {
	if len(c.Place) == 0 {
		return false
	}
	switch c.Kind {
	case "open", "series", "leak", "touch":
		return true
	}
	return false
}

// success is the chance that a repair as logged holds.
func (e *Engine) success(repair string) float64 {
	if r := e.kb.RepairMade(repair); r != nil && r.Success.Value > 0 {
		return min(r.Success.Value, 0.99)
	}
	return 0.9
}

func (e *Engine) perMinute(role Role) float64 {
	if v, ok := e.options.PerMinute[role]; ok {
		return v
	}
	return e.kb.Settings.PerMinute.For(string(role))
}

// Assess judges a case: what is believed, and what to do next. An error means
// that the case contradicts itself beyond judging, such as a role that is none.
func (e *Engine) Assess(c *Case) (*Assessment, error) {
	d, err := e.At(c)
	if err != nil {
		return nil, err
	}
	return d.Assess(c.Log), nil
}

// Desk is the engine at work on one case's yard, role and tools: what does not
// change from answer to answer is worked out once.
type Desk struct {
	engine *Engine
	c      *Case
	wire   *wire
	hand   map[string]bool // tools in the hand
}

// At prepares the engine for a case.
func (e *Engine) At(c *Case) (*Desk, error) {
	if !slices.Contains([]Role{Homeowner, Technician, Support}, c.Role) {
		return nil, fmt.Errorf("role %q is none: expected homeowner, technician or support", c.Role)
	}
	w, err := e.newWire(c.Yard, c.Meters, c.Role)
	if err != nil {
		return nil, err
	}
	return &Desk{engine: e, c: c, wire: w, hand: e.tools(c)}, nil
}

// tools are what the person has: as the case says, or what the role usually has.
func (e *Engine) tools(c *Case) map[string]bool {
	hand := map[string]bool{}
	for _, t := range c.Tools {
		hand[t] = true
	}
	if c.Tools == nil {
		for _, t := range e.kb.Tools {
			if slices.Contains(t.Usual, string(c.Role)) {
				hand[t.ID] = true
			}
		}
	}
	for _, t := range e.kb.Tools {
		if slices.ContainsFunc(t.Instead, func(id string) bool { return hand[id] }) {
			hand[t.ID] = true
		}
	}
	return hand
}

// Planner is the tap planner for a case, for those who ask of the wire alone.
func (d *Desk) Planner() *locate.Planner { return d.wire.planner }

// Assess judges a log of the desk's case.
func (d *Desk) Assess(log []Entry) *Assessment {
	a := &Assessment{desk: d, log: log, belief: d.engine.believe(d.wire, log)}
	a.rank()
	a.locate()
	a.conflicts()
	a.decide()
	return a
}
