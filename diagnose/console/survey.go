package console

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/AlecAivazis/survey/v2"
	"github.com/AlecAivazis/survey/v2/core"
	"github.com/AlecAivazis/survey/v2/terminal"
	"golang.org/x/term"
)

// surveyPrompter asks on a terminal: choices by survey, with arrow keys and a filter,
// typed lines by x/term's editor. survey's own line input asks the terminal where
// its cursor is and waits for ever on one that does not answer, so it is not used.
type surveyPrompter struct {
	in     *keyFilter
	out    *os.File
	screen io.Writer // out, its escape codes carried out on every system
	colour bool
	ascii  bool
	normal *term.State // as it was found
}

func newSurvey(in, out *os.File, o Options) *surveyPrompter {
	core.DisableColor = !o.Colour // survey keeps this for the whole program
	normal, _ := term.GetState(int(in.Fd()))
	return &surveyPrompter{
		in: &keyFilter{in: in}, out: out, screen: terminal.NewAnsiStdout(out),
		colour: o.Colour, ascii: o.ASCII, normal: normal,
	}
}

// paint holds the escape codes of the styles, from the 16 colours.
var paint = map[Style]string{Heading: "\x1b[1m", Caution: "\x1b[1;33m", Trouble: "\x1b[33m", Aside: "\x1b[36m"}

func (s *surveyPrompter) Tell(style Style, text string) {
	width, _ := s.size()
	for _, line := range wrap(s.show(text), columns(width)) {
		if code := paint[style]; s.colour && code != "" && line != "" {
			line = code + line + "\x1b[0m"
		}
		fmt.Fprintln(s.screen, line)
	}
}

func (s *surveyPrompter) show(text string) string {
	text = Clean(text)
	if s.ascii {
		text = toASCII(text)
	}
	return text
}

func (s *surveyPrompter) size() (width, height int) {
	width, height, err := term.GetSize(int(s.out.Fd()))
	if err != nil || width <= 0 || height <= 0 {
		return defaultColumns, defaultRows
	}
	return width, height
}

const (
	defaultRows = 24
	// aroundOptions is what survey needs besides the options: the question over
	// two lines, the hint and the line the cursor rests on.
	aroundOptions = 4
	fewestOptions = 3
)

func (s *surveyPrompter) Select(ctx context.Context, q Question) (int, error) {
	_, rows := s.size()
	message, page := pageOf(s.show(q.Text), len(q.Options), rows)
	texts := make([]string, len(q.Options))
	for i, o := range q.Options {
		texts[i] = cleanLine(s.show(o.Text))
	}
	prompt := &survey.Select{Message: message, Options: texts, Default: min(max(q.Default, 0), len(texts)-1), PageSize: page}
	chosen, err := ask(ctx, func() (int, error) {
		var i int
		err := survey.AskOne(prompt, &i, survey.WithStdio(s.in, s.out, s.out), survey.WithIcons(func(icons *survey.IconSet) {
			icons.SelectFocus.Text = ">"
			icons.Question.Text = "?"
		}))
		return i, err
	})
	return chosen, s.ended(err)
}

// pageOf fits the options to the screen, and says so where they do not fit:
// survey itself gives no sign that there are more.
func pageOf(message string, options, rows int) (text string, page int) {
	message = strings.Join(strings.Fields(message), " ")
	page = min(options, max(rows-aroundOptions, fewestOptions))
	if page < options {
		message += fmt.Sprintf(" (%d choices, more below)", options)
	}
	return message, page
}

func (s *surveyPrompter) Line(ctx context.Context, prompt string, check func(string) error) (string, error) {
	width, height := s.size()
	for i, line := range wrap(s.show(prompt), columns(width)) {
		if code := paint[Heading]; s.colour && i == 0 {
			line = code + line + "\x1b[0m"
		}
		fmt.Fprintln(s.screen, line)
	}
	line, err := ask(ctx, func() (string, error) {
		before, err := term.MakeRaw(int(s.in.Fd()))
		if err != nil {
			return "", fmt.Errorf("the terminal cannot be read: %w", err)
		}
		defer func() { _ = term.Restore(int(s.in.Fd()), before) }()
		editor := term.NewTerminal(struct {
			io.Reader
			io.Writer
		}{s.in, s.screen}, "> ")
		if err := editor.SetSize(width, height); err != nil {
			return "", fmt.Errorf("the terminal cannot be written: %w", err)
		}
		for {
			typed, err := editor.ReadLine()
			if err != nil { // Ctrl-C and a closed terminal alike
				return "", err
			}
			typed = strings.TrimSpace(typed)
			if check == nil {
				return typed, nil
			}
			problem := check(typed)
			if problem == nil {
				return typed, nil
			}
			for _, line := range wrap(s.show(problem.Error()), columns(width)) {
				fmt.Fprintln(editor, line)
			}
		}
	})
	return line, s.ended(err)
}

// ended turns the ways a terminal breaks off into ours, with the terminal as it
// was found and the cursor at the head of a line.
func (s *surveyPrompter) ended(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, terminal.InterruptErr), errors.Is(err, io.EOF), errors.Is(err, ErrInterrupted), errors.Is(err, os.ErrClosed):
		err = ErrInterrupted
	default:
		err = fmt.Errorf("could not ask: %w", err)
	}
	if s.normal != nil {
		_ = term.Restore(int(s.in.Fd()), s.normal)
	}
	fmt.Fprint(s.screen, "\x1b[?25h\n") // survey hides the cursor while it asks
	return err
}
