package strictyaml_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/kb/strictyaml"
)

type origin struct {
	Source string `yaml:"source"`
}

type garden struct {
	strictyaml.Pos
	Name    string             `yaml:"name"`
	Length  strictyaml.Text    `yaml:"length"`
	Share   float64            `yaml:"share"`
	Count   int                `yaml:"count"`
	Drawn   bool               `yaml:"drawn"`
	At      [2]float64         `yaml:"at"`
	Beds    []bed              `yaml:"beds"`
	Weights map[string]float64 `yaml:"weights"`
	Wire    *bed               `yaml:"wire"`
	Time    time.Time          `yaml:"time"`
	Map     source             `yaml:"map"`
	origin  `yaml:",inline"`
	Note    origin `yaml:",inline"`
}

type bed struct {
	strictyaml.Pos
	Kind strictyaml.Text `yaml:"kind"`
	From strictyaml.Text `yaml:"from"`
}

// source is a file name, or a bed in place.
type source struct {
	File  string
	Place bed
}

func (s *source) DecodeYAML(v strictyaml.Value) {
	switch v.Kind() {
	case strictyaml.Scalar:
		s.File = v.Text().Value
	case strictyaml.Mapping:
		v.Decode(&s.Place)
	default:
		v.Fault("found a list of %d; expected a file name or a bed", len(v.Items()))
	}
}

func TestDecode(t *testing.T) {
	t.Parallel()
	const data = "\ufeff" + `# a garden
name: on
length: 010 ft
share: .5
count: 1e2
drawn: true
at: [10, -0.5]
beds:
  - {kind: no, from: "12.3 ohm"}
  - kind: yes
    from: ~
weights: {on: 0.25, off: 0.75}
wire: {kind: null}
time: 2026-05-01T10:00:00Z
map: {kind: 1.0}
source: >-
  a book
  and more
`
	var g garden
	require.NoError(t, strictyaml.Decode("g.yaml", []byte(data), &g))
	assert.Equal(t, "on", g.Name, "on stays text")
	assert.Equal(t, strictyaml.Text{Value: "010 ft", Line: 3, Column: 9}, g.Length)
	assert.Equal(t, "010 ft", g.Length.String())
	assert.InDelta(t, 0.5, g.Share, 0)
	assert.Equal(t, 100, g.Count)
	assert.True(t, g.Drawn)
	assert.Equal(t, [2]float64{10, -0.5}, g.At)
	assert.Equal(t, "no", g.Beds[0].Kind.Value)
	assert.Equal(t, "12.3 ohm", g.Beds[0].From.Value)
	assert.Equal(t, strictyaml.Text{Value: "yes", Line: 10, Column: 11}, g.Beds[1].Kind)
	assert.Equal(t, "~", g.Beds[1].From.Value)
	assert.Equal(t, strictyaml.Pos{Line: 10, Column: 5}, g.Beds[1].Pos)
	assert.Equal(t, map[string]float64{"on": 0.25, "off": 0.75}, g.Weights)
	assert.Equal(t, "null", g.Wire.Kind.Value)
	assert.Equal(t, time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC), g.Time)
	assert.Equal(t, "1.0", g.Map.Place.Kind.Value)
	assert.Equal(t, "a book and more", g.Note.Source)
	assert.Equal(t, strictyaml.Pos{Line: 2, Column: 1}, g.Pos)
}

// One fault a case. The expected text follows from the rule in doc.go, the
// position from counting lines and characters in the input.
func TestFaults(t *testing.T) {
	t.Parallel()
	bomb := "a: &a [x, x]\nb: &b [*a, *a]\nname: *b\n"
	cases := []struct{ name, data, want string }{
		{"unknown field", "nmae: x\n", `1:1: unknown field "nmae"; perhaps "name" is meant`},
		{"unknown field, nothing near", "beds:\n  - {zzzzzz: 1}\n", `2:6: unknown field "zzzzzz"; expected one of from, kind`},
		{"merge key", "<<: {name: x}\n", `1:1: unknown field "<<"; expected one of at, beds, count, drawn, length, map, name, share, source, time, weights, wire`},
		{"duplicate field", "name: x\nshare: 1\nname: y\n", `3:1: field "name" is given twice, first in line 1; expected it once`},
		{"duplicate field inside", "weights: {a: 1, b: 2, a: 3}\n", `1:23: field "a" is given twice, first in line 1; expected it once`},
		{"text for a number", "share: high\n", `1:8: "high" is not a number; must be a number without quotes or unit`},
		{"quoted number", "share: '1'\n", `1:8: "1" is not a number; must be a number without quotes or unit`},
		{"number with unit", "share: 3 ft\n", `1:8: "3 ft" is not a number; must be a number without quotes or unit`},
		{"octal", "share: 010\n", `1:8: "010" is not a number; must be a number without quotes or unit`},
		{"hexadecimal", "share: 0x10\n", `1:8: "0x10" is not a number; must be a number without quotes or unit`},
		{"not a number", "share: .nan\n", `1:8: ".nan" is not a number; must be a number without quotes or unit`},
		{"infinity", "share: .inf\n", `1:8: ".inf" is not a number; must be a number without quotes or unit`},
		{"underscore", "share: 1_000\n", `1:8: "1_000" is not a number; must be a number without quotes or unit`},
		{"sign alone", "share: '-'\n", `1:8: "-" is not a number; must be a number without quotes or unit`},
		{"too large", "share: 1e999\n", `1:8: "1e999" is too large; must be a number of sensible size`},
		{"list for a number", "share: [1]\n", `1:8: a list of 1 is not a number; must be a number without quotes or unit`},
		{"fraction", "count: 1.5\n", `1:8: "1.5" is not a whole number; must be a whole number`},
		{"huge whole number", "count: 1e300\n", `1:8: "1e300" is not a whole number; must be a whole number`},
		{"bool", "drawn: yes\n", `1:8: "yes" is neither true nor false; expected true or false`},
		{"list for text", "name: [x]\n", `1:7: found a list of 1; expected text`},
		{"group for text", "name: {x: 1}\n", `1:7: found a group of fields; expected text`},
		{"text for a list", "beds: none\n", `1:7: found "none"; expected a list, "[...]" or lines that start with "- "`},
		{"text for a group", "wire: copper\n", `1:7: found "copper"; expected fields such as "name: value"`},
		{"text for a map", "weights: 3\n", `1:10: found "3"; expected fields such as "name: value"`},
		{"wrong length", "at: [1, 2, 3]\n", `1:5: found a list of 3; expected a list of 2`},
		{"number in a list", "at: [1, x]\n", `1:9: "x" is not a number; must be a number without quotes or unit`},
		{"no value", "share: 1\nname:\nbeds: []\n", `2:6: no value given; expected text, or the whole field left out`},
		{"unmarshaler", "time: soon\n", `1:7: parsing time "soon" as "2006-01-02T15:04:05Z07:00": cannot parse "soon" as "2006"`},
		{"own decoder", "map: [1, 2]\n", `1:6: found a list of 2; expected a file name or a bed`},
		{"own decoder, deeper", "map: {knd: 1}\n", `1:7: unknown field "knd"; perhaps "kind" is meant`},
		{"list as field name", "? [a]\n: b\n", `1:3: found a list of 1 as a field name; expected text`},
		{"list at the top", "- name: x\n", `1:1: found a list of 1; expected fields such as "name: value"`},
		{"text at the top", "hello\n", `1:1: found "hello"; expected fields such as "name: value"`},

		{"empty", "", `1:1: the file is empty; expected fields such as "name: value"`},
		{"blank", "\n\n", `1:1: the file is empty; expected fields such as "name: value"`},
		{"comments only", "# nothing\n", `1:1: the file is empty; expected fields such as "name: value"`},
		{"markers only", "---\n...\n", `1:1: the file is empty; expected fields such as "name: value"`},
		{"second document", "name: x\n---\nname: y\n", `2:1: a second document starts here; expected one document a file`},
		{"broken second document", "name: x\n---\nname: [\n", `4:1: a bracket is not closed; expected a value, "]" or "}"`},
		{"alias", "name: x\nbeds: *x\n", `2:7: an alias (*name) is not allowed; expected the value itself, or quotes around the text`},
		{"anchor", "name: &n x\n", `1:7: anchor &n is not allowed; expected the value itself`},
		{"tag", "name: !!binary aGk=\n", `1:7: tag !!binary is not allowed; expected a plain value`},
		{"directive", "%YAML 3.0\n---\nname: x\n", `1:1: a line starts with %; expected no YAML directives`},

		{"colon in text", "name: a: b\n", `1:8: a second ": " in one line; expected quotes around text that holds ": "`},
		{"open list", "at: [1, 2\nname: x\n", `2:5: a list "[...]" is not closed or lacks a comma; expected "," or "]"`},
		{"open group", "wire: {kind: x\nname: y\n", `2:5: a group "{...}" is not closed or lacks a comma; expected "," or "}"`},
		{"open quote", "name: 'x\nshare: 1\n", `3:1: a quoted text is not closed or holds a wrong escape; expected the closing quote`},
		{"wrong escape", `name: "\q"`, `1:8: a quoted text is not closed or holds a wrong escape; expected the closing quote`},
		{"tab", "wire:\n\tkind: x\n", `2:1: a value starts with a tab or a reserved character such as @ or %; expected spaces, or quotes around the text`},
		{"reserved", "name: @x\n", `1:7: a value starts with a tab or a reserved character such as @ or %; expected spaces, or quotes around the text`},
		{"indentation", "wire:\n    kind: x\n  from: y\n", `3:3: the line does not fit the fields above it; expected "name: value" with the same indentation`},
		{"list and fields", "- name: x\nname: y\n", `2:1: the line does not fit the list above it; expected "- " with the same indentation`},
		{"no colon", "name: x\nshare 1\n", `3:1: a field without a colon; expected "name: value"`},
		{"block text", "name: |0\n x\n", `1:8: the block of text is wrongly indented; expected every line further in than its field`},

		{"NUL", "name: x\x00y\n", `1:8: control character U+0000; expected a text file`},
		{"escape", "# ok\nname: \x1b[31m\n", `2:7: control character U+001B; expected a text file`},
		{"written escape", `name: "\e[31m"`, `1:7: the text holds the control character U+001B; expected plain text`},
		{"written turn of direction", `name: "a\u202eb"`, `1:7: the text holds the control character U+202E; expected plain text`},
		{"lone carriage return", "name: x\rshare: 1\n", `1:8: control character U+000D; expected a text file`},
		{"binary", "\x7fELF\x02\x01", `1:1: control character U+007F; expected a text file`},
		{"Latin-1", "name: caf\xe9\n", `1:10: byte 0xe9 is not UTF-8; expected a text file in UTF-8`},
		{"UTF-16", "\xff\xfen\x00", `1:1: byte 0xff is not UTF-8; expected a text file in UTF-8`},
		{"oversize", strings.Repeat("#", strictyaml.MaxBytes+1), fmt.Sprintf(`1:1: the file has %d bytes; expected at most %d`, strictyaml.MaxBytes+1, strictyaml.MaxBytes)},
		{"deep", "map: " + strings.Repeat("[", 33) + strings.Repeat("]", 33), `1:37: nested more than 32 deep; expected a flatter file`},
		{"very deep", strings.Repeat("[", 20000), `1:10001: nested too deep; expected a flatter file`},
		{"alias bomb", bomb, strings.Join([]string{
			`1:4: anchor &a is not allowed; expected the value itself`,
			`g.yaml:2:4: anchor &b is not allowed; expected the value itself`,
			`g.yaml:2:8: alias *a is not allowed; expected the value itself`,
			`g.yaml:2:12: alias *a is not allowed; expected the value itself`,
			`g.yaml:3:7: alias *b is not allowed; expected the value itself`,
		}, "\n")},
		{"alias to itself", "name: &x [*x]\n", "1:7: anchor &x is not allowed; expected the value itself\n" +
			"g.yaml:1:11: alias *x is not allowed; expected the value itself"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var g garden
			err := strictyaml.Decode("g.yaml", []byte(c.data), &g)
			require.Error(t, err)
			assert.Equal(t, "g.yaml:"+c.want, err.Error())
			var faults strictyaml.Faults
			require.ErrorAs(t, err, &faults)
		})
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	t.Parallel()
	const data = `name: [x]
share: much
beds:
  - {kind: a, form: 3 ft}
  - none
drawn: no
`
	var g garden
	err := strictyaml.Decode("g.yaml", []byte(data), &g)
	assert.EqualError(t, err, strings.Join([]string{
		`g.yaml:1:7: found a list of 1; expected text`,
		`g.yaml:2:8: "much" is not a number; must be a number without quotes or unit`,
		`g.yaml:4:15: unknown field "form"; perhaps "from" is meant`,
		`g.yaml:5:5: found "none"; expected fields such as "name: value"`,
		`g.yaml:6:8: "no" is neither true nor false; expected true or false`,
	}, "\n"))
	assert.Equal(t, "a", g.Beds[0].Kind.Value, "what is right is kept")
}

func TestManyFaultsAreCounted(t *testing.T) {
	t.Parallel()
	var g garden
	err := strictyaml.Decode("g.yaml", []byte("weights:\n"+strings.Repeat("  ? [a]\n  : 1\n", 250)), &g)
	var faults strictyaml.Faults
	require.ErrorAs(t, err, &faults)
	assert.Len(t, faults, 100)
	assert.Contains(t, faults[99].Message, "(and 150 faults more)")
}

func TestMessagesCannotSteerTheTerminal(t *testing.T) {
	t.Parallel()
	var g garden
	err := strictyaml.Decode("g\x1b[2J.yaml", []byte("share: \"a\\nb\"\n"), &g)
	assert.EqualError(t, err, "g\ufffd[2J.yaml:1:8: \"a\\nb\" is not a number; must be a number without quotes or unit")
	err = strictyaml.Decode("g", []byte("share: "+strings.Repeat("long ", 50)), &g)
	assert.Less(t, len(err.Error()), 120, "a long value is cut")
}

func TestDocumentPositions(t *testing.T) {
	t.Parallel()
	doc, err := strictyaml.Parse("g.yaml", []byte("name: x\nbeds:\n  - kind: a\n  - kind: b\n    from: 3 ft\n"))
	require.NoError(t, err)
	at := func(line, column int) strictyaml.Pos { return strictyaml.Pos{Line: line, Column: column} }
	assert.Equal(t, at(1, 1), doc.Pos())
	assert.Equal(t, at(1, 7), doc.Pos("name"))
	assert.Equal(t, at(5, 11), doc.Pos("beds", 1, "from"))
	assert.Equal(t, at(5, 5), doc.KeyPos("beds", 1, "from"))
	assert.Equal(t, at(4, 5), doc.Pos("beds", 1, "nothing"), "where it belongs")
	assert.Equal(t, at(3, 3), doc.Pos("beds", 7))
	assert.True(t, doc.Has("beds", 0, "kind"))
	assert.False(t, doc.Has("beds", 0, "from"))
	assert.False(t, doc.Has("name", "deeper"))
}

func TestFaultsErr(t *testing.T) {
	t.Parallel()
	var f strictyaml.Faults
	require.NoError(t, f.Err())
	f.Add("b.yaml", strictyaml.Pos{Line: 2, Column: 1}, "later in the first file")
	f.Add("a.yaml", strictyaml.Pos{Line: 1, Column: 1}, "in the second file")
	f.Add("b.yaml", strictyaml.Pos{Line: 1, Column: 9}, "first")
	f.Add("b.yaml", strictyaml.Pos{Line: 1, Column: 9}, "first")
	err := f.Err()
	require.EqualError(t, err, "b.yaml:1:9: first\nb.yaml:2:1: later in the first file\na.yaml:1:1: in the second file")
	var faults strictyaml.Faults
	assert.True(t, errors.As(fmt.Errorf("wrapped: %w", err), &faults))
}

// Whatever the bytes are, reading them ends without a panic, in a value or in
// faults that lie inside the file and are fit to print.
func FuzzDecode(f *testing.F) {
	for _, seed := range []string{
		"name: x\nbeds:\n  - {kind: a}\n", "a: &a [*a]", "\x00", "? [a]\n: b\n", "name: |\n  x\n", "%YAML 1.2\n---\n", "- - - -",
		"\"\\u202e\": 1", "share: 1e-400", "count: -9223372036854775808", "name: x\n---\n", "{a: [}",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var g garden
		err := strictyaml.Decode("g.yaml", data, &g)
		if err == nil {
			return
		}
		var faults strictyaml.Faults
		require.ErrorAs(t, err, &faults)
		lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + 2
		lines += strings.Count(string(data), "\u0085") + strings.Count(string(data), "\u2028") + strings.Count(string(data), "\u2029")
		for _, fault := range faults {
			assert.GreaterOrEqual(t, fault.Line, 1)
			assert.LessOrEqual(t, fault.Line, lines)
			assert.GreaterOrEqual(t, fault.Column, 1)
			assert.NotContains(t, fault.Error(), "\x1b")
			assert.NotContains(t, fault.Error(), "\n")
		}
	})
}
