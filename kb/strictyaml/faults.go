package strictyaml

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// maxFaults is how many faults of one file are worth telling; past it the file
// is not what the reader takes it for.
const maxFaults = 100

// Pos is a place in a file, counted from 1 in lines and characters.
type Pos struct{ Line, Column int }

// Fault is one thing wrong with a file.
type Fault struct {
	File         string
	Line, Column int
	Message      string // what is wrong and what was expected, without a full stop
}

// Error returns the fault as FILE:LINE:COLUMN: message.
func (f Fault) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", printable(f.File), f.Line, f.Column, printable(f.Message))
}

// Faults are all the things wrong with a file, or with several read together.
type Faults []Fault

// Error returns one fault a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

// Add notes a fault.
func (f *Faults) Add(file string, at Pos, format string, args ...any) {
	*f = append(*f, Fault{File: file, Line: at.Line, Column: at.Column, Message: fmt.Sprintf(format, args...)})
}

// Err returns the faults as an error, ordered by place and each said once, or
// nil where there are none. Files stay in the order in which they came up.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	rank := make(map[string]int)
	for _, fault := range f {
		if _, seen := rank[fault.File]; !seen {
			rank[fault.File] = len(rank)
		}
	}
	sorted := slices.Clone(f)
	slices.SortStableFunc(sorted, func(a, b Fault) int {
		return cmp.Or(
			cmp.Compare(rank[a.File], rank[b.File]),
			cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Column, b.Column),
		)
	})
	sorted = slices.Compact(sorted)
	if extra := len(sorted) - maxFaults; extra > 0 {
		last := sorted[maxFaults-1]
		last.Message += fmt.Sprintf(" (and %d faults more)", extra)
		sorted = append(sorted[:maxFaults-1:maxFaults-1], last)
	}
	return sorted
}

// quote shows a piece of the file in a message: short, on one line, and with
// nothing in it that a terminal would obey.
func quote(s string) string {
	const longest = 40
	if runes := []rune(s); len(runes) > longest {
		s = string(runes[:longest-3]) + "..."
	}
	return strconv.Quote(s)
}

// printable replaces what a terminal would obey, so that no file name or value
// can move the cursor.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if forbidden(r) || r == '\n' || r == '\t' {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// forbidden tells the characters that no text in our files may hold: control
// characters other than tab and line feed, and the marks that turn the
// direction of writing, with which a text can read otherwise than it is.
func forbidden(r rune) bool {
	switch {
	case r == '\n', r == '\t':
		return false
	case unicode.IsControl(r):
		return true
	case r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069, r == 0x2028, r == 0x2029:
		return true
	}
	return false
}
