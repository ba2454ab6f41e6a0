// Package learn improves the knowledge base from closed cases, without any network.
//
// A [Learner] takes in cases one by one and keeps only counts and a bounded sample;
// [Learner.Result] gives an overlay for the knowledge base with scores before and
// after on cases that were held out. [Stream] reads cases from JSON Lines.
//
// # What is counted
//
// Only cases whose outcome was confirmed by repair and verification, and of these
// the choices made before the first repair: how often each cause came up, and how
// often each answer to each check was given with it. Answers marked unsure, and
// those given while the fault was away, say too little; cases with two faults
// say nothing certain about either.
//
// # What is learned
//
// Each distribution of the knowledge base is the mean of a Dirichlet distribution
// whose equivalent sample size is set by the confidence noted beside it; counts
// are added to it. Readings, places and costs are not learned, and neither are the
// shares of nothing-wrong and something-else, which no repair can confirm.
//
// # Large archives
//
// [Counts] are whole numbers, so that adding them is exact, associative and
// commutative: an archive may be counted in any parts, on any machines, by any
// program that can group and count (a database query will do), and the parts
// added with [Counts.Add] in any order. The form is JSON:
//
//	{"schema": 1, "folds": [{"causes": {"wire-cut": 12},
//	  "answers": {"continuity-sign": {"wire-cut": {"broken": 11, "complete": 1}}}}, ...]}
//
// with ten folds. A case goes whole into one fold, any one, as long as the choice
// has nothing to do with what is in it; [Fold] is ours. Another program may put all
// into the first fold: then there is nothing to hold out, and no scores.
//
// # Limits
//
// Closed cases are not all cases: what is given up on, or mended without a word,
// is not among them, and the learned shares are those of callers like these.
package learn
