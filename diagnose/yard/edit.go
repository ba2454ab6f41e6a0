package yard

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"loopfault/kb/strictyaml"
)

// Update is what a finished repair adds to a map.
type Update struct {
	Features []Feature // new splices, a relaid stretch
	Baseline *Baseline // the readings of the acceptance walk; nil keeps the old
}

// Apply writes the update into the text of a yard file and leaves every other
// byte as its owner wrote it: comments, order, spacing. An old baseline stays
// in the file as a comment. What comes out has been read back and holds exactly
// the update.
func (u Update) Apply(file string, data []byte) ([]byte, error) {
	before, err := Parse(file, data)
	if err != nil {
		return nil, err
	}
	text := sheet{file: file, data: data, newline: "\n"}
	if bytes.Contains(data, []byte("\r\n")) {
		text.newline = "\r\n"
	}
	for _, f := range u.Features {
		if err := text.addItem("features", f.flow(before.Units())); err != nil {
			return nil, err
		}
	}
	if u.Baseline != nil {
		if err := text.replace("baseline", u.Baseline.flow(before.Units())); err != nil {
			return nil, err
		}
	}
	after, err := Parse(file, text.data)
	if err != nil {
		return nil, fmt.Errorf("the yard file could not be added to safely; it was left as it was: %w", err)
	}
	if want := u.on(before); !bytes.Equal(after.Marshal(), want.Marshal()) {
		return nil, errors.New("the yard file could not be added to safely; it was left as it was")
	}
	return text.data, nil
}

// on is the map as it should read afterwards.
func (u Update) on(m *Map) *Map {
	updated := *m
	updated.Features = append(append([]Feature{}, m.Features...), u.Features...)
	if u.Baseline != nil {
		updated.Baseline = u.Baseline
	}
	updated.findFeatures()
	// What is written has eleven digits; compare what reads back.
	again, err := Parse("", updated.Marshal())
	if err != nil {
		return &updated
	}
	return again
}

// sheet is a YAML text under the pen.
type sheet struct {
	file    string
	data    []byte
	newline string
}

// section is where the value of a top-level field stands, in bytes.
type section struct {
	key   int // start of the line that holds the field's name
	value int // start of the value
	end   int // behind the last line that belongs to the value
}

func (s *sheet) find(field string) (section, bool, error) {
	doc, err := strictyaml.Parse(s.file, s.data)
	if err != nil {
		return section{}, false, err
	}
	if !doc.Has(field) {
		return section{}, false, nil
	}
	lines := s.lines()
	keyLine := doc.KeyPos(field).Line
	at := doc.Pos(field)
	next := len(lines)
	for _, name := range topFields {
		if doc.Has(name) {
			if line := doc.KeyPos(name).Line; line > keyLine && line-1 < next {
				next = line - 1
			}
		}
	}
	// Blank and comment lines before the next field belong to that field.
	last := next
	for last > keyLine && isBlankOrComment(lines[last-1].text) {
		last--
	}
	return section{
		key:   lines[keyLine-1].start,
		value: lines[at.Line-1].byteOf(at.Column),
		end:   lines[last-1].end,
	}, true, nil
}

// topFields are the fields of a yard file.
var topFields = []string{"yard", "wire", "transmitter", "installed", "soil", "lead_in", "loop", "area", "features", "baseline"}

type sheetLine struct {
	start, end int // end is behind the line's own newline
	text       string
}

// byteOf is the place in the file of a column, which counts characters.
func (l sheetLine) byteOf(column int) int {
	at := l.start
	text := strings.TrimPrefix(l.text, "\ufeff")
	at += len(l.text) - len(text)
	for i := range text {
		if column == 1 {
			return at + i
		}
		column--
	}
	return at + len(text)
}

func (s *sheet) lines() []sheetLine {
	var lines []sheetLine
	for start := 0; start < len(s.data); {
		end := len(s.data)
		if i := bytes.IndexByte(s.data[start:], '\n'); i >= 0 {
			end = start + i + 1
		}
		lines = append(lines, sheetLine{start, end, string(s.data[start:end])})
		start = end
	}
	return lines
}

func isBlankOrComment(line string) bool {
	line = strings.TrimSpace(line)
	return line == "" || strings.HasPrefix(line, "#")
}

// addItem adds an item to a list that may be in flow style, in block style,
// unknown or absent.
func (s *sheet) addItem(field, item string) error {
	at, ok, err := s.find(field)
	if err != nil {
		return err
	}
	if !ok {
		s.append(field + ":" + s.newline + "  - " + item)
		return nil
	}
	value := string(s.data[at.value:at.end])
	switch {
	case strings.HasPrefix(value, "["):
		end := flowEnd(value)
		if end < 0 {
			return errors.New("a list without an end")
		}
		inside := strings.TrimRight(value[1:end], " \t\r\n")
		switch {
		case strings.TrimSpace(inside) == "":
			s.put(at.value+1, at.value+end, item)
		case strings.HasSuffix(inside, ","):
			s.put(at.value+1+len(inside), at.value+1+len(inside), " "+item)
		default:
			s.put(at.value+1+len(inside), at.value+1+len(inside), ", "+item)
		}
	case strings.HasPrefix(value, "-"):
		start := bytes.LastIndexByte(s.data[:at.value], '\n') + 1
		indent := string(s.data[start:at.value])
		line := indent + "- " + item + s.newline
		if at.end > 0 && s.data[at.end-1] != '\n' {
			line = s.newline + strings.TrimSuffix(line, s.newline)
		}
		s.put(at.end, at.end, line)
	case strings.HasPrefix(value, unknown):
		s.put(at.value, at.value+len(unknown), "["+item+"]")
	default:
		return fmt.Errorf("the %s are written in a way that cannot be added to", field)
	}
	return nil
}

// replace puts a flow value in place of a field's, whose old lines become
// comments, except where the field only said that nobody knows.
func (s *sheet) replace(field, value string) error {
	at, ok, err := s.find(field)
	if err != nil {
		return err
	}
	line := field + ": " + value + s.newline
	if !ok {
		s.append(strings.TrimSuffix(line, s.newline))
		return nil
	}
	old := string(s.data[at.key:at.end])
	var kept strings.Builder
	if !strings.HasPrefix(string(s.data[at.value:at.end]), unknown) {
		fmt.Fprintf(&kept, "# before:%s", s.newline)
		for l := range strings.Lines(old) {
			if l = strings.TrimRight(l, "\r\n"); l != "" {
				l = " " + l
			}
			kept.WriteString("#" + l + s.newline)
		}
	}
	s.put(at.key, at.end, kept.String()+line)
	return nil
}

// append adds a line at the end of the file.
func (s *sheet) append(line string) {
	if n := len(s.data); n > 0 && s.data[n-1] != '\n' {
		line = s.newline + line
	}
	s.put(len(s.data), len(s.data), line+s.newline)
}

func (s *sheet) put(from, to int, text string) {
	s.data = bytes.Join([][]byte{s.data[:from], []byte(text), s.data[to:]}, nil)
}

// flowEnd finds the bracket that closes the flow value at the head of s, or -1.
func flowEnd(s string) int {
	depth := 0
	for i := 0; i < len(s); i++ {
		switch c := s[i]; c {
		case '[', '{':
			depth++
		case ']', '}':
			if depth--; depth == 0 {
				return i
			}
		case '"', '\'':
			// A quote opens a text only at the head of a value; 3' 6" is none.
			if i == 0 || !strings.ContainsRune(" \t\n[{,:", rune(s[i-1])) {
				continue
			}
			for i++; i < len(s); i++ {
				if s[i] == '\\' && c == '"' {
					i++
				} else if s[i] == c {
					if c == '\'' && i+1 < len(s) && s[i+1] == c {
						i++
						continue
					}
					break
				}
			}
		case '#':
			if i > 0 && (s[i-1] == ' ' || s[i-1] == '\t' || s[i-1] == '\n') {
				for i < len(s) && s[i] != '\n' {
					i++
				}
			}
		}
	}
	return -1
}
