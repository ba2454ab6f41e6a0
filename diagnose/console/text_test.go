package console

import (
	"strings"
	"testing"
	"unicode"

	"github.com/mattn/go-runewidth"
	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestCleanKeepsAFileFromSteeringTheTerminal(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct{ in, want string }{
		"plain text stays":         {"12.3 \u03a9, caf\u00e9\n\u65e5\u672c", "12.3 \u03a9, caf\u00e9\n\u65e5\u672c"},
		"colour":                   {"\x1b[31mred\x1b[0m", "?[31mred?[0m"},
		"window title":             {"\x1b]0;gone\x07", "?]0;gone?"},
		"carriage return":          {"12 ohm\rsafe", "12 ohm?safe"},
		"backspace":                {"do not\b\b\bdig", "do not???dig"},
		"eight-bit escape":         {"\u009b31m", "?31m"},
		"bidirectional override":   {"abc\u202ecba", "abc?cba"},
		"line separator":           {"a\u2028b", "a?b"},
		"broken UTF-8":             {"a\xffb", "a?b"},
		"a tab is a space":         {"a\tb", "a b"},
		"a nul and a delete":       {"a\x00b\x7f", "a?b?"},
		"private use, an own font": {"\ue000", "?"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, tt.want, Clean(tt.in))
		})
	}
}

func TestWrap(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		text  string
		width int
		want  []string
	}{
		"at spaces":                                   {"cut the wire at the drive", 12, []string{"cut the wire", "at the drive"}},
		"own lines stay":                              {"one\n\ntwo", 20, []string{"one", "", "two"}},
		"an indent goes on":                           {"  a caution that is long", 14, []string{"  a caution", "  that is long"}},
		"an item hangs":                               {"  1. unplug the box first", 16, []string{"  1. unplug the", "     box first"}},
		"a unit stays with its figure":                {"splice open (28 %), 309 ft", 16, []string{"splice open", "(28 %), 309 ft"}},
		"a dash is an item":                           {"- unplug it now", 10, []string{"- unplug", "  it now"}},
		"a number is no item":                         {"309.5 ft or so it is", 10, []string{"309.5 ft", "or so it", "is"}},
		"a word too long is cut":                      {"abcdefghij", 4, []string{"abcd", "efgh", "ij"}},
		"wide letters count twice":                    {"\u65e5\u672c\u8a9e\u65e5\u672c", 4, []string{"\u65e5\u672c", "\u8a9e\u65e5", "\u672c"}},
		"no indent that leaves a wide letter no room": {" \u65e5", 2, []string{"\u65e5"}},
		"a wide letter in one column cannot be cut":   {"\u65e5\u672c", 1, []string{"\u65e5", "\u672c"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, tt.want, wrap(tt.text, tt.width))
		})
	}
}

func TestWrapLosesNothingAndStaysInside(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.RuneFrom(nil, unicode.Latin, unicode.Nd, unicode.Zs, unicode.Han)).Draw(t, "text")
		width := rapid.IntRange(2, 90).Draw(t, "width")
		lines := wrap(text, width)
		for _, line := range lines {
			if got := runewidth.StringWidth(line); got > width {
				t.Fatalf("%q takes %d columns of %d", line, got, width)
			}
		}
		if squeezed(strings.Join(lines, "")) != squeezed(text) {
			t.Fatalf("%q became %q", text, lines)
		}
	})
}

func squeezed(s string) string { return strings.Join(strings.Fields(s), "") }

func TestASCII(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "4.7 kohm +/- 0.9 %, 22 uF -> it's fine", toASCII("4.7 k\u03a9 \u00b1 0.9 %, 22 \u00b5F \u2192 it\u2019s fine"))
	assert.Equal(t, "??", toASCII("\u65e5\u672c"))
}
