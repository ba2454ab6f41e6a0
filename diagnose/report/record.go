package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
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

// Cause is a line of the ranking.
type Cause struct {
	Name, Part string
	Chance     float64
}

// RuledOut is a cause that was worth a thought and is not any more.
type RuledOut struct{ Name, Why string }

// Step is what to do next, ready to read.
type Step struct {
	Title    string
	Why      string
	Do       []string
	Cautions []string
	Minutes  string
	Cost     string
}

// PlanLine is one line of the search plan, indented by depth.
type PlanLine struct {
	Depth int
	Text  string
}

// Asked is one answer of the log.
type Asked struct {
	Key      string // letter in the drawings; empty without a place
	Label    string // the check in a few words
	Question string
	Answer   string
	Note     string
	Weights  []string // for each of the causes weighed
}

// Done is a repair that was made.
type Done struct {
	Text  string
	Fixed bool
}

// Material is a line of the bill.
type Material struct{ Name, Amount, Price string }

// Accept is a line of the acceptance walk.
type Accept struct{ What, Expected, Found, Judgement string }

// Field is a line of the as-built record.
type Field struct{ Name, Value string }

// Key explains a number or letter of the drawings.
type Key struct{ Sign, Text string }

// How much a record says.
const (
	mostCauses  = 8
	leastChance = 0.005 // a cause below it is summed up with the rest
	mostRuled   = 4
	planDepth   = 3
	twoWorth    = 0.05 // chance of two faults from which it is said
	// A second cause less likely than this is not worth a column of weights.
	worthWeighing = 0.02
)

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

// leaveOut judges the case again without each of its answers.
func (w *writer) leaveOut() {
	log := w.a.Log()
	w.before = w.a
	for _, i := range w.kept() {
		if e := log[i]; repaired(e) && e.Repair.Fixed {
			log = log[:i]
			w.before = w.desk.Assess(log)
			break
		}
	}
	w.without = map[int]*diagnose.Assessment{}
	for _, i := range w.engine.Standing(log) {
		w.without[i] = w.desk.Assess(slices.Delete(slices.Clone(log), i, i+1))
	}
}

// decibans is what an entry of the log weighed for a cause: ten times the common
// logarithm of how far it moved the odds.
func (w *writer) decibans(entry int, cause string) float64 {
	less, ok := w.without[entry]
	if !ok {
		return 0
	}
	return 10 * math.Log10(odds(w.before.Initial(cause))/odds(less.Initial(cause)))
}

func odds(p float64) float64 {
	const least = 1e-9
	p = min(max(p, least), 1-least)
	return p / (1 - p)
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

// rank lists the causes of an assessment.
func (w *writer) rank(r *Record, a *diagnose.Assessment) {
	rest := 0.0
	for i, c := range a.Ranking {
		if i >= mostCauses || i > 0 && c.P < leastChance {
			rest += c.P
			continue
		}
		part := ""
		if p := w.base.Part(c.Cause.Part); p != nil {
			part = w.of(p.Name)
		}
		r.Causes = append(r.Causes, Cause{Name: w.of(c.Cause.Name), Part: part, Chance: c.P})
	}
	r.Rest = min(rest, 1)
}

func (w *writer) finding(r *Record) {
	w.rank(r, w.a)
	top := w.a.Ranking[0]
	r.Finding, r.Chance, r.Means = sentence(w.of(top.Cause.Name)), top.P, w.of(top.Cause.Means)
	r.Word = w.base.Word("chance", w.role, top.P)
	if two := w.a.TwoFaults; two >= twoWorth && two <= diagnose.TwoFaultsNoted { // beyond, a remark names them
		r.Two = fmt.Sprintf("Two faults at once: %s.", quantity.FormatPercent(two))
	}
	for _, n := range r.Result.Notes {
		r.Remarks = append(r.Remarks, strings.TrimSpace(n))
	}
	for _, c := range w.a.Clashes {
		r.Conflicts = append(r.Conflicts, strings.TrimSpace(w.a.ClashText(c)))
	}
	r.Expected = quantity.FormatMinutes(w.a.Expected.Minutes)
	if w.a.Expected.Taps >= 0.05 {
		r.Expected += fmt.Sprintf(", %.1f taps", w.a.Expected.Taps)
	}
	if w.a.Expected.Cost > 0 {
		r.Expected += ", " + w.money(w.a.Expected.Cost)
	}
}

func (w *writer) money(v float64) string {
	s := fmt.Sprintf("%.2f", v)
	if v >= 20 {
		s = fmt.Sprintf("%.0f", v)
	}
	return strings.TrimSpace(w.o.Currency + " " + s)
}

func (w *writer) scene(r *Record) {
	m := w.c.Yard
	if m != nil && w.o.Redact {
		blank := *m
		blank.Name, blank.Loop.Origin = "", nil
		m = &blank
	}
	if m == nil {
		m = &yard.Map{}
	}
	r.Scene = draw.Scene{Yard: m, Units: w.o.Units}
	if where := w.a.Where; where != nil && !w.unplaced() {
		r.Scene.Belief = w.curve()
		if _, _, mirrored := w.mirrored(); !mirrored && !where.TwoBreaks {
			r.Scene.BestM = &where.BestM
		}
	}
	s := w.a.Step
	switch {
	case s.AtM != nil:
		r.Scene.Next = &draw.Next{FromM: *s.AtM, ToM: *s.AtM, Text: "here"}
		if s.Kind == diagnose.NextTap {
			r.Scene.Next.Text = "tap"
		}
	case s.FromM != nil && s.ToM != nil:
		r.Scene.Next = &draw.Next{FromM: *s.FromM, ToM: *s.ToM, Text: "here"}
		if s.Kind == diagnose.NextReplaceSection {
			r.Scene.Next.Text = "new wire"
		}
	}
	for _, n := range r.Scene.Features() {
		text := r.Scene.FeatureText(n)
		if n.Feature.Note != "" && !w.o.Redact {
			text += " (" + n.Feature.Note + ")"
		}
		r.Features = append(r.Features, Key{fmt.Sprint(n.Number), text})
	}
}

func (w *writer) step(r *Record) {
	a := w.a
	if w.halt != nil {
		a = w.halt
	}
	s := a.Step
	r.Next.Why = strings.TrimSpace(a.Why())
	r.Next.Minutes = quantity.FormatMinutes(s.Minutes)
	if s.Cost > 0 {
		r.Next.Cost = w.money(s.Cost)
	}
	switch {
	case s.Check != nil:
		r.Next.Title = w.of(s.Check.Ask)
		r.Next.Do = s.Check.How.For(w.role)
		if s.Kind == diagnose.NextTap && s.AtM != nil {
			r.Next.Title = "Open the wire at " + w.length(*s.AtM) + " and test it both ways."
			if near := w.c.Yard.Near(*s.AtM, w.o.Units); near != "" {
				r.Next.Title += " Near: " + near + "."
			}
		}
	case s.Repair != nil:
		r.Next.Title = sentence(w.of(s.Repair.Name))
		r.Next.Do = s.Repair.Do.For(w.role)
		if s.FromM != nil && s.ToM != nil {
			r.Next.Title += ", " + w.stretch(*s.FromM, *s.ToM)
		} else if s.AtM != nil {
			r.Next.Title += ", at " + w.length(*s.AtM)
		}
		r.Next.Title += "."
	default:
		r.Next.Title = sentence(strings.ReplaceAll(s.ID, "-", " ")) + "."
	}
	for _, id := range s.Cautions {
		r.Next.Cautions = append(r.Next.Cautions, strings.TrimSpace(w.base.CautionText(id, w.role)))
	}
}

func (w *writer) plan(r *Record) {
	p := w.a.Plan
	if p == nil || p.Tree == nil {
		return
	}
	var walk func(n *locate.Node, depth int, lead string)
	walk = func(n *locate.Node, depth int, lead string) {
		if n == nil {
			return
		}
		chance := ""
		if depth > 0 {
			chance = " (" + quantity.FormatPercent(n.Probability) + ")"
		}
		if act := n.Replace; act != nil {
			verb := "lay new wire, "
			if act.Kind == locate.ActOpen {
				verb = "lay the wire bare and mend it, "
			}
			r.Plan = append(r.Plan, PlanLine{depth, lead + verb + w.stretch(act.FromM, act.ToM) + chance})
			return
		}
		if depth == planDepth {
			r.Plan = append(r.Plan, PlanLine{depth, lead + "go on between " + w.stretch(n.FromM, n.ToM) + chance})
			return
		}
		verb := "tap at "
		if n.AtSplice {
			verb = "open the splice at "
		}
		r.Plan = append(r.Plan, PlanLine{depth, lead + verb + w.length(n.AtM) + chance})
		walk(n.ABroken, depth+1, "broken towards A: ")
		walk(n.BBroken, depth+1, "broken towards B: ")
		for i, both := range n.Both {
			if both != nil && depth+1 < planDepth {
				walk(both, depth+1, []string{"both broken, first: ", "then: "}[min(i, 1)])
			}
		}
	}
	walk(p.Tree, 0, "")
	if len(r.Plan) == 1 && p.Tree.Replace != nil {
		return
	}
}

// turnedOut is the cause that the case turned out to have: by its outcome, else
// by a repair after which the fault was gone; nil while nobody knows.
func (w *writer) turnedOut() *kb.Cause {
	var cause *kb.Cause
	for _, i := range w.kept() {
		switch e := w.a.Log()[i]; {
		case e.Outcome != nil:
			return w.base.Cause(e.Outcome.Cause)
		case e.Repair != nil && e.Repair.Fixed:
			if c := w.base.Cause(strings.TrimPrefix(e.Repair.Repair, "repair:")); c != nil {
				cause = c
			}
		}
	}
	return cause
}

// weighedCauses are the causes that the answers' weights are told for: what it
// turned out to be, or else the two most likely.
func (w *writer) weighedCauses() []*kb.Cause {
	if c := w.turnedOut(); c != nil {
		return []*kb.Cause{c}
	}
	var causes []*kb.Cause
	for _, c := range w.before.Ranking {
		if len(causes) == 0 || len(causes) < 2 && c.P >= worthWeighing {
			causes = append(causes, c.Cause)
		}
	}
	return causes
}

func (w *writer) asked(r *Record) {
	causes := w.weighedCauses()
	for _, cause := range causes {
		r.Weighed = append(r.Weighed, w.of(cause.Name))
	}
	standing := w.engine.Standing(w.a.Log())
	for _, i := range w.kept() {
		e := w.a.Log()[i]
		switch {
		case e.Answer != nil && (slices.Contains(standing, i) || w.leftOpen(i)):
			w.answered(r, i, causes)
		case e.Repair != nil:
			w.done(r, e.Repair)
		case e.Outcome != nil:
			r.Outcome = w.outcome(e.Outcome)
		}
	}
}

// kept lists the entries of the log that were not taken back.
func (w *writer) kept() []int {
	var kept []int
	for i, e := range w.a.Log() {
		switch {
		case !e.Undo:
			kept = append(kept, i)
		case len(kept) > 0:
			kept = kept[:len(kept)-1]
		}
	}
	return kept
}

// leftOpen tells whether an entry is a don't-know that nothing later replaced:
// whoever takes the case on need not ask again.
func (w *writer) leftOpen(entry int) bool {
	log := w.a.Log()
	if !diagnose.Unanswered(log[entry].Answer.Choice) {
		return false
	}
	for _, i := range w.kept() {
		if a := log[i].Answer; i > entry && a != nil && a.Check == log[entry].Answer.Check {
			return false
		}
	}
	return true
}

func (w *writer) answered(r *Record, entry int, causes []*kb.Cause) {
	ans := w.a.Log()[entry].Answer
	a := Asked{Label: label(ans.Check), Question: w.question(ans.Check), Answer: w.words().Answer(ans)}
	for _, cause := range causes {
		a.Weights = append(a.Weights, w.weight(w.decibans(entry, cause.ID)))
	}
	if !w.o.Redact {
		a.Note = ans.Note
	}
	if mark, ok := markOf(ans); ok {
		a.Key = draw.Key(len(r.Scene.Marks))
		mark.Text = w.markText(ans)
		r.Scene.Marks = append(r.Scene.Marks, mark)
		r.Evidence = append(r.Evidence, Key{a.Key, mark.Text})
	}
	if len(ans.Widths) > 0 {
		w.profile(r, ans.Widths)
	}
	r.Asked = append(r.Asked, a)
}

func (w *writer) outcome(o *diagnose.Outcome) string {
	text := sentence(w.words().Outcome(o))
	if o.Confirmed {
		text += ", confirmed"
	}
	return text + "."
}

func (w *writer) done(r *Record, d *diagnose.RepairDone) {
	text := sentence(w.words().Repair(d))
	mark := draw.Mark{Kind: draw.Repair, Text: "repair: " + lower(text)}
	switch {
	case d.FromM != nil && d.ToM != nil:
		mark.FromM, mark.ToM = *d.FromM, *d.ToM
	case d.AtM != nil:
		mark.FromM, mark.ToM = *d.AtM, *d.AtM
	}
	if d.AtM != nil || d.FromM != nil {
		r.Evidence = append(r.Evidence, Key{draw.Key(len(r.Scene.Marks)), mark.Text})
		r.Scene.Marks = append(r.Scene.Marks, mark)
	}
	r.Done = append(r.Done, Done{Text: text, Fixed: d.Fixed})
}

// weight is a weight of evidence: decibans for who works with figures, words
// with a direction for the others.
func (w *writer) weight(decibans float64) string {
	if math.IsNaN(decibans) {
		return ""
	}
	const silent = 0.5 // decibans; below it an answer says nothing
	switch {
	case math.Abs(decibans) < silent:
		return "–"
	case w.role == string(diagnose.Technician):
		return fmt.Sprintf("%+.0f dB", decibans)
	case decibans > 0:
		return w.base.Word("weight", w.role, decibans) + " for"
	}
	return w.base.Word("weight", w.role, -decibans) + " against"
}

// markOf is the evidence of an answer that speaks of a place.
func markOf(a *diagnose.Answer) (draw.Mark, bool) {
	var m draw.Mark
	switch {
	case a.FromM != nil && a.ToM != nil:
		m.FromM, m.ToM, m.Kind = *a.FromM, *a.ToM, draw.Stretch
		if a.Check == "silent-stretch" || a.Choice == "stretch-silent" {
			m.Kind = draw.Silent
		}
	case a.AtM != nil:
		m.FromM, m.ToM, m.Kind = *a.AtM, *a.AtM, draw.Spot
	default:
		return m, false
	}
	if a.Check == "tap" {
		m.Kind = draw.Tap
		m.A, m.B = end(a.ASide), end(a.BSide)
	}
	return m, true
}

func end(s locate.Side) draw.End {
	switch s {
	case locate.Intact:
		return draw.Sound
	case locate.Broken:
		return draw.Broken
	}
	return draw.NotTested
}

// markText explains a letter of the drawings in a few words.
func (w *writer) markText(a *diagnose.Answer) string {
	return label(a.Check) + ": " + told(w.words().Answer(a))
}

// ruledOut names the causes that were worth a thought before the first answer
// and are not any more, with the answer that did it.
func (w *writer) ruledOut(r *Record) {
	before := map[string]float64{}
	for _, h := range w.desk.Prior() {
		for _, c := range h.Causes {
			before[c] += h.P
		}
	}
	type fallen struct {
		cause *kb.Cause
		was   float64
	}
	var list []fallen
	for _, c := range w.a.Ranking {
		if was := before[c.Cause.ID]; was >= 0.02 && c.P < was/5 && c.P < 0.02 {
			list = append(list, fallen{c.Cause, was})
		}
	}
	slices.SortStableFunc(list, func(x, y fallen) int {
		switch {
		case x.was > y.was:
			return -1
		case x.was < y.was:
			return 1
		}
		return 0
	})
	for _, f := range list[:min(len(list), mostRuled)] {
		heaviest, least := -1, -0.5
		for _, i := range w.engine.Standing(w.a.Log()) {
			if d := w.decibans(i, f.cause.ID); d < least {
				heaviest, least = i, d
			}
		}
		if heaviest < 0 {
			continue // no single answer did it
		}
		why := "the repair changed nothing"
		if ans := w.a.Log()[heaviest].Answer; ans != nil {
			why = w.markText(ans)
		}
		r.RuledOut = append(r.RuledOut, RuledOut{w.of(f.cause.Name), why})
	}
}

// question is what a check asks, without what leads up to it; where that named
// the subject, the check's label does.
func (w *writer) question(check string) string {
	c := w.base.Check(check)
	if c == nil {
		return check
	}
	ask := w.of(c.Ask)
	for i, s := range strings.SplitAfter(ask, ". ") {
		if end := strings.IndexByte(s, '?'); end >= 0 {
			q := strings.TrimSpace(s[:end+1])
			if i > 0 {
				q = sentence(label(check)) + ": " + told(q)
			}
			return q
		}
	}
	return ask
}

// slack is how much longer a new section is than the stretch it replaces.
// Common practice, no source.
const slack = 1.1

// wireItem is what a section takes by the foot.
const wireItem = "boundary-wire"

// bill adds up materials.
type bill struct {
	w       *writer
	amounts map[string]float64
	order   []string
}

func (b *bill) add(item string, n float64) {
	if n <= 0 {
		return
	}
	if b.amounts == nil {
		b.amounts = map[string]float64{}
	}
	if _, seen := b.amounts[item]; !seen {
		b.order = append(b.order, item)
	}
	b.amounts[item] += n
}

func (b *bill) uses(r *kb.Repair) {
	for _, u := range r.Uses {
		b.add(u.Item, u.Quantity)
	}
}

// section adds the wire of a new section.
func (b *bill) section(fromM, toM float64) {
	b.add(wireItem, math.Ceil(math.Abs(toM-fromM)*slack/quantity.MPerFt))
}

// lines are the bill's lines and their sum, the sum only where all have a price.
func (b *bill) lines() (lines []Material, sum string) {
	total, priced := 0.0, true
	for _, id := range b.order {
		n := b.amounts[id]
		m := Material{Name: strings.ReplaceAll(id, "-", " "), Amount: fmt.Sprintf("%g", n)}
		if item := b.w.base.Item(id); item != nil {
			m.Name = b.w.of(item.Name)
			if item.Unit == "ft" {
				m.Amount = quantity.FormatLength(n*quantity.MPerFt, b.w.o.Units)
			}
			m.Price = b.w.money(n * item.Price.Value)
			total += n * item.Price.Value
		} else {
			priced = false
		}
		if id == wireItem && b.w.c.Yard != nil && b.w.c.Yard.Wire.Gauge.Known() {
			m.Name += ", " + b.w.c.Yard.Wire.Gauge.String()
		}
		lines = append(lines, m)
	}
	if priced && len(lines) > 0 {
		sum = b.w.money(total)
	}
	return lines, sum
}

// materials is the bill of what the next step, or else the likeliest repair, takes.
func (w *writer) materials(r *Record) {
	repair := w.a.Step.Repair
	if !r.Closed && (repair == nil || len(repair.Uses) == 0 && w.a.Step.Kind != diagnose.NextReplaceSection) {
		repair = w.base.Repair("repair:" + w.a.Ranking[0].Cause.ID)
	}
	b := bill{w: w}
	if repair != nil {
		b.uses(repair)
	}
	if s := w.a.Step; s.Kind == diagnose.NextReplaceSection && s.FromM != nil && s.ToM != nil {
		b.section(*s.FromM, *s.ToM)
	}
	if p := w.a.Plan; p != nil && w.a.Step.Kind == diagnose.NextTap {
		b.add(diagnose.SpliceItem, math.Ceil(p.Expected.NewSplices)-b.amounts[diagnose.SpliceItem])
	}
	r.Materials, r.Total = b.lines()
	w.bring(r, repair)
}

// bring lists what a technician needs in the hand for the next step and the
// likeliest repair.
func (w *writer) bring(r *Record, repair *kb.Repair) {
	var tools []string
	if c := w.a.Step.Check; c != nil {
		tools = append(tools, c.Tools...)
	}
	if repair != nil {
		tools = append(tools, repair.Tools...)
	}
	if w.a.Where != nil && !r.Closed {
		tools = append(tools, "meter", "spade", "splice-kit", "temporary-wire")
	}
	for _, id := range tools {
		name := strings.ReplaceAll(id, "-", " ")
		if t := w.base.Tool(id); t != nil {
			name = w.of(t.Name)
		}
		if !slices.Contains(r.Bring, name) {
			r.Bring = append(r.Bring, name)
		}
	}
	for _, m := range r.Materials {
		r.Bring = append(r.Bring, m.Amount+" x "+m.Name)
	}
}

var judgements = map[diagnose.Judgement]string{
	diagnose.Pass: "pass", diagnose.Fail: "fail", diagnose.MeasureAgain: "measure again", diagnose.NotDone: "not done",
}

func (w *writer) acceptance(r *Record) {
	v := w.desk.Verify(w.a.Log())
	// Before a repair nothing can pass: the walk is still to come.
	repaired := slices.ContainsFunc(w.kept(), func(i int) bool { return repaired(w.a.Log()[i]) })
	r.Passed = v.Pass && repaired
	for _, item := range v.Items {
		a := Accept{What: item.Check, Judgement: judgements[item.Judgement], Expected: "-", Found: "-"}
		unit := ""
		if c := w.base.Check(item.Check); c != nil {
			a.What, unit = w.question(c.ID), c.Unit
		}
		if !repaired {
			item.Judgement, item.FromM = diagnose.NotDone, nil
			a.Judgement = "to do"
		}
		done := item.Judgement != diagnose.NotDone
		switch {
		case item.Check == "continuity-sign":
			a.Expected = "complete"
			if done {
				a.Found = map[bool]string{true: "complete", false: "broken"}[item.Judgement == diagnose.Pass]
			}
		case item.Check == "tone-walk":
			a.Expected = "as wide everywhere as before"
			if done {
				a.Found = fmt.Sprintf("narrowest %.0f %% of that", 100*item.Worst)
			}
		case unit != "":
			low, high := item.Expected[0], item.Expected[1]
			if high > low && !math.IsInf(high, 0) {
				a.Expected = quantity.FormatReading(low, false, unit) + " to " + quantity.FormatReading(high, false, unit)
			} else if low > 0 && !math.IsInf(low, 0) {
				a.Expected = "above " + quantity.FormatReading(low, false, unit)
			}
			if done {
				a.Found = w.latestReading(item.Check, unit)
			}
		}
		if item.FromM != nil && item.ToM != nil {
			a.Judgement += ", " + w.stretch(*item.FromM, *item.ToM)
		}
		r.Acceptance = append(r.Acceptance, a)
	}
	switch {
	case !repaired:
	case v.Pass:
		r.Verdict = w.phrase("verify-passed", nil)
	default:
		for _, item := range v.Items {
			if item.Judgement == diagnose.Fail && item.FromM != nil && item.ToM != nil {
				r.Verdict = w.phrase("verify-failed", map[string]string{"From": w.length(*item.FromM), "To": w.length(*item.ToM)})
			}
		}
		if r.Verdict == "" {
			r.Verdict = r.Proof
		}
	}
}

func (w *writer) latestReading(check, unit string) string {
	for _, i := range slices.Backward(w.a.Log()) {
		if a := i.Answer; a != nil && a.Check == check && a.Reading != nil {
			return quantity.FormatReading(a.Reading.Value, a.Reading.OverRange, unit)
		}
	}
	return "-"
}

func (w *writer) asBuilt(r *Record) {
	m := w.c.Yard
	add := func(name, value string) {
		if value != "" {
			r.AsBuilt = append(r.AsBuilt, Field{name, value})
		}
	}
	length := func(e yard.Estimate) string {
		text := w.length(e.Value) + " ± " + w.length(e.SD)
		if !e.Known {
			text += " (not known, typical)"
		}
		return text
	}
	add("boundary", length(m.BoundaryLength()))
	add("lead-in, each leg", length(m.LeadInLength()))
	work := diagnose.Joints(w.base, w.c)
	for _, j := range work.Joints {
		where := w.length(j.FromM)
		if j.FromM < j.ToM {
			where = "within " + w.stretch(j.FromM, j.ToM)
		}
		add("new splice", where+", "+w.whatJoint(j))
	}
	for _, f := range work.Gone {
		where := w.stretch(f.FromM, f.ToM)
		if f.Unplaced {
			where = "somewhere on the wire"
		}
		add("splice gone", where+", new wire in its place")
	}
	if m == nil {
		return
	}
	var wire []string
	if m.Wire.Gauge.Known() {
		wire = append(wire, m.Wire.Gauge.String())
	}
	for _, word := range []string{m.Wire.Material, m.Wire.Strands} {
		if word != "" {
			wire = append(wire, word)
		}
	}
	add("wire", strings.Join(wire, ", "))
	if m.InstalledYear > 0 {
		add("installed", fmt.Sprint(m.InstalledYear))
	}
	if t := m.Soil.TemperatureC; t != nil {
		add("soil", strings.TrimSuffix(quantity.FormatTemperature(*t, w.o.Units)+", "+m.Soil.Moisture, ", "))
	}
	if b := m.Baseline; b != nil {
		var parts []string
		for _, x := range []struct {
			name, unit string
			r          *yard.Reading
		}{{"loop", "ohm", b.LoopOhms}, {"leg A to earth", "ohm", b.LegAToEarth}, {"capacitance A", "nF", b.CapacitanceA},
			{"capacitance B", "nF", b.CapacitanceB}} {
			if x.r != nil {
				parts = append(parts, x.name+" "+quantity.FormatReading(x.r.Value, x.r.Over, x.unit))
			}
		}
		if n := len(b.Widths); n > 0 {
			parts = append(parts, fmt.Sprintf("%d widths", n))
		}
		text := strings.Join(parts, ", ")
		if b.Date != "" {
			text = strings.TrimSuffix(b.Date+": "+text, ": ")
		}
		add("baseline", text)
	}
	for _, f := range m.Features {
		if f.Unplaced {
			add(string(f.Kind), "somewhere on the wire")
		}
	}
}

// profile is the walk with the collar, beside what a sound loop would show.
func (w *writer) profile(r *Record, widths []faultmodel.Width) {
	m := w.c.Yard
	p := draw.Profile{TotalM: m.TotalM(), LeadInM: m.LeadInM(), Units: w.o.Units}
	var sounding []float64
	for _, x := range widths {
		p.Measured = append(p.Measured, draw.Width{AtM: x.AtM, WidthM: x.WidthM, Silent: x.Silent})
		if !x.Silent {
			sounding = append(sounding, x.WidthM)
		}
	}
	if m != nil && m.Baseline != nil {
		for _, x := range m.Baseline.Widths {
			p.Baseline = append(p.Baseline, draw.Width{AtM: x.AtM, WidthM: x.WidthM})
		}
	}
	if m.HasPath() && len(sounding) > 0 {
		p.Model = modelWidths(m, median(sounding))
	}
	r.Profile = p
}

// modelWidths is the width on the inside of a sound loop of the yard's shape,
// as wide in the middle as was measured; nil where the shape gives none.
func modelWidths(m *yard.Map, reachM float64) []draw.Width {
	const places = 60
	var at []float64
	for i := range places {
		if x := m.LeadInM() + (float64(i)+0.5)/places*m.BoundaryM(); !inCorner(m, x, reachM) {
			at = append(at, x)
		}
	}
	if len(at) == 0 {
		return nil // all corners
	}
	inside := diagnose.ShapeWidths(m, at, reachM)
	if median(inside) == 0 {
		return nil
	}
	// The width control is where it is: only the shape is compared.
	scale := reachM / median(inside)
	out := make([]draw.Width, len(at))
	for i, v := range inside {
		out[i] = draw.Width{AtM: at[i], WidthM: min(v*scale, 2*reachM)}
	}
	return out
}

// inCorner tells whether a place lies in a corner that points out of the yard:
// square off one of its legs the other leg runs alongside, and a width has no
// meaning there.
func inCorner(m *yard.Map, atM, reachM float64) bool {
	const turn = 40 // degrees
	for _, c := range m.Corners(turn) {
		off := math.Abs(atM - c.AtM)
		if off = min(off, m.BoundaryM()-off); !c.Reentrant && off < 2*reachM {
			return true
		}
	}
	return false
}

func median(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

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
