// Package yard holds as-built maps: what is known of a buried loop and the
// ground it lies in, read strictly from a file, checked, drawn on by the
// report, and written back without losing its owner's comments.
//
// [Load] and [Parse] read a map, [Decode] reads one that stands inside another
// file, [Map.Marshal] writes one. Anything may be unknown, the whole yard too:
// a nil *Map answers every method. What is unknown comes back as an [Estimate]
// with a typical value and an honest spread, never as a silent default.
//
// # Chainage
//
// A place along the wire is its distance from terminal A in metres: through
// lead-in leg A, round the boundary in the order of the path, and back through
// leg B. The whole conductor is twice the lead-in and the loop.
//
//	0        l                                      l+P       2l+P
//	A ------ + ------------- boundary -------------- + -------- B
//	  leg A                                            leg B
//
// # Geometry
//
// A path is a closed polygon of local x and y in metres, x to the east and y
// to the north where the path has an origin. The path gives the shape; where the
// loop's length is given too, that is the length of the wire and the path is
// stretched to it, since wire lies with slack and round corners.
package yard
