// Package policy decides what to do next when something is broken: look,
// repair, or give up and hand on, whichever makes the whole job cheapest on
// average. It knows nothing of wires or pets; package diagnose fills in a
// [Problem] and asks [Problem.Decide].
//
// # Model
//
// A hypothesis is a set of at most two causes. An act costs money and ends some
// causes; the system is tried again after each act, so the job is over as soon
// as the acts done end every cause of the true hypothesis. A test costs money
// and has outcomes whose probabilities under each hypothesis are known. Giving
// up ends the job at a fixed price.
//
// # Method
//
// The value of stopping to ask is the expected cost of repair: acts in falling
// order of probability over cost, cut where giving up is cheaper (Heckerman,
// Breese and Rommelse, "Decision-theoretic troubleshooting", CACM 38(3), 1995;
// the cut as in equation E3 of DEVELOPERS.md). On top of it [Problem.Decide]
// looks ahead through tests and acts: one step for everything, and deeper on the
// most promising while the budget lasts, because two tests can be worth asking
// that are each worthless alone.
//
// A test dearer than what perfect knowledge could save is never asked.
package policy
