// Package locate finds the bad foot of a buried wire: the belief over position,
// the evidence that moves it, and the plan of taps that finds it at least cost.
package locate
