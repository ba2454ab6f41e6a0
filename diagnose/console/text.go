package console

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/mattn/go-runewidth"
)

// Clean makes text from a file or a keyboard safe to show: control characters,
// bidirectional overrides and broken UTF-8 become question marks, so that
// nothing in a case can move the cursor, recolour the screen or hide a line. A
// tab becomes a space; newlines stay.
func Clean(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case r == utf8.RuneError, unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r),
			unicode.In(r, unicode.Zl, unicode.Zp, unicode.Cs, unicode.Co):
			return '?'
		}
		return r
	}, text)
}

// cleanLine is Clean for text that has to stay on one line.
func cleanLine(text string) string {
	return strings.Join(strings.Fields(Clean(text)), " ")
}

// asciiForms spell the few signs of the trade for terminals without them.
var asciiForms = strings.NewReplacer(
	"\u2126", "ohm", "\u03a9", "ohm", "\u00b5", "u", "\u03bc", "u", "\u00b0", " deg ", "\u00b1", "+/-",
	"\u00b2", "2", "\u2013", "-", "\u2014", "-", "\u2212", "-", "\u00d7", "x", "\u2192", "->", "\u2026", "...",
	"\u2018", "'", "\u2019", "'", "\u201c", `"`, "\u201d", `"`, "\u2032", "'", "\u2033", `"`, "\u2265", ">=", "\u2264", "<=",
)

// toASCII spells text with ASCII alone.
func toASCII(text string) string {
	return strings.Map(func(r rune) rune {
		if r > unicode.MaxASCII {
			return '?'
		}
		return r
	}, asciiForms.Replace(text))
}

// wrap breaks text at spaces into lines of at most width columns. Lines in the
// text stay apart, and what a line is indented by, or hangs behind as a list
// item, its continuation is indented by too. A word longer than a line is cut.
func wrap(text string, width int) []string {
	var lines []string
	for _, line := range strings.Split(text, "\n") {
		lines = append(lines, wrapLine(line, width)...)
	}
	return lines
}

func wrapLine(line string, width int) []string {
	words := withUnits(strings.Fields(line))
	if len(words) == 0 {
		return []string{""}
	}
	indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
	hang := indent
	if isItem(words[0]) && len(words) > 1 {
		hang += strings.Repeat(" ", runewidth.StringWidth(words[0])+1)
	}
	if runewidth.StringWidth(hang) > min(width/2, width-2) { // a wide letter takes two columns
		indent, hang = "", ""
	}
	var lines []string
	current, used := indent, runewidth.StringWidth(indent)
	empty := true
	flush := func() {
		lines = append(lines, strings.TrimRight(current, " "))
		current, used, empty = hang, runewidth.StringWidth(hang), true
	}
	for _, word := range words {
		n := runewidth.StringWidth(word)
		if !empty && used+1+n > width {
			flush()
		}
		for empty && used+n > width { // longer than a whole line
			head := runewidth.Truncate(word, max(width-used, 1), "")
			if head == "" {
				_, size := utf8.DecodeRuneInString(word)
				head = word[:size]
			}
			current += head
			empty = false
			word = word[len(head):]
			n = runewidth.StringWidth(word)
			if word == "" {
				break
			}
			flush()
		}
		if word == "" {
			continue
		}
		if !empty {
			current += " "
			used++
		}
		current, used, empty = current+word, used+n, false
	}
	return append(lines, strings.TrimRight(current, " "))
}

// units are what must not be parted from their figure by the end of a line.
var units = map[string]bool{"%": true, "ft": true, "m": true, "ohm": true, "kohm": true, "Mohm": true, "nF": true, "V": true, "mA": true, "min": true, "h": true}

// withUnits joins units to the figures before them.
func withUnits(words []string) []string {
	joined := words[:0:0]
	for i, word := range words {
		if i > 0 && units[strings.TrimRight(word, ".,;:?)")] && strings.ContainsAny(words[i-1][len(words[i-1])-1:], "0123456789") {
			joined[len(joined)-1] += " " + word
			continue
		}
		joined = append(joined, word)
	}
	return joined
}

// isItem tells whether a line that starts with word is an item of a list.
func isItem(word string) bool {
	return word == "-" || len(word) <= 3 && strings.HasSuffix(word, ".") && strings.Trim(word, "0123456789.") == "" && word != "."
}
