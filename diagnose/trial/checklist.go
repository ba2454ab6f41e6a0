package trial

import (
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
	"loopfault/locate"
)

// leaflet is what a careful person does from a printed list: the same order of
// checks for everybody, the obvious repair for each bad answer, and for a broken
// wire taps that halve it by length until a new section is short enough.
type leaflet struct {
	base  *kb.Base
	c     *diagnose.Case
	desk  *diagnose.Desk
	hand  []string
	leadM float64
	endM  float64 // chainage where the boundary ends
}

// sectionFt is at which length the leaflet lays a new section instead of cutting on.
const sectionFt = 20

func byChecklist(base *kb.Base) func(*diagnose.Case) (Adviser, error) {
	e := diagnose.New(base, diagnose.Options{Year: thisYear})
	return func(c *diagnose.Case) (Adviser, error) {
		d, err := e.At(c)
		if err != nil {
			return nil, err
		}
		lead := d.Site().LeadInM
		return &leaflet{base, c, d, c.Tools, lead, d.Axis().LengthM - lead}, nil
	}
}

// reading of a log by the leaflet.
type progress struct {
	answers map[string]*diagnose.Answer // latest, by check; a don't-know too
	repairs map[string]int              // how often done without success
	last    *diagnose.RepairDone
	taps    []*diagnose.Answer // since the last repair
}

func read(log []diagnose.Entry) progress {
	p := progress{answers: map[string]*diagnose.Answer{}, repairs: map[string]int{}}
	for _, e := range log {
		switch {
		case e.Repair != nil:
			p.last = e.Repair
			p.repairs[e.Repair.Repair]++
			p.taps = nil
		case e.Answer != nil && e.Answer.Check == "tap":
			p.taps = append(p.taps, e.Answer)
		case e.Answer != nil:
			p.answers[e.Answer.Check] = e.Answer
		}
	}
	return p
}

// Advise goes down the list.
func (l *leaflet) Advise(log []diagnose.Entry) Advice {
	p := read(log)
	switch {
	case p.last != nil && p.last.Fixed && p.last.Repair == "verify":
		return Advice{Step: diagnose.Step{Kind: diagnose.NextDone, ID: "done"}}
	case p.last != nil && p.last.Fixed:
		return l.act("verify", diagnose.NextVerify)
	}
	for _, line := range l.lines(&p) {
		if line.Step.Kind != "" {
			return line
		}
	}
	return l.act("refer", diagnose.NextRefer)
}

// lines is the list: the first line with something to do is done.
func (l *leaflet) lines(p *progress) []Advice {
	var out []Advice
	is := func(check string, answers ...string) bool {
		a := p.answers[check]
		return a != nil && slices.Contains(answers, a.Choice)
	}
	ask := func(ids ...string) {
		for _, id := range ids {
			if c := l.base.Check(id); c != nil && p.answers[id] == nil && l.can(c) {
				out = append(out, Advice{Step: diagnose.Step{Kind: diagnose.NextCheck, ID: id, Check: c, Cautions: c.Cautions}})
				return
			}
		}
	}
	mend := func(causes ...string) {
		for _, id := range causes {
			if p.repairs[id] == 0 {
				out = append(out, l.mend(id))
			}
		}
	}
	ask("switch-position")
	if is("switch-position", "off", "unplugged-on-purpose") {
		mend("switched-off")
	}
	ask("supply-sign")
	if is("supply-sign", "off") {
		ask("outlet-power")
		if is("outlet-power", "dead") {
			mend("outlet-dead")
		}
		mend("adapter-failed", "transmitter-failed")
	}
	ask("continuity-sign")
	if is("continuity-sign", "broken") {
		l.broken(p, is, ask, mend, &out)
	} else {
		ask("new-battery")
		if is("new-battery", "works", "works-a-day") {
			mend("collar-battery")
		}
		ask("tone-extent")
		ask("short-loop-collar", "second-collar")
		switch {
		case is("short-loop-collar", "silent") || is("second-collar", "works"):
			mend("collar-failed", "transmitter-failed")
		case is("tone-extent", "narrow-everywhere", "near-transmitter-only"):
			mend("width-set-low", "transmitter-near-metal")
		case is("tone-extent", "nowhere"):
			ask("lead-in-loop")
			if is("lead-in-loop", "complete", "broken") || is("short-loop-collar", "sounds") {
				mend("replace-lead-in")
			}
			mend("collar-failed")
		case is("tone-extent", "everywhere", "wide-everywhere"):
			ask("collar-fit-look")
			if is("collar-fit-look", "loose", "long-coat") {
				mend("collar-fit")
			}
			ask("contact-lamp")
			if is("contact-lamp", "dark") {
				mend("collar-contacts")
			}
			mend("training-lapse")
		}
	}
	return out
}

// broken is the part of the list for a wire that does not close.
func (l *leaflet) broken(p *progress, is func(string, ...string) bool, ask, mend func(...string), out *[]Advice) {
	ask("terminal-look")
	if is("terminal-look", "loose", "corroded", "wire-out") {
		mend("terminal-loose")
	}
	ask("short-loop-sign")
	if is("short-loop-sign", "broken") {
		mend("transmitter-failed")
	}
	ask("lead-in-loop")
	if is("lead-in-loop", "broken") {
		mend("replace-lead-in")
	}
	ask("visible-damage")
	if a := p.answers["visible-damage"]; a != nil && a.FromM != nil && p.repairs["wire-cut"] == 0 {
		s := l.mend("wire-cut")
		s.Step.FromM, s.Step.ToM = a.FromM, a.ToM
		*out = append(*out, s)
	}
	*out = append(*out, l.halve(p))
}

// halve taps the middle of what is left of the boundary.
func (l *leaflet) halve(p *progress) Advice {
	tap := l.base.Check("tap")
	if tap == nil || !l.can(tap) || p.repairs["replace-section"] > 1 {
		return Advice{}
	}
	lo, hi := l.leadM, l.endM
	for _, t := range p.taps {
		switch {
		case t.ASide == locate.Broken:
			hi = min(hi, *t.AtM)
		case t.BSide == locate.Broken:
			lo = max(lo, *t.AtM)
		}
	}
	if hi-lo <= sectionFt*quantity.MPerFt {
		s := l.act("replace-section", diagnose.NextReplaceSection)
		s.Step.FromM, s.Step.ToM = &lo, &hi
		return s
	}
	if len(p.taps) > 12 { // both sides whole again and again
		return Advice{}
	}
	at := l.passable((lo+hi)/2, lo, hi)
	return Advice{Step: diagnose.Step{Kind: diagnose.NextTap, ID: "tap", Check: tap, AtM: &at, Cautions: tap.Cautions}}
}

// passable is the nearest place to open that is neither under pavement nor barred.
func (l *leaflet) passable(at, lo, hi float64) float64 {
	hard := func(x float64) bool {
		for _, z := range l.desk.Site().Zones {
			if x >= z.FromM && x <= z.ToM && (z.NoDig || z.Surface == "driveway" || z.Surface == "path") {
				return true
			}
		}
		return false
	}
	for d := 0.0; d < (hi-lo)/2; d += 0.3 {
		for _, x := range []float64{at + d, at - d} {
			if !hard(x) {
				return x
			}
		}
	}
	return at
}

// can tells whether the person may do a check and has, or can get, what it needs.
func (l *leaflet) can(c *kb.Check) bool {
	role := string(l.c.Role)
	if len(c.Roles) > 0 && !slices.Contains(c.Roles, role) {
		return false
	}
	for _, id := range c.Tools {
		if slices.Contains(l.hand, id) {
			continue
		}
		if t := l.base.Tool(id); t == nil || t.ObtainMinutes.For(role) < 0 {
			return false
		}
	}
	return true
}

func (l *leaflet) act(id string, kind diagnose.NextKind) Advice {
	r := l.base.Repair(id)
	s := diagnose.Step{Kind: kind, ID: id, Repair: r}
	if r != nil {
		s.Cautions = r.Cautions
	}
	return Advice{Step: s}
}

// mend is the repair of a cause, or a general act.
func (l *leaflet) mend(id string) Advice {
	if l.base.Repair(id) == nil {
		id = "repair:" + id
	}
	r := l.base.Repair(id)
	if r == nil || len(r.Roles) > 0 && !slices.Contains(r.Roles, string(l.c.Role)) || math.IsNaN(r.Success.Value) {
		return Advice{}
	}
	for _, t := range r.Tools {
		if tool := l.base.Tool(t); !slices.Contains(l.hand, t) && (tool == nil || tool.ObtainMinutes.For(string(l.c.Role)) < 0) {
			return Advice{}
		}
	}
	return l.act(id, diagnose.NextRepair)
}
