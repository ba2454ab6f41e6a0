package score

import "math"

// floor keeps the logarithm of a chance finite where a forecast of zero comes true.
const floor = 1e-15

// Brier is the mean square difference between stated probability and outcome,
// mean (p - y)^2, for things that happen or do not. 0 is best, an even guess gets 0.25.
func Brier(p []float64, happened []bool) float64 {
	var sum float64
	for i, v := range p {
		sum += square(v, happened[i])
	}
	return sum / float64(len(p))
}

// Log is the mean of -ln(probability given to what happened), nats. 0 is best.
func Log(p []float64, happened []bool) float64 {
	var sum float64
	for i, v := range p {
		sum += surprise(v, happened[i])
	}
	return sum / float64(len(p))
}

// BrierOf is the score of one forecast over several alternatives of which truth
// came about: sum over k of (p_k - y_k)^2, from 0 to 2.
func BrierOf(p []float64, truth int) float64 {
	var sum float64
	for k, v := range p {
		sum += square(v, k == truth)
	}
	return sum
}

// LogOf is -ln of the probability given to the alternative that came about, nats.
func LogOf(p []float64, truth int) float64 { return -math.Log(max(p[truth], floor)) }

func square(p float64, happened bool) float64 {
	if happened {
		p = 1 - p
	}
	return p * p
}

func surprise(p float64, happened bool) float64 {
	if !happened {
		p = 1 - p
	}
	return -math.Log(max(p, floor))
}
