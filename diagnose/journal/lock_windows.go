package journal

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// mustCloseToReplace: a file in use cannot be replaced here.
const mustCloseToReplace = true

var errLocked = errors.New("locked")

// lock holds the file against other processes until it is closed or the process
// ends. The locked byte lies far behind any end of the file, since Windows would
// keep other programs from reading it.
func lock(f *os.File) error {
	at := windows.Overlapped{Offset: 0xfffffffe, OffsetHigh: 0x7fffffff}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	switch {
	case errors.Is(err, windows.ERROR_LOCK_VIOLATION), errors.Is(err, windows.ERROR_IO_PENDING):
		return errLocked
	case errors.Is(err, windows.ERROR_INVALID_FUNCTION), errors.Is(err, windows.ERROR_NOT_SUPPORTED):
		return nil // a file system without locks
	}
	return err
}

func isFull(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL)
}
