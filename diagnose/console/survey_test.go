//go:build !windows

// Windows has no pseudo-terminal to test with; survey reads its console there by
// another way, and the plain form is tested everywhere.

package console

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	expect "github.com/Netflix/go-expect"
	"github.com/creack/pty"
	"github.com/hinshun/vt10x"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"

	"loopfault/diagnose"
)

// screenOf is a virtual terminal of 80 by 24 with a person at its keys.
func screenOf(t *testing.T) *expect.Console {
	t.Helper()
	ptm, pts, err := pty.Open()
	require.NoError(t, err)
	c, err := expect.NewConsole(expect.WithStdin(ptm), expect.WithStdout(vt10x.New(vt10x.WithWriter(pts), vt10x.WithSize(80, 24))),
		expect.WithCloser(ptm, pts), expect.WithDefaultTimeout(20*time.Second))
	require.NoError(t, err)
	t.Cleanup(func() { _ = c.Close() })
	require.NoError(t, pty.Setsize(c.Tty(), &pty.Winsize{Rows: 24, Cols: 80}))
	// survey prints a question before it changes the mode, so that an early key
	// could still meet the line discipline.
	_, err = term.MakeRaw(int(c.Tty().Fd()))
	require.NoError(t, err)
	return c
}

// step is what the person waits to see and then types.
type step struct{ see, keys string }

// play has the person go through the steps while ask runs at the terminal.
func play(t *testing.T, steps []step, ask func(p Prompter) error) error {
	t.Helper()
	c := screenOf(t)
	done := make(chan error, 1)
	go func() {
		for _, s := range steps {
			if s.see != "" {
				if _, err := c.ExpectString(s.see); err != nil {
					done <- err
					return
				}
			}
			if _, err := c.Send(s.keys); err != nil {
				done <- err
				return
			}
		}
		_, err := c.ExpectEOF() // read on, or the terminal's answers stop flowing
		done <- err
	}()
	err := ask(newSurvey(c.Tty(), c.Tty(), Options{}))
	require.NoError(t, c.Tty().Close())
	require.NoError(t, <-done)
	return err
}

func TestSurveySelect(t *testing.T) {
	for name, tt := range map[string]struct {
		keys string
		want int
		err  error
	}{
		"enter takes the first":            {"\r", 0, nil},
		"down and enter":                   {"\x1b[B\r", 1, nil},
		"typing filters":                   {"none\r", 2, nil},
		"a number picks":                   {"2\r", 1, nil},
		"a letter picks, not the words":    {"w\r", 4, nil},
		"a mark that none has":             {"7\x7f\r", 0, nil},
		"a letter that is no mark":         {"o\r\x7f2\r", 1, nil}, // though it is in words
		"ctrl-c":                           {"\x03", 0, ErrInterrupted},
		"ctrl-d answers nothing":           {"\x1b[B\x04", 0, ErrInterrupted},
		"ctrl-d with nothing left to pick": {"zzz\x04", 0, ErrInterrupted},
		"odd keys change nothing":          {"\x1bf\x1b[1;5D\x1b[5~\x1b[15~\x1bOP\x1b\r", 0, nil},
	} {
		t.Run(name, func(t *testing.T) {
			var got int
			err := play(t, []step{{"sign say?", tt.keys}}, func(p Prompter) (err error) {
				got, err = p.Select(t.Context(), signQuestion)
				return err
			})
			require.ErrorIs(t, err, tt.err)
			if tt.err == nil {
				assert.Equal(t, tt.want, got)
			}
		})
	}
}

func TestSurveyLineAsksAgain(t *testing.T) {
	var got string
	err := play(t, []step{{"How much?", "twelve\r"}, {"type a number", "13\x1b[D\x7f2\x1b[15~\r"}}, func(p Prompter) (err error) {
		got, err = p.Line(t.Context(), "How much?", func(line string) error {
			if strings.ContainsAny(line, "0123456789") {
				return nil
			}
			return errors.New("type a number")
		})
		return err
	})
	require.NoError(t, err)
	assert.Equal(t, "23", got) // 13, left, backspace takes the 1, 2 before the 3
}

func TestSurveyLineStops(t *testing.T) {
	for name, keys := range map[string]string{"ctrl-c": "12\x03", "ctrl-d": "\x04", "ctrl-d behind text": "12\x04"} {
		t.Run(name, func(t *testing.T) {
			err := play(t, []step{{"How much?", keys}}, func(p Prompter) error {
				_, err := p.Line(t.Context(), "How much?", nil)
				return err
			})
			require.ErrorIs(t, err, ErrInterrupted)
		})
	}
}

// A line typed ahead belongs to the question after the next.
func TestSurveyKeepsWhatIsTypedAhead(t *testing.T) {
	var picked int
	var typed string
	err := play(t, []step{{"sign say?", "\x1b[B\r12 ohm\r"}}, func(p Prompter) (err error) {
		if picked, err = p.Select(t.Context(), signQuestion); err != nil {
			return err
		}
		typed, err = p.Line(t.Context(), "How much?", nil)
		return err
	})
	require.NoError(t, err)
	assert.Equal(t, 1, picked)
	assert.Equal(t, "12 ohm", typed)
}

// bareTerminal is a terminal that shows nothing and never says where its cursor
// is, with keys already pressed.
func bareTerminal(t *testing.T, keys string) *os.File {
	t.Helper()
	ptm, pts, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { _ = ptm.Close(); _ = pts.Close() })
	require.NoError(t, pty.Setsize(pts, &pty.Winsize{Rows: 24, Cols: 80}))
	go drain(ptm)
	_, err = ptm.WriteString(keys)
	require.NoError(t, err)
	return pts
}

func TestSurveyStopsWithItsContext(t *testing.T) {
	pts := bareTerminal(t, "")
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel) // SIGTERM while the question stands
	before, err := term.GetState(int(pts.Fd()))
	require.NoError(t, err)
	_, err = newSurvey(pts, pts, Options{}).Line(ctx, "How much?", nil)
	require.ErrorIs(t, err, ErrInterrupted)
	after, err := term.GetState(int(pts.Fd()))
	require.NoError(t, err)
	assert.Equal(t, before, after, "the terminal is as it was found")
}

func TestSurveyLineOnATerminalThatAnswersNothing(t *testing.T) {
	pts := bareTerminal(t, "12 ohm\r")
	got, err := newSurvey(pts, pts, Options{}).Line(t.Context(), "How much?", nil)
	require.NoError(t, err)
	assert.Equal(t, "12 ohm", got)
}

func drain(f *os.File) {
	buf := make([]byte, 1024)
	for {
		if _, err := f.Read(buf); err != nil {
			return
		}
	}
}

func TestNewGoesPlainWhereTheCursorCannotBeMoved(t *testing.T) {
	r, w, err := os.Pipe()
	require.NoError(t, err)
	t.Cleanup(func() { _ = r.Close(); _ = w.Close() })
	assert.IsType(t, &plain{}, New(r, w, Options{}))
	assert.False(t, CanPrompt(r, w))

	ptm, pts, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { _ = ptm.Close(); _ = pts.Close() })
	assert.True(t, CanPrompt(pts, pts))
	assert.IsType(t, &plain{}, New(pts, pts, Options{}), "a terminal without a size")
	require.NoError(t, pty.Setsize(pts, &pty.Winsize{Rows: 24, Cols: 80}))
	assert.IsType(t, &surveyPrompter{}, New(pts, pts, Options{}))
	assert.IsType(t, &plain{}, New(pts, pts, Options{Plain: true}))
}

func TestAsManyOptionsAsFit(t *testing.T) {
	one, two := "short", "an option\n  of two lines"
	for name, tt := range map[string]struct {
		options []string
		room    int
		want    int
	}{
		"all fit":                    {[]string{one, one, one}, 20, 3},
		"exactly fit":                {[]string{one, two, one}, 4, 3},
		"one too many":               {[]string{one, one, one, one, one, one}, 5, 5},
		"the longest of them decide": {[]string{one, one, one, one, one, two, two, two, two}, 10, 6},
		"a screen of few rows":       {[]string{two, two, two, two, two}, 1, fewestOptions},
		"fewer than the fewest":      {[]string{two, two}, 1, 2},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tt.want, pageOf(tt.options, tt.room))
		})
	}
}

// What a screen has no room for is one option, which opens the rest.
func TestSurveyFoldsWhatDoesNotFit(t *testing.T) {
	q := Question{Text: "Which one?", Fold: "Something else", Default: 1}
	for _, text := range []string{"alpha", "beta", "gamma"} {
		q.Options = append(q.Options, Option{Text: text})
	}
	for key, text := range []string{"Why?", "The ranking", "Stop"} {
		q.Options = append(q.Options, Option{Text: text, Key: "wrq"[key : key+1], Aside: true})
	}
	for name, tt := range map[string]struct {
		told  int
		steps []step
		want  int
	}{
		"room for all":               {2, []step{{"Stop", "\x1b[A\x1b[A\r"}}, 5},
		"folded":                     {16, []step{{"Something else", "\x1b[B\r"}}, 2},
		"folded, the default":        {16, []step{{"Something else", "\r"}}, 1},
		"folded, then opened":        {16, []step{{"Something else", "some\r"}, {"Stop", "rank\r"}}, 4},
		"folded, opened and back":    {16, []step{{"Something else", "some\r"}, {"Stop", "\r"}, {"gamma", "gam\r"}}, 2},
		"folded, by its letter":      {16, []step{{"Something else", "Q\r"}}, 5},
		"a letter taken back":        {16, []step{{"Something else", "q\x7f\r"}}, 0},
		"a letter, then the fold":    {16, []step{{"Something else", "q\x7f\x1b[B\x1b[B\x1b[B\r"}, {"Stop", "r\r"}}, 4},
		"the search looks past case": {16, []step{{"Something else", "GAMMA\r"}}, 2},
	} {
		t.Run(name, func(t *testing.T) {
			var got int
			err := play(t, tt.steps, func(p Prompter) (err error) {
				p.Tell(Heading, strings.Repeat("told\n", tt.told)+"told")
				got, err = p.Select(t.Context(), q)
				return err
			})
			require.NoError(t, err)
			assert.Equal(t, tt.want, got)
		})
	}
}

// Where the answers with their meaning fill more than a screen, the answers alone
// are shown, all of them.
func TestSurveyShowsAllAnswersBeforeTheirMeaning(t *testing.T) {
	q := Question{Text: "Which one?", Fold: "Something else"}
	for i := range 9 {
		q.Options = append(q.Options, Option{Text: fmt.Sprintf("answer %d", i+1), Note: strings.Repeat("meaning ", 25)})
	}
	q.Options = append(q.Options, Option{Text: "Stop", Key: "q", Aside: true})
	var got int
	err := play(t, []step{{"9. answer 9", "9\r"}}, func(p Prompter) (err error) {
		got, err = p.Select(t.Context(), q)
		return err
	})
	require.NoError(t, err)
	assert.Equal(t, 8, got)
}

// A whole interview on a terminal: a choice by arrow, a reading asked again and
// doubted, a review that changes the first answer, and a stop.
func TestSurveyInterview(t *testing.T) {
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	var ending Ending
	err := play(t, []step{
		{base.Check("contact-lamp").Ask.Technician, "\x1b[B\r"},
		{"or OL for over-range", "twelve\r"},
		{"expected a resistance", "5.1 k\r"},
		{"Type it again", "\r"},
		{"or OL for over-range", "\x1b[15~5.1\r"},
		{base.Check("supply-sign").Ask.Technician, "more ch\r"},
		{"Does not apply here", "review\r"},
		{"Pick the answer to change", "\r"},
		{"Leave the answer as it was", "\x1b[A\r"}, // from the answer given before up to the other
		{base.Check("supply-sign").Ask.Technician, "stop and\r"},
	}, func(p Prompter) (err error) {
		iv := &Interview{Prompter: p, Engine: inTurn(check("contact-lamp"), check("loop-ohms"), check("supply-sign")), Base: base, Log: log}
		ending, err = iv.Run(t.Context())
		return err
	})
	require.NoError(t, err)
	assert.Equal(t, Stopped, ending)
	require.Len(t, log.C.Log, 2)
	assert.Equal(t, "lights", log.C.Log[0].Answer.Choice)
	assert.InDelta(t, 5.1, log.C.Log[1].Answer.Reading.Value, 1e-12)
}

// Ctrl-C among the answers to change, odd keys before it: nothing is changed and
// nothing is lost.
func TestSurveyReviewInterrupted(t *testing.T) {
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	err := play(t, []step{
		{base.Check("contact-lamp").Ask.Technician, "\x1b[15~\x1b[6~\x1bOP\x00dark\r"},
		{base.Check("supply-sign").Ask.Technician, "\x1b[1;5C\x1b\x1bb1\r"},
		{base.Check("new-battery").Ask.Technician, "m\r"},
		{"More choices", "v\r"},
		{"Pick the answer to change", "\x1b[B\x1b[2~\x03"},
	}, func(p Prompter) error {
		iv := &Interview{Prompter: p, Engine: inTurn(check("contact-lamp"), check("supply-sign"), check("new-battery")), Base: base, Log: log,
			Resume: "loopfault diagnose case.yaml"}
		_, err := iv.Run(t.Context())
		return err
	})
	require.ErrorIs(t, err, ErrInterrupted)
	require.Len(t, log.C.Log, 2)
	assert.Equal(t, "dark", log.C.Log[0].Answer.Choice)
	assert.Equal(t, "on", log.C.Log[1].Answer.Choice)
}

func TestSurveyInterviewInterrupted(t *testing.T) {
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	err := play(t, []step{
		{base.Check("contact-lamp").Ask.Technician, "\r"},
		{"or OL for over-range", "5\x03"},
	}, func(p Prompter) error {
		iv := &Interview{Prompter: p, Engine: inTurn(check("contact-lamp"), check("loop-ohms")), Base: base, Log: log, Resume: "loopfault diagnose case.yaml"}
		_, err := iv.Run(t.Context())
		return err
	})
	require.ErrorIs(t, err, ErrInterrupted)
	assert.Len(t, log.C.Log, 1, "what was answered before is kept")
}
