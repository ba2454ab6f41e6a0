package locate

import "math"

// Information is what one answer is worth, in bits, when it is wrong with
// probability e: 1 - h2(e), the capacity of a binary symmetric channel.
func Information(e float64) float64 {
	if e <= 0 || e >= 1 {
		return 1
	}
	return 1 + e*math.Log2(e) + (1-e)*math.Log2(1-e)
}

// Repeat is what comes of reading an open spot until one answer leads by lead
// readings, each wrong with probability e independently: the expected number of
// readings and the chance that the wrong answer wins. It is the gambler's ruin
// form of Wald's sequential test,
//
//	reads = lead / (1 - 2e) * (1 - r^lead) / (1 + r^lead),  wrong = r^lead / (1 + r^lead),  r = e / (1 - e)
func Repeat(e float64, lead int) (reads, wrong float64) {
	if lead <= 0 {
		return 0, 0.5
	}
	if math.Abs(e-0.5) < 1e-9 {
		return float64(lead * lead), 0.5
	}
	r := math.Pow(e/(1-e), float64(lead))
	return float64(lead) / (1 - 2*e) * (1 - r) / (1 + r), r / (1 + r)
}

// FewestQueries is the number of answers, each wrong with probability e, below
// which no method finds one of n places with error at most d on average (Fano).
func FewestQueries(n, e, d float64) float64 {
	h := 0.0
	if d > 0 && d < 1 {
		h = -d*math.Log2(d) - (1-d)*math.Log2(1-d)
	}
	return max(((1-d)*math.Log2(n)-h)/Information(e), 0)
}

// WorstCaseTaps is the number of two-way taps that finds every one of the given
// number of breaks among cells equally long cells, whatever their places, when
// cuts are chosen best: K m + floor((N-1)/2^m) with m = floor(log2(N/K)) (Hassin and Megiddo 1985).
func WorstCaseTaps(cells, breaks int) int {
	if cells <= 1 || breaks <= 0 {
		return 0
	}
	m := 0
	for breaks<<(m+1) <= cells {
		m++
	}
	return breaks*m + (cells-1)>>m
}

// spotNoise is how an opened spot is read: until one answer leads by lead.
type spotNoise struct {
	lead  int
	reads float64 // expected readings
	wrong float64 // chance that the spot misleads all the same
}

// readSpot picks the lead at which another reading costs more than the wrong
// turn it saves is worth. No number of readings removes the persistent error.
func readSpot(e, persistent, readCost, wrongTurn float64) spotNoise {
	best, bestCost := spotNoise{lead: 1, reads: 1, wrong: persistent}, math.Inf(1)
	if e <= 0 {
		return best
	}
	for lead := 1; lead <= 8; lead++ {
		reads, wrong := Repeat(e, lead)
		wrong = persistent*(1-wrong) + (1-persistent)*wrong
		if c := readCost*reads + wrongTurn*wrong; c < bestCost {
			best, bestCost = spotNoise{lead, reads, wrong}, c
		}
	}
	return best
}
