// Package diagnose is the engine: from what a person has answered it derives
// which part of a boundary loop failed, where along the wire, and what to do
// next. It prints nothing and asks nothing.
//
// [New] makes an [Engine] from a knowledge base, [Engine.Assess] judges a
// [Case], and the [Assessment] answers everything else: the [Result] of the
// machine interface, why this step, why not that cause, what each answer weighed.
//
// # The log is the state
//
// A [Case] is a log of entries. Every belief is derived from it afresh, so that
// going back, changing one answer and keeping the rest, resuming and what-if are
// one mechanism. Repairs cut the log into epochs: an answer is judged by what
// was still broken when it was given.
//
// # Belief
//
// Hypotheses are: nothing wrong, something else, each cause alone, and each pair
// of causes, enumerated exactly. A cause of the wire carries a position on a grid
// of a foot or finer ([locate.Belief]). Answers to questions weigh by the tables of the
// knowledge base, readings by the physics of package faultmodel, places by
// package locate. For a pair, a choice combines both tables by a noisy-MAX with
// leak over the answers in their order from normal to telling (Diez 1993),
// which for a yes-no answer is the noisy-OR of Pearl (1988); two breaks share
// one grid of pairs of positions, and a pair of other wire faults is weighed at
// representative positions of each.
//
// # Next step
//
// The open hypotheses, the repairs as acts and the checks as tests make a
// [policy.Problem]; hard safety rules remove what may not be offered before any
// cost is weighed. The cost of finding a wire fault is the tap planner's, from
// the present belief over position.
//
// # Limits
//
// No more than two faults at once. Places of a pair of faults that are not both
// breaks are reported as if each were alone.
package diagnose
