package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"loopfault/diagnose/console"
	"loopfault/kb/strictyaml"
)

// The exit codes.
const (
	exitDone        = 0
	exitFailed      = 1   // the work could not be finished
	exitUsage       = 2   // the command line makes no sense
	exitInterrupted = 130 // Ctrl-C, as shells count it: 128 and the signal
)

// usageError is a command line that makes no sense.
type usageError struct {
	message string
	hint    string
}

func (e *usageError) Error() string { return e.message }
func (e *usageError) Hint() string  { return e.hint }

func usagef(hint, format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...), hint}
}

// hinted is an error with the next action.
type hinted struct {
	error
	hint string
}

func (e *hinted) Hint() string  { return e.hint }
func (e *hinted) Unwrap() error { return e.error }

func withHint(err error, format string, args ...any) error {
	return &hinted{err, fmt.Sprintf(format, args...)}
}

// explain writes an error for a person and gives the exit code for it.
func explain(w io.Writer, err error) int {
	if err == nil {
		return exitDone
	}
	interrupted := errors.Is(err, console.ErrInterrupted) || errors.Is(err, context.Canceled)
	var hint interface{ Hint() string }
	hasHint := errors.As(err, &hint) && hint.Hint() != ""
	var faults strictyaml.Faults
	switch {
	case interrupted && !hasHint:
		fmt.Fprintln(w) // so that the next shell prompt starts on its own line
	case interrupted:
		fmt.Fprintf(w, "\nloopfault: %s\n", clean(err.Error()))
	case errors.As(err, &faults) && len(faults) > 1:
		fmt.Fprintf(w, "loopfault: %d faults\n%s\n", len(faults), faults.Error())
	default:
		fmt.Fprintf(w, "loopfault: %s\n", clean(err.Error()))
	}
	if hasHint {
		fmt.Fprintf(w, "hint: %s\n", clean(hint.Hint()))
	}
	var usage *usageError
	switch {
	case interrupted:
		return exitInterrupted
	case errors.As(err, &usage):
		return exitUsage
	}
	return exitFailed
}

// clean keeps what a file or an argument holds from steering the terminal.
func clean(text string) string {
	return strings.TrimRight(console.Clean(text), "\n")
}

// allFaults joins the errors of several files; faults in files stay faults.
func allFaults(errs []error) error {
	var faults strictyaml.Faults
	var other []error
	for _, err := range errs {
		var f strictyaml.Faults
		if errors.As(err, &f) {
			faults = append(faults, f...)
		} else {
			other = append(other, err)
		}
	}
	if len(other) == 0 {
		return faults.Err()
	}
	return errors.Join(append(other, faults.Err())...)
}
