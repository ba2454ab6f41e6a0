package console

import (
	"bytes"
	"io"
)

// keyboard is where keys come from: a terminal's file, as survey wants it.
type keyboard interface {
	io.Reader
	Fd() uintptr
}

// Keys by their code.
const (
	keyInterrupt = 0x03 // Ctrl-C
	keyEndOfFile = 0x04 // Ctrl-D
	keyEscape    = 0x1b
)

// longestKey is more than any sequence a keyboard sends; what goes on for longer is given up.
const longestKey = 64

// keyFilter hands on one key at each Read, so that what is typed ahead stays for
// the next question, and closes three traps: Ctrl-D becomes Ctrl-C, since survey
// takes it for the highlighted option; an escape sequence that survey does not
// know is dropped, since survey answers it with an error or types its rest into
// the answer; and a sequence that arrives in two reads is put together again.
type keyFilter struct {
	in      keyboard
	held    []byte // read and not yet looked at
	escaped bool   // the last byte of the last read was a lone escape
	err     error  // met behind what is held
}

func (f *keyFilter) Fd() uintptr { return f.in.Fd() }

func (f *keyFilter) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for {
		key, rest, complete := nextKey(f.held)
		if !complete && f.err == nil {
			f.fill()
			continue
		}
		if !complete {
			if err := f.err; len(f.held) == 0 {
				f.err = nil
				return 0, err
			}
			f.held = nil // half a sequence at the end of all input
			continue
		}
		f.held = rest
		if key = translate(key); len(key) == 0 {
			continue
		}
		n := copy(p, key)
		f.held = append(append([]byte(nil), key[n:]...), f.held...)
		return n, nil
	}
}

// fill reads on. A lone escape at the end of a read is the escape key itself and
// is dropped at once, or its next key would be lost; only if the next read
// starts as the rest of a sequence was it the sequence's first byte.
func (f *keyFilter) fill() {
	buf := make([]byte, 256)
	n, err := f.in.Read(buf)
	b := buf[:n]
	if f.escaped && len(b) > 1 && (b[0] == '[' || b[0] == 'O') {
		b = append([]byte{keyEscape}, b...)
	}
	pressed := bytes.TrimRight(b, string(rune(keyEscape)))
	f.escaped = len(pressed) < len(b)
	f.held = append(f.held, pressed...)
	f.err = err
}

// nextKey splits one byte or one escape sequence off the head of b. It is not
// complete where b is empty or holds the beginning of a sequence only.
func nextKey(b []byte) (key, rest []byte, complete bool) {
	switch {
	case len(b) == 0:
		return nil, nil, false
	case b[0] != keyEscape:
		return b[:1], b[1:], true
	case len(b) == 1:
		return nil, b, false
	case b[1] <= keyEscape: // the escape key, then another
		return b[:1], b[1:], true
	case b[1] == '[':
		for i := 2; i < len(b); i++ {
			if b[i] >= 0x40 && b[i] <= 0x7e { // the final byte of ECMA-48
				return b[:i+1], b[i+1:], true
			}
			if b[i] < 0x20 { // no sequence holds a control character
				return b[:i], b[i:], true
			}
		}
		if len(b) > longestKey {
			return b, nil, true
		}
		return nil, b, false
	case b[1] == 'O':
		if len(b) < 3 {
			return nil, b, false
		}
		return b[:3], b[3:], true
	}
	return b[:2], b[2:], true // Alt and a key
}

// translate gives what survey is to see for a key; nothing where it must not see it.
func translate(key []byte) []byte {
	if len(key) == 1 {
		switch {
		case key[0] == keyEndOfFile:
			return []byte{keyInterrupt}
		case key[0] == keyEscape, key[0] == 0:
			return nil
		}
		return key
	}
	if len(key) < 3 {
		return nil
	}
	switch last := key[len(key)-1]; {
	case string(key) == "\x1b[3~": // delete
		return key
	case len(key) == 3 && (last >= 'A' && last <= 'D' || last == 'F' || last == 'H'): // arrows, end, home
		return key
	case key[1] == '[' && last == 'R': // where the cursor is
		return key
	}
	return nil
}

// withoutKeys drops escape sequences from a line that a terminal handed over
// whole: in its own line mode an arrow key arrives as text.
func withoutKeys(line string) string {
	b, out := []byte(line), make([]byte, 0, len(line))
	for len(b) > 0 {
		key, rest, complete := nextKey(b)
		if !complete {
			break
		}
		if len(key) == 1 && key[0] != keyEscape {
			out = append(out, key[0])
		}
		b = rest
	}
	return string(out)
}
