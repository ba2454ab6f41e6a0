package kb

import (
	"embed"
	"fmt"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"sync"

	"loopfault/kb/strictyaml"
)

//go:embed *.yaml
var embedded embed.FS

// The files of the knowledge base, in the order in which faults are told.
var fileNames = []string{"causes.yaml", "checks.yaml", "repairs.yaml", "cautions.yaml", "conductors.yaml"}

// schema is the version of the files' form that this loader reads.
const schema = 1

// contents is what a file of the knowledge base, or an overlay, may hold. The
// sections may stand in any file.
type contents struct {
	Schema     int                 `yaml:"schema"`
	Parts      []Part              `yaml:"parts"`
	Causes     []Cause             `yaml:"causes"`
	Tools      []Tool              `yaml:"tools"`
	Checks     []Check             `yaml:"checks"`
	Items      []Item              `yaml:"items"`
	Repairs    []Repair            `yaml:"repairs"`
	Settings   Settings            `yaml:"settings"`
	Cautions   []Caution           `yaml:"cautions"`
	Rules      []Rule              `yaml:"rules"`
	Scales     []Scale             `yaml:"scales"`
	Phrases    []Phrase            `yaml:"phrases"`
	Materials  []ConductorMaterial `yaml:"materials"`
	Insulation []Insulation        `yaml:"insulation"`
	Gauges     []GaugeShare        `yaml:"gauges"`
}

// source is one file as read, kept to find the places of faults.
type source struct {
	doc  *strictyaml.Document
	held contents
}

// Load returns the built-in knowledge base. It is read once and shared.
func Load() (*Base, error) { return builtIn() }

var builtIn = sync.OnceValues(func() (*Base, error) {
	if b := unpack(); b != nil {
		return b, nil
	}
	return Read()
})

// Read reads the built-in knowledge base from its YAML files and checks all of it.
func Read() (*Base, error) { return assemble(builtInSources, nil) }

var builtInSources = sync.OnceValues(func() ([]*source, error) { return readSources(embedded) })

// LoadWith returns the built-in knowledge base changed by a user's overlay, data,
// named file in faults. The error, if any, is of type [strictyaml.Faults].
//
// An overlay has the form of the built-in files and needs to hold only what is
// new or different. An entry with a known id changes that entry: a field that
// is given replaces the whole field, the others stay. An entry with a new id is
// added. Two sections are finer: the rows of a check are taken cause by cause,
// so that an overlay may give a row for one cause and leave the rest; and the
// settings are taken field by field. New answers to a check drop its old rows.
// Nothing can be removed, but a prior can be made small.
func LoadWith(file string, data []byte) (*Base, error) {
	over, err := readSource(file, data)
	if err != nil {
		return nil, err
	}
	plain, err := Load()
	if err != nil {
		return nil, err
	}
	b := plain.copy()
	var faults strictyaml.Faults
	merge(b, over, true, &faults)
	check(b, []*source{over}, &faults)
	if len(faults) > 0 {
		// A fault may lie in how the overlay meets a built-in entry. Read everything
		// again so that each is told at its true place.
		return assemble(builtInSources, over)
	}
	b.finish()
	return b, nil
}

// readSources reads the files of the knowledge base and checks their form.
func readSources(fsys fs.FS) ([]*source, error) {
	var faults strictyaml.Faults
	var sources []*source
	names, err := fs.Glob(fsys, "*.yaml")
	if err != nil {
		return nil, fmt.Errorf("list the knowledge base: %w", err)
	}
	for _, name := range names {
		if !slices.Contains(fileNames, name) {
			faults.Add("kb/"+name, strictyaml.Pos{Line: 1, Column: 1},
				"unexpected file in the knowledge base; expected %s", strings.Join(fileNames, ", "))
		}
	}
	for _, name := range fileNames {
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, fmt.Errorf("read the knowledge base: %w", err)
		}
		s, err := readSource("kb/"+name, data)
		if err != nil {
			if f, ok := err.(strictyaml.Faults); ok {
				faults = append(faults, f...)
				continue
			}
			return nil, err
		}
		sources = append(sources, s)
	}
	return sources, faults.Err() // what is only half read cannot be judged further
}

// assemble makes a base of the files and, where given, an overlay over them, and
// checks the whole.
func assemble(read func() ([]*source, error), over *source) (*Base, error) {
	sources, err := read()
	if err != nil {
		return nil, err
	}
	var faults strictyaml.Faults
	b := new(Base)
	for _, s := range sources {
		merge(b, s, false, &faults)
	}
	if over != nil {
		merge(b, over, true, &faults)
		sources = append(slices.Clone(sources), over)
	}
	check(b, sources, &faults)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	b.finish()
	return b, nil
}

func readSource(file string, data []byte) (*source, error) {
	doc, err := strictyaml.Parse(file, data)
	if err != nil {
		return nil, err
	}
	s := &source{doc: doc}
	if err := doc.Decode(&s.held); err != nil {
		return nil, err
	}
	if s.held.Schema != schema {
		var faults strictyaml.Faults
		if doc.Has("schema") {
			faults.Add(file, doc.Pos("schema"), "schema is %d; expected %d", s.held.Schema, schema)
		} else {
			faults.Add(file, doc.Pos(), "field schema is missing; expected \"schema: %d\"", schema)
		}
		return nil, faults.Err()
	}
	return s, nil
}

// merge puts what a source holds into b. In an overlay a known id changes the
// entry; in the built-in files it is a fault.
func merge(b *Base, s *source, overlay bool, faults *strictyaml.Faults) {
	m := merger{s.doc, overlay, faults}
	for i, c := range s.held.Checks {
		m.repeatedCauses(i, c)
	}
	mergeSection(m, "parts", &b.Parts, s.held.Parts, func(e *Part) string { return e.ID })
	mergeSection(m, "causes", &b.Causes, s.held.Causes, func(e *Cause) string { return e.ID })
	mergeSection(m, "tools", &b.Tools, s.held.Tools, func(e *Tool) string { return e.ID })
	mergeSection(m, "checks", &b.Checks, s.held.Checks, func(e *Check) string { return e.ID })
	mergeSection(m, "items", &b.Items, s.held.Items, func(e *Item) string { return e.ID })
	mergeSection(m, "repairs", &b.Repairs, s.held.Repairs, func(e *Repair) string { return e.ID })
	mergeSection(m, "cautions", &b.Cautions, s.held.Cautions, func(e *Caution) string { return e.ID })
	mergeSection(m, "rules", &b.Rules, s.held.Rules, func(e *Rule) string { return e.ID })
	mergeSection(m, "scales", &b.Scales, s.held.Scales, func(e *Scale) string { return e.ID })
	mergeSection(m, "phrases", &b.Phrases, s.held.Phrases, func(e *Phrase) string { return e.ID })
	mergeSection(m, "materials", &b.Materials, s.held.Materials, func(e *ConductorMaterial) string { return e.ID })
	mergeSection(m, "insulation", &b.Insulation, s.held.Insulation, func(e *Insulation) string { return e.ID })
	mergeSection(m, "gauges", &b.Settings.GaugeShares, s.held.Gauges, gaugeID)
	m.fields(reflect.ValueOf(&b.Settings).Elem(), reflect.ValueOf(&s.held.Settings).Elem(), "settings")
}

func gaugeID(g *GaugeShare) string { return fmt.Sprint(g.AWG) }

type merger struct {
	doc     *strictyaml.Document
	overlay bool
	faults  *strictyaml.Faults
}

func mergeSection[T any](m merger, section string, into *[]T, from []T, id func(*T) string) {
	known := places(*into, id)
	seen := make(map[string]bool)
	for i := range from {
		name := id(&from[i])
		at, isKnown := known[name]
		switch {
		case seen[name] || isKnown && !m.overlay:
			if name != "" { // a missing id is told by the checker
				m.faults.Add(m.doc.File, m.doc.Pos(section, i, "id"), "%s %q is given twice; expected each id once", singular[section], name)
			}
		case isKnown:
			m.entry(&(*into)[at], &from[i], section, i)
		default:
			*into = append(*into, from[i])
		}
		seen[name] = true
	}
}

// entry changes a known entry by the fields that the overlay gives.
func (m merger) entry(into, from any, section string, i int) {
	if check, ok := into.(*Check); ok {
		given := from.(*Check)
		rows := check.Rows
		if m.doc.Has(section, i, "answers") {
			rows = nil
			if len(check.Baseline.P) > 0 && !m.doc.Has(section, i, "baseline") {
				m.faults.Add(m.doc.File, m.doc.KeyPos(section, i, "answers"),
					"check %q: new answers need a baseline of their own; expected \"baseline: {p: ...}\"", check.ID)
				return
			}
		}
		defer func() { check.Rows = mergeRows(rows, given.Rows) }()
	}
	m.fields(reflect.ValueOf(into).Elem(), reflect.ValueOf(from).Elem(), section, i)
}

// repeatedCauses finds causes with two rows in one check of a file.
func (m merger) repeatedCauses(i int, c Check) {
	taken := make(map[string]bool)
	for j, r := range c.Rows {
		for k, id := range r.Causes {
			if taken[id] {
				m.faults.Add(m.doc.File, m.doc.Pos("checks", i, "rows", j, "causes", k),
					"check %q: cause %q has two rows; expected one", c.ID, id)
			}
			taken[id] = true
		}
	}
}

func (m merger) fields(into, from reflect.Value, path ...any) {
	for f := range into.NumField() {
		name, _, _ := strings.Cut(into.Type().Field(f).Tag.Get("yaml"), ",")
		if name != "" && name != "-" && m.doc.Has(append(slices.Clone(path), name)...) {
			into.Field(f).Set(from.Field(f))
		}
	}
}

// mergeRows takes new rows and keeps the old ones for causes without a new one.
func mergeRows(old, given []Row) []Row {
	if len(given) == 0 {
		return old
	}
	replaced := make(map[string]bool)
	for _, r := range given {
		for _, id := range r.Causes {
			replaced[id] = true
		}
	}
	var rows []Row
	for _, r := range old {
		kept := slices.DeleteFunc(slices.Clone(r.Causes), func(id string) bool { return replaced[id] })
		if len(kept) > 0 {
			r.Causes = kept
			rows = append(rows, r)
		}
	}
	return append(rows, given...)
}

// copy is a base whose entries can be changed without touching b's.
func (b *Base) copy() *Base {
	c := *b
	c.Parts = slices.Clone(b.Parts)
	c.Causes = slices.Clone(b.Causes)
	c.Tools = slices.Clone(b.Tools)
	c.Checks = slices.Clone(b.Checks)
	for i := range c.Checks {
		c.Checks[i].withoutShares()
	}
	c.Items = slices.Clone(b.Items)
	c.Repairs = slices.Clone(b.Repairs)
	c.Cautions = slices.Clone(b.Cautions)
	c.Rules = slices.Clone(b.Rules)
	c.Scales = slices.Clone(b.Scales)
	c.Phrases = slices.Clone(b.Phrases)
	c.Materials = slices.Clone(b.Materials)
	c.Insulation = slices.Clone(b.Insulation)
	c.Settings.GaugeShares = slices.Clone(b.Settings.GaugeShares)
	c.index = index{}
	return &c
}

// finish completes a checked base.
func (b *Base) finish() {
	for i := range b.Checks {
		b.Checks[i].withShares()
	}
	b.buildIndex()
}
