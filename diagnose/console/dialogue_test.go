package console

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/locate"
)

// said is one line of the program, decoded.
type said map[string]any

// converse plays the other side's lines and gives the program's.
func converse(t *testing.T, engine Engine, log Log, lines ...string) ([]said, error) {
	t.Helper()
	var out strings.Builder
	text := strings.Join(lines, "\n")
	if len(lines) > 0 {
		text += "\n"
	}
	d := &Dialogue{In: strings.NewReader(text), Out: &out, Engine: engine, Base: testBase(t), Log: log, Units: quantity.Feet}
	err := d.Run(t.Context())
	var all []said
	for line := range strings.Lines(out.String()) {
		var s said
		require.NoError(t, json.Unmarshal([]byte(line), &s), line)
		all = append(all, s)
	}
	return all, err
}

func types(all []said) string {
	names := make([]string, len(all))
	for i, s := range all {
		names[i] = fmt.Sprint(s["type"])
	}
	return strings.Join(names, " ")
}

func TestDialogueAsksAsTheContractSays(t *testing.T) {
	t.Parallel()
	base := testBase(t)
	all, err := converse(t, inTurn(check("continuity-sign")), memory(t, diagnose.Support))
	require.NoError(t, err)
	require.Equal(t, "ask result", types(all))
	c := base.Check("continuity-sign")
	assert.Equal(t, "continuity-sign", all[0]["check"])
	assert.Equal(t, "choice", all[0]["kind"])
	assert.Equal(t, c.Ask.Support, all[0]["text"])
	assert.Equal(t, []any{"complete", "broken", "dark", "none-fitted"}, all[0]["options"])
	assert.Equal(t, 3.0, all[0]["minutes"])
	assert.Equal(t, []any{map[string]any{"id": "unplug", "text": "Unplug it."}}, all[0]["cautions"])
	assert.NotContains(t, all[0], "unit")

	// The result is the object of --json and its type, nothing else.
	want, err := json.Marshal(inTurn(check("continuity-sign")).Assess(nil).Result(quantity.Feet))
	require.NoError(t, err)
	delete(all[1], "type")
	got, err := json.Marshal(all[1])
	require.NoError(t, err)
	assert.JSONEq(t, string(want), string(got))

	for id, unit := range map[string]any{"loop-ohms": "ohm", "capacitance-a": "nF", "trace": "ft", "silent-stretch": "ft", "tone-walk": "ft", "contact-lamp": nil} {
		all, err := converse(t, inTurn(check(id)), memory(t, diagnose.Technician))
		require.NoError(t, err)
		assert.Equal(t, unit, all[0]["unit"], id)
		assert.Equal(t, string(base.Check(id).Kind), all[0]["kind"], id)
	}
	all, err = converse(t, inTurn(tapNext(309)), memory(t, diagnose.Technician))
	require.NoError(t, err)
	assert.Equal(t, 309.0, all[0]["at"])
	assert.Equal(t, "tap", all[0]["kind"])
}

func TestDialogueTakesEverySortOfAnswer(t *testing.T) {
	t.Parallel()
	feet := func(v float64) *float64 { v *= float64(quantity.MPerFt); return &v }
	for name, tt := range map[string]struct {
		next diagnose.Next
		line string
		want diagnose.Answer
	}{
		"a choice":              {check("continuity-sign"), `{"answer": "complete"}`, diagnose.Answer{Check: "continuity-sign", Choice: "complete"}},
		"unknown":               {check("loop-ohms"), `{"answer": "unknown"}`, diagnose.Answer{Check: "loop-ohms", Choice: "unknown"}},
		"a reading":             {check("loop-ohms"), `{"reading": "12.4 ohm"}`, diagnose.Answer{Check: "loop-ohms", Reading: &faultmodel.Reading{Quantity: faultmodel.LoopOhms, Value: 12.4}}},
		"a place":               {check("trace"), `{"at": "210 ft"}`, diagnose.Answer{Check: "trace", AtM: feet(210)}},
		"a stretch":             {check("silent-stretch"), `{"from": "200 ft", "to": "240 ft"}`, diagnose.Answer{Check: "silent-stretch", FromM: feet(200), ToM: feet(240)}},
		"a tap, place as asked": {tapNext(309), `{"a_side": "intact", "b_side": "broken"}`, diagnose.Answer{Check: "tap", AtM: feet(309), ASide: locate.Intact, BSide: locate.Broken}},
		"a tap elsewhere":       {tapNext(309), `{"at": "280 ft", "a_side": "intact", "b_side": "broken"}`, diagnose.Answer{Check: "tap", AtM: feet(280), ASide: locate.Intact, BSide: locate.Broken}},
		"volts at a tap":        {tapNext(309), `{"answer": "volts-found"}`, diagnose.Answer{Check: "tap", Choice: "volts-found"}},
		"widths": {check("tone-walk"), `{"widths": [{"at": "60 ft", "width": "5 ft"}, {"at": "70 ft", "width": "0"}]}`,
			diagnose.Answer{Check: "tone-walk", Widths: []faultmodel.Width{{AtM: *feet(60), WidthM: *feet(5)}, {AtM: *feet(70), Silent: true}}}},
		"volunteered": {check("continuity-sign"), `{"check": "recent-work", "answer": "edging", "from": "290 ft", "to": "330 ft"}`,
			diagnose.Answer{Check: "recent-work", Choice: "edging", FromM: feet(290), ToM: feet(330)}},
		"volunteered at a repair": {repairNext("wire-cut", 309), `{"check": "contact-lamp", "answer": "dark", "unsure": true, "when": "fault-present", "note": "a note"}`,
			diagnose.Answer{Check: "contact-lamp", Choice: "dark", Unsure: true, When: diagnose.FaultPresent, Note: "a note"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := memory(t, diagnose.Technician)
			all, err := converse(t, inTurn(tt.next, check("supply-sign")), log, tt.line)
			require.NoError(t, err)
			require.Len(t, log.C.Log, 1, "%v", all)
			assert.Equal(t, &tt.want, log.C.Log[0].Answer)
			assert.Equal(t, "result", all[len(all)-1]["type"])
			assert.Equal(t, "supply-sign", all[1]["check"])
		})
	}
}

func TestDialogueAnswersEveryUselessLineWithAnErrorAndTheQuestion(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]string{
		"":                                      "the line is empty",
		"   ":                                   "the line is empty",
		"hello":                                 "cannot be read",
		"{":                                     "cannot be read",
		`{"answer": "complete"`:                 "cannot be read",
		"[]":                                    "holds a JSON array",
		"7":                                     "holds a JSON number",
		"null":                                  "expected one JSON object",
		"{}":                                    "nothing is answered",
		`{"answer": "maybe"}`:                   `"maybe" is no answer to continuity-sign; expected complete, broken, dark, none-fitted`,
		`{"answer": 3}`:                         "answer holds a bare number",
		`{"answer": null}`:                      "nothing is answered",
		`{"answer": ["broken"]}`:                "answer holds a JSON array; expected text",
		`{"unsure": "yes", "answer": "broken"}`: "unsure holds a JSON string; expected true or false",
		`{"widths": "5 ft"}`:                    `widths holds a JSON string; expected a list`,
		`{"reply": "broken"}`:                   `unknown field "reply"`,
		`{"reading": "12.4 ohm"}`:               "continuity-sign is not answered",
		`{"check": "loop-ohms", "reading": 12.4}`:                           "reading holds a bare number; expected text with its unit",
		`{"check": "loop-ohms", "reading": "12.4"}`:                         "a resistance needs its unit",
		`{"check": "loop-ohms", "reading": "NaN ohm"}`:                      "expected a resistance",
		`{"check": "tap", "at": "900 ft", "a_side": "intact"}`:              "900 ft is beyond the wire",
		`{"check": "tap", "a_side": "intact"}`:                              "tap is not answered; expected at",
		`{"check": "no-such-check", "answer": "yes"}`:                       `"no-such-check" is not a check`,
		`{"check": "contact-lamp"}`:                                         "nothing is answered",
		`{"fixed": true}`:                                                   "fixed answers a repair",
		`{"fixed": true, "check": "contact-lamp"}`:                          "check and fixed in one line",
		`{"command": "sing"}`:                                               `"sing" is not a command; expected why, ranking, back or stop`,
		`{"command": "why", "answer": "broken"}`:                            "a command and an answer in one line",
		`{"command": "back"}`:                                               "nothing to go back to",
		`{"answer": "broken"} {"answer": "broken"}`:                         "more than one object in a line",
		`{"answer": "broken"} x`:                                            "more than one object in a line",
		"{\"answer\": \"\xff\"}":                                            "not UTF-8",
		strings.Repeat(`{"answer":`, 20000):                                 "cannot be read",
		`{"note": "` + strings.Repeat("x", longestLine) + `"}`:              "the line is too long",
		`{"answer": "broken", "note": "` + strings.Repeat("x", 3000) + `"}`: "the note has 3000 characters",
	} {
		log := memory(t, diagnose.Technician)
		all, err := converse(t, inTurn(check("continuity-sign"), check("supply-sign")), log, line, `{"answer": "broken"}`)
		require.NoError(t, err, "%.60q", line)
		require.Equal(t, "ask error ask ask result", types(all), "%.60q", line)
		assert.Contains(t, all[1]["message"], want, "%.60q", line)
		assert.Equal(t, all[0], all[2], "the question again")
		assert.Len(t, log.C.Log, 1)
	}
}

func TestDialogueCommands(t *testing.T) {
	t.Parallel()
	log := memory(t, diagnose.Technician)
	all, err := converse(t, inTurn(check("contact-lamp"), check("supply-sign")), log,
		`{"command": "why"}`, `{"answer": "dark"}`, `{"command": "ranking"}`, `{"command": "back"}`, `{"command": "stop"}`, `{"answer": "lights"}`)
	require.NoError(t, err)
	require.Equal(t, "ask why ask ask ranking ask ask result", types(all))
	assert.Equal(t, "Because it splits the likely causes.", all[1]["text"])
	assert.Len(t, all[4]["ranking"], 3)
	assert.Equal(t, "contact-lamp", all[6]["check"])
	assert.Empty(t, standing(log.C.Log))
}

func TestDialogueRepairs(t *testing.T) {
	t.Parallel()
	base := testBase(t)
	log := memory(t, diagnose.Technician)
	all, err := converse(t, inTurn(repairNext("wire-cut", 309), verifyNext), log,
		`{"answer": "yes"}`, `{"fixed": "true"}`, `{"fixed": true, "reading": "3 ohm"}`, `{"fixed": true, "at": "900 ft"}`, `{"fixed": true, "at": "311 ft"}`, `{"fixed": true}`)
	require.NoError(t, err)
	require.Equal(t, "repair error repair error repair error repair error repair repair result", types(all))
	assert.Equal(t, "repair:wire-cut", all[0]["repair"])
	assert.Equal(t, 309.0, all[0]["at"])
	assert.Equal(t, "ft", all[0]["unit"])
	assert.Equal(t, base.Repair("repair:wire-cut").Name.Technician, all[0]["text"])
	assert.Equal(t, "verify", all[9]["repair"])
	at := 311 * float64(quantity.MPerFt)
	assert.Equal(t, []diagnose.Entry{
		{Repair: &diagnose.RepairDone{Repair: "wire-cut", AtM: &at, Fixed: true}},
		{Repair: &diagnose.RepairDone{Repair: "verify", Fixed: true}},
		{Outcome: &diagnose.Outcome{Cause: "wire-cut", AtM: &at, Confirmed: true}},
	}, log.C.Log)

	from, to := 280.0, 330.0
	section := diagnose.Next{Kind: diagnose.NextReplaceSection, ID: "replace-section", From: &from, To: &to}
	log = memory(t, diagnose.Technician)
	all, err = converse(t, inTurn(repairNext("wire-cut", 309), section), log, `{"fixed": false}`, `{"fixed": true}`)
	require.NoError(t, err)
	require.Equal(t, "repair repair result", types(all))
	assert.Equal(t, 280.0, all[1]["from"])
	assert.InDelta(t, 309*quantity.MPerFt, *log.C.Log[0].Repair.AtM, 1e-9)
	assert.InDelta(t, 330*quantity.MPerFt, *log.C.Log[1].Repair.ToM, 1e-9)

	// A result rounded past the end of the wire is a place on the wire all the same.
	end := 560.04
	for _, next := range []diagnose.Next{tapNext(end), repairNext("wire-cut", end), {Kind: diagnose.NextReplaceSection, ID: "replace-section", From: &from, To: &end}} {
		log = memory(t, diagnose.Technician)
		all, err = converse(t, inTurn(next), log, map[bool]string{true: `{"a_side": "broken"}`, false: `{"fixed": true}`}[next.Kind == diagnose.NextTap])
		require.NoError(t, err)
		require.NotContains(t, types(all), "error")
		at := log.C.Log[0].Answer
		switch r := log.C.Log[0].Repair; {
		case at != nil:
			assert.InDelta(t, 560*quantity.MPerFt, *at.AtM, 1e-6)
		case r.ToM != nil:
			assert.InDelta(t, 560*quantity.MPerFt, *r.ToM, 1e-6)
		default:
			assert.InDelta(t, 560*quantity.MPerFt, *r.AtM, 1e-6)
		}
	}

	// Whoever cannot repair has nothing more to be asked.
	all, err = converse(t, inTurn(repairNext("wire-cut", 309)), memory(t, diagnose.Homeowner), `{"answer": "unknown"}`, `{"fixed": true}`)
	require.NoError(t, err)
	assert.Equal(t, "repair result", types(all))
	all, err = converse(t, inTurn(diagnose.Next{Kind: diagnose.NextRefer, ID: "refer"}), memory(t, diagnose.Homeowner))
	require.NoError(t, err)
	assert.Equal(t, "result", types(all))
}

func TestDialogueOnASickDisk(t *testing.T) {
	t.Parallel()
	log := &sick{Memory: memory(t, diagnose.Homeowner), full: 1}
	all, err := converse(t, inTurn(check("contact-lamp"), check("supply-sign")), log, `{"answer": "dark"}`, `{"answer": "dark"}`)
	require.NoError(t, err)
	require.Equal(t, "ask error ask ask result", types(all))
	assert.Contains(t, all[1]["message"], "the disk is full")
	log = &sick{Memory: memory(t, diagnose.Homeowner), err: &journal.Error{Message: "changed", Err: journal.ErrChanged}}
	_, err = converse(t, inTurn(check("contact-lamp")), log, `{"answer": "dark"}`)
	require.ErrorIs(t, err, journal.ErrChanged)
}

func TestDialogueStopsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	d := &Dialogue{In: strings.NewReader(`{"answer": "dark"}`), Out: io.Discard, Engine: inTurn(check("contact-lamp")), Base: testBase(t), Log: memory(t, diagnose.Homeowner)}
	require.ErrorIs(t, d.Run(ctx), ErrInterrupted)
	d.Out = brokenPipe{}
	require.ErrorIs(t, d.Run(t.Context()), errBroken)
}

type brokenPipe struct{}

var errBroken = errors.New("broken pipe")

func (brokenPipe) Write([]byte) (int, error) { return 0, errBroken }

// The two sides take turns: a question is there before its answer is read.
func TestDialogueTakesTurns(t *testing.T) {
	t.Parallel()
	toProgram, answers := io.Pipe()
	questions, fromProgram := io.Pipe()
	log := memory(t, diagnose.Technician)
	done := make(chan error, 1)
	d := &Dialogue{In: toProgram, Out: fromProgram, Engine: inTurn(check("contact-lamp"), check("supply-sign")), Base: testBase(t), Log: log}
	go func() { done <- d.Run(context.WithoutCancel(t.Context())); _ = fromProgram.Close() }()
	lines := bufio.NewScanner(questions)
	for _, turn := range []struct{ asks, answer string }{{`"check":"contact-lamp"`, `{"answer": "dark"}`}, {`"check":"supply-sign"`, `{"answer": "on"}`}} {
		require.True(t, lines.Scan())
		require.Contains(t, lines.Text(), turn.asks)
		_, err := io.WriteString(answers, turn.answer+"\n")
		require.NoError(t, err)
	}
	require.True(t, lines.Scan())
	require.Contains(t, lines.Text(), `"type":"result"`)
	require.False(t, lines.Scan())
	require.NoError(t, <-done)
}

// FuzzDialogue asserts for any bytes: the program ends, every line it writes is
// JSON of a known type free of control characters, the last and only the last is
// the result, and what it logged is in the log's own terms.
func FuzzDialogue(f *testing.F) {
	for _, text := range []string{
		"{\"answer\": \"dark\"}\n{\"command\": \"back\"}\n{\"command\": \"why\"}\n",
		"{\"reading\": \"12.4 ohm\"}\n{\"check\": \"tap\", \"at\": \"314 ft\", \"a_side\": \"broken\"}\n{\"fixed\": true}\n",
		"{\"widths\": [{\"at\": \"60 ft\", \"width\": \"5 ft\"}]}\n", "{\"answer\": \"unknown\"}\n{\"answer\": \"later\"}\n", "\n\n{}", "[[[[", "{\"at\": \"1e999 ft\"}\n",
		"{\"check\": \"\\u001b[31m\"}\n", "{\"command\": \"stop\"}\n", "\x00\xff\xfe\n", "{\"note\": \"\\ud800\"}\n",
	} {
		f.Add(text)
	}
	base := testBase(f)
	steps := []diagnose.Next{check("contact-lamp"), check("loop-ohms"), tapNext(309), check("recent-work"), check("tone-walk"), repairNext("wire-cut", 309), verifyNext}
	f.Fuzz(func(t *testing.T, text string) {
		log := memory(t, diagnose.Technician)
		var out strings.Builder
		d := &Dialogue{In: strings.NewReader(text), Out: &out, Engine: inTurn(steps...), Base: base, Log: log}
		require.NoError(t, d.Run(t.Context()))
		results := 0
		for line := range strings.Lines(out.String()) {
			var s said
			require.NoError(t, json.Unmarshal([]byte(line), &s))
			require.Zero(t, results, "the result is the last line")
			require.Contains(t, []any{"ask", "repair", "why", "ranking", "error", "result"}, s["type"])
			if s["type"] == "result" {
				results++
			}
			for _, r := range strings.TrimSuffix(line, "\n") {
				require.False(t, unicode.IsControl(r), "%q", line)
			}
		}
		require.Equal(t, 1, results)
		for _, e := range log.C.Log {
			if e.Answer != nil {
				require.NotNil(t, base.Check(e.Answer.Check))
			}
		}
	})
}
