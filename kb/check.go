package kb

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"text/template/parse"

	"loopfault/kb/strictyaml"
)

// sumTolerance is how far a distribution may be from 1: rounding by hand of ten
// answers to three decimals.
const sumTolerance = 0.005

// check finds everything in b that is wrong in meaning and notes it at its place
// in the sources.
func check(b *Base, sources []*source, faults *strictyaml.Faults) {
	b.buildIndex()
	c := &checker{b: b, sources: sources, faults: faults}
	c.parts()
	c.causes()
	c.tools()
	c.checks()
	c.reachable()
	c.items()
	c.repairs()
	c.cautions()
	c.rules()
	c.scales()
	c.phrases()
	c.conductors()
	c.settings()
}

type checker struct {
	b       *Base
	sources []*source
	faults  *strictyaml.Faults
}

// entry is one entry under check, and the places of its fields.
type entry struct {
	c       *checker
	section string
	id      string
}

// fault notes a fault at a field of the entry. Where no file gives the field, it
// is told at the entry.
func (e entry) fault(path []any, format string, args ...any) {
	file, at := e.c.place(e.section, e.id, path)
	label := e.section
	if e.id != "" {
		label = fmt.Sprintf("%s %q", singular[e.section], e.id)
	}
	e.c.faults.Add(file, at, "%s: %s", label, fmt.Sprintf(format, args...))
}

var singular = map[string]string{"parts": "part", "causes": "cause", "tools": "tool", "checks": "check",
	"items": "item", "repairs": "repair", "cautions": "caution", "rules": "rule", "scales": "scale",
	"phrases": "phrase", "materials": "material", "insulation": "insulation", "gauges": "gauge"}

// place finds the latest file that gives a field of an entry.
func (c *checker) place(section, id string, path []any) (string, strictyaml.Pos) {
	var file string
	var at strictyaml.Pos
	for _, s := range slices.Backward(c.sources) {
		i, ok := s.find(section, id)
		if !ok {
			continue
		}
		full := append([]any{section}, i...)
		if len(path) > 1 && path[0] == "rows" {
			row, ok := s.findRow(i, path[1])
			if !ok {
				continue
			}
			full = append(full, "rows", row)
			full = append(full, path[2:]...)
			return s.doc.File, s.doc.Pos(full...)
		}
		if len(path) > 0 && s.doc.Has(append(slices.Clone(full), path[0])...) {
			return s.doc.File, s.doc.Pos(append(full, path...)...)
		}
		if file == "" {
			file, at = s.doc.File, s.doc.Pos(full...)
		}
	}
	if file == "" && len(c.sources) > 0 {
		file, at = c.sources[0].doc.File, c.sources[0].doc.Pos()
	}
	return file, at
}

// find is the path of an entry below its section.
func (s *source) find(section, id string) ([]any, bool) {
	if section == "settings" {
		return nil, s.doc.Has("settings")
	}
	i := -1
	switch section {
	case "parts":
		i = indexOf(s.held.Parts, func(e *Part) string { return e.ID }, id)
	case "causes":
		i = indexOf(s.held.Causes, func(e *Cause) string { return e.ID }, id)
	case "tools":
		i = indexOf(s.held.Tools, func(e *Tool) string { return e.ID }, id)
	case "checks":
		i = indexOf(s.held.Checks, func(e *Check) string { return e.ID }, id)
	case "items":
		i = indexOf(s.held.Items, func(e *Item) string { return e.ID }, id)
	case "repairs":
		i = indexOf(s.held.Repairs, func(e *Repair) string { return e.ID }, id)
	case "cautions":
		i = indexOf(s.held.Cautions, func(e *Caution) string { return e.ID }, id)
	case "rules":
		i = indexOf(s.held.Rules, func(e *Rule) string { return e.ID }, id)
	case "scales":
		i = indexOf(s.held.Scales, func(e *Scale) string { return e.ID }, id)
	case "phrases":
		i = indexOf(s.held.Phrases, func(e *Phrase) string { return e.ID }, id)
	case "materials":
		i = indexOf(s.held.Materials, func(e *ConductorMaterial) string { return e.ID }, id)
	case "insulation":
		i = indexOf(s.held.Insulation, func(e *Insulation) string { return e.ID }, id)
	case "gauges":
		i = indexOf(s.held.Gauges, gaugeID, id)
	}
	return []any{i}, i >= 0
}

// findRow is the row of a check of this file that holds a cause.
func (s *source) findRow(check []any, cause any) (int, bool) {
	for i, r := range s.held.Checks[check[0].(int)].Rows {
		if len(r.Causes) == 0 && cause == "" || slices.Contains(r.Causes, fmt.Sprint(cause)) {
			return i, true
		}
	}
	return 0, false
}

func indexOf[T any](entries []T, id func(*T) string, want string) int {
	for i := range entries {
		if id(&entries[i]) == want {
			return i
		}
	}
	return -1
}

func at(path ...any) []any { return path }

var idForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

func (c *checker) entry(section, id string) entry {
	e := entry{c: c, section: section, id: id}
	switch {
	case id == "":
		e.fault(at("id"), "the id is missing; expected one such as \"wire-cut\"")
	case !idForm.MatchString(strings.TrimPrefix(id, "repair:")):
		e.fault(at("id"), "the id is malformed; expected small letters, digits and hyphens")
	}
	return e
}

// words demands a wording for each of the three people.
func (e entry) words(w Words, path ...any) {
	for _, role := range roles {
		if strings.TrimSpace(w.For(role)) == "" {
			e.fault(append(slices.Clone(path), role), "%s lacks the wording for %s", path[len(path)-1], role)
		}
	}
}

func (e entry) steps(s Steps, path ...any) {
	for _, role := range roles {
		steps := s.For(role)
		if len(steps) == 0 {
			e.fault(append(slices.Clone(path), role), "%s lacks the steps for %s", path[len(path)-1], role)
		}
		for i, step := range steps {
			if strings.TrimSpace(step) == "" {
				e.fault(append(slices.Clone(path), role, i), "a step is empty; expected a sentence")
			}
		}
	}
}

// note demands the origin of a figure.
func (e entry) note(n Note, path ...any) {
	if strings.TrimSpace(n.Source) == "" {
		e.fault(path, "source is missing; expected a published source, \"common practice\", \"judgement\" or \"from memory\"")
	}
	if n.Confidence == "" {
		e.fault(path, "confidence is missing; expected high, medium or low")
	} else if !slices.Contains(confidences, n.Confidence) {
		e.fault(append(slices.Clone(path), "confidence"), "confidence is %q; expected high, medium or low", n.Confidence)
	}
	if strings.TrimSpace(n.Why) == "" {
		e.fault(path, "why is missing; expected the reason in one line")
	}
}

func (e entry) within(v, lo, hi float64, path ...any) {
	if !(v >= lo && v <= hi) {
		e.fault(path, "%s is %v; expected %s to %s", path[len(path)-1], v, digits(lo), digits(hi))
	}
}

// digits writes a limit without an exponent.
func digits(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// number checks a figure that must be given.
func (e entry) number(n Number, lo, hi float64, path ...any) {
	if n == (Number{}) {
		e.fault(path, "%s is missing; expected {value, source, confidence, why}", path[len(path)-1])
		return
	}
	if !(n.Value >= lo && n.Value <= hi) {
		e.fault(append(slices.Clone(path), "value"), "%s is %v; expected %s to %s", path[len(path)-1], n.Value, digits(lo), digits(hi))
	}
	e.note(n.Note, path...)
}

func (e entry) perRole(p PerRole, lo, hi float64, path ...any) {
	if p == (PerRole{}) {
		e.fault(path, "%s is missing; expected {homeowner, support, technician, source, confidence, why}", path[len(path)-1])
		return
	}
	for _, role := range roles {
		if v := p.For(role); !(v >= lo && v <= hi) {
			e.fault(append(slices.Clone(path), role), "%s for %s is %v; expected %s to %s", path[len(path)-1], role, v, digits(lo), digits(hi))
		}
	}
	e.note(p.Note, path...)
}

// oneOf checks a word against those allowed.
func (e entry) oneOf(word string, allowed []string, path ...any) {
	if !slices.Contains(allowed, word) {
		e.fault(path, "%q is unknown; expected one of %s", word, strings.Join(allowed, ", "))
	}
}

// refers checks the ids of a list against those that exist.
func refers[T any](e entry, ids []string, what string, get func(string) *T, path ...any) {
	for i, id := range ids {
		if get(id) == nil {
			e.fault(append(slices.Clone(path), i), "there is no %s %q", what, id)
		}
		if slices.Index(ids, id) < i {
			e.fault(append(slices.Clone(path), i), "%q is given twice; expected it once", id)
		}
	}
}

func (e entry) roles(list []string, path ...any) {
	for i, role := range list {
		e.oneOf(role, roles, append(slices.Clone(path), i)...)
	}
}

func (c *checker) caution(id string) *Caution { return lookup(c.b.Cautions, c.b.index.cautions, id) }

func (c *checker) parts() {
	for i := range c.b.Parts {
		p := &c.b.Parts[i]
		c.entry("parts", p.ID).words(p.Name, "name")
	}
}

func (c *checker) causes() {
	for _, id := range []string{NothingWrong, SomethingElse} {
		if c.b.Cause(id) == nil {
			entry{c: c, section: "causes"}.fault(nil, "there is no cause %q; expected it always", id)
		}
	}
	for i := range c.b.Causes {
		x := &c.b.Causes[i]
		e := c.entry("causes", x.ID)
		special := x.ID == NothingWrong || x.ID == SomethingElse
		if !special && c.b.Part(x.Part) == nil {
			e.fault(at("part"), "there is no part %q", x.Part)
		}
		if special && x.Part != "" {
			e.fault(at("part"), "part is %q; expected none", x.Part)
		}
		e.words(x.Name, "name")
		e.words(x.Means, "means")
		e.number(x.Prior, 1e-6, 1, "prior")
		e.number(x.Intermittent, 0, 0.95, "intermittent")
		for j, g := range x.Given {
			e.oneOf(g.Fact, facts, "given", j, "fact")
			e.within(g.Times, 0.001, 100, "given", j, "times")
			e.note(g.Note, "given", j)
		}
		if x.Kind != "" {
			e.oneOf(x.Kind, faultKinds, "kind")
		}
		var sum float64
		for j, p := range x.Place {
			if !slices.Contains(features, p.On) {
				e.oneOf(p.On, append(slices.Clone(regions), features...), "place", j, "on")
			}
			e.within(p.Share, 0, 1, "place", j, "share")
			e.within(p.ReachFt, 0, 100, "place", j, "reach_ft")
			e.note(p.Note, "place", j)
			sum += p.Share
		}
		if len(x.Place) > 0 && math.Abs(sum-1) > sumTolerance {
			e.fault(at("place"), "the shares of the places sum to %.3g; expected 1", sum)
		}
		if len(x.Place) > 0 && x.Kind == "" {
			e.fault(at("place"), "a cause with a place needs a kind; expected one of %s", strings.Join(faultKinds, ", "))
		}
		if x.Mirror && !slices.ContainsFunc(x.Place, func(p Place) bool { return p.On == "lead-in" }) {
			e.fault(at("mirror"), "mirror is true but no place is in the lead-in; expected a place on lead-in")
		}
	}
}

func (c *checker) tools() {
	for i := range c.b.Tools {
		t := &c.b.Tools[i]
		e := c.entry("tools", t.ID)
		e.words(t.Name, "name")
		e.roles(t.Usual, "usual")
		refers(e, t.Instead, "tool", c.b.Tool, "instead")
		e.perRole(t.ObtainMinutes, -1, 1440, "obtain_minutes")
		e.number(t.ObtainPrice, 0, 100000, "obtain_price")
	}
}

func (c *checker) checks() {
	for i := range c.b.Checks {
		x := &c.b.Checks[i]
		e := c.entry("checks", x.ID)
		e.oneOf(string(x.Kind), []string{"choice", "reading", "position", "stretch", "tap", "widths"}, "kind")
		if x.Fact == "" {
			e.fault(at("fact"), "fact is missing; expected a word for what the check looks at")
		}
		for j, f := range x.KnownBy {
			e.oneOf(f, facts, "known_by", j)
		}
		e.words(x.Ask, "ask")
		e.steps(x.How, "how")
		e.perRole(x.Minutes, 0, 1440, "minutes")
		refers(e, x.Tools, "tool", c.b.Tool, "tools")
		e.roles(x.Roles, "roles")
		e.work(x.Cautions, x.OnWire, x.Digs)
		e.conditions(x.Needs, x.ID, "needs")
		e.answers(x)
		e.table(x)
		if x.Kind == Reading {
			e.oneOf(x.Quantity, quantities, "quantity")
			e.oneOf(x.Unit, units, "unit")
		} else if x.Quantity != "" || x.Unit != "" {
			e.fault(at("quantity"), "only a reading has a quantity and a unit")
		}
		placed := x.Kind == Stretch && len(x.Answers) == 0 || x.Kind == Position ||
			slices.ContainsFunc(x.Answers, func(a Answer) bool { return a.Place })
		if placed {
			e.number(x.PlaceShare, 0, 1, "place_share")
			e.number(x.SpreadFt, 0, 1000, "spread_ft")
		} else if x.PlaceShare != (Number{}) || x.SpreadFt != (Number{}) {
			e.fault(at("place_share"), "no answer takes a place; expected an answer with \"place: true\"")
		}
	}
}

// work checks the cautions of a step, and that wire and spade bring theirs.
func (e entry) work(cautions []string, onWire, digs bool) {
	refers(e, cautions, "caution", e.c.caution, "cautions")
	if onWire && !slices.Contains(cautions, "unplug") {
		e.fault(at("cautions"), "work on the wire needs the caution unplug")
	}
	if digs && !slices.Contains(cautions, "digging") {
		e.fault(at("cautions"), "work in the ground needs the caution digging")
	}
}

func (e entry) answers(x *Check) {
	var weighed int
	var shares float64
	seen := make(map[string]bool)
	for i, a := range x.Answers {
		if !idForm.MatchString(a.ID) {
			e.fault(at("answers", i, "id"), "answer id %q is malformed; expected small letters, digits and hyphens", a.ID)
		}
		if slices.Contains([]string{"unknown", "not-applicable", "later", Given}, a.ID) {
			e.fault(at("answers", i, "id"), "answer id %q has a meaning of its own everywhere; expected another", a.ID)
		}
		if seen[a.ID] {
			e.fault(at("answers", i, "id"), "answer %q is given twice; expected it once", a.ID)
		}
		seen[a.ID] = true
		e.words(a.Text, "answers", i, "text")
		if a.Means != (Words{}) {
			e.words(a.Means, "answers", i, "means")
		}
		if i > 0 && a.Share == (Number{}) && x.Answers[i-1].Share != (Number{}) {
			e.fault(at("answers", i, "id"), "answers with a share of their own stand last; expected this one before them")
		}
		if a.Share != (Number{}) {
			e.number(a.Share, 0.001, 0.9, "answers", i, "share")
			shares += a.Share.Value
		} else {
			weighed++
		}
	}
	if x.Kind == Choice && weighed < 2 {
		e.fault(at("answers"), "a choice needs two answers that tell something")
	}
	if shares > 0.9 {
		e.fault(at("answers"), "the shares of the answers sum to %.3g; expected at most 0.9", shares)
	}
}

// table checks the distributions of a check.
func (e entry) table(x *Check) {
	e.oneOf(x.Combine, []string{"", "max", "product"}, "combine")
	weighs := x.Kind == Choice || x.Kind == Stretch && len(x.Answers) > 0
	if !weighs {
		if len(x.Rows) > 0 || len(x.Baseline.P) > 0 || x.Mistake != (Number{}) {
			e.fault(at("rows"), "a check of kind %s has no rows: the physics judges it", x.Kind)
		}
		return
	}
	e.number(x.Mistake, 0, 0.5, "mistake")
	if len(x.Baseline.Causes) > 0 {
		e.fault(at("baseline", "causes"), "the baseline holds for every cause without a row; expected no causes")
	}
	e.distribution(x, &x.Baseline, "baseline")
	for i := range x.Rows {
		r := &x.Rows[i]
		first := ""
		if len(r.Causes) > 0 {
			first = r.Causes[0]
		} else {
			e.fault(at("rows", ""), "a row names no cause; expected \"causes: [...]\"")
		}
		for j, id := range r.Causes {
			if e.c.b.Cause(id) == nil {
				e.fault(at("rows", first, "causes", j), "there is no cause %q", id)
			}
		}
		e.distribution(x, r, "rows", first)
	}
}

func (e entry) distribution(x *Check, r *Row, path ...any) {
	sub := func(more ...any) []any { return append(slices.Clone(path), more...) }
	e.note(r.Note, path...)
	if len(r.P) == 0 {
		e.fault(path, "p is missing; expected a probability for each answer")
		return
	}
	var sum float64
	for _, id := range slices.Sorted(maps.Keys(r.P)) {
		v := r.P[id]
		sum += v
		a := x.Answer(id)
		switch {
		case a == nil:
			e.fault(sub("p", id), "there is no answer %q", id)
		case a.Share != (Number{}):
			e.fault(sub("p", id), "answer %q has a share of its own; expected the rows without it", id)
		case !(v >= 0 && v <= 1):
			e.fault(sub("p", id), "the probability of %q is %v; expected 0 to 1", id, v)
		}
	}
	for i := range x.Answers {
		a := &x.Answers[i]
		if _, ok := r.P[a.ID]; !ok && a.Share == (Number{}) {
			e.fault(sub("p"), "the probability of %q is missing", a.ID)
		}
	}
	if math.Abs(sum-1) > sumTolerance {
		e.fault(sub("p"), "the probabilities sum to %.4g; expected 1", sum)
	}
}

// conditions checks references to checks and their answers; self is the check
// that has them.
func (e entry) conditions(list []Condition, self string, path ...any) {
	for i, cond := range list {
		here := append(slices.Clone(path), i)
		if len(path) == 0 {
			here = path
		}
		e.condition(cond, self, here...)
	}
}

func (e entry) condition(cond Condition, self string, path ...any) {
	sub := func(more ...any) []any { return append(slices.Clone(path), more...) }
	if len(cond.Any) > 0 {
		if cond.Check != "" || len(cond.Answers) > 0 || cond.OrUnanswered {
			e.fault(path, "a condition has either \"any\" or a check; expected one of them")
		}
		for i, part := range cond.Any {
			e.condition(part, self, sub("any", i)...)
		}
		return
	}
	x := e.c.b.Check(cond.Check)
	switch {
	case cond.Check == "":
		e.fault(path, "a condition names no check; expected \"check\" and \"answers\", or \"any\"")
		return
	case x == nil:
		e.fault(sub("check"), "there is no check %q", cond.Check)
		return
	case cond.Check == self:
		e.fault(sub("check"), "a check cannot need itself")
	}
	if len(cond.Answers) == 0 {
		e.fault(path, "a condition names no answers; expected those with which it holds")
	}
	for i, id := range cond.Answers {
		switch {
		case id == Given && x.Kind == Choice:
			e.fault(sub("answers", i), "check %q is a choice; expected its own answers instead of %q", x.ID, Given)
		case id != Given && x.Answer(id) == nil:
			e.fault(sub("answers", i), "check %q has no answer %q", x.ID, id)
		}
	}
}

// reachable finds checks whose needs can never be met.
func (c *checker) reachable() {
	open := make(map[string]bool)
	var met func(cond Condition) bool
	met = func(cond Condition) bool {
		if len(cond.Any) > 0 {
			return slices.ContainsFunc(cond.Any, met)
		}
		return cond.OrUnanswered || open[cond.Check] || c.b.Check(cond.Check) == nil // dangling is told elsewhere
	}
	for grown := true; grown; {
		grown = false
		for i := range c.b.Checks {
			x := &c.b.Checks[i]
			if !open[x.ID] && !slices.ContainsFunc(x.Needs, func(n Condition) bool { return !met(n) }) {
				open[x.ID], grown = true, true
			}
		}
	}
	for i := range c.b.Checks {
		if x := &c.b.Checks[i]; !open[x.ID] {
			entry{c: c, section: "checks", id: x.ID}.fault(at("needs"), "it can never be asked: what it needs leads back to itself")
		}
	}
}

func (c *checker) items() {
	for i := range c.b.Items {
		x := &c.b.Items[i]
		e := c.entry("items", x.ID)
		e.words(x.Name, "name")
		e.oneOf(x.Unit, []string{"each", "ft"}, "unit")
		e.number(x.Price, 0, 100000, "price")
	}
}

func (c *checker) repairs() {
	for _, id := range generalActs {
		if c.b.Repair(id) == nil {
			entry{c: c, section: "repairs"}.fault(nil, "there is no repair %q; expected it always", id)
		}
	}
	for i := range c.b.Causes {
		id := c.b.Causes[i].ID
		if id != NothingWrong && id != SomethingElse && id != "" && c.b.Repair("repair:"+id) == nil {
			entry{c: c, section: "causes", id: id}.fault(at("id"), "there is no repair for it; expected \"repair:%s\"", id)
		}
	}
	for i := range c.b.Repairs {
		x := &c.b.Repairs[i]
		e := c.entry("repairs", x.ID)
		cause, isRepair := strings.CutPrefix(x.ID, "repair:")
		switch {
		case isRepair && x.Cause != cause:
			e.fault(at("cause"), "cause is %q; expected %q as in the id", x.Cause, cause)
		case isRepair && c.b.Cause(cause) == nil:
			e.fault(at("cause"), "there is no cause %q", cause)
		case !isRepair && x.ID != "":
			e.oneOf(x.ID, generalActs, "id")
			if x.Cause != "" {
				e.fault(at("cause"), "a general act has no cause of its own")
			}
		}
		e.words(x.Name, "name")
		e.steps(x.Do, "do")
		e.perRole(x.Minutes, 0, 100000, "minutes")
		for j, u := range x.Uses {
			if c.b.Item(u.Item) == nil {
				e.fault(at("uses", j, "item"), "there is no item %q", u.Item)
			}
			e.within(u.Quantity, 0.01, 100000, "uses", j, "quantity")
			e.note(u.Note, "uses", j)
		}
		refers(e, x.Tools, "tool", c.b.Tool, "tools")
		e.roles(x.Roles, "roles")
		e.work(x.Cautions, x.OnWire, x.Digs)
		e.conditions(x.Needs, "", "needs")
		if x.Digs && len(x.Needs) == 0 {
			e.fault(at("needs"), "nobody digs before a check has put the fault in the wire; expected such checks under needs")
		}
		e.number(x.Success, 0, 1, "success")
		if x.Proof != "" && c.b.Check(x.Proof) == nil {
			e.fault(at("proof"), "there is no check %q", x.Proof)
		} else if isRepair && x.Proof == "" {
			e.fault(at("proof"), "proof is missing; expected the check that proves the repair")
		}
	}
}

func (c *checker) cautions() {
	for i := range c.b.Cautions {
		x := &c.b.Cautions[i]
		c.entry("cautions", x.ID).words(x.Text, "text")
	}
}

func (c *checker) rules() {
	for i := range c.b.Rules {
		x := &c.b.Rules[i]
		e := c.entry("rules", x.ID)
		e.condition(x.When, "", "when")
		if len(x.Stops) == 0 {
			e.fault(at("stops"), "stops is missing; expected some of %s", strings.Join(stoppable, ", "))
		}
		for j, s := range x.Stops {
			e.oneOf(s, stoppable, "stops", j)
		}
		if x.Then != "" {
			e.oneOf(x.Then, generalActs, "then")
		}
		refers(e, x.Cautions, "caution", c.caution, "cautions")
		e.words(x.Text, "text")
	}
}

func (c *checker) scales() {
	for _, id := range scaleIDs {
		if lookup(c.b.Scales, c.b.index.scales, id) == nil {
			entry{c: c, section: "scales"}.fault(nil, "there is no scale %q; expected it always", id)
		}
	}
	for i := range c.b.Scales {
		x := &c.b.Scales[i]
		e := c.entry("scales", x.ID)
		e.note(x.Note)
		if len(x.Steps) < 2 {
			e.fault(at("steps"), "a scale needs two steps or more")
		}
		for j, s := range x.Steps {
			e.words(s.Word, "steps", j, "word")
			if j > 0 && !(s.From > x.Steps[j-1].From) {
				e.fault(at("steps", j, "from"), "from is %v; expected more than the %v before it", s.From, x.Steps[j-1].From)
			}
		}
	}
}

// phrases parses every template, demands that it uses only the fields it
// declares, and fills it once with all fields empty and once with all given.
func (c *checker) phrases() {
	for i := range c.b.Phrases {
		x := &c.b.Phrases[i]
		e := c.entry("phrases", x.ID)
		e.words(x.Text, "text")
		for _, role := range roles {
			text := x.Text.For(role)
			t, err := template.New("phrase").Parse(text)
			if err != nil {
				e.fault(at("text", role), "the gaps are malformed (%s); expected {{.Name}}", strings.TrimPrefix(err.Error(), "template: "))
				continue
			}
			for _, name := range fieldsUsed(t) {
				if !slices.Contains(x.Fields, name) {
					e.fault(at("text", role), "gap {{.%s}} is not among its fields [%s]", name, strings.Join(x.Fields, ", "))
				}
			}
			full := make(map[string]string)
			for _, name := range x.Fields {
				full[name] = "x"
			}
			if err := t.Execute(new(strings.Builder), full); err != nil {
				e.fault(at("text", role), "the phrase cannot be filled: %s", err)
			}
		}
	}
}

// fieldsUsed lists the names that a template takes from its data.
func fieldsUsed(t *template.Template) []string {
	var names []string
	var walk func(n parse.Node)
	walk = func(n parse.Node) {
		switch n := n.(type) {
		case *parse.ListNode:
			if n != nil {
				for _, m := range n.Nodes {
					walk(m)
				}
			}
		case *parse.ActionNode:
			walk(n.Pipe)
		case *parse.IfNode:
			walk(n.Pipe)
			walk(n.List)
			walk(n.ElseList)
		case *parse.PipeNode:
			if n != nil {
				for _, cmd := range n.Cmds {
					for _, arg := range cmd.Args {
						walk(arg)
					}
				}
			}
		case *parse.FieldNode:
			names = append(names, strings.Join(n.Ident, "."))
		}
	}
	if t.Tree != nil {
		walk(t.Root)
	}
	return names
}

func (c *checker) conductors() {
	var materials, insulation, gauges float64
	for i := range c.b.Materials {
		x := &c.b.Materials[i]
		e := c.entry("materials", x.ID)
		e.number(x.Conductivity, 0.01, 1.1, "conductivity")
		e.number(x.SpreadLn, 0, 1, "spread_ln")
		e.number(x.AlphaPerK, 0, 0.01, "alpha_per_k")
		e.number(x.Share, 0, 1, "share")
		materials += x.Share.Value
	}
	for i := range c.b.Insulation {
		x := &c.b.Insulation[i]
		e := c.entry("insulation", x.ID)
		e.number(x.Permittivity, 1, 20, "permittivity")
		e.number(x.ThicknessMM, 0.05, 10, "thickness_mm")
		e.number(x.Share, 0, 1, "share")
		insulation += x.Share.Value
	}
	for i := range c.b.Settings.GaugeShares {
		x := &c.b.Settings.GaugeShares[i]
		e := entry{c: c, section: "gauges", id: gaugeID(x)}
		e.within(x.AWG, 4, 30, "awg")
		e.within(x.Share, 0, 1, "share")
		e.note(x.Note)
		gauges += x.Share
	}
	for _, s := range []struct {
		section string
		sum     float64
	}{{"materials", materials}, {"insulation", insulation}, {"gauges", gauges}} {
		if math.Abs(s.sum-1) > sumTolerance {
			file, pos := c.sectionPlace(s.section)
			c.faults.Add(file, pos, "the shares of %s sum to %.4g; expected 1", s.section, s.sum)
		}
	}
}

func (c *checker) sectionPlace(section string) (string, strictyaml.Pos) {
	for _, s := range slices.Backward(c.sources) {
		if s.doc.Has(section) {
			return s.doc.File, s.doc.Pos(section)
		}
	}
	return c.sources[0].doc.File, c.sources[0].doc.Pos()
}

func (c *checker) settings() {
	s := &c.b.Settings
	e := entry{c: c, section: "settings"}
	e.number(s.TwoFaults, 0, 0.5, "two_faults")
	e.number(s.SameAgain, 1, 1000, "same_again")
	e.number(s.SameFactShare, 0, 1, "same_fact_share")
	e.number(s.Unsure, 0.01, 1, "unsure")
	e.perRole(s.PerMinute, 0, 1000, "per_minute")
	e.perRole(s.ReferCost, 0, 100000, "refer_cost")
	e.perRole(s.ReferMinutes, 0, 1440, "refer_minutes")
	for i, x := range s.Surfaces {
		e.oneOf(x.ID, surfaceIDs, "surfaces", i, "id")
		e.number(x.DigMinutes, 0, 1440, "surfaces", i, "dig_minutes")
		e.number(x.PerFtFactor, 0.1, 1000, "surfaces", i, "per_ft_factor")
	}
	lacking := slices.DeleteFunc(slices.Clone(surfaceIDs), func(id string) bool {
		return slices.ContainsFunc(s.Surfaces, func(x Surface) bool { return x.ID == id })
	})
	if len(lacking) > 0 {
		e.fault(at("surfaces"), "surfaces lack %s; expected all of %s", strings.Join(lacking, ", "), strings.Join(surfaceIDs, ", "))
	}
	e.number(s.WalkMinutesPerFt, 0, 1, "walk_minutes_per_ft")
	e.number(s.TapMinutes, 0, 1440, "tap_minutes")
	e.number(s.OpenSpliceMinutes, 0, 1440, "open_splice_minutes")
	e.number(s.JoinMinutes, 0, 1440, "join_minutes")
	e.number(s.TrenchMinutesPerFt, 0, 100, "trench_minutes_per_ft")
	e.number(s.ReadMinutes, 0, 1440, "read_minutes")
	e.number(s.LayMinutesPerFt, 0, 10, "lay_minutes_per_ft")
	e.number(s.SpliceLater, 0, 100000, "splice_later")
	e.number(s.ReplaceMinutes, 0, 1440, "replace_minutes")
	e.number(s.OpenMinutesPerFt, 0, 100, "open_minutes_per_ft")
	e.number(s.OpenMaxFt, 0, 100, "open_max_ft")
	e.number(s.TestMinutes, 0, 1440, "test_minutes")
	e.number(s.TapError, 0, 0.4, "tap_error")
	e.number(s.PersistentError, 0, 0.4, "persistent_error")
	if s.PersistentError.Value > s.TapError.Value {
		e.fault(at("persistent_error", "value"), "persistent_error is %v; expected at most the tap_error of %v",
			s.PersistentError.Value, s.TapError.Value)
	}
	e.number(s.SettleProbability, 0.5, 1, "settle_probability")
	e.number(s.WirePerAcre, 0, 100000, "wire_per_third_acre_ft")
}
