// Package strictyaml reads one YAML document into Go values and reports every
// fault in it at once, each as FILE:LINE:COLUMN with what is wrong and what was
// expected, in words for the person who wrote the file.
//
// [Decode] does all of it for a plain structure. [Parse] keeps the [Document],
// for callers that check meaning afterwards and want to point at the right spot
// with [Document.Pos].
//
// # What is refused
//
// Besides broken YAML: an empty file, a second document, unknown and repeated
// fields, a value of the wrong sort, a field without a value, anchors, aliases,
// tags and merge keys (none of our files needs them, and aliases can make a
// small file explode), bytes that are not UTF-8 text, control characters, also
// those written as escapes, and files past [MaxBytes] or [MaxDepth].
//
// # Values
//
// Text is taken as it stands in the file: on, no, 010 and 12.3 ohm are the
// strings "on", "no", "010" and "12.3 ohm", quoted or not. Numbers are plain
// decimal numbers without unit, bools are true or false. Besides the usual Go
// types a target may use
//
//   - [Text], a string that knows its position;
//   - [Pos], as a struct field without a key: filled with the position of the
//     mapping that the struct was read from;
//   - any encoding.TextUnmarshaler, called with the scalar's text;
//   - any [Decoder], which decides for itself what a value may be.
//
// Fields are named by `yaml` tags, and embedded structs may be `,inline`. A
// field absent from the file is left alone; whether it may be absent is for the
// caller to say.
package strictyaml
