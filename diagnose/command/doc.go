// Package command holds the program's commands, their flags and its settings.
//
// [Main] runs one command line and returns the exit code. Each command is made
// by a constructor that takes the [program], which holds the streams and loads
// what a command needs only when it needs it: nothing is read and nothing is
// worked out before the command line is understood.
//
// # Streams
//
// Results go to standard output, prompts, progress and errors to standard error.
// An error is one line, "loopfault: what failed: why", then a line "hint:" with
// the next action where there is one. Faults of files stand on lines of their
// own as FILE:LINE:COLUMN.
//
// # Settings
//
// Flags over the environment (LOOPFAULT_...) over the settings file over
// defaults; see config.go, the one file that knows viper.
package command
