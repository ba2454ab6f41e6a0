package console

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
)

// realEngine is the engine at work on the case of the log.
func realEngine(t testing.TB, log Log) Engine {
	t.Helper()
	e, err := NewEngine(diagnose.New(testBase(t), diagnose.Options{Shallow: true}), log.Case())
	require.NoError(t, err)
	return e
}

func TestNewEngineRefusesACaseWithoutARole(t *testing.T) {
	t.Parallel()
	_, err := NewEngine(diagnose.New(testBase(t), diagnose.Options{}), &diagnose.Case{Role: "gardener"})
	require.ErrorContains(t, err, "gardener")
}

// A loop of 20 AWG copper of 560 ft reads 5.7 ohm: 10.15 ohm per 1000 ft at 20 C
// (NBS Circular 100), and the doubt about a range misread hangs on that figure.
func TestSoundLoop(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	base := testBase(t)
	view := realEngine(t, log).Assess(nil)
	ohms, ok := view.Sound(base.Check("loop-ohms"))
	require.True(t, ok)
	assert.InEpsilon(t, 5.7, ohms, 0.35, "the gauge is not known here")
	_, ok = view.Sound(base.Check("contact-lamp"))
	assert.False(t, ok)
}

// someone answers whatever is asked at random; what they say is always a line
// that the program takes, so that a conversation that does not end is its fault.
func someone(rng *rand.Rand, l said) string {
	pick := func(of []string) string { return of[rng.IntN(len(of))] }
	if l["type"] == "repair" {
		return fmt.Sprintf(`{"fixed": %t}`, rng.IntN(2) == 0)
	}
	if rng.IntN(6) == 0 {
		return fmt.Sprintf(`{"answer": %q}`, pick([]string{"unknown", "not-applicable", "later"}))
	}
	if options, ok := l["options"].([]any); ok && l["kind"] == "choice" {
		return fmt.Sprintf(`{"answer": %q}`, options[rng.IntN(len(options))])
	}
	switch l["kind"] {
	case "reading":
		return fmt.Sprintf(`{"reading": %q}`, pick(map[string][]string{"ohm": {"5.6 ohm", "OL", "35 kohm"}, "nF": {"13.9 nF", "2 nF"}, "V": {"12.1 V"}, "mA": {"38 mA", "0 mA"}}[l["unit"].(string)]))
	case "tap":
		return fmt.Sprintf(`{"a_side": %q, "b_side": %q}`, pick([]string{"intact", "broken"}), pick([]string{"intact", "broken"}))
	case "position":
		return `{"at": "210 ft", "end": "a"}`
	case "widths":
		return `{"widths": [{"at": "60 ft", "width": "5 ft"}, {"at": "70 ft", "width": "2 ft"}]}`
	}
	if options, ok := l["options"].([]any); ok {
		return fmt.Sprintf(`{"answer": %q, "from": "200 ft", "to": "240 ft"}`, options[rng.IntN(len(options))])
	}
	return `{"from": "200 ft", "to": "240 ft"}`
}

// partner is the other side of a dialogue as a reader: it looks at the last line
// written and answers it, up to so many lines.
type partner struct {
	rng  *rand.Rand
	last said
	left int
	rest string
	bad  []string
}

func (p *partner) Write(b []byte) (int, error) {
	var l said
	if err := json.Unmarshal(b, &l); err != nil {
		return 0, err
	}
	if l["type"] == "error" {
		p.bad = append(p.bad, fmt.Sprint(l["message"]))
		return len(b), nil
	}
	p.last = l
	return len(b), nil
}

func (p *partner) Read(b []byte) (int, error) {
	if p.rest == "" {
		if p.left == 0 {
			return 0, io.EOF
		}
		p.left--
		p.rest = someone(p.rng, p.last) + "\n"
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

// With the engine and the knowledge base as they are, every person can be talked
// with to the end: each question is one that its own answers are taken to.
func TestConversationsWithTheEngine(t *testing.T) {
	t.Parallel()
	for seed, role := range []diagnose.Role{diagnose.Homeowner, diagnose.Support, diagnose.Technician} {
		log := memory(t, role)
		const most = 25
		p := &partner{rng: rand.New(rand.NewPCG(uint64(seed), 1)), left: most}
		d := &Dialogue{In: p, Out: p, Engine: realEngine(t, log), Base: testBase(t), Log: log, Units: quantity.Feet}
		require.NoError(t, d.Run(t.Context()))
		assert.Empty(t, p.bad)
		assert.Equal(t, "result", p.last["type"])
		t.Logf("%s: %d lines, then %v", role, most-p.left, p.last["next"])
	}
}

// The first screen of each role, on the real engine, in 80 columns and in 40.
func TestFirstScreens(t *testing.T) {
	t.Parallel()
	for _, role := range []diagnose.Role{diagnose.Homeowner, diagnose.Support, diagnose.Technician} {
		for _, width := range []int{80, 40} {
			var out strings.Builder
			log := memory(t, role)
			iv := &Interview{Prompter: newPlain(strings.NewReader("w\nr\nm\ny\n1\nq\n"), &out, width, true, true), Engine: realEngine(t, log), Base: testBase(t), Log: log}
			_, err := iv.Run(t.Context())
			require.NoError(t, err, out.String())
			for line := range strings.Lines(out.String()) {
				require.LessOrEqual(t, len(strings.TrimRight(line, "\n")), width, "%q", line)
			}
			if width == 80 {
				t.Logf("%s\n%s", role, out.String())
			}
		}
	}
}
