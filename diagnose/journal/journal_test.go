package journal

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/locate"
)

func newCase(t testing.TB) *diagnose.Case {
	t.Helper()
	m, err := yard.Parse("yard", []byte(orchardYard))
	require.NoError(t, err)
	return &diagnose.Case{Name: `the "old" house: east`, Role: diagnose.Technician, Tools: []string{"meter", "spade"}, Yard: m, Meters: faultmodel.DefaultMeters()}
}

func tapAt(feet float64, a, b locate.Side) diagnose.Entry {
	m := feet * ft
	return diagnose.Entry{Answer: &diagnose.Answer{Check: "tap", AtM: &m, ASide: a, BSide: b}}
}

func TestCreateAppendAndGoOn(t *testing.T) {
	t.Parallel()
	o := options(t)
	path := filepath.Join(t.TempDir(), "case.yaml")
	j, err := Create(path, newCase(t), o)
	require.NoError(t, err)
	stamped := lamp("dark")
	stamped.Time = time.Date(2026, 5, 1, 14, 30, 0, 0, time.UTC)
	entries := []diagnose.Entry{stamped, tapAt(314, locate.Broken, locate.Intact), {Undo: true},
		{Repair: &diagnose.RepairDone{Repair: "wire-cut", AtM: at(309 * ft), Fixed: true}}}
	for _, e := range entries {
		require.NoError(t, j.Append(e))
	}
	assert.Equal(t, entries, j.Case().Log)
	require.NoError(t, j.Close())
	assert.Equal(t, `case: "the \"old\" house: east"
role: technician
tools: [meter, spade]
yard:
  yard: orchard house
  lead_in: {length: 40 ft, twisted: true}
  loop:
    length: 480 ft
answers:
  - {check: contact-lamp, answer: dark, time: 2026-05-01T14:30:00Z}
  - {check: tap, at: 314 ft, a_side: broken, b_side: intact}
  - {undo: true}
  - {repair: wire-cut, at: 309 ft, fixed: true}
`, fileText(t, path))

	j, err = Open(path, o)
	require.NoError(t, err)
	assert.Empty(t, j.Warnings())
	assert.Equal(t, `the "old" house: east`, j.Case().Name)
	assert.Equal(t, entries, j.Case().Log)
	require.NoError(t, j.Append(lamp("lights")))
	require.NoError(t, j.Close())
	c, _, err := Read(path, o)
	require.NoError(t, err)
	assert.Equal(t, append(entries, lamp("lights")), c.Log)
}

func TestCreateWithALogAndAYardFile(t *testing.T) {
	t.Parallel()
	o := options(t)
	o.Units = quantity.Metres
	dir := folder(t, map[string]string{"maps/orchard.yaml": orchardYard})
	c := newCase(t)
	c.YardFile, c.Log = "maps/orchard.yaml", orchardLog()
	c.Meters.Ohms.LeadsOhm, c.Meters.Capacitance.AccuracyFrac = 0, 0.05
	j, err := Create(filepath.Join(dir, "case.yaml"), c, o)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	text := fileText(t, j.Path())
	assert.Contains(t, text, "yard: \"maps/orchard.yaml\"\nmeters:\n  ohms: {leads: 0 ohm}\n  capacitance: {accuracy: 5 %}\nanswers:\n")
	assert.Contains(t, text, "  - {check: tap, at: 95.7072 m, a_side: broken, b_side: intact}\n") // 314 ft
	assert.Len(t, j.Case().Log, len(c.Log))
	assert.Equal(t, c.Meters, j.Case().Meters)
}

func TestCreateTouchesNoOtherFile(t *testing.T) {
	t.Parallel()
	o := options(t)
	dir := folder(t, map[string]string{"case.yaml": "mine"})
	_, err := Create(filepath.Join(dir, "case.yaml"), newCase(t), o)
	require.ErrorIs(t, err, ErrExists)
	assert.Equal(t, "mine", fileText(t, filepath.Join(dir, "case.yaml")))
	_, err = Create(filepath.Join(dir, "none", "case.yaml"), newCase(t), o)
	require.ErrorIs(t, err, ErrNotFound)

	// The other name for a file that came up in between.
	require.ErrorIs(t, writeNew(filepath.Join(dir, "case.yaml"), []byte("theirs")), fs.ErrExist)
	names, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, names, 1, "no temporary file is left")
}

func TestOpenWhatIsNotThere(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	_, err := Open(filepath.Join(dir, "none.yaml"), options(t))
	require.ErrorIs(t, err, ErrNotFound)
	_, err = Open(dir, options(t))
	require.ErrorContains(t, err, "is not a file")
}

func TestReplaceKeepsTheRest(t *testing.T) {
	t.Parallel()
	o := options(t)
	path := filepath.Join(t.TempDir(), "case.yaml")
	j, err := Create(path, newCase(t), o)
	require.NoError(t, err)
	for _, e := range []diagnose.Entry{tapAt(100, locate.Intact, locate.Broken), tapAt(200, locate.Broken, locate.Intact), {Undo: true}, tapAt(210, locate.Intact, locate.Broken)} {
		require.NoError(t, j.Append(e))
	}
	require.NoError(t, j.Replace(0, tapAt(101, locate.Intact, locate.Broken)))
	require.NoError(t, j.Append(lamp("dark")))
	require.NoError(t, j.Replace(0, tapAt(102, locate.Intact, locate.Broken)))
	require.NoError(t, j.Replace(3, tapAt(211, locate.Intact, locate.Broken)))
	require.Error(t, j.Replace(2, lamp("dark")), "an undo")
	require.Error(t, j.Replace(0, lamp("dark")), "another check")
	require.Error(t, j.Replace(9, lamp("dark")))
	want := []diagnose.Entry{tapAt(102, locate.Intact, locate.Broken), tapAt(200, locate.Broken, locate.Intact), {Undo: true}, tapAt(211, locate.Intact, locate.Broken), lamp("dark")}
	assert.Equal(t, want, j.Case().Log)
	require.NoError(t, j.Close())
	c, _, err := Read(path, o)
	require.NoError(t, err)
	assert.Equal(t, want, c.Log)

	j, err = Open(path, o) // the numbers of the lines go on
	require.NoError(t, err)
	require.NoError(t, j.Append(tapAt(300, locate.Broken, locate.Broken)))
	require.NoError(t, j.Replace(5, tapAt(301, locate.Broken, locate.Broken)))
	require.NoError(t, j.Close())
	c, _, err = Read(path, o)
	require.NoError(t, err)
	assert.Equal(t, append(want, tapAt(301, locate.Broken, locate.Broken)), c.Log)
	assert.Contains(t, fileText(t, path), "replaces: 9}")
}

// Cases as people lay them out by hand: opening changes nothing, and the first
// answer keeps every line they wrote.
func TestGoingOnWithFilesWrittenByHand(t *testing.T) {
	t.Parallel()
	o := options(t)
	for name, tt := range map[string]struct{ text, after string }{
		"the contract's, answers not last": {orchardCase, strings.Replace(orchardCase, orchardCase[strings.Index(orchardCase, "answers:"):strings.Index(orchardCase, "meters:")], "", 1) +
			orchardCase[strings.Index(orchardCase, "answers:"):strings.Index(orchardCase, "meters:")] + "  - {check: contact-lamp, answer: dark}\n"},
		"no newline at the end": {"case: x\nanswers:\n  - {check: contact-lamp, answer: lights}", "case: x\nanswers:\n  - {check: contact-lamp, answer: lights}\n  - {check: contact-lamp, answer: dark}\n"},
		"dashes at the margin":  {"case: x\nanswers:\n- {check: contact-lamp, answer: lights}\n", "case: x\nanswers:\n- {check: contact-lamp, answer: lights}\n- {check: contact-lamp, answer: dark}\n"},
		"fields below one another": {"case: x\nanswers:\n    - check: contact-lamp\n      answer: lights\n# that was all\n",
			"case: x\nanswers:\n    - check: contact-lamp\n      answer: lights\n# that was all\n    - {check: contact-lamp, answer: dark}\n"},
		"a list in brackets":    {"case: x\nanswers: [{check: contact-lamp, answer: lights}]\nrole: support\n", "case: x\nrole: support\nanswers:\n  - {check: contact-lamp, answer: lights}\n  - {check: contact-lamp, answer: dark}\n"},
		"answers first":         {"# by hand\nanswers:\n  - {check: contact-lamp, answer: lights}\n\n# who\ncase: x\n", "# by hand\n# who\ncase: x\nanswers:\n  - {check: contact-lamp, answer: lights}\n\n  - {check: contact-lamp, answer: dark}\n"},
		"windows line ends":     {"case: x\r\nanswers:\r\n  - {check: contact-lamp, answer: lights}\r\n", "case: x\r\nanswers:\r\n  - {check: contact-lamp, answer: lights}\r\n  - {check: contact-lamp, answer: dark}\n"},
		"a mark of the start":   {"---\ncase: x\nanswers:\n  - {check: contact-lamp, answer: lights}\n", "---\ncase: x\nanswers:\n  - {check: contact-lamp, answer: lights}\n  - {check: contact-lamp, answer: dark}\n"},
		"answers left out":      {"case: x\n", "case: x\nanswers:\n  - {check: contact-lamp, answer: dark}\n"},
		"answers left out, \\n": {"case: x", "case: x\nanswers:\n  - {check: contact-lamp, answer: dark}\n"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := folder(t, map[string]string{"case.yaml": tt.text, "orchard.yaml": orchardYard})
			path := filepath.Join(dir, "case.yaml")
			before, _, err := Read(path, o)
			require.NoError(t, err)
			j, err := Open(path, o)
			require.NoError(t, err)
			assert.Equal(t, tt.text, fileText(t, path), "opening changes nothing")
			require.NoError(t, j.Append(lamp("dark")))
			require.NoError(t, j.Append(lamp("lights")))
			require.NoError(t, j.Close())
			assert.Equal(t, tt.after, strings.TrimSuffix(fileText(t, path), lastLine(fileText(t, path))))
			after, _, err := Read(path, o)
			require.NoError(t, err)
			before.Log = append(before.Log, lamp("dark"), lamp("lights"))
			assert.Equal(t, before, after)
		})
	}
}

func lastLine(text string) string {
	text = strings.TrimSuffix(text, "\n")
	return text[strings.LastIndex(text, "\n")+1:] + "\n"
}

func TestAFileThatCannotBeGoneOnWithIsLeftAlone(t *testing.T) {
	t.Parallel()
	text := "{case: x, answers: [{check: contact-lamp, answer: dark}]}\n"
	dir := folder(t, map[string]string{"case.yaml": text})
	path := filepath.Join(dir, "case.yaml")
	_, _, err := Read(path, options(t))
	require.NoError(t, err, "it can be read")
	_, err = Open(path, options(t))
	require.ErrorContains(t, err, "cannot be gone on with as it is laid out")
	assert.Equal(t, text, fileText(t, path))
}

// A file cut off at any byte, as by a kill, loses at most its last entry, and
// can be gone on with; one cut off in its head is refused and left as it is.
func TestCutOffAtEveryByte(t *testing.T) {
	t.Parallel()
	o := options(t)
	whole := filepath.Join(t.TempDir(), "case.yaml")
	j, err := Create(whole, newCase(t), o)
	require.NoError(t, err)
	head := len(fileText(t, whole))
	note := lamp("dark")
	note.Answer.Note = "at the \u00e9lm: {braces}, [brackets] and a # \u65e5\u672c"
	entries := []diagnose.Entry{tapAt(314, locate.Broken, locate.Intact), note,
		{Answer: &diagnose.Answer{Check: "tone-walk", Widths: []faultmodel.Width{{AtM: 20, WidthM: 1.5}, {AtM: 30, Silent: true}}}},
		{Repair: &diagnose.RepairDone{Repair: "wire-cut", AtM: at(309 * ft), Fixed: true}},
		{Outcome: &diagnose.Outcome{Cause: "wire-cut", AtM: at(309 * ft), Confirmed: true}}}
	var ends []int // of the file, by number of entries in it
	for _, e := range entries {
		ends = append(ends, len(fileText(t, whole)))
		require.NoError(t, j.Append(e))
	}
	require.NoError(t, j.Close())
	text := fileText(t, whole)
	ends = append(ends, len(text))
	log := j.Case().Log

	path := filepath.Join(t.TempDir(), "case.yaml")
	tried, refused := 0, 0
	for cut := 0; cut <= len(text); cut++ {
		tried++
		require.NoError(t, os.WriteFile(path, []byte(text[:cut]), 0o644))
		complete := 0
		for complete < len(entries) && ends[complete+1] <= cut {
			complete++
		}
		j, err := Open(path, o)
		if err != nil {
			refused++
			require.Less(t, cut, head, "cut at %d: %v", cut, err)
			require.Equal(t, text[:cut], fileText(t, path), "refused and left as it is")
			continue
		}
		kept := j.Case().Log
		if cut >= head {
			require.GreaterOrEqual(t, len(kept), complete, "cut at %d", cut)
		}
		require.LessOrEqual(t, len(kept), complete+1)
		require.True(t, near(reflect.ValueOf(log[:len(kept)]), reflect.ValueOf(kept)), "cut at %d", cut)
		require.Equal(t, text[:cut], fileText(t, path), "opening changes nothing")
		if rest := strings.TrimSpace(text[min(ends[len(kept)], cut):cut]); rest != "" && rest != "answers:" { // blanks are no damage
			require.Len(t, j.Warnings(), 1, "cut at %d: %q", cut, rest)
		}
		kept = append(append([]diagnose.Entry(nil), kept...), lamp("lights"))
		require.NoError(t, j.Append(lamp("lights")), "cut at %d", cut)
		require.NoError(t, j.Close())
		c, warnings, err := Read(path, o)
		require.NoError(t, err, "cut at %d: %s", cut, fileText(t, path))
		require.Empty(t, warnings)
		require.Equal(t, kept, c.Log)
	}
	t.Logf("%d cuts, %d of them in the head and refused", tried, refused)
}

func TestDamageElsewhereIsReportedAndLeftAlone(t *testing.T) {
	t.Parallel()
	o := options(t)
	good := "case: x\nanswers:\n  - {check: contact-lamp, answer: lights}\n  - {check: contact-lamp, answer: dark}\n"
	for name, tt := range map[string]struct{ text, want string }{
		"a line in the middle cut off":   {strings.Replace(good, "answer: lights}", "answ", 1), ":3:"},
		"zeros in the middle":            {strings.Replace(good, "lights", "li\x00\x00ts", 1), ":3:"},
		"a last line that is wrong":      {good + "  - {check: contact-lamp, answer: glows}\n", ":5:35: \"glows\" is no answer to contact-lamp"},
		"a last line never closed, \\n":  {good + "  - {check: contact-lamp, answer: dark\n", ":5:"},
		"two lines cut off":              {good + "  - {check: con\n  - {check", ":5:"},
		"zeros, and more behind them":    {good + "\x00\x00\n  - {check: contact-lamp, answer: dark}\n", ":5:1: control character U+0000"},
		"damage, and a fault elsewhere":  {strings.Replace(good, "lights", "glows", 1) + "  - {che", ""},
		"the head cut off":               {"case: x\nyard:\n  loop: {len", ":4:1: a group"},
		"something binary at the end":    {good + "  - {\x7fELF\x01\x00\x00", ":5:"},
		"a head of another sort of file": {"{\"type\": \"Feature\"}\n", `unknown field "type"`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := folder(t, map[string]string{"case.yaml": tt.text})
			path := filepath.Join(dir, "case.yaml")
			_, err := Open(path, o)
			require.Error(t, err)
			assert.Contains(t, err.Error(), tt.want)
			assert.Equal(t, tt.text, fileText(t, path))
		})
	}
}

func TestZerosOfAPowerCutAreDropped(t *testing.T) {
	t.Parallel()
	o := options(t)
	good := "case: x\nanswers:\n  - {check: contact-lamp, answer: lights}\n"
	for _, tail := range []string{"\x00\x00\x00\x00", "  - {check: cont\x00\x00\x00\x00\x00\n", "\x00\n"} {
		dir := folder(t, map[string]string{"case.yaml": good + tail})
		path := filepath.Join(dir, "case.yaml")
		j, err := Open(path, o)
		require.NoError(t, err, "%q", tail)
		assert.Len(t, j.Warnings(), 1)
		require.NoError(t, j.Append(lamp("dark")))
		require.NoError(t, j.Close())
		assert.Equal(t, good+"  - {check: contact-lamp, answer: dark}\n", fileText(t, path))
	}
}

func TestTwoProcessesOnOneCase(t *testing.T) {
	t.Parallel()
	o := options(t)
	path := filepath.Join(t.TempDir(), "case.yaml")
	j, err := Create(path, newCase(t), o)
	require.NoError(t, err)
	_, err = Open(path, o)
	require.ErrorIs(t, err, ErrInUse)
	assert.Contains(t, err.Error(), "in use by another process")
	_, _, err = Read(path, o)
	require.NoError(t, err, "reading does not need the case")
	require.NoError(t, j.Close())
	j, err = Open(path, o)
	require.NoError(t, err)
	require.NoError(t, j.Close())
}

func TestTheFileChangesUnderneath(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("a file in use cannot be replaced on Windows")
	}
	o := options(t)
	for name, change := range map[string]func(path string) error{
		"longer":  func(path string) error { return appendTo(path, "# a note\n") },
		"shorter": func(path string) error { return os.Truncate(path, 10) },
		"replaced": func(path string) error {
			return errors.Join(os.Rename(path, path+"~"), os.WriteFile(path, []byte("case: y\n"), 0o644))
		},
		"gone": os.Remove,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, text := range []string{"case: x\n", "answers:\n  - {check: contact-lamp, answer: lights}\ncase: x\n"} {
				dir := folder(t, map[string]string{"case.yaml": text})
				path := filepath.Join(dir, "case.yaml")
				j, err := Open(path, o)
				require.NoError(t, err)
				require.NoError(t, change(path))
				before, _ := os.ReadFile(path)
				err = j.Append(lamp("dark"))
				require.ErrorIs(t, err, ErrChanged, "%q", text)
				assert.Empty(t, j.Case().Log[min(len(j.Case().Log), strings.Count(text, "check:")):], "the answer is not in the log")
				after, _ := os.ReadFile(path)
				assert.Equal(t, string(before), string(after))
				require.NoError(t, j.Close())
			}
		})
	}
}

func appendTo(path, text string) error {
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Close())
}

func TestReadOnly(t *testing.T) {
	t.Parallel()
	if os.Getuid() == 0 || runtime.GOOS == "windows" {
		t.Skip("root and Windows write wherever they like; see TestWordsOfEveryError")
	}
	o := options(t)
	dir := folder(t, map[string]string{"case.yaml": "case: x\n"})
	require.NoError(t, os.Chmod(filepath.Join(dir, "case.yaml"), 0o444))
	_, err := Open(filepath.Join(dir, "case.yaml"), o)
	require.ErrorIs(t, err, ErrReadOnly)
	require.NoError(t, os.Chmod(dir, 0o555))
	_, err = Create(filepath.Join(dir, "new.yaml"), newCase(t), o)
	require.ErrorIs(t, err, ErrReadOnly)
	require.NoError(t, os.Chmod(dir, 0o755))
}

func TestWordsOfEveryError(t *testing.T) {
	t.Parallel()
	path := filepath.Join(folder(t, map[string]string{"case.yaml": "case: x\n"}), "case.yaml")
	for name, tt := range map[string]struct {
		err  error
		is   error
		want string
	}{
		"a read-only file":        {openError(path, &fs.PathError{Op: "open", Path: path, Err: syscall.EACCES}), ErrReadOnly, "can be read but not written"},
		"a read-only file system": {openError(path, &fs.PathError{Op: "open", Path: path, Err: syscall.EROFS}), ErrReadOnly, "can be read but not written"},
		"a file not to be read":   {openError(path+"none", &fs.PathError{Op: "open", Path: path, Err: syscall.EACCES}), ErrReadOnly, "may not be read"},
		"a read-only folder":      {writeError(path, &fs.PathError{Op: "open", Path: path, Err: syscall.EACCES}), ErrReadOnly, "no permission in its folder"},
		"a missing folder":        {writeError(path, &fs.PathError{Op: "open", Path: path, Err: syscall.ENOENT}), ErrNotFound, "its folder is not there"},
		"something else":          {writeError(path, &fs.PathError{Op: "write", Path: path, Err: syscall.EIO}), syscall.EIO, "cannot be written: input/output error"},
	} {
		require.ErrorIs(t, tt.err, tt.is, name)
		if runtime.GOOS != "windows" {
			assert.Contains(t, tt.err.Error(), tt.want, name)
		}
		var hinted interface{ Hint() string }
		require.ErrorAs(t, tt.err, &hinted, name)
		assert.NotEmpty(t, hinted.Hint(), name)
	}
}

// fullDisk takes so many bytes and no more; like a real one it may have written
// a part of the line by then.
type fullDisk struct {
	file
	room      int
	syncFails bool
	cutFails  bool
}

var errFull = func() error {
	if runtime.GOOS == "windows" {
		return syscall.Errno(112) // ERROR_DISK_FULL
	}
	return syscall.ENOSPC
}()

func (d *fullDisk) WriteAt(p []byte, off int64) (int, error) {
	n := min(len(p), d.room)
	d.room -= n
	if _, err := d.file.WriteAt(p[:n], off); err != nil {
		return 0, err
	}
	if n < len(p) {
		return n, errFull
	}
	return n, nil
}

func (d *fullDisk) Sync() error {
	if d.syncFails {
		return errFull
	}
	return d.file.Sync()
}

func (d *fullDisk) Truncate(size int64) error {
	if d.cutFails {
		return errFull
	}
	return d.file.Truncate(size)
}

func TestFullDiskAtEveryByte(t *testing.T) {
	t.Parallel()
	o := options(t)
	path := filepath.Join(t.TempDir(), "case.yaml")
	j, err := Create(path, newCase(t), o)
	require.NoError(t, err)
	require.NoError(t, j.Append(lamp("lights")))
	whole := fileText(t, path)
	disk := &fullDisk{file: j.f}
	j.f = disk
	line := len("  - {check: tap, at: 314 ft, a_side: broken, b_side: intact}\n")
	for room := range line {
		for _, cutFails := range []bool{false, true} {
			disk.room, disk.cutFails = room, cutFails
			err := j.Append(tapAt(314, locate.Broken, locate.Intact))
			require.ErrorIs(t, err, ErrFull)
			require.ErrorContains(t, err, "the disk is full")
			require.Len(t, j.Case().Log, 1)
			if !cutFails {
				require.Equal(t, whole, fileText(t, path), "with room for %d bytes", room)
			}
		}
	}
	disk.room, disk.cutFails, disk.syncFails = 1000, false, true
	require.ErrorIs(t, j.Append(tapAt(314, locate.Broken, locate.Intact)), ErrFull)
	require.Equal(t, whole, fileText(t, path))

	disk.syncFails = false
	require.NoError(t, j.Append(tapAt(314, locate.Broken, locate.Intact)), "space was freed")
	require.NoError(t, j.Close())
	assert.Equal(t, whole+"  - {check: tap, at: 314 ft, a_side: broken, b_side: intact}\n", fileText(t, path))
}

func TestAppendRefusesWhatCouldNotBeRead(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "case.yaml")
	j, err := Create(path, newCase(t), options(t))
	require.NoError(t, err)
	before := fileText(t, path)
	for _, e := range []diagnose.Entry{
		{},
		lamp("glows"),
		{Answer: &diagnose.Answer{Check: "loop-ohms"}},
		{Answer: &diagnose.Answer{Check: "no-such-check", Choice: "dark"}},
		{Repair: &diagnose.RepairDone{Repair: "wire-glue"}},
		{Repair: &diagnose.RepairDone{Repair: "wire-cut", AtM: at(561 * ft)}},
		tapAt(561, locate.Broken, locate.Intact), // beyond the wire of 560 ft: the case would not open again
	} {
		require.Error(t, j.Append(e))
	}
	assert.Equal(t, before, fileText(t, path))
	assert.Empty(t, j.Case().Log)
	require.NoError(t, j.Close())
}
