package console

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/AlecAivazis/survey/v2"
	"github.com/AlecAivazis/survey/v2/core"
	"github.com/AlecAivazis/survey/v2/terminal"
	"github.com/mattn/go-runewidth"
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
	asked  int         // of them, the question's
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
    {{- .CurrentOpt.Value}}{{ $.GetDescription .CurrentOpt }}
    {{- color "reset"}}
{{end}}
{{- if .ShowAnswer}}{{color "cyan"}}> {{.Answer}}{{color "reset"}}{{"\n"}}
{{- else}}
  {{- if .FilterMessage}}{{color "cyan"}}search:{{.FilterMessage}}{{color "reset"}}{{"\n"}}
  {{- else if .Message}}{{color "cyan"}}{{.Message}}{{color "reset"}}{{"\n"}}{{end}}
  {{- range $ix, $option := .PageEntries}}
    {{- template "option" $.IterateOption $ix $option}}
  {{- else}}  (no such choice; Backspace brings them back){{"\n"}}
  {{- end}}
{{- end}}`

func (s *surveyPrompter) Select(ctx context.Context, q Question) (int, error) {
	s.question(q.Text)
	_, rows := s.size()
	at := make([]int, len(q.Options)) // where each option shown stands in the question
	for i := range at {
		at[i] = i
	}
	all := s.menuOf(q, at)
	if lines(all.texts) <= rows-aroundOptions-s.told || q.Fold == "" {
		i, err := s.pick(ctx, all, q.Default)
		return i, err
	}
	at = slices.DeleteFunc(at, func(i int) bool { return q.Options[i].Aside })
	answers := s.menuOf(q, at)
	if lines(answers.texts)+len(wrap(q.Fold, fewestColumns)) > rows-aroundOptions-s.asked {
		// A narrow screen: all answers at once say more than some with their meaning.
		q.Options = slices.Clone(q.Options)
		for i := range q.Options {
			q.Options[i].Note = ""
		}
		answers = s.menuOf(q, at)
	}
	fold := len(answers.at)
	answers.add(s.option("", q.Fold), -1, q.Fold, "")
	for i, o := range q.Options {
		if o.Aside { // its letter takes the shortest way
			answers.keys[strings.ToLower(o.Key)] = fold
			answers.behind[strings.ToLower(o.Key)] = i
		}
	}
	k, err := s.pick(ctx, answers, max(slices.Index(answers.at, q.Default), 0))
	if err != nil {
		return 0, err
	}
	if k < fold {
		return answers.at[k], nil
	}
	if i, ok := answers.behind[answers.typed]; ok {
		return i, nil
	}
	asides := Question{Options: []Option{{Text: backToQuestion, Key: keyCancel}}}
	var behind []int
	for i, o := range q.Options {
		if o.Aside {
			asides.Options = append(asides.Options, o)
			behind = append(behind, i)
		}
	}
	if k, err = s.Select(ctx, asides); err != nil {
		return 0, err
	}
	if k == 0 {
		return s.Select(ctx, q)
	}
	return behind[k-1], nil
}

// menu is the options of a question as they are shown.
type menu struct {
	texts  []string       // with their marks, broken into lines
	at     []int          // of each in the question
	plain  []string       // what a search looks through
	keys   map[string]int // the option that a mark picks
	behind map[string]int // the option of the question that a letter of the fold stands for
	typed  string         // the latest search, in lower case
}

func (s *surveyPrompter) menuOf(q Question, at []int) *menu {
	m := &menu{keys: map[string]int{}, behind: map[string]int{}}
	marks := q.marks()
	for _, i := range at {
		m.add(s.option(marks[i]+". ", q.Options[i].line()), i, q.Options[i].line(), marks[i])
	}
	return m
}

func (m *menu) add(text string, at int, plain, mark string) {
	if mark != "" {
		m.keys[strings.ToLower(mark)] = len(m.texts)
	}
	m.texts, m.at, m.plain = append(m.texts, text), append(m.at, at), append(m.plain, strings.ToLower(cleanLine(plain)))
}

// matches tells whether an option fits what is typed: the mark of one picks that
// one alone, and less than a word finds none, so that a letter never takes an option
// for a word in it: "d", where it is no mark, is not "Done".
func (m *menu) matches(typed string, option int) bool {
	m.typed = strings.ToLower(strings.TrimSpace(typed))
	if only, ok := m.keys[m.typed]; ok {
		return option == only
	}
	if n := utf8.RuneCountInString(m.typed); n > 0 && n < fewestSearched {
		return false
	}
	return strings.Contains(m.plain[option], m.typed)
}

// fewestSearched is how many letters a search takes.
const fewestSearched = 3

// question shows what is asked.
func (s *surveyPrompter) question(text string) {
	s.asked = 0
	if text == "" {
		return
	}
	width, _ := s.size()
	for _, line := range wrap(s.show(text), columns(width)) {
		s.told++
		s.asked++
		if s.colour && line != "" {
			line = paint[Heading] + line + "\x1b[0m"
		}
		fmt.Fprintln(s.screen, line)
	}
}

// option is a line to pick behind its mark, broken between words.
func (s *surveyPrompter) option(mark, text string) string {
	width, _ := s.size()
	hang := strings.Repeat(" ", runewidth.StringWidth(mark))
	broken := wrap(cleanLine(s.show(text)), max(columns(width)-pointer-len(hang), 1))
	return mark + strings.Join(broken, "\n"+strings.Repeat(" ", pointer)+hang)
}

// pointer is the room before each option for the mark of the one that Enter takes.
const pointer = 2

func lines(texts []string) int {
	n := 0
	for _, t := range texts {
		n += 1 + strings.Count(t, "\n")
	}
	return n
}

// pick has one of the options chosen: with the arrow keys, or by typing its mark
// or some of its words.
func (s *surveyPrompter) pick(ctx context.Context, m *menu, first int) (int, error) {
	_, rows := s.size()
	page := pageOf(m.texts, rows-aroundOptions-s.asked)
	hint := ""
	switch {
	case page < len(m.texts):
		hint = fmt.Sprintf("(%d choices, more below)", len(m.texts))
	case !s.knows:
		hint = "(arrows, number or letter; then Enter)"
	}
	s.knows, s.told = true, 0
	prompt := &survey.Select{
		Message: hint, Options: m.texts, Default: min(max(first, 0), len(m.texts)-1), PageSize: page,
		Filter: func(typed, _ string, option int) bool { return m.matches(typed, option) },
		// Called as the options are shown: what is searched for is told again by the
		// Filter, if there is a search left when Enter is pressed.
		Description: func(string, int) string { m.typed = ""; return "" },
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
