package strictyaml

import (
	"encoding"
	"fmt"
	"maps"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"go.yaml.in/yaml/v4"
)

// Text is a scalar as it stands in the file, with its place, for a caller that
// parses it further and reports faults at the right spot.
type Text struct {
	Value        string
	Line, Column int
}

// Pos is where the text stands.
func (t Text) Pos() Pos { return Pos{t.Line, t.Column} }

// String is the text itself.
func (t Text) String() string { return t.Value }

// Decoder is a type that reads a value of the file itself, such as one that may
// be a name or a mapping. It reports through [Value.Fault].
type Decoder interface{ DecodeYAML(v Value) }

// Kind is the form of a value.
type Kind int

// The forms of a value.
const (
	Scalar Kind = iota
	List
	Mapping
)

// Value is a part of the document handed to a [Decoder].
type Value struct {
	node *yaml.Node
	b    *binder
}

// Kind is the value's form.
func (v Value) Kind() Kind {
	switch v.node.Kind {
	case yaml.SequenceNode:
		return List
	case yaml.MappingNode:
		return Mapping
	}
	return Scalar
}

// Pos is where the value starts.
func (v Value) Pos() Pos { return pos(v.node) }

// Text is the value of a scalar as it stands; empty for lists and mappings.
func (v Value) Text() Text { return Text{v.node.Value, v.node.Line, v.node.Column} }

// Quoted tells whether a scalar is written in quotes or as a block of text.
func (v Value) Quoted() bool { return !plain(v.node) }

// Decode reads the value into target, a pointer, and tells whether it had no fault.
func (v Value) Decode(target any) bool {
	before := len(v.b.faults)
	v.b.decode(v.node, target)
	return len(v.b.faults) == before
}

// Items are the parts of a list.
func (v Value) Items() []Value {
	if v.Kind() != List {
		return nil
	}
	items := make([]Value, len(v.node.Content))
	for i, n := range v.node.Content {
		items[i] = Value{n, v.b}
	}
	return items
}

// Fault notes what is wrong with the value and what was expected.
func (v Value) Fault(format string, args ...any) {
	v.b.faults.Add(v.b.file, v.Pos(), format, args...)
}

// binder moves a tree of nodes into Go values and collects the faults.
type binder struct {
	file   string
	faults Faults
}

func (b *binder) decode(n *yaml.Node, v any) {
	target := reflect.ValueOf(v)
	if target.Kind() != reflect.Pointer || target.IsNil() {
		panic(fmt.Sprintf("strictyaml: cannot decode into %T: not a pointer", v))
	}
	b.value(n, target.Elem())
}

func (b *binder) fault(n *yaml.Node, format string, args ...any) {
	b.faults.Add(b.file, pos(n), format, args...)
}

var (
	textType = reflect.TypeFor[Text]()
	posType  = reflect.TypeFor[Pos]()
)

func (b *binder) value(n *yaml.Node, into reflect.Value) {
	t := into.Type()
	if t.Kind() == reflect.Pointer {
		if into.IsNil() {
			into.Set(reflect.New(t.Elem()))
		}
		b.value(n, into.Elem())
		return
	}
	if d, ok := into.Addr().Interface().(Decoder); ok {
		if !b.isAbsent(n, "a value") {
			d.DecodeYAML(Value{n, b})
		}
		return
	}
	if t == textType {
		if text, ok := b.text(n); ok {
			into.Set(reflect.ValueOf(Text{text, n.Line, n.Column}))
		}
		return
	}
	if u, ok := into.Addr().Interface().(encoding.TextUnmarshaler); ok {
		if text, ok := b.text(n); ok {
			if err := u.UnmarshalText([]byte(text)); err != nil {
				b.fault(n, "%s", err)
			}
		}
		return
	}
	switch t.Kind() {
	case reflect.String:
		if text, ok := b.text(n); ok {
			into.SetString(text)
		}
	case reflect.Bool:
		b.bool(n, into)
	case reflect.Float64, reflect.Float32, reflect.Int, reflect.Int64, reflect.Int32:
		b.number(n, into)
	case reflect.Slice:
		b.slice(n, into)
	case reflect.Array:
		b.array(n, into)
	case reflect.Map:
		b.mapping(n, into)
	case reflect.Struct:
		b.structure(n, into)
	default:
		panic(fmt.Sprintf("strictyaml: cannot decode into %s", t))
	}
}

// isAbsent reports a field without a value.
func (b *binder) isAbsent(n *yaml.Node, expected string) bool {
	if n.Kind == yaml.ScalarNode && plain(n) && n.Value == "" {
		b.fault(n, "no value given; expected %s, or the whole field left out", expected)
		return true
	}
	return false
}

func (b *binder) text(n *yaml.Node) (string, bool) {
	if b.isAbsent(n, "text") {
		return "", false
	}
	if n.Kind != yaml.ScalarNode {
		b.fault(n, "found %s; expected text", form(n))
		return "", false
	}
	return n.Value, true
}

func (b *binder) bool(n *yaml.Node, into reflect.Value) {
	switch {
	case b.isAbsent(n, "true or false"):
	case n.Kind == yaml.ScalarNode && plain(n) && (n.Value == "true" || n.Value == "false"):
		into.SetBool(n.Value == "true")
	default:
		b.fault(n, "%s is neither true nor false; expected true or false", form(n))
	}
}

// A number is what a person writes: digits, a point, perhaps an exponent. No
// octal, hexadecimal, infinity or underscore, which YAML readers take in
// different ways.
var decimal = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)?(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)

func (b *binder) number(n *yaml.Node, into reflect.Value) {
	whole := into.CanInt()
	expected := "a number"
	if whole {
		expected = "a whole number"
	}
	if b.isAbsent(n, expected) {
		return
	}
	if n.Kind != yaml.ScalarNode || !plain(n) || !decimal.MatchString(n.Value) || !strings.ContainsAny(n.Value, "0123456789") {
		b.fault(n, "%s is not a number; must be %s without quotes or unit", form(n), expected)
		return
	}
	f, err := strconv.ParseFloat(n.Value, 64)
	switch {
	case err != nil || whole && into.OverflowInt(int64(clamp(f))) || !whole && into.OverflowFloat(f):
		b.fault(n, "%s is too large; must be %s of sensible size", form(n), expected)
	case !whole:
		into.SetFloat(f)
	case f != math.Trunc(f) || math.Abs(f) > 1<<53:
		b.fault(n, "%s is not a whole number; must be a whole number", form(n))
	default:
		into.SetInt(int64(f))
	}
}

func clamp(f float64) float64 { return min(max(f, -1<<62), 1<<62) }

func (b *binder) slice(n *yaml.Node, into reflect.Value) {
	if b.isAbsent(n, "a list") {
		return
	}
	if n.Kind != yaml.SequenceNode {
		b.fault(n, `found %s; expected a list, "[...]" or lines that start with "- "`, form(n))
		return
	}
	items := reflect.MakeSlice(into.Type(), len(n.Content), len(n.Content))
	for i, item := range n.Content {
		b.value(item, items.Index(i))
	}
	into.Set(items)
}

func (b *binder) array(n *yaml.Node, into reflect.Value) {
	if b.isAbsent(n, "a list") {
		return
	}
	if n.Kind != yaml.SequenceNode || len(n.Content) != into.Len() {
		b.fault(n, "found %s; expected a list of %d", form(n), into.Len())
		return
	}
	for i, item := range n.Content {
		b.value(item, into.Index(i))
	}
}

func (b *binder) mapping(n *yaml.Node, into reflect.Value) {
	if !b.isMapping(n) {
		return
	}
	t := into.Type()
	into.Set(reflect.MakeMapWithSize(t, len(n.Content)/2))
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := reflect.New(t.Key()).Elem()
		if n.Content[i].Kind != yaml.ScalarNode {
			b.fault(n.Content[i], "found %s as a field name; expected text", form(n.Content[i]))
			continue
		}
		key.SetString(n.Content[i].Value)
		item := reflect.New(t.Elem()).Elem()
		b.value(n.Content[i+1], item)
		into.SetMapIndex(key, item)
	}
}

func (b *binder) structure(n *yaml.Node, into reflect.Value) {
	if !b.isMapping(n) {
		return
	}
	f := fieldsOf(into.Type())
	for _, path := range f.positions {
		into.FieldByIndex(path).Set(reflect.ValueOf(pos(n)))
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := n.Content[i]
		path, known := f.named[key.Value]
		switch {
		case key.Kind != yaml.ScalarNode:
			b.fault(key, "found %s as a field name; expected text", form(key))
		case !known:
			b.fault(key, "unknown field %s; %s", quote(key.Value), expectedFields(key.Value, f.named))
		default:
			b.value(n.Content[i+1], into.FieldByIndex(path))
		}
	}
}

func (b *binder) isMapping(n *yaml.Node) bool {
	if b.isAbsent(n, "fields such as \"name: value\"") {
		return false
	}
	if n.Kind != yaml.MappingNode {
		b.fault(n, "found %s; expected fields such as \"name: value\"", form(n))
		return false
	}
	return true
}

// expectedFields names the field that was probably meant, or all there are.
func expectedFields(got string, named map[string][]int) string {
	names := slices.Sorted(maps.Keys(named))
	if len(names) == 0 {
		return "expected none"
	}
	near := slices.MinFunc(names, func(a, b string) int { return distance(got, a) - distance(got, b) })
	if distance(got, near) <= max(1, len(near)/3) {
		return fmt.Sprintf("perhaps %q is meant", near)
	}
	return "expected one of " + strings.Join(names, ", ")
}

// distance is the number of letters to add, drop, change or swap with their
// neighbour between two words (optimal string alignment).
func distance(a, b string) int {
	const longest = 64 // longer names are typed by nobody
	if len(a) > longest || len(b) > longest {
		return longest
	}
	x, y := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	d := make([][]int, len(x)+1)
	for i := range d {
		d[i] = make([]int, len(y)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			change := 0
			if x[i-1] != y[j-1] {
				change = 1
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+change)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(x)][len(y)]
}

// fields are the places in a struct that a mapping can fill.
type fields struct {
	named     map[string][]int
	positions [][]int // fields of type Pos
}

var fieldCache sync.Map // reflect.Type to fields

func fieldsOf(t reflect.Type) fields {
	if f, ok := fieldCache.Load(t); ok {
		return f.(fields)
	}
	f := fields{named: make(map[string][]int)}
	f.collect(t, nil)
	fieldCache.Store(t, f)
	return f
}

func (f *fields) collect(t reflect.Type, path []int) {
	for i := range t.NumField() {
		field := t.Field(i)
		here := append(slices.Clone(path), i)
		name, option, _ := strings.Cut(field.Tag.Get("yaml"), ",")
		switch {
		case name == "-" || !field.IsExported():
		case field.Type == posType && name == "":
			f.positions = append(f.positions, here)
		case option == "inline":
			f.collect(field.Type, here)
		case name == "":
			panic(fmt.Sprintf("strictyaml: field %s.%s has no yaml tag", t, field.Name))
		default:
			f.named[name] = here
		}
	}
}

func plain(n *yaml.Node) bool {
	const quoted = yaml.DoubleQuotedStyle | yaml.SingleQuotedStyle | yaml.LiteralStyle | yaml.FoldedStyle
	return n.Style&quoted == 0
}

func pos(n *yaml.Node) Pos { return Pos{n.Line, n.Column} }

// form says in plain words what a node is.
func form(n *yaml.Node) string {
	switch n.Kind {
	case yaml.SequenceNode:
		return fmt.Sprintf("a list of %d", len(n.Content))
	case yaml.MappingNode:
		return "a group of fields"
	}
	return quote(n.Value)
}
