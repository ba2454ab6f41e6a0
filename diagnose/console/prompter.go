package console

import (
	"context"
	"errors"
	"io"
	"os"
	"runtime"
	"strconv"

	"github.com/mattn/go-isatty"
	"golang.org/x/term"
)

// The two ways a conversation breaks off. Everything answered before is saved.
var (
	// ErrInterrupted is Ctrl-C, Ctrl-D in a terminal, or the end of the context.
	ErrInterrupted = errors.New("interrupted")
	// ErrEnded is the end of the input where lines are read.
	ErrEnded = errors.New("the input has ended")
)

// A Prompter shows text and asks for one thing at a time.
type Prompter interface {
	// Tell shows text, wrapped to the width and free of control characters.
	Tell(style Style, text string)
	// Select has one option chosen and returns its index.
	Select(ctx context.Context, q Question) (int, error)
	// Line has one line typed. A line that check turns away is asked for again,
	// with the reason shown; check may be nil.
	Line(ctx context.Context, prompt string, check func(line string) error) (string, error)
}

// Style is what a text is, as far as its looks depend on it. Colour only adds to
// the words: a caution says that it is one.
type Style int

// The styles of text.
const (
	Body Style = iota
	Heading
	Caution // a safety text
	Trouble // what went wrong with an entry
	Aside   // progress, hints
)

// Question is a choice among options.
type Question struct {
	Text    string
	Options []Option
	// Default is the option that Enter takes in a terminal: the answer given before, or 0.
	Default int
	// Fold names the options marked Aside as one, for a screen that cannot show them all.
	Fold string
}

// Option is one of the lines to choose from.
type Option struct {
	Text string
	// Note says behind the text what picking it means; "" for none.
	Note string
	// Key is the letter that picks the option in the plain form; options without one are numbered.
	Key string
	// ID picks it in the plain form too, for those who know it; "" for none.
	ID string
	// Aside marks what a question offers besides its answers.
	Aside bool
}

// line is the option on one line.
func (o Option) line() string {
	if o.Note == "" {
		return o.Text
	}
	return o.Text + ": " + o.Note
}

// marks are what picks each option when typed: its letter, or its number among
// those without one.
func (q Question) marks() []string {
	marks := make([]string, len(q.Options))
	number := 0
	for i, o := range q.Options {
		if marks[i] = o.Key; o.Key == "" {
			number++
			marks[i] = strconv.Itoa(number)
		}
	}
	return marks
}

// Options say how to talk to the person.
type Options struct {
	Plain  bool // numbered lines even on a terminal
	Colour bool // 16 colours at the most; no effect in the plain form
	ASCII  bool // spell every sign with ASCII
}

// FromEnvironment is what the environment asks for: ACCESSIBLE and TERM=dumb for
// plain lines, NO_COLOR for no colour, and a locale without UTF-8 for ASCII.
func FromEnvironment(getenv func(string) string) Options {
	o := Options{Colour: getenv("NO_COLOR") == ""}
	if accessible := getenv("ACCESSIBLE"); accessible != "" && accessible != "0" && accessible != "false" {
		o.Plain = true
	}
	if getenv("TERM") == "dumb" {
		o.Plain, o.Colour = true, false
	}
	o.ASCII = asciiLocale(getenv)
	return o
}

// CanPrompt tells whether a person sits at both ends: where not, a command asks
// for its answers by a file, by --dialogue or by --plain instead.
func CanPrompt(in, out *os.File) bool { return isTerminal(in) && isTerminal(out) }

func isTerminal(f *os.File) bool {
	return isatty.IsTerminal(f.Fd()) || isatty.IsCygwinTerminal(f.Fd())
}

// New gives the form of prompting that suits the two files: for a terminal whose
// cursor can be moved the one with arrow keys, plain lines for everything else. On
// Windows survey takes its keys from the console itself, past the filter that keeps
// Ctrl-D from taking the highlighted answer, so that plain lines serve there too.
func New(in, out *os.File, o Options) Prompter {
	steerable := runtime.GOOS != "windows" && isatty.IsTerminal(in.Fd()) && isatty.IsTerminal(out.Fd())
	width, _, err := term.GetSize(int(out.Fd()))
	if err != nil || width <= 0 {
		width = defaultColumns
		steerable = false // nobody knows where its lines end
	}
	if o.Plain || !steerable {
		return newPlain(in, out, width, o.ASCII, !isTerminal(in))
	}
	return newSurvey(in, out, o)
}

// NewPlain gives the plain form over any reader and writer. What is read is shown
// too, so that the output reads as the conversation it was.
func NewPlain(in io.Reader, out io.Writer, o Options) Prompter {
	return newPlain(in, out, defaultColumns, o.ASCII, true)
}

const (
	defaultColumns = 80
	// mostColumns keeps lines short enough to be read on a wide screen.
	mostColumns = 80
	// fewestColumns is the narrowest screen that text is still wrapped for.
	fewestColumns = 20
)

// columns is the width to wrap at; the last column stays free, where some terminals wrap early.
func columns(width int) int {
	return max(min(width, mostColumns+1)-1, fewestColumns)
}

func asciiLocale(getenv func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := getenv(name); v != "" {
			return v == "C" || v == "POSIX"
		}
	}
	return false // Windows names no locale and shows UTF-8
}

// ask runs a question that blocks until a key comes, and gives up on it when
// the context ends; the caller restores the terminal then.
func ask[T any](ctx context.Context, question func() (T, error)) (T, error) {
	type reply struct {
		value T
		err   error
	}
	var zero T
	if ctx.Err() != nil {
		return zero, ErrInterrupted
	}
	replies := make(chan reply, 1)
	go func() {
		value, err := question()
		replies <- reply{value, err}
	}()
	select {
	case r := <-replies:
		return r.value, r.err
	case <-ctx.Done():
		return zero, ErrInterrupted
	}
}
