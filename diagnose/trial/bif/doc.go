// Package bif holds discrete Bayesian networks and reads and writes them in the
// Interchange Format for Bayesian Networks 0.15 (F. G. Cozman, 1996), which most
// general-purpose tools take. [Read] and [Network.Write] are inverse to one another.
//
// # What is read
//
// The network, variable and probability blocks, with rows by the parents' states
// or, for a variable without parents, a table; comments of both C kinds.
// Properties are skipped. A table or a default row for a variable with parents is
// refused: tools disagree about the order of such tables, and a wrong guess would
// give wrong numbers without a word. So are networks of more than a million
// figures for a variable.
package bif
