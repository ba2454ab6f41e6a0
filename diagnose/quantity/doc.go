// Package quantity is the one place where people's numbers with units become
// SI and back: lengths, resistances, capacitances, temperatures, voltages,
// currents, shares, wire gauges, areas and times.
//
// Every Parse function takes the text and the unit that a bare number is
// meant in. Files pass [Strict], where a bare number is an error that says what
// was expected; typed answers pass the unit that the question named:
//
//	quantity.ParseLength("480 ft", quantity.Strict)  // 146.304 m
//	quantity.ParseLength("480", "ft")                // the same, typed
//	quantity.ParseReading("OL", "ohm", "ohm")        // over-range
//
// # What people write
//
// Spaces are free, and units are known by their common spellings (ft, feet, ').
// The decimal mark is a point or a comma; "1,200" could be either 1200 or 1.2
// and is refused with both readings in the message, since a wrong guess is off
// by a factor of a thousand. Feet and inches go together (3' 6", 3 ft 6 in), as
// do metres and centimetres, hours and minutes. The resistor notation of IEC
// 60062 (4k7, 12R3) is read too. A lower-case m before ohm is refused: it means
// milli by the book, and mega when a person types it.
//
// # Limits
//
// A number that is not finite, is negative where that cannot be, or lies outside
// what a yard or a handheld meter can show is refused with the allowed range.
//
// # Back to text
//
// Format functions give the digits that the number deserves; Write functions
// give the shortest text that reads back to the same value within one part in
// 10^10, for files.
package quantity
