// Package kb is what loopfault knows: the causes of a silent or broken boundary
// loop, the checks that tell them apart, the repairs, the safety rules, and the
// words for each of the three people. It is data, in YAML files beside this
// code; no probability and no sentence of a diagnosis is written in Go.
//
// [Load] returns the built-in knowledge, [LoadWith] the same changed by a
// user's overlay. A [Base] is read-only and may be shared.
//
// # Files
//
//   - causes.yaml: parts and causes with their priors and places;
//   - checks.yaml: tools and checks, with what each cause makes them show;
//   - repairs.yaml: materials, repairs and the settings of the job;
//   - cautions.yaml: safety texts, hard rules, scales of words and phrases;
//   - conductors.yaml: materials, insulation and gauges of wire.
//
// base.gob holds all of it in a form that loads fast; go generate makes it anew
// after a change.
//
// # Figures
//
// Every figure says where it comes from (a published source, common practice,
// judgement, from memory), how sure it is (high, medium, low) and why, in one
// line. Money is in the user's currency, lengths are in feet and times in
// minutes where the field's name says so.
//
// # Tables
//
// A check lists its answers from the most normal to the most telling. The
// baseline is what a healthy system shows; a row is what it shows where one of
// its causes is the only fault; Combine says how two causes show together.
// Readings, taps and walks have no tables: faultmodel judges them.
//
// # Strictness
//
// Everything is checked on reading, and all faults are told at once as
// FILE:LINE:COLUMN: besides the form (see strictyaml) the references, the
// sums and ranges of probabilities, missing origins and wordings, questions
// that could never be asked, and the cautions that work on the wire and in the
// ground must bring.
package kb
