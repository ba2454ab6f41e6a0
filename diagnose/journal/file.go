package journal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/kb/strictyaml"
)

// Schema is the version of the case files that this program writes and reads.
// A file without the field is of version 1.
const Schema = 1

// Options say what a case is read against.
type Options struct {
	Base *kb.Base // what its checks, causes and tools must be in
	// Units is the system that new lines are written in.
	Units quantity.Units
	// DefaultRole stands in for a role that the file leaves out.
	DefaultRole diagnose.Role
	// YardAnywhere lets a case name a yard file outside its own folder.
	YardAnywhere bool
}

// caseFile is the file's own shape, design.md section 5.
type caseFile struct {
	Schema  int               `yaml:"schema"`
	Case    string            `yaml:"case"`
	Role    strictyaml.Text   `yaml:"role"`
	Tools   []strictyaml.Text `yaml:"tools"`
	Yard    *fileYard         `yaml:"yard"`
	Meters  fileMeters        `yaml:"meters"`
	Answers fileLog           `yaml:"answers"`
	Outcome *fileFinal        `yaml:"outcome"`
}

// fileYard is the name of a file, or a map in place.
type fileYard struct {
	name  strictyaml.Text
	place *yard.Map
}

func (y *fileYard) DecodeYAML(v strictyaml.Value) {
	if v.Kind() == strictyaml.Scalar && v.Text().Value != "unknown" {
		y.name = v.Text()
		return
	}
	if v.Kind() == strictyaml.Scalar {
		return
	}
	y.place = &yard.Map{}
	v.Decode(y.place)
}

type fileMeters struct {
	Ohms        *fileMeter `yaml:"ohms"`
	Capacitance *fileMeter `yaml:"capacitance"`
	Volts       *fileMeter `yaml:"volts"`
	Amperes     *fileMeter `yaml:"amperes"`
}

type fileMeter struct {
	Accuracy   strictyaml.Text `yaml:"accuracy"`
	Counts     *float64        `yaml:"counts"`
	Resolution strictyaml.Text `yaml:"resolution"`
	Leads      strictyaml.Text `yaml:"leads"`
	Range      strictyaml.Text `yaml:"range"`
	Display    *float64        `yaml:"display"`

	pos strictyaml.Pos
}

func (m *fileMeter) DecodeYAML(v strictyaml.Value) {
	type fields fileMeter // without this method
	v.Decode((*fields)(m))
	m.pos = v.Pos()
}

// fileLog is the list of entries.
type fileLog struct {
	at    strictyaml.Pos
	given bool
	items []fileEntry
}

func (l *fileLog) DecodeYAML(v strictyaml.Value) {
	l.at, l.given = v.Pos(), true
	v.Decode(&l.items)
}

// fileEntry is one line of the log.
type fileEntry struct {
	Fields    `yaml:",inline"`
	Repair    string     `yaml:"repair"`
	Fixed     *bool      `yaml:"fixed"`
	Outcome   *fileFinal `yaml:"outcome"`
	Confirmed *bool      `yaml:"confirmed"`
	Undo      bool       `yaml:"undo"`
	Time      string     `yaml:"time"`
	Replaces  int        `yaml:"replaces"`

	misshapen bool // wrong in form, and told so; its meaning is not judged
}

func (e *fileEntry) DecodeYAML(v strictyaml.Value) {
	type fields fileEntry // without this method
	e.misshapen = !v.Decode((*fields)(e))
}

// fileFinal is an outcome: a cause alone, or with its place.
type fileFinal struct {
	Cause     string `yaml:"cause"`
	At        string `yaml:"at"`
	Confirmed bool   `yaml:"confirmed"`

	path []any // of the fields, from the entry or the head of the file
}

func (o *fileFinal) DecodeYAML(v strictyaml.Value) {
	if v.Kind() == strictyaml.Scalar {
		o.Cause = v.Text().Value
		return
	}
	type fields fileFinal // without this method
	v.Decode((*fields)(o))
}

// parsed is a case with what the journal has to know to go on with it.
type parsed struct {
	c *diagnose.Case
	// line is, by index of the log, the number of the entry's line among the
	// answers, from 1; 0 for an outcome in the head of the file.
	line []int
	// lines is how many lines the answers have.
	lines int
	doc   *strictyaml.Document
}

// reader collects what is wrong while a case is put together.
type reader struct {
	o      Options
	file   string // as named in faults
	doc    *strictyaml.Document
	faults strictyaml.Faults
	out    *parsed
}

// parse reads the text of a case whose file lies in dir.
func parse(file, dir string, data []byte, o Options) (*parsed, error) {
	return parseIn(nil, file, dir, data, o)
}

// parseIn reads a text whose places lie in a yard that it does not name itself.
func parseIn(m *yard.Map, file, dir string, data []byte, o Options) (*parsed, error) {
	doc, err := strictyaml.Parse(file, data)
	if err != nil {
		return nil, err
	}
	if err := tooNew(file, doc); err != nil {
		return nil, err
	}
	var f caseFile
	r := &reader{o: o, file: file, doc: doc}
	if err := doc.Decode(&f); err != nil && !errors.As(err, &r.faults) {
		return nil, err
	}
	r.out = &parsed{c: &diagnose.Case{Name: f.Case, Yard: m, Meters: faultmodel.DefaultMeters()}, doc: doc, lines: len(f.Answers.items)}
	r.head(f, dir)
	r.log(f)
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	return r.out, nil
}

// anything is a value that is looked at for its text only.
type anything struct{ text string }

func (a *anything) DecodeYAML(v strictyaml.Value) { a.text = v.Text().Value }

// tooNew refuses a case of a later version before its fields are judged, which
// this one cannot know.
func tooNew(file string, doc *strictyaml.Document) error {
	if !doc.Has("schema") {
		return nil
	}
	var top map[string]anything
	if doc.Decode(&top) != nil {
		return nil // wrong in other ways, and told so by what follows
	}
	n, err := strconv.Atoi(top["schema"].text)
	switch {
	case err != nil || n < 1:
		var faults strictyaml.Faults
		faults.Add(file, doc.Pos("schema"), "%s is not a version; expected schema: %d, or the field left out", strconv.Quote(top["schema"].text), Schema)
		return faults
	case n > Schema:
		return &Error{Message: fmt.Sprintf("%s was written by a newer version (schema %d, this one knows %d)", file, n, Schema),
			Next: "use the newer program for this case; nothing in it was changed", Err: ErrNewer}
	}
	return nil
}

func (r *reader) fault(at strictyaml.Pos, format string, args ...any) {
	r.faults.Add(r.file, at, format, args...)
}

func (r *reader) head(f caseFile, dir string) {
	c := r.out.c
	switch role := diagnose.Role(f.Role.Value); role {
	case diagnose.Homeowner, diagnose.Technician, diagnose.Support:
		c.Role = role
	case "":
		c.Role = r.o.DefaultRole
	default:
		r.fault(f.Role.Pos(), "%s is not a role; expected homeowner, technician or support", strconv.Quote(shorten(f.Role.Value)))
	}
	if r.doc.Has("tools") {
		c.Tools = []string{} // none at all is not the same as the usual ones
	}
	for _, tool := range f.Tools {
		switch {
		case r.o.Base.Tool(tool.Value) == nil:
			ids := make([]string, len(r.o.Base.Tools))
			for i, t := range r.o.Base.Tools {
				ids[i] = t.ID
			}
			r.fault(tool.Pos(), "%s is not a tool; expected %s", strconv.Quote(shorten(tool.Value)), strings.Join(ids, ", "))
		case slices.Contains(c.Tools, tool.Value):
			r.fault(tool.Pos(), "tool %s is listed twice; expected it once", tool.Value)
		default:
			c.Tools = append(c.Tools, tool.Value)
		}
	}
	r.meters(f.Meters)
	if f.Yard == nil {
		return
	}
	c.Yard = f.Yard.place
	if f.Yard.name.Value != "" {
		c.YardFile = f.Yard.name.Value
		c.Yard = r.yardFile(f.Yard.name, dir)
	}
}

// yardFile reads the map in a file named by the case, relative to the case's folder.
func (r *reader) yardFile(name strictyaml.Text, dir string) *yard.Map {
	data, err := r.yardText(name.Value, dir)
	if err != nil {
		r.fault(name.Pos(), "the yard cannot be read: %v", err)
		return nil
	}
	m, err := yard.Parse(filepath.Join(dir, name.Value), data)
	var faults strictyaml.Faults
	if errors.As(err, &faults) {
		r.faults = append(r.faults, faults...)
		return nil
	}
	if err != nil {
		r.fault(name.Pos(), "the yard cannot be read: %v", err)
		return nil
	}
	return m
}

var (
	errOutside    = errors.New("it lies outside the case's folder; expected a file in it, or leave given to read others")
	errNotRegular = errors.New("it is not a file")
)

func (r *reader) yardText(name, dir string) ([]byte, error) {
	if r.o.YardAnywhere {
		if !filepath.IsAbs(name) {
			name = filepath.Join(dir, name)
		}
		return readRegular(os.Stat, func(n string) (*os.File, error) { return os.Open(n) }, name)
	}
	if !filepath.IsLocal(name) {
		return nil, errOutside
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, plainly(err)
	}
	defer root.Close()
	data, err := readRegular(root.Stat, root.Open, name)
	if err != nil && !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, fs.ErrPermission) && !errors.Is(err, errNotRegular) {
		return nil, errOutside // a link that leads out of the folder
	}
	return data, err
}

// readRegular reads a file that is no pipe or device, which could keep the
// program waiting for ever, up to the size that the reader refuses anyway.
func readRegular(stat func(string) (fs.FileInfo, error), open func(string) (*os.File, error), name string) ([]byte, error) {
	info, err := stat(name)
	if err != nil {
		return nil, plainly(err)
	}
	if !info.Mode().IsRegular() {
		return nil, errNotRegular
	}
	f, err := open(name)
	if err != nil {
		return nil, plainly(err)
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, strictyaml.MaxBytes+1))
}

// plainly drops the system call's name and path from an error; the fault that
// holds it says which file.
func plainly(err error) error {
	var p *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("no such file%w", silent{fs.ErrNotExist})
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("no permission to read it%w", silent{fs.ErrPermission})
	case errors.As(err, &p):
		return p.Err
	}
	return err
}

// silent is an error that is still found by errors.Is and says nothing.
type silent struct{ error }

func (silent) Error() string   { return "" }
func (s silent) Unwrap() error { return s.error }

// Limits of what a meter's data sheet can say.
const (
	worstAccuracy = 0.2
	mostCounts    = 1000
	mostDisplay   = 1e6
	mostLeadsOhm  = 10.0
)

func (r *reader) meters(f fileMeters) {
	m := &r.out.c.Meters
	r.meter(f.Ohms, &m.Ohms, "ohm", "ohms")
	r.meter(f.Capacitance, &m.Capacitance, "nF", "capacitance")
	r.meter(f.Volts, &m.Volts, "V", "volts")
	r.meter(f.Amperes, &m.Amperes, "mA", "amperes")
}

// meter lays what the file says of one function over the usual meter.
func (r *reader) meter(f *fileMeter, m *faultmodel.Meter, unit, name string) {
	if f == nil {
		return
	}
	if t := f.Accuracy; t.Value != "" {
		share, err := quantity.ParsePercent(t.Value, quantity.Strict)
		switch {
		case err != nil:
			r.fault(t.Pos(), "%v", err)
		case share > worstAccuracy:
			r.fault(t.Pos(), "%s is no meter's accuracy; expected at most %s", t.Value, quantity.FormatPercent(worstAccuracy))
		default:
			m.AccuracyFrac = share
		}
	}
	count := func(field string, value *float64, least, most float64, into *float64) {
		if value == nil {
			return
		}
		if !(*value >= least && *value <= most) {
			r.fault(r.doc.Pos("meters", name, field), "%g is out of range; expected %s from %g to %g", *value, field, least, most)
			return
		}
		*into = *value
	}
	count("counts", f.Counts, 0, mostCounts, &m.Counts)
	count("display", f.Display, 100, mostDisplay, &m.DisplayCount)
	value := func(t strictyaml.Text, unit string, most float64, into *float64) {
		if t.Value == "" {
			return
		}
		v, over, err := quantity.ParseReading(t.Value, unit, quantity.Strict)
		switch {
		case err != nil:
			r.fault(t.Pos(), "%v", err)
		case over:
			r.fault(t.Pos(), "over-range says nothing of a meter; expected a value such as %s", exampleOf(unit))
		case most > 0 && v > most:
			r.fault(t.Pos(), "%s is out of range; expected at most %s", t.Value, quantity.FormatReading(most, false, unit))
		default:
			*into = v
		}
	}
	value(f.Resolution, unit, 0, &m.Resolution)
	value(f.Range, unit, 0, &m.RangeMax)
	if f.Leads.Value != "" && name != "ohms" {
		r.fault(f.Leads.Pos(), "leads belong to ohms; expected none under %s", name)
	} else {
		value(f.Leads, "ohm", mostLeadsOhm, &m.LeadsOhm)
	}
	if m.Resolution >= m.RangeMax && m.RangeMax > 0 {
		r.fault(f.pos, "the resolution is not finer than the range; expected, for example, 0.1 ohm and 40 Mohm")
	}
}

func (r *reader) log(f caseFile) {
	if f.Outcome != nil {
		f.Outcome.path = []any{"outcome"}
		if o := r.outcome(f.Outcome); o != nil {
			r.out.c.Log = append(r.out.c.Log, diagnose.Entry{Outcome: o})
			r.out.line = append(r.out.line, 0)
		}
	}
	index := make([]int, len(f.Answers.items)) // of the log, by line; -1: not to be replaced
	for i := range f.Answers.items {
		index[i] = -1
		entry, ok := r.entry(&f.Answers.items[i], i)
		if !ok {
			continue
		}
		if n := f.Answers.items[i].Replaces; r.doc.Has("answers", i, "replaces") {
			if n < 1 || n > i || index[n-1] < 0 || entry.Answer == nil || r.out.c.Log[index[n-1]].Answer == nil ||
				r.out.c.Log[index[n-1]].Answer.Check != entry.Answer.Check {
				r.fault(r.doc.Pos("answers", i, "replaces"), "line %d of the answers holds no answer to %s; expected the number of an earlier one that does",
					n, f.Answers.items[i].Check)
				continue
			}
			r.out.c.Log[index[n-1]] = entry
			index[i] = index[n-1]
			continue
		}
		index[i] = len(r.out.c.Log)
		r.out.c.Log = append(r.out.c.Log, entry)
		r.out.line = append(r.out.line, i+1)
	}
}

// entry reads one line of the answers.
func (r *reader) entry(f *fileEntry, i int) (diagnose.Entry, bool) {
	at := func(path ...any) strictyaml.Pos { return r.doc.Pos(append([]any{"answers", i}, path...)...) }
	before := len(r.faults)
	var e diagnose.Entry
	if f.misshapen {
		return e, false
	}
	sorts := 0
	for _, given := range []bool{f.Check != "", f.Repair != "", f.Outcome != nil, f.Undo} {
		if given {
			sorts++
		}
	}
	if sorts != 1 {
		what := "says nothing"
		if sorts > 1 {
			what = "says several things at once"
		}
		r.fault(at(), "the line %s; expected one of check, repair, outcome or undo: true", what)
		return e, false
	}
	switch {
	case f.Check != "":
		c := r.o.Base.Check(f.Check)
		if c == nil {
			r.fault(at("check"), "%s is not a check; expected one such as %s", strconv.Quote(shorten(f.Check)), r.likeCheck(f.Check))
			return e, false
		}
		answer, err := f.Fields.AnswerTo(c, r.out.c.Yard, Bare{})
		var problems Problems
		if errors.As(err, &problems) {
			for _, p := range problems {
				r.fault(at(p.Path...), "%s", p.Message)
			}
		}
		e.Answer = answer
		r.refuse(at, f, "an answer", "fixed", "confirmed")
	case f.Repair != "":
		e.Repair = r.repair(f, at)
	case f.Outcome != nil:
		f.Outcome.path = []any{"answers", i, "outcome"}
		if f.At != "" || f.Confirmed != nil { // beside the cause, as of a repair
			if f.Outcome.At != "" || f.Outcome.Confirmed {
				r.fault(at(), "the outcome's fields stand both inside and beside it; expected {outcome: {cause: wire-cut, at: 309 ft, confirmed: true}}")
			}
			f.Outcome.At, f.Outcome.Confirmed, f.Outcome.path = f.At, f.Confirmed != nil && *f.Confirmed, []any{"answers", i}
		}
		e.Outcome = r.outcome(f.Outcome)
		f.Fields.At = ""
		r.refuse(at, f, "an outcome", append(answerFields, "fixed")...)
	case f.Undo:
		e.Undo = true
		r.refuse(at, f, "an undo", append(answerFields, "fixed", "confirmed", "at")...)
	}
	if f.Time != "" {
		t, err := time.Parse(time.RFC3339, f.Time)
		if err != nil {
			r.fault(at("time"), "%s is not a time; expected one such as 2026-05-01T14:30:00Z", strconv.Quote(shorten(f.Time)))
		}
		e.Time = t
	}
	return e, len(r.faults) == before
}

// answerFields are the fields that only an answer to a check has.
var answerFields = []string{"answer", "reading", "from", "to", "end", "a_side", "b_side", "a_ohms", "b_ohms", "a_to_earth",
	"b_to_earth", "widths", "when", "unsure", "note"}

// refuse notes fields of one sort of line in another.
func (r *reader) refuse(at func(...any) strictyaml.Pos, f *fileEntry, what string, names ...string) {
	given := f.Fields.given()
	if f.Fixed != nil {
		given = append(given, "fixed")
	}
	if f.Confirmed != nil {
		given = append(given, "confirmed")
	}
	for _, name := range given {
		if slices.Contains(names, name) {
			r.fault(at(name), "%s does not belong to %s", name, what)
		}
	}
}

func (r *reader) repair(f *fileEntry, at func(...any) strictyaml.Pos) *diagnose.RepairDone {
	done := &diagnose.RepairDone{Repair: strings.TrimPrefix(f.Repair, "repair:"), Fixed: f.Fixed != nil && *f.Fixed}
	if r.o.Base.RepairMade(done.Repair) == nil {
		r.fault(at("repair"), "%s is not a repair; expected a cause's id such as wire-cut, or %s", strconv.Quote(shorten(f.Repair)), r.generalActs())
	}
	if f.Fixed == nil {
		r.fault(at("repair"), "the repair does not say what came of it; expected fixed: true or fixed: false")
	}
	// A repair's places are read as those of an answer that is not yet judged.
	place := &answerReader{f: f.Fields, yard: r.out.c.Yard}
	done.AtM, done.FromM, done.ToM = place.place("at", f.At), place.place("from", f.From), place.place("to", f.To)
	if (f.From == "") != (f.To == "") {
		place.problems.add("from", "a stretch with one end; expected both from and to, or at")
	}
	for _, p := range place.problems {
		r.fault(at(p.Path...), "%s", p.Message)
	}
	names := slices.DeleteFunc(slices.Clone(answerFields), func(n string) bool { return n == "from" || n == "to" })
	r.refuse(at, f, "a repair", append(names, "confirmed")...)
	return done
}

func (r *reader) generalActs() string {
	var acts []string
	for _, repair := range r.o.Base.Repairs {
		if repair.Cause == "" {
			acts = append(acts, repair.ID)
		}
	}
	return strings.Join(acts, ", ")
}

func (r *reader) outcome(f *fileFinal) *diagnose.Outcome {
	at := func(field string) strictyaml.Pos { return r.doc.Pos(append(slices.Clone(f.path), field)...) }
	o := &diagnose.Outcome{Cause: f.Cause, Confirmed: f.Confirmed}
	switch {
	case f.Cause == "":
		r.fault(at("cause"), "the outcome names no cause; expected {cause: wire-cut, at: 309 ft, confirmed: true}")
		return nil
	case r.o.Base.Cause(f.Cause) == nil:
		r.fault(at("cause"), "%s is not a cause; expected an id such as wire-cut or something-else", strconv.Quote(shorten(f.Cause)))
		return nil
	}
	place := &answerReader{yard: r.out.c.Yard}
	o.AtM = place.place("at", f.At)
	for _, p := range place.problems {
		r.fault(at("at"), "%s", p.Message)
	}
	return o
}

// likeCheck names the checks that begin like a word, or a few.
func (r *reader) likeCheck(word string) string {
	var like []string
	for _, c := range r.o.Base.Checks {
		if head := min(len(word), 4); head > 2 && strings.HasPrefix(c.ID, word[:head]) {
			like = append(like, c.ID)
		}
	}
	if len(like) == 0 {
		like = []string{"continuity-sign", "loop-ohms", "tap"}
	}
	return strings.Join(like, ", ")
}
