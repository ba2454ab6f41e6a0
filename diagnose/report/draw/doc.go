// Package draw is the small drawing room: the yard as a map, the wire as a
// strip, a walk's widths as a profile, as SVG for print and screen and as plain
// text for the terminal.
//
// A [Scene] says what is to be seen; [YardSVG], [StripSVG], [WidthsSVG],
// [YardText] and [StripText] draw it. Drawings are made to be read in print, in
// grey, by the colour-blind and on a telephone: belief is told by thickness and
// lightness together, places by numbers and letters that a key explains, and
// nothing by hue alone. SVG drawings are 400 units wide with letters of 12 and
// more, so that they stay readable at the width of a telephone.
//
// All text of a scene is escaped here; a drawing holds no script, no link and no
// outside reference.
package draw
