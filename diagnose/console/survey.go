package console

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
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
	told   int         // lines shown since the last answer
	knows  bool        // which keys choose: said once
}

func newSurvey(in, out *os.File, o Options) *surveyPrompter {
	core.DisableColor = !o.Colour // survey keeps both for the whole program
	survey.SelectQuestionTemplate = selectTemplate
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
	if style == Heading {
		s.told = 0 // what was said of the step before may leave the screen
	}
	for _, line := range wrap(s.show(text), columns(width)) {
		s.told++
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
	// aroundOptions is what survey needs besides the options: the line about keys
	// and the one that the cursor rests on.
	aroundOptions = 2
	fewestOptions = 3
)

// selectTemplate shows the options under a question that was told already, in
// whole words: survey itself breaks a long question in the middle of one.
const selectTemplate = `
{{- define "option"}}
    {{- if eq .SelectedIndex .CurrentIndex }}{{color .Config.Icons.SelectFocus.Format }}{{ .Config.Icons.SelectFocus.Text }} {{else}}{{color "default"}}  {{end}}
    {{- .CurrentOpt.Value}}
    {{- color "reset"}}
{{end}}
{{- if .ShowAnswer}}{{color "cyan"}}> {{.Answer}}{{color "reset"}}{{"\n"}}
{{- else}}
  {{- if .FilterMessage}}{{color "cyan"}}search:{{.FilterMessage}}{{color "reset"}}{{"\n"}}
  {{- else if .Message}}{{color "cyan"}}{{.Message}}{{color "reset"}}{{"\n"}}{{end}}
  {{- range $ix, $option := .PageEntries}}
    {{- template "option" $.IterateOption $ix $option}}
  {{- end}}
{{- end}}`

func (s *surveyPrompter) Select(ctx context.Context, q Question) (int, error) {
	s.question(q.Text)
	width, rows := s.size()
	texts := make([]string, len(q.Options))
	for i, o := range q.Options {
		texts[i] = s.option(o.line(), width)
	}
	shown := make([]int, len(q.Options))
	for i := range shown {
		shown[i] = i
	}
	if lines(texts) > rows-aroundOptions-s.told && q.Fold != "" {
		shown = slices.DeleteFunc(shown, func(i int) bool { return q.Options[i].Aside })
	}
	if len(shown) == len(q.Options) {
		i, err := s.pick(ctx, texts, q.Default)
		return i, err
	}
	folded := make([]string, len(shown), len(shown)+1)
	for k, i := range shown {
		folded[k] = texts[i]
	}
	k, err := s.pick(ctx, append(folded, s.option(q.Fold, width)), max(slices.Index(shown, q.Default), 0))
	if err != nil {
		return 0, err
	}
	if k < len(shown) {
		return shown[k], nil
	}
	asides := Question{Text: q.Fold, Options: []Option{{Text: backToQuestion}}}
	var at []int
	for i, o := range q.Options {
		if o.Aside {
			asides.Options = append(asides.Options, o)
			at = append(at, i)
		}
	}
	if k, err = s.Select(ctx, asides); err != nil {
		return 0, err
	}
	if k == 0 {
		return s.Select(ctx, q)
	}
	return at[k-1], nil
}

// question shows what is asked.
func (s *surveyPrompter) question(text string) {
	width, _ := s.size()
	for _, line := range wrap(s.show(text), columns(width)) {
		s.told++
		if s.colour && line != "" {
			line = paint[Heading] + line + "\x1b[0m"
		}
		fmt.Fprintln(s.screen, line)
	}
}

// option is a line to pick, broken between words behind the mark before it.
func (s *surveyPrompter) option(text string, width int) string {
	const mark = 2
	return strings.Join(wrap(cleanLine(s.show(text)), max(columns(width)-mark, 1)), "\n"+strings.Repeat(" ", mark))
}

func lines(texts []string) int {
	n := 0
	for _, t := range texts {
		n += 1 + strings.Count(t, "\n")
	}
	return n
}

// pick has one of the texts chosen with the arrow keys.
func (s *surveyPrompter) pick(ctx context.Context, texts []string, first int) (int, error) {
	_, rows := s.size()
	page := pageOf(texts, rows-aroundOptions)
	hint := ""
	switch {
	case page < len(texts):
		hint = fmt.Sprintf("(%d choices, more below; type to search)", len(texts))
	case !s.knows:
		hint = "(arrow keys move, Enter takes, typing searches)"
	}
	s.knows, s.told = true, 0
	prompt := &survey.Select{
		Message: hint, Options: texts, Default: min(max(first, 0), len(texts)-1), PageSize: page,
		Filter: func(typed, text string, _ int) bool {
			return strings.Contains(strings.ToLower(strings.Join(strings.Fields(text), " ")), strings.ToLower(typed))
		},
	}
	chosen, err := ask(ctx, func() (int, error) {
		var i int
		err := survey.AskOne(prompt, &i, survey.WithStdio(s.in, s.out, s.out), survey.WithIcons(func(icons *survey.IconSet) {
			icons.SelectFocus.Text = ">"
		}))
		return i, err
	})
	return chosen, s.ended(err)
}

// pageOf is how many options go into so many lines at once, whichever they are;
// survey itself gives no sign that there are more.
func pageOf(texts []string, room int) int {
	if lines(texts) <= room {
		return len(texts)
	}
	for page := min(len(texts)-1, room); page > fewestOptions; page-- {
		most := 0
		for i := 0; i+page <= len(texts); i++ {
			most = max(most, lines(texts[i:i+page]))
		}
		if most <= room {
			return page
		}
	}
	return min(fewestOptions, len(texts))
}

func (s *surveyPrompter) Line(ctx context.Context, prompt string, check func(string) error) (string, error) {
	width, height := s.size()
	first, rest, _ := strings.Cut(prompt, "\n")
	s.question(first)
	if rest != "" {
		s.Tell(Body, rest)
	}
	s.told = 0
	fd := int(s.in.Fd()) // now: an interrupted question may outlive the file
	line, err := ask(ctx, func() (string, error) {
		before, err := term.MakeRaw(fd)
		if err != nil {
			return "", fmt.Errorf("the terminal cannot be read: %w", err)
		}
		defer func() { _ = term.Restore(fd, before) }()
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
