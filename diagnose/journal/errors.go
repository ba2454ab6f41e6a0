package journal

import "errors"

// What can stand in the way of a case. Each comes wrapped in an [Error].
var (
	ErrInUse    = errors.New("another process works on the case")
	ErrNewer    = errors.New("the case is of a newer version")
	ErrExists   = errors.New("the file exists")
	ErrNotFound = errors.New("no such case")
	ErrReadOnly = errors.New("the case cannot be written")
	ErrFull     = errors.New("the disk is full")
	ErrChanged  = errors.New("the file was changed by another program")
)

// Error says what is in the way and what to do next.
type Error struct {
	Message string
	Next    string // the hint
	Err     error
}

func (e *Error) Error() string { return e.Message }

// Hint is the next action, for a line of its own.
func (e *Error) Hint() string { return e.Next }

func (e *Error) Unwrap() error { return e.Err }
