// Package trial measures the engine: simulated callers with a hidden fault are
// led by it, and by other strategies, until the loop is repaired and verified or
// handed on.
//
// A [World] draws a [Caller]: a yard, one fault or two with their places, a person
// with a role, tools and habits. [Call] runs one of them through the dialogue, for
// the demo; [Simulate] runs many against several strategies and gives a [Report].
// Probabilities are judged by package score; package learn improves the knowledge
// from closed cases; package bif and [Network] let other tools check the inference.
//
// # Home and away
//
// In the home world every chance is the knowledge base's own: causes, places,
// answers, the tap's errors, and readings from the circuit with the meter's error.
// What the engine states must come true as often as it says there; what is left
// is the error of its own approximations. In the away world priors are tilted,
// answer tables perturbed, the soil is another and people err more, so that
// robustness shows.
//
// # Same seed, same table
//
// Each caller has a random source of his own, and each of his answers one that
// depends on the check and on how often it was asked, not on the order. So all
// strategies meet the same people, and the number of workers changes nothing.
//
// # Limits
//
// Readings are taken while the fault shows; only answers to questions come and go
// with an intermittent one. The two breaks of a pair are drawn each from its own
// cause's places.
package trial
