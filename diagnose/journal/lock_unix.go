//go:build !windows

package journal

import (
	"errors"
	"os"
	"syscall"
)

// mustCloseToReplace: a file in use can be replaced here.
const mustCloseToReplace = false

var errLocked = errors.New("locked")

// lock holds the file against other processes until it is closed or the process
// ends, however it ends. File systems without locks give none.
func lock(f *os.File) error {
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
		case errors.Is(err, syscall.EWOULDBLOCK):
			return errLocked
		case errors.Is(err, syscall.ENOLCK), errors.Is(err, syscall.ENOTSUP), errors.Is(err, syscall.ENOSYS), errors.Is(err, syscall.EINVAL):
			return nil
		default:
			return err
		}
	}
}

func isFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG)
}
