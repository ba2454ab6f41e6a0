// Package score judges probabilities by what happened: Brier and logarithmic
// scores, and whether things said to be 70 % likely happen 7 times in 10.
//
// [Brier], [Log], [BrierOf] and [LogOf] score single forecasts; a [Calibration]
// takes in any number of statements in constant memory and gives the table of
// reliability, Murphy's decomposition and the expected calibration error.
//
// # Limits
//
// A binned calibration error is biased upward where there are few statements,
// even for perfect forecasts: below some 200 look at the scores and at the
// table with its counts, not at that one figure.
package score
