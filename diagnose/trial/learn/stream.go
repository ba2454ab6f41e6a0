package learn

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"loopfault/diagnose"
)

// line is a case of a JSON Lines stream, in the words of the case file. Only what
// is learned from is looked at; yards, meters and readings may stand there too.
type line struct {
	Case    string      `json:"case"`
	Role    string      `json:"role"`
	Answers []lineEntry `json:"answers"`
	Outcome *lineEnd    `json:"outcome"`
}

type lineEntry struct {
	Check   string   `json:"check"`
	Answer  string   `json:"answer"`
	When    string   `json:"when"`
	Unsure  bool     `json:"unsure"`
	Repair  string   `json:"repair"`
	Fixed   bool     `json:"fixed"`
	Undo    bool     `json:"undo"`
	Outcome *lineEnd `json:"outcome"`

	Replaces int `json:"replaces"` // the number of the entry it stands for, from 1
}

type lineEnd struct {
	Cause     string `json:"cause"`
	Confirmed bool   `json:"confirmed"`
}

// longestLine bounds one case.
const longestLine = 4 << 20

// Stream reads cases from JSON Lines, one object a line in the words of the case
// file, and gives each to take. Blank lines are passed over. It stops at the first
// line that is no case, with its number in the error, and at an error of take.
func Stream(r io.Reader, file string, take func(*diagnose.Case) error) error {
	in := bufio.NewReaderSize(r, 1<<16)
	var long []byte
	for n := 1; ; n++ {
		text, err := readLine(in, &long)
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("%s:%d: %w", file, n, err)
		}
		if len(bytes.TrimSpace(text)) > 0 {
			var l line
			if bad := json.Unmarshal(text, &l); bad != nil {
				return fmt.Errorf("%s:%d: %w; expected one case as a JSON object a line", file, n, bad)
			}
			if bad := take(l.toCase()); bad != nil {
				return fmt.Errorf("%s:%d: %w", file, n, bad)
			}
		}
		if err != nil {
			return nil
		}
	}
}

// readLine reads up to the next newline or the end into a buffer used again.
func readLine(in *bufio.Reader, long *[]byte) ([]byte, error) {
	*long = (*long)[:0]
	for {
		part, err := in.ReadSlice('\n')
		*long = append(*long, part...)
		if len(*long) > longestLine {
			return nil, fmt.Errorf("a line of more than %d bytes; expected one case a line", longestLine)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return *long, err
		}
	}
}

func (l *line) toCase() *diagnose.Case {
	c := &diagnose.Case{Name: l.Case, Role: diagnose.Role(l.Role)}
	at := make([]int, len(l.Answers)) // in the log, by entry
	for i, e := range l.Answers {
		at[i] = len(c.Log)
		if r := e.Replaces; r > 0 && r <= i {
			at[i] = at[r-1]
			c.Log[at[i]] = e.entry()
			continue
		}
		c.Log = append(c.Log, e.entry())
	}
	if l.Outcome != nil {
		c.Log = append(c.Log, l.Outcome.entry())
	}
	return c
}

func (e *lineEntry) entry() diagnose.Entry {
	switch {
	case e.Outcome != nil:
		return e.Outcome.entry()
	case e.Repair != "":
		return diagnose.Entry{Repair: &diagnose.RepairDone{Repair: e.Repair, Fixed: e.Fixed}}
	case e.Undo:
		return diagnose.Entry{Undo: true}
	}
	return diagnose.Entry{Answer: &diagnose.Answer{Check: e.Check, Choice: e.Answer, Unsure: e.Unsure, When: diagnose.When(e.When)}}
}

func (o *lineEnd) entry() diagnose.Entry {
	return diagnose.Entry{Outcome: &diagnose.Outcome{Cause: o.Cause, Confirmed: o.Confirmed}}
}
