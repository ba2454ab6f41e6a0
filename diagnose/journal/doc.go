// Package journal keeps a case on disk. The case file is its own journal: its
// answers stand last, one flow mapping a line, and each new answer is one line
// appended and synced, so that the file is valid YAML at every moment and a kill
// at any byte loses at most the answer being written.
//
// [Read] reads a case and leaves it alone. [Create] starts one and [Open] goes on
// with one; both give a [Journal] that holds the case against other processes
// until [Journal.Close].
//
// # Lines
//
// A line of answers is one of
//
//	{check: loop-ohms, reading: over-range}                     an answer
//	{check: tap, at: 314 ft, a_side: broken, replaces: 6}       in place of the 6th line's
//	{repair: wire-cut, at: 309 ft, fixed: true}                 a repair and what came of it
//	{outcome: {cause: wire-cut, at: 309 ft, confirmed: true}}   what it was
//	{undo: true}                                                takes back the entry before it
//
// any with a time. Answers to the same check are judged by the engine: of most
// checks the latest holds, places add up. An outcome in the head of the file
// counts as the first entry of the log.
//
// # Damage
//
// A last line without its end, or with the zeros that a power cut leaves, is
// dropped, and [Journal.Warnings] says so. Anything else that cannot be read is a
// fault with FILE:LINE:COLUMN. Opening changes nothing on disk; only the first answer
// does, and then the damaged end is cut off and, where answers do not stand
// last, they are moved there by one atomic replacement.
//
// # Limits
//
// The lock is the operating system's on the open file, gone with the process
// that held it. File systems without locks are used without one.
package journal
