package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/natefinch/atomic"

	"loopfault/diagnose"
	"loopfault/kb"
	"loopfault/kb/strictyaml"
)

// Journal is a case on disk that this process holds. It is not safe for use by
// several goroutines at once.
type Journal struct {
	path     string
	o        Options
	c        *diagnose.Case
	f        file
	size     int64  // of the file as far as it is known to be right
	line     []int  // as in parsed
	lines    int    // as in parsed
	next     string // what stands before the next line: its own line break, "answers:", the indent
	indent   string // of every line after it
	found    []byte // the file as it was read, and
	rewrite  []byte // what replaces it before the next line, where answers do not stand last
	torn     bool   // bytes of a failed write may stand behind size
	warnings []string
}

// file is what the journal needs of an open file; tests put disks that fill up
// or die in its place.
type file interface {
	io.WriterAt
	Stat() (fs.FileInfo, error)
	Truncate(size int64) error
	Sync() error
	Close() error
}

// Read reads a case without holding or changing it. The warnings say what was
// dropped.
func Read(path string, o Options) (c *diagnose.Case, warnings []string, err error) {
	data, err := readRegular(os.Stat, func(n string) (*os.File, error) { return os.Open(n) }, path)
	if err != nil {
		return nil, nil, openError(path, err)
	}
	s, err := scan(path, data, o)
	if err != nil {
		return nil, nil, err
	}
	return s.c, s.warnings, nil
}

// Create starts a case in a new file, with what is in its log already. It
// refuses to touch a file that exists.
func Create(path string, c *diagnose.Case, o Options) (*Journal, error) {
	if _, err := os.Lstat(path); err == nil {
		return nil, &Error{Message: fmt.Sprintf("%s exists already", path), Next: "go on with it by naming it without starting anew, or choose another name", Err: ErrExists}
	}
	text := header(c)
	if len(c.Log) > 0 {
		text = append(text, "answers:\n"...)
		for _, e := range c.Log {
			text = append(text, entryLine("  ", e, o, 0)...)
		}
	}
	if _, err := parse(path, filepath.Dir(path), text, o); err != nil {
		return nil, fmt.Errorf("the case cannot be written as a file: %w", err)
	}
	if err := writeNew(path, text); err != nil {
		return nil, writeError(path, err)
	}
	return Open(path, o)
}

// writeNew puts a file in place whole or not at all, and never over another.
func writeNew(path string, text []byte) error {
	temp, err := os.CreateTemp(filepath.Dir(path), ".case-*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(text)
	err = errors.Join(err, temp.Chmod(0o644), temp.Sync(), temp.Close())
	if err != nil {
		return err
	}
	if err := os.Link(temp.Name(), path); err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	// Without links (some memory cards): the name was free a moment ago.
	return os.Rename(temp.Name(), path)
}

// Open goes on with a case. It holds the file until [Journal.Close]; a second
// process gets [ErrInUse].
func Open(path string, o Options) (*Journal, error) {
	j := &Journal{path: path, o: o}
	f, err := hold(path)
	if err != nil {
		return nil, err
	}
	j.f = f
	if err := j.load(f); err != nil {
		_ = f.Close()
		return nil, err
	}
	return j, nil
}

// hold opens and locks the file that the path names at the end of it: another
// process may have put a new file in its place in between.
func hold(path string) (*os.File, error) {
	const tries = 5
	for range tries {
		if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
			return nil, openError(path, errNotRegular)
		}
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			return nil, openError(path, err)
		}
		switch err := lock(f); {
		case errors.Is(err, errLocked):
			_ = f.Close()
			return nil, &Error{Message: fmt.Sprintf("%s is in use by another process", path), Next: "finish there first, or look at the case without going on: --json", Err: ErrInUse}
		case err != nil:
			_ = f.Close()
			return nil, fmt.Errorf("%s cannot be held: %w", path, err)
		}
		if isAt(f, path) {
			return f, nil
		}
		_ = f.Close()
	}
	return nil, &Error{Message: fmt.Sprintf("%s is being replaced by another process", path), Next: "try again when it has finished", Err: ErrInUse}
}

// isAt tells whether the open file is still the one that the path names.
func isAt(f file, path string) bool {
	held, err1 := f.Stat()
	named, err2 := os.Stat(path)
	return err1 == nil && err2 == nil && os.SameFile(held, named)
}

// load reads the held file.
func (j *Journal) load(f *os.File) error {
	data, err := io.ReadAll(io.LimitReader(f, strictyaml.MaxBytes+1))
	if err != nil {
		return fmt.Errorf("%s cannot be read: %w", j.path, err)
	}
	s, err := scan(j.path, data, j.o)
	if err != nil {
		return err
	}
	j.c, j.line, j.lines, j.warnings = s.c, s.line, s.lines, s.warnings
	j.size = int64(len(s.text))
	j.torn = len(s.text) < len(data)
	j.next, j.indent = s.next, s.indent
	if s.appendable(j.o) {
		return nil
	}
	moved, ok := s.moved(j.o)
	if !ok {
		return &Error{Message: fmt.Sprintf("%s cannot be gone on with as it is laid out", j.path),
			Next: "put the answers last in the file, each as one line \"- {check: ..., answer: ...}\"", Err: ErrReadOnly}
	}
	j.found, j.rewrite, j.next, j.indent = data, moved.text, moved.next, moved.indent
	return nil
}

// Case is the case as it stands. Its log grows with [Journal.Append]; it is the
// journal's own and must not be changed.
func (j *Journal) Case() *diagnose.Case { return j.c }

// Path is the case's file.
func (j *Journal) Path() string { return j.path }

// Warnings say what was dropped from a damaged end of the file.
func (j *Journal) Warnings() []string { return j.warnings }

// Append writes an entry to the end of the log and syncs it. On an error the
// file is as it was before, and the entry is not in the log.
func (j *Journal) Append(e diagnose.Entry) error {
	if err := j.write(e, 0); err != nil {
		return err
	}
	j.lines++
	j.line = append(j.line, j.lines)
	j.c.Log = append(j.c.Log, e)
	return nil
}

// Replace puts an answer in the place of another to the same check, by index of
// the log, and keeps all the rest: the changed answer is a line of its own that
// names the line it stands for.
func (j *Journal) Replace(index int, e diagnose.Entry) error {
	if index < 0 || index >= len(j.c.Log) || j.c.Log[index].Answer == nil || e.Answer == nil || j.c.Log[index].Answer.Check != e.Answer.Check {
		return fmt.Errorf("entry %d is no answer to the same check", index)
	}
	if err := j.write(e, j.line[index]); err != nil {
		return err
	}
	j.lines++
	j.c.Log[index] = e
	return nil
}

// write appends one line, of an entry that replaces another line where that is not 0.
func (j *Journal) write(e diagnose.Entry, replaces int) error {
	if err := j.check(e); err != nil {
		return err
	}
	if j.rewrite != nil {
		if err := j.replaceFile(); err != nil {
			return err
		}
	}
	info, err := j.f.Stat()
	if err != nil {
		return fmt.Errorf("%s cannot be looked at: %w", j.path, err)
	}
	if !isAt(j.f, j.path) || info.Size() != j.size && !j.torn {
		return j.changed()
	}
	if j.torn {
		if err := j.f.Truncate(j.size); err != nil {
			return writeError(j.path, err)
		}
		j.torn = false
	}
	line := append([]byte(j.next), entryLine(j.indent, e, j.o, replaces)...)
	if _, err := j.f.WriteAt(line, j.size); err != nil {
		return j.takeBack(err)
	}
	if err := j.f.Sync(); err != nil {
		return j.takeBack(err)
	}
	j.size += int64(len(line))
	j.next = ""
	return nil
}

// takeBack cuts off what a failed write may have left.
func (j *Journal) takeBack(err error) error {
	j.torn = true
	if j.f.Truncate(j.size) == nil {
		_ = j.f.Sync()
		j.torn = false
	}
	return writeError(j.path, err)
}

// check refuses what could not be read back.
func (j *Journal) check(e diagnose.Entry) error {
	text := "case: x\nanswers:\n" + string(entryLine("", e, j.o, 0))
	p, err := parseIn(j.c.Yard, "entry", ".", []byte(text), Options{Base: j.o.Base})
	if err == nil && len(p.c.Log) != 1 && !e.Undo {
		err = errors.New("it is read as something else")
	}
	if err != nil {
		return fmt.Errorf("the entry cannot be written: %w", err)
	}
	return nil
}

// replaceFile moves the answers to the end of the file, in one step.
func (j *Journal) replaceFile() error {
	if now, err := os.ReadFile(j.path); err != nil || !isAt(j.f, j.path) || !bytes.Equal(now, j.found) {
		return j.changed()
	}
	held := j.f
	if mustCloseToReplace {
		_ = held.Close()
	}
	err := atomic.WriteFile(j.path, bytes.NewReader(j.rewrite))
	if !mustCloseToReplace {
		defer held.Close()
	}
	if err != nil {
		return writeError(j.path, err)
	}
	f, err := hold(j.path)
	if err != nil {
		return err
	}
	j.f = f
	if now, err := io.ReadAll(f); err != nil || !bytes.Equal(now, j.rewrite) {
		return j.changed()
	}
	j.size, j.found, j.rewrite, j.torn = int64(len(j.rewrite)), nil, nil, false
	return nil
}

func (j *Journal) changed() error {
	return &Error{Message: fmt.Sprintf("%s was changed by another program; nothing was written over", j.path),
		Next: "look at the file, then go on with it anew", Err: ErrChanged}
}

// Close gives the case back.
func (j *Journal) Close() error {
	if err := j.f.Close(); err != nil {
		return fmt.Errorf("%s cannot be closed: %w", j.path, err)
	}
	return nil
}

// entryLine is one line of the answers with its dash and its end.
func entryLine(indent string, e diagnose.Entry, o Options, replaces int) []byte {
	var c *kb.Check
	if e.Answer != nil {
		c = o.Base.Check(e.Answer.Check)
	}
	line := Line(e, c, o.Units)
	if replaces > 0 {
		line = fmt.Sprintf("%s, replaces: %d}", strings.TrimSuffix(line, "}"), replaces)
	}
	return []byte(indent + "- " + line + "\n")
}

// openError says why a case cannot be opened, and what to do.
func openError(path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Message: fmt.Sprintf("there is no case %s", path), Next: "check the name, or start a new case", Err: errors.Join(ErrNotFound, err)}
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		if _, readErr := os.ReadFile(path); readErr == nil {
			return &Error{Message: fmt.Sprintf("%s can be read but not written, so no answer could be saved", path),
				Next: "copy it to a folder of your own and go on there, or look at it with --json", Err: errors.Join(ErrReadOnly, err)}
		}
		return &Error{Message: fmt.Sprintf("%s may not be read", path), Next: "ask its owner, or work on a copy of your own", Err: errors.Join(ErrReadOnly, err)}
	case errors.Is(err, errNotRegular):
		return &Error{Message: fmt.Sprintf("%s is not a file", path), Next: "name the case's file itself", Err: err}
	}
	return fmt.Errorf("%s cannot be opened: %w", path, err)
}

// writeError says why a case cannot be written, and what to do.
func writeError(path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrExist):
		return &Error{Message: fmt.Sprintf("%s exists already", path), Next: "go on with it by naming it without starting anew, or choose another name", Err: ErrExists}
	case isFull(err):
		return &Error{Message: fmt.Sprintf("the disk is full: the last answer is not in %s, all before it are", path),
			Next: "free some space, then answer again", Err: errors.Join(ErrFull, err)}
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return &Error{Message: fmt.Sprintf("%s cannot be written: no permission in its folder", path),
			Next: "name a case in a folder of your own", Err: errors.Join(ErrReadOnly, err)}
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Message: fmt.Sprintf("%s cannot be written: its folder is not there", path), Next: "make the folder, or name another", Err: errors.Join(ErrNotFound, err)}
	}
	return &Error{Message: fmt.Sprintf("%s cannot be written: %v", path, plainly(err)), Next: "the answers before this one are saved; check the disk", Err: err}
}
