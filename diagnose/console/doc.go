// Package console asks a person the engine's questions, on a terminal or as JSON
// Lines. Most uses need [New] for a [Prompter], then [Interview.Run]; programs
// that drive this one use [Dialogue.Run].
//
// # Two forms of one interview
//
// A [Prompter] has two implementations. The one for terminals lets the arrow
// keys choose (survey) and edits typed lines (golang.org/x/term). The plain one
// numbers its options and reads lines, for pipes, screen readers and terminals
// that move no cursor; it offers everything the other does.
//
// # Nothing lost
//
// Every answer goes to the [Log] before the next question is worked out. Ctrl-C,
// Ctrl-D, a closed terminal and SIGTERM all end the interview with [ErrInterrupted] or
// [ErrEnded] and leave nothing to save.
//
// # Text
//
// What is asked comes from the knowledge base; Go holds only the labels that
// move about. Text from files and people is stripped of control characters
// before it reaches a terminal (see [Clean]). Questions go to the writer given,
// by custom standard error, so that standard output stays for results.
package console
