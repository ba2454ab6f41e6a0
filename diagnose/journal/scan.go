package journal

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"loopfault/kb/strictyaml"
)

// scanned is the text of a case with what has to be known to go on with it.
type scanned struct {
	*parsed
	path     string
	text     []byte // without a damaged end
	warnings []string
	next     string // what has to stand before the next line
	indent   string // of its dash
}

// scan reads a case and forgives a damaged end.
func scan(path string, data []byte, o Options) (*scanned, error) {
	s := &scanned{path: path, text: data}
	p, err := s.parse(o, data)
	if err != nil {
		whole, lost, damaged := cutDamage(data)
		if !damaged {
			return nil, s.atItsLine(data, err)
		}
		var again error
		if p, again = s.parse(o, whole); again != nil {
			return nil, s.atItsLine(data, err) // the fault lies elsewhere: report the file as it is
		}
		s.text = whole
		s.warnings = append(s.warnings, fmt.Sprintf("%s: the last line was cut off while it was written and is left out: %s", path, lost))
	}
	s.parsed = p
	s.layout()
	return s, nil
}

// atItsLine adds the entry that was cut off to what the reader says: one bracket
// left open, and the grammar breaks only in a line further down.
func (s *scanned) atItsLine(data []byte, err error) error {
	var faults strictyaml.Faults
	if !errors.As(err, &faults) || len(faults) != 1 || faults[0].Line < 2 {
		return err
	}
	lines := strings.Split(string(data), "\n")
	for i := min(faults[0].Line-2, len(lines)-1); i >= max(faults[0].Line-3, 0); i-- {
		line := strings.TrimSpace(lines[i])
		if !strings.HasPrefix(line, "- {") {
			continue
		}
		if _, broken := strictyaml.Parse(s.path, []byte(line)); broken != nil && !strings.HasSuffix(line, "}") {
			faults.Add(s.path, strictyaml.Pos{Line: i + 1, Column: strings.IndexByte(lines[i], '{') + 1},
				"the entry is not whole; expected one {...} a line")
			return faults.Err()
		}
	}
	return err
}

// parse reads the text; answers with nothing under them yet are none.
func (s *scanned) parse(o Options, data []byte) (*parsed, error) {
	lines := bytes.SplitAfter(data, []byte("\n"))
	for i, line := range slices.Backward(lines) {
		switch trimmed := strings.TrimSpace(string(line)); {
		case trimmed == "", strings.HasPrefix(trimmed, "#"):
			continue
		case strings.TrimRight(string(line), " \r\n") == "answers:":
			data = bytes.Join(append(slices.Clone(lines[:i]), lines[i+1:]...), nil)
		}
		break
	}
	return parse(s.path, filepath.Dir(s.path), data, o)
}

// cutDamage splits off a last line of the answers that a writer did not finish:
// one without its end, or one with the zero bytes that a power cut leaves in
// place of data. What else is in it has to be text, or the file is none of ours.
func cutDamage(data []byte) (whole []byte, lost string, damaged bool) {
	end := len(data)
	if i := bytes.IndexByte(data, 0); i >= 0 && len(bytes.Trim(data[i:], "\x00\r\n")) == 0 {
		end = i // zeros up to the end of the file
		damaged = true
	}
	start := bytes.LastIndexByte(data[:end], '\n') + 1
	line := string(data[start:end])
	damaged = damaged || line != "" // it has no end
	if !damaged || start == 0 || !isText(line) {
		return nil, "", false
	}
	if line = strings.TrimRight(line, " \r"); !strings.HasPrefix("answers:", line) && !inAnswers(string(data[:start])) {
		return nil, "", false
	}
	return data[:start], fmt.Sprintf("%q", shorten(strings.ToValidUTF8(line, "?"))), true
}

// isText tells whether a line is text, perhaps cut off within its last letter.
func isText(line string) bool {
	for len(line) > 0 {
		r, size := utf8.DecodeRuneInString(line)
		if r == utf8.RuneError && size == 1 && len(line) < utf8.UTFMax && !utf8.FullRuneInString(line) {
			return true
		}
		if r == utf8.RuneError && size == 1 || unicode.IsControl(r) && r != '\t' && r != '\r' {
			return false
		}
		line = line[size:]
	}
	return true
}

// inAnswers tells whether what follows a text would stand among the answers.
func inAnswers(text string) bool {
	for _, line := range slices.Backward(strings.Split(text, "\n")) {
		if line != "" && !strings.ContainsRune(" #-\r", rune(line[0])) {
			return strings.HasPrefix(line, "answers:")
		}
	}
	return false
}

// layout finds where and how the next line is to be written.
func (s *scanned) layout() {
	if len(s.text) > 0 && s.text[len(s.text)-1] != '\n' {
		s.next = "\n"
	}
	s.indent = "  "
	lines := strings.Split(string(s.text), "\n")
	if !s.doc.Has("answers") {
		if !hasBareAnswers(lines) {
			s.next += "answers:\n"
		}
		return
	}
	at := s.doc.Pos("answers")
	line := lines[at.Line-1]
	s.indent = line[:len(line)-len(strings.TrimLeft(line, " "))]
}

// hasBareAnswers tells whether the last thing in the file is "answers:".
func hasBareAnswers(lines []string) bool {
	for _, line := range slices.Backward(lines) {
		if trimmed := strings.TrimSpace(line); trimmed != "" && !strings.HasPrefix(trimmed, "#") {
			return strings.TrimRight(line, " \r") == "answers:"
		}
	}
	return false
}

// appendable tries out whether a line at the end of the file becomes one entry
// more and changes nothing else, which is all that matters.
func (s *scanned) appendable(o Options) bool {
	probe := slices.Concat(s.text, []byte(s.next+s.indent+"- {undo: true}\n"))
	p, err := parse(s.path, filepath.Dir(s.path), probe, o)
	if err != nil || len(p.c.Log) != len(s.c.Log)+1 || p.lines != s.lines+1 {
		return false
	}
	p.c.Log = p.c.Log[:len(s.c.Log)]
	if len(p.c.Log) == 0 {
		p.c.Log = nil
	}
	return reflect.DeepEqual(p.c, s.c)
}

// moved lays the file out anew with its answers last, every other line as it is.
// It fails where the file does not consist of fields one under the other.
func (s *scanned) moved(o Options) (*scanned, bool) {
	lines := strings.SplitAfter(string(s.text), "\n")
	if n := len(lines) - 1; lines[n] == "" {
		lines = lines[:n]
	} else {
		lines[n] += "\n"
	}
	from, to, ok := s.section("answers", lines)
	if !ok {
		return nil, false
	}
	answers := slices.Clone(lines[from:to])
	if !strings.HasPrefix(strings.TrimLeft(lines[s.doc.Pos("answers").Line-1], " "), "-") {
		answers = s.blockForm(o) // a list in brackets
	}
	text := strings.Join(append(slices.Delete(slices.Clone(lines), from, to), answers...), "")
	m := &scanned{path: s.path, text: []byte(text)}
	p, err := m.parse(o, m.text)
	if err != nil {
		return nil, false
	}
	m.parsed = p
	m.layout()
	return m, reflect.DeepEqual(p.c, s.c) && m.appendable(o)
}

// section is the range of lines of a field at the top of the file.
func (s *scanned) section(name string, lines []string) (from, to int, ok bool) {
	var starts []int
	for i, line := range lines {
		if line[0] != ' ' && line[0] != '#' && line[0] != '-' && line[0] != '\n' && line[0] != '\r' {
			starts = append(starts, i)
		}
	}
	at := s.doc.KeyPos(name)
	i := slices.Index(starts, at.Line-1)
	if at.Column != 1 || i < 0 {
		return 0, 0, false
	}
	to = len(lines)
	if i+1 < len(starts) {
		to = starts[i+1]
		// Comments right above the next field belong to it.
		for to > starts[i]+1 && strings.HasPrefix(lines[to-1], "#") {
			to--
		}
	}
	return starts[i], to, true
}

// blockForm writes the entries one a line. Lines that replaced or were replaced
// are told by their outcome, the log.
func (s *scanned) blockForm(o Options) []string {
	out := []string{"answers:\n"}
	for i, e := range s.c.Log {
		if s.line[i] > 0 {
			out = append(out, string(entryLine("  ", e, o, 0)))
		}
	}
	return out
}
