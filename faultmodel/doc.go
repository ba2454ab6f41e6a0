// Package faultmodel is the physics of a buried boundary loop: what a meter or
// a collar shows for each thing that can be wrong.
package faultmodel
