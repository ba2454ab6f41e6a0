// Package report turns an assessed case into something to keep: a table for the
// terminal, Markdown, one HTML page with drawings, JSON, and the half page that
// hands a call over to a technician.
//
// [New] writes the [Record], everything that a report says, in the words of the
// role and the reader's units; [Record.Table], [Record.Markdown], [Record.HTML],
// [Record.JSON] and [Record.Handover] lay it out. The record is plain data, so
// that every form says the same.
//
// # What is safe
//
// Everything from a case file is text: it is escaped in each form, the HTML page
// carries no script and forbids any to itself, and nothing outside is referred
// to. A redacted record names no place and repeats no note.
package report
