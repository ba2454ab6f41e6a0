package bif

import (
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Read reads a network. file names it in errors, which have the form FILE:LINE:COLUMN.
func Read(r io.Reader, file string) (*Network, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	p := &parser{lexer: lexer{text: string(text), file: file, line: 1, column: 1}, n: &Network{}, rows: map[int]int{}}
	p.next()
	if err := p.parse(); err != nil {
		return nil, err
	}
	if err := p.n.Check(); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return p.n, nil
}

// token is a word, number or string, or one of the marks that separate them.
type token struct {
	text         string
	mark         bool
	line, column int
}

type lexer struct {
	text, file   string
	at           int
	line, column int
	tok          token // the one under the finger; text "" at the end
}

func (l *lexer) advance() {
	if l.text[l.at] == '\n' {
		l.line, l.column = l.line+1, 0
	}
	l.at++
	l.column++
}

func isSpace(c byte) bool { return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == ',' }

func isMark(c byte) bool {
	switch c {
	case '{', '}', '(', ')', '[', ']', '|', ';':
		return true
	}
	return false
}

// next moves to the next token. Commas part like space, as the format says.
func (l *lexer) next() {
	for l.at < len(l.text) {
		rest := l.text[l.at:]
		switch {
		case isSpace(rest[0]):
			l.advance()
		case len(rest) > 1 && rest[:2] == "//":
			for l.at < len(l.text) && l.text[l.at] != '\n' {
				l.advance()
			}
		case len(rest) > 1 && rest[:2] == "/*":
			l.comment()
		default:
			l.take()
			return
		}
	}
	l.tok = token{line: l.line, column: l.column}
}

// comment skips to past the next */, or to the end.
func (l *lexer) comment() {
	end := strings.Index(l.text[l.at+2:], "*/")
	if end < 0 {
		end = len(l.text) - l.at - 4
	}
	for stop := l.at + end + 4; l.at < stop; {
		l.advance()
	}
}

func (l *lexer) take() {
	t := token{line: l.line, column: l.column}
	start := l.at
	switch c := l.text[l.at]; {
	case isMark(c):
		t.mark = true
		l.advance()
	case c == '"':
		l.advance()
		for l.at < len(l.text) && l.text[l.at] != '"' {
			l.advance()
		}
		if l.at < len(l.text) {
			l.advance()
		}
	default:
		for l.at < len(l.text) && !isSpace(l.text[l.at]) && !isMark(l.text[l.at]) {
			l.advance()
		}
	}
	t.text = l.text[start:l.at]
	l.tok = t
}

type parser struct {
	lexer
	n    *Network
	rows map[int]int // by variable: rows filled in
}

func (p *parser) fail(format string, args ...any) error {
	return fmt.Errorf("%s:%d:%d: %s", p.file, p.tok.line, p.tok.column, fmt.Sprintf(format, args...))
}

func (p *parser) found() string {
	if p.tok.text == "" {
		return "the end of the file"
	}
	return strconv.Quote(p.tok.text)
}

// want takes one given token.
func (p *parser) want(text string) error {
	if p.tok.text != text {
		return p.fail("found %s, expected %q", p.found(), text)
	}
	p.next()
	return nil
}

// name takes a word.
func (p *parser) name(of string) (string, error) {
	if p.tok.text == "" || p.tok.mark {
		return "", p.fail("found %s, expected the name of a %s", p.found(), of)
	}
	s := p.tok.text
	p.next()
	return s, nil
}

func (p *parser) number() (float64, error) {
	v, err := strconv.ParseFloat(p.tok.text, 64)
	if err != nil {
		return 0, p.fail("found %s, expected a number", p.found())
	}
	p.next()
	return v, nil
}

// skipProperty takes a property up to its semicolon.
func (p *parser) skipProperty() error {
	for p.tok.text != ";" {
		if p.tok.text == "" {
			return p.fail("a property without its semicolon")
		}
		p.next()
	}
	p.next()
	return nil
}

func (p *parser) parse() error {
	if err := p.want("network"); err != nil {
		return err
	}
	if err := p.network(); err != nil {
		return err
	}
	for p.tok.text != "" {
		var err error
		switch p.tok.text {
		case "variable":
			err = p.variable()
		case "probability":
			err = p.probability()
		default:
			err = p.fail("found %s, expected variable or probability", p.found())
		}
		if err != nil {
			return err
		}
	}
	for i := range p.n.Variables {
		v := &p.n.Variables[i]
		if want := p.n.Rows(v); p.rows[i] != want {
			return p.fail("variable %s has %d rows of probabilities, expected %d", v.Name, p.rows[i], want)
		}
	}
	return nil
}

func (p *parser) network() (err error) {
	if p.n.Name, err = p.name("network"); err != nil {
		return err
	}
	if err := p.want("{"); err != nil {
		return err
	}
	for p.tok.text == "property" {
		p.next()
		if t := p.tok.text; len(t) > 1 && t[0] == '"' {
			p.n.Notes = append(p.n.Notes, t[1:len(t)-1])
		}
		if err := p.skipProperty(); err != nil {
			return err
		}
	}
	return p.want("}")
}

func (p *parser) variable() error {
	p.next()
	at := p.tok
	name, err := p.name("variable")
	if err != nil {
		return err
	}
	if p.n.Variable(name) >= 0 {
		p.tok = at
		return p.fail("variable %s stands twice", name)
	}
	v := Variable{Name: name}
	if err := p.want("{"); err != nil {
		return err
	}
	for p.tok.text != "}" {
		switch p.tok.text {
		case "property":
			err = p.skipProperty()
		case "type":
			err = p.states(&v)
		default:
			return p.fail("found %s, expected type or property", p.found())
		}
		if err != nil {
			return err
		}
	}
	p.next()
	p.n.Variables = append(p.n.Variables, v)
	return nil
}

func (p *parser) states(v *Variable) error {
	p.next()
	for _, t := range []string{"discrete", "["} {
		if err := p.want(t); err != nil {
			return err
		}
	}
	n, err := p.number()
	if err != nil {
		return err
	}
	for _, t := range []string{"]", "{"} {
		if err := p.want(t); err != nil {
			return err
		}
	}
	for p.tok.text != "}" {
		s, err := p.name("state")
		if err != nil {
			return err
		}
		v.States = append(v.States, s)
	}
	if float64(len(v.States)) != n || n == 0 {
		return p.fail("%d states, expected %v as declared and at least one", len(v.States), n)
	}
	p.next()
	return p.want(";")
}

func (p *parser) known(of string) (int, error) {
	at := p.tok
	name, err := p.name(of)
	if err != nil {
		return 0, err
	}
	i := p.n.Variable(name)
	if i < 0 {
		p.tok = at
		return 0, p.fail("no variable %s was declared before", name)
	}
	return i, nil
}

func (p *parser) probability() error {
	p.next()
	if err := p.want("("); err != nil {
		return err
	}
	i, err := p.known("variable")
	if err != nil {
		return err
	}
	v := &p.n.Variables[i]
	if len(v.States) == 0 {
		return p.fail("variable %s has no states", v.Name)
	}
	if v.P != nil {
		return p.fail("a second table for variable %s", v.Name)
	}
	if p.tok.text == "|" {
		p.next()
		for p.tok.text != ")" {
			parent, err := p.known("parent")
			if err != nil {
				return err
			}
			if len(p.n.Variables[parent].States) == 0 {
				return p.fail("variable %s has no states", p.n.Variables[parent].Name)
			}
			v.Parents = append(v.Parents, parent)
		}
	}
	if err := p.want(")"); err != nil {
		return err
	}
	size := len(v.States)
	for _, parent := range v.Parents {
		if size *= len(p.n.Variables[parent].States); size > maxFigures {
			return p.fail("variable %s needs more than %d figures", v.Name, maxFigures)
		}
	}
	v.P = make([]float64, size)
	if err := p.want("{"); err != nil {
		return err
	}
	filled := make([]bool, p.n.Rows(v))
	for p.tok.text != "}" {
		if err := p.row(i, filled); err != nil {
			return err
		}
	}
	p.next()
	return nil
}

// row takes one row of a table: its parents' states and the figures.
func (p *parser) row(i int, filled []bool) error {
	v := &p.n.Variables[i]
	row := 0
	switch p.tok.text {
	case "property":
		return p.skipProperty()
	case "table":
		if len(v.Parents) > 0 {
			return p.fail("a table for a variable with parents: expected one row for each combination of their states")
		}
		p.next()
	case "(":
		p.next()
		for _, parent := range v.Parents {
			at := p.tok
			s, err := p.name("state")
			if err != nil {
				return err
			}
			k := p.n.Variables[parent].State(s)
			if k < 0 {
				p.tok = at
				return p.fail("%s is no state of %s", s, p.n.Variables[parent].Name)
			}
			row = row*len(p.n.Variables[parent].States) + k
		}
		if err := p.want(")"); err != nil {
			return err
		}
	default:
		return p.fail("found %s, expected a row of probabilities", p.found())
	}
	if row >= len(filled) || filled[row] {
		return p.fail("a row of variable %s stands twice", v.Name)
	}
	for k := range v.States {
		x, err := p.number()
		if err != nil {
			return err
		}
		v.P[row*len(v.States)+k] = x
	}
	filled[row] = true
	p.rows[i]++
	return p.want(";")
}
