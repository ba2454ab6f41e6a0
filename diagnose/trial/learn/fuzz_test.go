package learn

import (
	"bytes"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
)

// FuzzStream: no lines make the reader panic, or the learner on what it read; what
// is wrong is said in one line fit to print.
func FuzzStream(f *testing.F) {
	for _, text := range []string{
		`{"case": "a", "role": "homeowner", "answers": [{"check": "supply-sign", "answer": "on"}, {"repair": "wire-cut", "fixed": true}, {"repair": "verify", "fixed": true}, {"outcome": {"cause": "wire-cut", "confirmed": true}}]}` + "\n",
		`{"case": "b", "role": "technician", "answers": [{"check": "tap"}, {"undo": true}, {"check": "supply-sign", "answer": "off", "unsure": true, "when": "fault-absent", "replaces": 1}], "outcome": {"cause": "switched-off", "confirmed": true}}`,
		"\n\n{}\n[1]\n", "{\"case\": \"\x1b[31m\"}\n", "null\ntrue\n", `{"answers": [{"replaces": -1}, {"replaces": 9}, {"undo": true}]}`, `{"role": 7}`,
	} {
		f.Add([]byte(text))
	}
	blank := New(builtIn(f))
	f.Fuzz(func(t *testing.T, data []byte) {
		l := *blank
		l.Refused, l.counts = map[Refusal]int{}, NewCounts()
		taken := 0
		err := Stream(bytes.NewReader(data), "s.jsonl", func(c *diagnose.Case) error {
			if l.Add(c) == "" {
				taken++
			}
			return nil
		})
		if err != nil {
			require.False(t, strings.ContainsFunc(err.Error(), unicode.IsControl), "%q", err.Error())
		}
		require.LessOrEqual(t, l.Counts().Cases(), taken)
	})
}

// FuzzCounts: counts from any hand are refused, or written and read back the same.
func FuzzCounts(f *testing.F) {
	l := New(builtIn(f))
	var b bytes.Buffer
	require.NoError(f, l.Counts().Write(&b))
	f.Add(b.Bytes())
	f.Add([]byte(`{"folds": [{"cases": -1}]}`))
	f.Add([]byte(`null`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ReadCounts(bytes.NewReader(data), "c.json")
		if err != nil {
			require.False(t, strings.ContainsFunc(err.Error(), unicode.IsControl), "%q", err.Error())
			return
		}
		var out bytes.Buffer
		require.NoError(t, c.Write(&out))
		again, err := ReadCounts(bytes.NewReader(out.Bytes()), "c.json")
		require.NoError(t, err)
		require.True(t, c.Equal(again))
		again.Add(c)
	})
}
