package report

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
	"loopfault/kb"
)

// Options say how a record is to be written.
type Options struct {
	Units    quantity.Units
	Currency string // before sums, such as "USD"; may be empty
	Date     string // of the report, YYYY-MM-DD; may be empty
	Redact   bool   // leave out names of places, notes and where on earth it is
}

// Record is everything that a report says of a case.
type Record struct {
	Case, Yard, Date, Role string
	Redacted               bool

	Stop     *Stop  // a danger that ended the work; nil where none did
	Was      string // what it turned out to be; empty until it is mended or named
	Proof    string // how far that is proved; empty until then
	Closed   bool   // mended or named, and nothing speaks against it
	Finding  string // the likeliest cause, of what is wrong now
	Chance   float64
	Word     string // the chance as a word
	Means    string
	Places   []string // where, in sentences; empty where no wire fault is in view
	Remarks  []string // what the answers mean together
	Two      string   // that two faults are likely; empty else
	Causes   []Cause  // falling chance
	Rest     float64  // chance of the causes not listed, summed
	RuledOut []RuledOut

	Next      Step
	Expected  string
	Plan      []PlanLine
	Asked     []Asked
	Weighed   []string // the causes that the answers' weights are given for
	Conflicts []string
	Done      []Done
	Outcome   string

	Used      []Material // by the repairs of this call
	UsedTotal string
	Materials []Material // still needed
	Total     string     // of the materials, where all have a price
	Bring     []string

	Acceptance []Accept
	Verdict    string
	Passed     bool

	AsBuilt  []Field
	Features []Key // the drawings' numbers
	Evidence []Key // the drawings' letters

	Scene   draw.Scene
	Profile draw.Profile
	Result  diagnose.Result

	units quantity.Units
}

// New judges a case and writes its record.
func New(e *diagnose.Engine, c *diagnose.Case, o Options) (*Record, error) {
	desk, err := e.At(c)
	if err != nil {
		return nil, err
	}
	w := writer{engine: e, desk: desk, base: e.Base(), c: c, a: desk.Assess(c.Log), o: o, role: string(c.Role)}
	w.leaveOut()
	w.halt = w.halted()
	r := &Record{Case: c.Name, Date: o.Date, Role: w.role, Redacted: o.Redact, Result: w.a.Result(o.Units), units: o.Units}
	if c.Yard != nil {
		r.Yard = c.Yard.Name
	}
	if o.Redact {
		r.Case, r.Yard, r.Result.Case = "", "", ""
	}
	w.finding(r)
	w.places(r)
	w.scene(r)
	w.step(r)
	w.plan(r)
	w.ending(r)
	w.asked(r)
	w.ruledOut(r)
	w.materials(r)
	w.used(r)
	w.acceptance(r)
	w.asBuilt(r)
	r.Result.Next.Why = r.Next.Why
	w.stop(r)
	return r, nil
}

// writer puts an assessment into words.
type writer struct {
	engine *diagnose.Engine
	desk   *diagnose.Desk
	base   *kb.Base
	c      *diagnose.Case
	a      *diagnose.Assessment
	o      Options
	role   string
	// before is the case as it stood when the repair that ended it was made, and
	// without is before judged with one of its answers left out, by the answer's
	// place in the log: what each answer weighed for any cause, from one pass.
	// Answers after the repair prove the repair; they weigh nothing here.
	before  *diagnose.Assessment
	halt    *diagnose.Assessment // in which a hard rule took the step; nil where none did
	without map[int]*diagnose.Assessment
}

func (w *writer) of(words kb.Words) string { return strings.TrimSpace(words.For(w.role)) }

func (w *writer) words() diagnose.Wording {
	return diagnose.Wording{Base: w.base, Role: w.c.Role, Units: w.o.Units}
}

func (w *writer) length(m float64) string { return quantity.FormatLength(m, w.o.Units) }

func (w *writer) stretch(fromM, toM float64) string {
	return quantity.FormatRange(fromM, toM, w.o.Units)
}

func (w *writer) phrase(id string, fields map[string]string) string {
	text, err := w.base.Phrase(id, w.role, fields)
	if err != nil {
		return "" // the loader proves every phrase; an overlay may lack one
	}
	return strings.TrimSpace(text)
}

func (w *writer) money(v float64) string {
	s := fmt.Sprintf("%.2f", v)
	if v >= 20 {
		s = fmt.Sprintf("%.0f", v)
	}
	return strings.TrimSpace(w.o.Currency + " " + s)
}

// kept lists the entries of the log that were not taken back.
func (w *writer) kept() []int { return diagnose.Kept(w.a.Log()) }

// sentence gives a name a capital letter.
func sentence(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[size:]
}

func lower(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(unicode.ToLower(r)) + s[size:]
}
