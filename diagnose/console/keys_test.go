package console

import (
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// scriptedKeys is a keyboard whose every Read gives the next chunk.
type scriptedKeys struct{ chunks []string }

func (k *scriptedKeys) Fd() uintptr { return 0 }

func (k *scriptedKeys) Read(p []byte) (int, error) {
	if len(k.chunks) == 0 {
		return 0, io.EOF
	}
	n := copy(p, k.chunks[0])
	k.chunks = k.chunks[1:]
	return n, nil
}

// pressed lists what the filter hands on, one Read each, until the keyboard ends.
func pressed(t *testing.T, chunks ...string) []string {
	t.Helper()
	f := &keyFilter{in: &scriptedKeys{chunks: chunks}}
	var keys []string
	for {
		buf := make([]byte, 64)
		n, err := f.Read(buf)
		if errors.Is(err, io.EOF) {
			return keys
		}
		require.NoError(t, err)
		keys = append(keys, string(buf[:n]))
	}
}

func TestKeyFilter(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		chunks []string
		want   []string
	}{
		"letters one at a time":                    {[]string{"ab"}, []string{"a", "b"}},
		"arrows whole":                             {[]string{"\x1b[A\x1bOB\r"}, []string{"\x1b[A", "\x1bOB", "\r"}},
		"delete, home, end and the cursor's place": {[]string{"\x1b[3~\x1b[H\x1b[F\x1b[12;40R"}, []string{"\x1b[3~", "\x1b[H", "\x1b[F", "\x1b[12;40R"}},
		"ctrl-d is ctrl-c":                         {[]string{"\x04"}, []string{"\x03"}},
		"alt and a letter":                         {[]string{"\x1bf", "x"}, []string{"x"}},
		"escape, then enter":                       {[]string{"\x1b", "\r"}, []string{"\r"}},
		"escape twice, then enter":                 {[]string{"\x1b\x1b", "\r"}, []string{"\r"}},
		"escape and enter in one read":             {[]string{"\x1b\r"}, []string{"\r"}},
		"f1, f5, page up":                          {[]string{"\x1bOP\x1b[15~\x1b[5~y"}, []string{"y"}},
		"ctrl and left":                            {[]string{"\x1b[1;5Dy"}, []string{"y"}},
		"an arrow in two reads, cut after escape":  {[]string{"\x1b", "[B", "\r"}, []string{"\x1b[B", "\r"}},
		"an arrow in two reads, cut after bracket": {[]string{"\x1b[", "B\r"}, []string{"\x1b[B", "\r"}},
		"a long sequence in three reads":           {[]string{"\x1b[1", ";5", "Dz"}, []string{"z"}},
		"escape, then a bracket typed alone":       {[]string{"\x1b", "[", "x"}, []string{"[", "x"}},
		"a sequence without an end":                {[]string{"\x1b[" + strings.Repeat("1", 80), "x"}, []string{"x"}},
		"half a sequence at the end of input":      {[]string{"a\x1b[1"}, []string{"a"}},
		"a sequence broken off by ctrl-c":          {[]string{"\x1b[1\x03"}, []string{"\x03"}},
		"letters of two bytes":                     {[]string{"\u03a9"}, []string{"\xce", "\xa9"}},
		"nul":                                      {[]string{"\x00a"}, []string{"a"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, tt.want, pressed(t, tt.chunks...))
		})
	}
}

func TestKeyFilterGivesAKeyInPieces(t *testing.T) {
	t.Parallel()
	f := &keyFilter{in: &scriptedKeys{chunks: []string{"\x1b[Ax"}}}
	var got []byte
	for {
		var one [1]byte
		n, err := f.Read(one[:])
		if err != nil {
			break
		}
		got = append(got, one[:n]...)
	}
	// The rest of an arrow must not be looked at again as a key of its own.
	assert.Equal(t, "\x1b[Ax", string(got))
}

// FuzzKeyFilter asserts that no bytes make the filter hang or hand on Ctrl-D,
// and that the rest of a key it cut never reaches the reader.
func FuzzKeyFilter(f *testing.F) {
	for _, seed := range []string{"abc\r", "\x1b[A", "\x1b\x1b[", "\x1b[1;5D\x04", "\x1bO", "\x1b[\x1b[3~"} {
		f.Add(seed, 1)
		f.Add(seed, 3)
	}
	f.Fuzz(func(t *testing.T, keys string, chunk int) {
		chunk = min(max(chunk, 1), 200)
		var chunks []string
		for len(keys) > 0 {
			n := min(chunk, len(keys))
			chunks, keys = append(chunks, keys[:n]), keys[n:]
		}
		for _, key := range pressed(t, chunks...) {
			require.NotContains(t, key, "\x04")
			require.True(t, len(key) == 1 && key != "\x1b" || len(key) >= 3 && key[0] == 0x1b, "%q", key)
		}
	})
}
