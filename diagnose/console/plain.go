package console

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
)

// plain asks by numbered lines. It moves no cursor and shows no colour, and what
// it prints reads well aloud.
type plain struct {
	in    *lineReader
	out   io.Writer
	width int
	ascii bool
	echo  bool // lines are shown as they are read, since no terminal does it
}

func newPlain(in io.Reader, out io.Writer, width int, ascii, echo bool) *plain {
	return &plain{in: newLineReader(in, longestTyped), out: out, width: columns(width), ascii: ascii, echo: echo}
}

// longestTyped is more than anyone types as one answer, in bytes.
const longestTyped = 4096

func (p *plain) Tell(_ Style, text string) {
	for _, line := range wrap(p.show(text), p.width) {
		fmt.Fprintln(p.out, line)
	}
}

func (p *plain) show(text string) string {
	text = Clean(text)
	if p.ascii {
		text = toASCII(text)
	}
	return text
}

func (p *plain) Select(ctx context.Context, q Question) (int, error) {
	p.list(q)
	for {
		line, err := p.read(ctx, "> ")
		if err != nil {
			return 0, err
		}
		if line == "" || line == "?" {
			p.list(q)
			continue
		}
		if i, ok := q.pick(line); ok {
			return i, nil
		}
		p.Tell(Trouble, fmt.Sprintf("%q is not one of the choices: type %s, or ? to see them again", line, q.choices()))
	}
}

func (p *plain) list(q Question) {
	p.Tell(Body, q.Text)
	marks := q.marks()
	for i, o := range q.Options {
		mark := marks[i]
		text := cleanLine(o.line())
		if p.ascii {
			text = toASCII(text)
		}
		for i, line := range wrap(text, p.width-5) {
			if i == 0 {
				fmt.Fprintf(p.out, "%3s. %s\n", mark, line)
			} else {
				fmt.Fprintf(p.out, "     %s\n", line)
			}
		}
	}
}

func (p *plain) Line(ctx context.Context, prompt string, check func(string) error) (string, error) {
	p.Tell(Body, prompt)
	for {
		line, err := p.read(ctx, "> ")
		if err != nil {
			return "", err
		}
		if check == nil {
			return line, nil
		}
		problem := check(line)
		if problem == nil {
			return line, nil
		}
		p.Tell(Trouble, problem.Error())
	}
}

// read takes one line. One too long for an answer is asked for again.
func (p *plain) read(ctx context.Context, mark string) (string, error) {
	for {
		fmt.Fprint(p.out, mark)
		line, err := ask(ctx, p.in.next)
		switch {
		case errors.Is(err, errLongLine):
			if p.echo {
				fmt.Fprintln(p.out)
			}
			p.Tell(Trouble, fmt.Sprintf("that line is too long: type at most %d characters", longestTyped))
		case err != nil:
			fmt.Fprintln(p.out)
			return "", err
		default:
			line = strings.TrimSpace(withoutKeys(line))
			if p.echo {
				fmt.Fprintln(p.out, p.show(line))
			}
			return line, nil
		}
	}
}

// pick finds the option that a typed line stands for: its number, its letter,
// its id or its text.
func (q Question) pick(line string) (int, bool) {
	for i, mark := range q.marks() {
		if strings.EqualFold(strings.TrimSuffix(line, "."), mark) {
			return i, true
		}
	}
	for i, o := range q.Options {
		if o.ID != "" && strings.EqualFold(line, o.ID) || strings.EqualFold(line, cleanLine(o.Text)) {
			return i, true
		}
	}
	return 0, false
}

// choices says what can be typed: "1 to 3, d, w or q".
func (q Question) choices() string {
	numbered := 0
	var marks []string
	for _, o := range q.Options {
		if o.Key == "" {
			numbered++
		} else {
			marks = append(marks, o.Key)
		}
	}
	switch {
	case numbered == 1:
		marks = append([]string{"1"}, marks...)
	case numbered == 2:
		marks = append([]string{"1", "2"}, marks...)
	case numbered > 1:
		marks = append([]string{fmt.Sprintf("1 to %d", numbered)}, marks...)
	}
	if len(marks) < 2 {
		return strings.Join(marks, "")
	}
	return strings.Join(marks[:len(marks)-1], ", ") + " or " + marks[len(marks)-1]
}

// errLongLine is a line longer than the limit; the whole of it has been read past.
var errLongLine = errors.New("the line is too long")

// lineReader reads lines of bounded length.
type lineReader struct {
	in   *bufio.Reader
	most int // bytes
}

func newLineReader(in io.Reader, most int) *lineReader {
	return &lineReader{in: bufio.NewReader(in), most: most}
}

// next reads one line without its end. The last line may lack its end; after it
// comes [ErrEnded].
func (l *lineReader) next() (string, error) {
	var line []byte
	long := false
	for {
		part, err := l.in.ReadSlice('\n')
		if long = long || len(line)+len(part) > l.most+len("\r\n"); !long {
			line = append(line, part...)
		}
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			continue
		case err != nil && !errors.Is(err, io.EOF) && len(line) == 0:
			return "", fmt.Errorf("reading the answer: %w", err)
		case err != nil && len(line) == 0 && !long:
			return "", ErrEnded
		case long:
			return "", errLongLine
		}
		text := strings.TrimSuffix(strings.TrimSuffix(string(line), "\n"), "\r")
		if len(text) > l.most {
			return "", errLongLine
		}
		return text, nil
	}
}
