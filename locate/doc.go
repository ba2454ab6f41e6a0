// Package locate finds the bad foot of a buried wire: the belief over position,
// the evidence that moves it, and the plan of taps that finds it at least cost.
//
// For most uses: [NewAxis] and [Mixture] make a prior, [Axis.LogLikelihood] and
// [Belief.Update] bring in each piece of [Evidence], [Belief.Interval] and
// [Belief.Modes] say what is known, [NewPlanner] and [Planner.Plan] what to do
// next, [Planner.Value] what the whole search will cost. Two faults at once have
// [Pairs] and [Planner.PlanPair].
//
// # Model
//
// A position is chainage in metres along the conductor from terminal A. A
// [Belief] is the probability of each of equal cells, one foot long or less; within
// a cell every place is equally likely. A [PairBelief] is the joint probability
// of two positions on a grid that is fine where the faults are likely.
//
// Every piece of evidence has its own error model, stated with its type:
//
//	Tap       each side of an opened wire, read once or more; independent reading
//	          errors and a bad contact that persists while the spot is open
//	Trace     where a fed signal is lost: Gaussian about the first break, or just anywhere
//	Stretch   recent work, damage, silence: with a given chance the fault is within
//	Bridge    a temporary wire that restores the loop or does not
//	Measured  meters and widths, judged by package faultmodel
//
// # Planning
//
// The planner solves for every stretch between two spots the least expected cost
// of going on from there:
//
//	V(i,j) = min( P(i,j) stop(i,j), min over k of P(i,j) (tap(k) + walk) + V(i,k) + P(k) check + V(k,j) )
//
// with P(k) the chance that an old splice opened at k is itself the fault, and
// stop the cheaper of laying a new section and laying the old wire bare, over the whole
// stretch or over the likeliest part of it with the price of a miss. It is the optimal
// search tree of Gilbert and Moore (1959) and Knuth (1971) with unequal prices,
// travel and a stop; these break the monotonicity of roots that Knuth's faster
// algorithm needs, so all cuts are tried, in time n^3. Up to 200 lines in the
// stretch all are spots; beyond, spots are chosen by probability, length, splices and
// edges of the ground, then refined round those in use down to single lines.
// On random yards the loss against all lines is below 0.1 % on average (TestPlanCoarseningLoss).
//
// An answer can be wrong. An open spot is read until one answer leads by
// [Plan].Repeats (Wald's sequential test), and counts as wrong with what is left
// of the reading error and with the persistent error, which no repetition removes. An
// answer wrong with probability e is worth 1 - h2(e) bits, so a tap is priced at
// 1/(1 - h2(e)) of itself; after each answer the posterior is planned anew. On the
// small noisy problems whose exact optimum is known this decides just as the optimum does
// (TestNoisyPlanNearOptimum).
//
// With two breaks a tap that shows both sides broken parts the problem in two.
// The plan takes the joint probability as a product of two weights restricted to
// first before second, fitted to the belief's marginals; it is exact where the
// belief has that form, as before any evidence and after taps and traces.
//
// # Units
//
// Metres, minutes, and money in whatever currency [Costs] is written in;
// likelihoods are natural logarithms; [Belief.Entropy] is in bits.
//
// # Assumptions and limits
//
//   - A tap reads continuity. Leaks and resistive splices pass it; give their
//     ohms with the tap, or to [Measured].
//   - Answers at different spots err independently. One contact tested at two
//     spots (the same clip, the same bad lead) does not; say so with PersistentProb.
//   - A cut is made good at once with Costs.JoinsPerTap splices. A new section that
//     ends at a cut uses the splice there.
//   - A miss costs a search from a flat belief, or a quarter more than this
//     search where that is dearer. A stretch likelier to miss the fault than to hold it is not replaced.
//   - In plans for two breaks an opened splice that is itself at fault is not
//     told from one beside it, and walking between the two halves starts at the tap that parted them.
//   - A new section in a no-dig zone goes round it at Costs.NoDigFactor.
//   - Straight lines on the map are looked up on a lattice of 64 steps.
package locate
