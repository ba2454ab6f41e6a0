package console

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var signQuestion = Question{
	Text: "What does the continuity sign say?",
	Options: []Option{
		{Text: "Complete", ID: "complete"}, {Text: "Broken", ID: "broken"}, {Text: "None is fitted", ID: "none-fitted"},
		{Text: "Don't know", Key: "d"}, {Text: "Why this question?", Key: "w"},
	},
}

func TestPlainSelect(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		typed string
		want  int
		err   error
	}{
		"a number":                  {"2\n", 1, nil},
		"a number with its point":   {"3.\n", 2, nil},
		"a letter":                  {"w\n", 4, nil},
		"a letter in capitals":      {"D\n", 3, nil},
		"an id":                     {"none-fitted\n", 2, nil},
		"the text":                  {"broken\n", 1, nil},
		"no newline at the end":     {"1", 0, nil},
		"windows line ends":         {"2\r\n", 1, nil},
		"wrong, then right":         {"7\nperhaps\n0\n-1\n2\n", 1, nil},
		"empty shows it again":      {"\n\n1\n", 0, nil},
		"an arrow key is no answer": {"\x1b[B\n1\n", 0, nil},
		"a line far too long":       {strings.Repeat("x", 3*longestTyped) + "\n2\n", 1, nil},
		"the input ends":            {"", 0, ErrEnded},
		"the input ends, re-asked":  {"9\n", 0, ErrEnded},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var out strings.Builder
			got, err := NewPlain(strings.NewReader(tt.typed), &out, Options{}).Select(t.Context(), signQuestion)
			require.ErrorIs(t, err, tt.err)
			assert.Equal(t, tt.want, got)
			assert.NotContains(t, out.String(), "\x1b")
		})
	}
}

func TestPlainSelectReads(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	_, err := NewPlain(strings.NewReader("x\x1b[31m\n1\n"), &out, Options{}).Select(t.Context(), signQuestion)
	require.NoError(t, err)
	assert.Equal(t, `What does the continuity sign say?
  1. Complete
  2. Broken
  3. None is fitted
  d. Don't know
  w. Why this question?
> x
"x" is not one of the choices: type 1 to 3, d or w, or ? to see them again
> 1
`, out.String())
}

func TestPlainLine(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	p := NewPlain(strings.NewReader("twelve\n 12,5 k \n"), &out, Options{})
	got, err := p.Line(t.Context(), "How much?", func(line string) error {
		if strings.ContainsAny(line, "0123456789") {
			return nil
		}
		return errors.New("type a number")
	})
	require.NoError(t, err)
	assert.Equal(t, "12,5 k", got)
	assert.Equal(t, "How much?\n> twelve\ntype a number\n> 12,5 k\n", out.String())
}

func TestPlainStopsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := NewPlain(strings.NewReader("1\n"), &strings.Builder{}, Options{}).Select(ctx, signQuestion)
	require.ErrorIs(t, err, ErrInterrupted)
}

func TestPlainNarrowAndASCII(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	p := newPlain(strings.NewReader("1\n"), &out, 30, true, false)
	_, err := p.Select(t.Context(), Question{Text: "Is it 4.7 k\u03a9 or more, measured with the leads nulled?",
		Options: []Option{{Text: "more than 4.7 k\u03a9, that is wet soil"}}})
	require.NoError(t, err)
	assert.Equal(t, `Is it 4.7 kohm or more,
measured with the leads
nulled?
  1. more than 4.7 kohm, that
     is wet soil
> `, out.String())
}

func TestFromEnvironment(t *testing.T) {
	t.Parallel()
	env := func(pairs ...string) func(string) string {
		return func(name string) string {
			for i := 0; i < len(pairs); i += 2 {
				if pairs[i] == name {
					return pairs[i+1]
				}
			}
			return ""
		}
	}
	assert.Equal(t, Options{Colour: true}, FromEnvironment(env("LANG", "en_GB.UTF-8", "TERM", "xterm-256color")))
	assert.Equal(t, Options{}, FromEnvironment(env("NO_COLOR", "1")))
	assert.Equal(t, Options{Plain: true, Colour: true}, FromEnvironment(env("ACCESSIBLE", "1")))
	assert.Equal(t, Options{Colour: true}, FromEnvironment(env("ACCESSIBLE", "0")))
	assert.Equal(t, Options{Plain: true}, FromEnvironment(env("TERM", "dumb")))
	assert.Equal(t, Options{Colour: true, ASCII: true}, FromEnvironment(env("LC_ALL", "C", "LANG", "en_GB.UTF-8")))
}
