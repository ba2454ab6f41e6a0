package journal

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

func mustBase() *kb.Base {
	base, err := kb.Load()
	if err != nil {
		panic(err)
	}
	return base
}

// anyEntry draws an entry that the knowledge base allows.
func anyEntry(base *kb.Base) *rapid.Generator[diagnose.Entry] {
	place := rapid.Custom(func(t *rapid.T) *float64 { v := rapid.Float64Range(0, 150).Draw(t, "m"); return &v })
	return rapid.Custom(func(t *rapid.T) (e diagnose.Entry) {
		if rapid.Bool().Draw(t, "timed") {
			e.Time = time.Unix(rapid.Int64Range(1.5e9, 2.5e9).Draw(t, "time"), 0).UTC()
		}
		switch rapid.SampledFrom([]string{"answer", "answer", "answer", "repair", "outcome", "undo"}).Draw(t, "sort") {
		case "repair":
			r := rapid.SampledFrom(base.Repairs).Draw(t, "repair")
			e.Repair = &diagnose.RepairDone{Repair: strings.TrimPrefix(r.ID, "repair:"), Fixed: rapid.Bool().Draw(t, "fixed")}
			if rapid.Bool().Draw(t, "placed") {
				e.Repair.AtM = place.Draw(t, "at")
			}
		case "outcome":
			e.Outcome = &diagnose.Outcome{Cause: rapid.SampledFrom(base.Causes).Draw(t, "cause").ID, Confirmed: rapid.Bool().Draw(t, "confirmed")}
			if rapid.Bool().Draw(t, "placed") {
				e.Outcome.AtM = place.Draw(t, "at")
			}
		case "undo":
			e.Undo = true
		default:
			e.Answer = anyAnswer(t, base, place)
		}
		return e
	})
}

func anyAnswer(t *rapid.T, base *kb.Base, place *rapid.Generator[*float64]) *diagnose.Answer {
	c := &base.Checks[rapid.IntRange(0, len(base.Checks)-1).Draw(t, "check")]
	// Any text at all but what the file turns into something else on purpose.
	note := rapid.StringOf(rapid.Rune().Filter(func(r rune) bool { return quoted(string(r)) != `" "` || r == ' ' }).Filter(func(r rune) bool {
		return !strings.ContainsRune(quoted(string(r)), '\ufffd')
	})).Draw(t, "note")
	a := &diagnose.Answer{Check: c.ID, Note: note}
	if rapid.IntRange(0, 5).Draw(t, "non-answer") == 0 {
		a.Choice = rapid.SampledFrom([]string{diagnose.Unknown, diagnose.NotApplicable, diagnose.Later}).Draw(t, "choice")
		return a
	}
	a.Unsure = rapid.Bool().Draw(t, "unsure")
	a.When = rapid.SampledFrom([]diagnose.When{"", diagnose.FaultPresent, diagnose.FaultAbsent}).Draw(t, "when")
	read := func(q faultmodel.Quantity, unit string, atM float64) *faultmodel.Reading {
		r := &faultmodel.Reading{Quantity: q, AtM: atM, FaultAway: a.When == diagnose.FaultAbsent, OverRange: rapid.Bool().Draw(t, "over")}
		most := map[string]float64{"ohm": 1e9, "nF": 1e-5, "V": 900, "mA": 10}[unit]
		if !r.OverRange {
			r.Value = rapid.Float64Range(0, most).Draw(t, "value")
		}
		return r
	}
	own := func() kb.Answer {
		if len(c.Answers) == 0 {
			return kb.Answer{}
		}
		return c.Answers[rapid.IntRange(0, len(c.Answers)-1).Draw(t, "answer")]
	}
	stretch := func() {
		a.FromM, a.ToM = place.Draw(t, "from"), place.Draw(t, "to")
		if *a.FromM > *a.ToM {
			a.FromM, a.ToM = a.ToM, a.FromM
		}
	}
	switch c.Kind {
	case kb.Choice:
		answer := own()
		a.Choice = answer.ID
		switch {
		case !answer.Place:
		case rapid.Bool().Draw(t, "stretch"):
			stretch()
		case rapid.Bool().Draw(t, "point"):
			a.AtM = place.Draw(t, "at")
		}
	case kb.Reading:
		if a.Choice = sometimes(t, own().ID); a.Choice != "" {
			break
		}
		a.Reading = read(faultmodel.Quantity(c.Quantity), c.Unit, 0)
	case kb.Position:
		if a.Choice = sometimes(t, own().ID); a.Choice == "" {
			a.AtM = place.Draw(t, "at")
		}
		a.End = rapid.SampledFrom([]locate.End{"", locate.EndA, locate.EndB}).Draw(t, "end")
	case kb.Stretch:
		a.Choice = own().ID
		stretch()
	case kb.Tap:
		a.AtM = place.Draw(t, "at")
		if a.Choice = sometimes(t, own().ID); a.Choice != "" {
			break
		}
		sides := rapid.SampledFrom([]locate.Side{locate.SideUnknown, locate.Intact, locate.Broken})
		a.ASide, a.BSide = sides.Draw(t, "a"), sides.Draw(t, "b")
		if rapid.Bool().Draw(t, "ohms") {
			a.AOhms, a.BToEarth = read(faultmodel.SideAOhms, "ohm", *a.AtM), read(faultmodel.SideBToEarth, "ohm", *a.AtM)
		}
	case kb.Widths:
		for range rapid.IntRange(1, 5).Draw(t, "widths") {
			w := faultmodel.Width{AtM: *place.Draw(t, "at"), WidthM: rapid.Float64Range(0.1, 20).Draw(t, "width")}
			if w.Silent = rapid.Bool().Draw(t, "silent"); w.Silent {
				w.WidthM = 0
			}
			a.Widths = append(a.Widths, w)
		}
	}
	return a
}

// sometimes is the answer of its own that a check with a reading may have, or none.
func sometimes(t *rapid.T, answer string) string {
	if rapid.Bool().Draw(t, "own answer") {
		return answer
	}
	return ""
}

// Every entry comes back from its line: text exactly, figures to one part in
// 10^10, which the file's ten digits promise.
func TestLinesReadBack(t *testing.T) {
	t.Parallel()
	base := mustBase()
	entries := anyEntry(base)
	rapid.Check(t, func(t *rapid.T) {
		e := entries.Draw(t, "entry")
		if a := e.Answer; a != nil && len([]rune(a.Note)) > mostNote {
			a.Note = ""
		}
		o := Options{Base: base, Units: rapid.SampledFrom([]quantity.Units{quantity.Feet, quantity.Metres}).Draw(t, "units")}
		text := "case: x\nanswers:\n" + string(entryLine("  ", e, o, 0))
		p, err := parse("case.yaml", ".", []byte(text), o)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if len(p.c.Log) != 1 || !near(reflect.ValueOf(e), reflect.ValueOf(p.c.Log[0])) {
			t.Fatalf("%s became %+v", text, p.c.Log)
		}
		if strings.Count(text, "\n") != 3 {
			t.Fatalf("%q is not one line", text)
		}
	})
}

// near compares in depth, numbers by a relative 1e-9.
func near(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Float64:
		x, y := a.Float(), b.Float()
		return x == y || max(x-y, y-x) <= 1e-9*max(x, y) || max(x, y) < 1e-25 // a reading of nothing, in farads
	case reflect.Pointer:
		return a.IsNil() == b.IsNil() && (a.IsNil() || near(a.Elem(), b.Elem()))
	case reflect.Slice:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !near(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case reflect.Struct:
		if when, ok := a.Interface().(time.Time); ok {
			return when.Equal(b.Interface().(time.Time))
		}
		for i := range a.NumField() {
			if !near(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	}
	return a.Interface() == b.Interface()
}

// A journal and what it left on disk agree, whatever is done to it and however
// often it is closed and opened in between.
func TestJournalAndFileAgree(t *testing.T) {
	t.Parallel()
	base := mustBase()
	entries := anyEntry(base)
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		path := filepath.Join(dir, "case.yaml")
		_ = os.Remove(path)
		o := Options{Base: base}
		j, err := Create(path, &diagnose.Case{Name: "x", Role: diagnose.Technician, Meters: faultmodel.DefaultMeters()}, o)
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			switch rapid.IntRange(0, 4).Draw(t, "what") {
			case 0:
				if err := j.Close(); err != nil {
					t.Fatal(err)
				}
				before := j.Case().Log
				if j, err = Open(path, o); err != nil {
					t.Fatal(err)
				}
				if !near(reflect.ValueOf(before), reflect.ValueOf(j.Case().Log)) {
					t.Fatalf("held %+v, on disk %+v", before, j.Case().Log)
				}
			case 1:
				if n := len(j.Case().Log); n > 0 {
					i := rapid.IntRange(0, n-1).Draw(t, "index")
					e := entries.Draw(t, "entry")
					old := j.Case().Log[i].Answer
					if err := j.Replace(i, e); (err == nil) != (old != nil && e.Answer != nil && old.Check == e.Answer.Check) {
						t.Fatal(err)
					}
				}
			default:
				if err := j.Append(entries.Draw(t, "entry")); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		c, warnings, err := Read(path, o)
		if err != nil || len(warnings) > 0 || !near(reflect.ValueOf(j.Case().Log), reflect.ValueOf(c.Log)) {
			t.Fatalf("%v %v: held %+v, on disk %+v", err, warnings, j.Case().Log, c.Log)
		}
	})
}

// FuzzCase feeds whole files. Whatever is taken must be gone on with: one answer
// more, everything before it unchanged.
func FuzzCase(f *testing.F) {
	for _, text := range []string{orchardCase, "case: x\n", "case: x\nanswers:\n", "answers: [{undo: true}]\ncase: x\n",
		"case: x\nanswers:\n  - {check: tap, at: 3 ft, a_side: broken}\n  - {check: tap, at: 4 ft, b_side: broken, replaces: 1}\n",
		"case: x\nyard: {loop: {length: 480 ft}}\nanswers:\n- check: loop-ohms\n  reading: OL\n", "case: x\nanswers:\n  - {check: con", "a: &a [*a]\n", "schema: 7\n"} {
		f.Add([]byte(text))
	}
	o := Options{Base: mustBase(), DefaultRole: diagnose.Homeowner}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(dir, "case.yaml")
		s, err := scan(path, text, o)
		if err != nil {
			require.NotContains(t, err.Error(), "\x1b")
			require.NotContains(t, err.Error(), "\x00")
			return
		}
		require.NoError(t, os.WriteFile(path, text, 0o644))
		j, err := Open(path, o)
		if err != nil {
			require.ErrorContains(t, err, "as it is laid out")
			return
		}
		held := len(s.c.Log)
		require.NoError(t, j.Append(lamp("dark")))
		require.NoError(t, j.Close())
		c, _, err := Read(path, o)
		require.NoError(t, err)
		require.Len(t, c.Log, held+1)
		require.True(t, reflect.DeepEqual(append(s.c.Log, lamp("dark")), c.Log))
	})
}
