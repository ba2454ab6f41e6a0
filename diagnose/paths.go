package diagnose

import (
	"math"

	"loopfault/locate"
)

// What is said of a repair is evidence, not the truth: "it works again" may be said
// of a fault that shows only now and then, and a joint made in the wrong spot mends
// nothing. A single cause is therefore followed on every path that the case may have
// taken: gone at one of the repairs that end it, or still there.

// mayStay tells whether a hypothesis is followed on paths: a single cause, once
// something was repaired.
func (b *belief) mayStay(h int) bool {
	return len(b.h.repairs) > 0 && b.space.hyps[h].b < 0
}

// weighPaths is ln of all evidence for cause c alone, given ln of its hints by cell
// and what circuit and field say of it by epoch and cell; a cause without a place has
// no hints and one cell. It leaves the chance that the cause is still there, its place
// if it is, and what every answer says on the likeliest path.
func (b *belief) weighPaths(e *Engine, c int, hints []float64, seen func(epoch, cell int) float64, healthy []float64) float64 {
	repairs := len(b.h.repairs)
	never := repairs // the path on which no repair ends it
	choices := make([]float64, repairs+1)
	for k := range choices {
		choices[k] = math.Inf(-1)
		if k == never || b.endsFor(e, c, k) {
			choices[k] = b.choicesOn(b.states(c, k))
		}
	}
	cells := max(len(hints), 1)
	logL := make([]float64, cells)
	stay := make([]float64, cells) // share of the path on which it is still there
	likeliest, top := never, math.Inf(-1)
	each := make([]float64, repairs+1)
	for x := range cells {
		mid := math.NaN()
		if hints != nil {
			mid = b.mids[x]
		}
		for k := range each {
			each[k] = choices[k]
			if !math.IsInf(each[k], -1) {
				each[k] += b.outcomesOn(e, c, k, mid) + b.fieldOn(k, x, seen, healthy)
			}
			if hints != nil {
				each[k] += hints[x]
			}
			weight := 0.0
			if hints != nil {
				weight = math.Log(b.prior[c].P[x])
			}
			if l := each[k] + weight; l > top {
				likeliest, top = k, l
			}
		}
		logL[x] = logSum(each)
		if !math.IsInf(logL[x], -1) { // where it cannot be
			stay[x] = math.Exp(each[never] - logL[x])
		}
	}
	for i := range b.terms {
		b.terms[i].logL[c] = b.terms[i].under(b.states(c, likeliest))
	}
	if hints == nil {
		b.stays[c] = stay[0]
		return logL[0]
	}
	posterior, logZ := b.prior[c].Update(logL)
	left := locate.Belief{Axis: b.axis, P: make([]float64, cells)}
	for x, p := range posterior.P {
		left.P[x] = p * stay[x]
		b.stays[c] += left.P[x]
	}
	if b.stays[c] > 0 {
		normalise(left.P)
		posterior = left
	}
	b.place[c] = &posterior
	return logZ
}

// endsFor tells whether repair k may have ended cause c: it is one that does, and
// the fault was gone after it.
func (b *belief) endsFor(e *Engine, c, k int) bool {
	r := b.h.repairs[k]
	return r.Fixed && e.ended[r.Repair][c]
}

// states are what is wrong in each epoch where cause c is alone and gone at repair k.
func (b *belief) states(c, k int) []int {
	out := make([]int, len(b.h.repairs)+1)
	for i := range out {
		out[i] = c
		if i > k {
			out[i] = b.space.nothing
		}
	}
	return out
}

func (b *belief) choicesOn(states []int) (sum float64) {
	for i := range b.terms {
		sum += b.terms[i].under(states)
	}
	return sum
}

// fieldOn is what circuit and field say at a cell where the cause is gone at repair k.
func (b *belief) fieldOn(k, x int, seen func(epoch, cell int) float64, healthy []float64) (sum float64) {
	for i := range healthy {
		if i <= k {
			sum += seen(i, x)
		} else {
			sum += healthy[i]
		}
	}
	return sum
}

// outcomesOn is ln of the chance of what was said of every repair where cause c, at
// xM or without a place (NaN), is gone at repair k.
func (b *belief) outcomesOn(e *Engine, c, k int, xM float64) (sum float64) {
	for i, r := range b.h.repairs {
		var p float64
		switch held := e.success(r.Repair); {
		case i > k || c == b.space.nothing:
			p = strayCure // a sound loop that is said not to work
			if r.Fixed {
				p = 1
			}
		case i == k:
			p = held
			if !b.reaches(r, xM) {
				p = 0
			}
		case e.ended[r.Repair][c] && b.reaches(r, xM): // the repair failed
			p = 1 - held
			if r.Fixed {
				p *= strayCure
			}
		case r.Fixed && e.ended[r.Repair][c]:
			p = strayCure * b.blind(e, r)
		case r.Fixed:
			p = strayCure
		case !e.ended[r.Repair][c]:
			p = 1 - strayCure
		default:
			p = 1 // made elsewhere
		}
		sum += math.Log(p)
	}
	return sum
}

// seenMended is how often a cause is mended where it was seen, and not on a guess.
// Judgement.
const seenMended = 0.9

// blind is how much less likely it is that a repair that helped was made where it
// was if the fault is elsewhere: a bare end is joined where it is found. New wire is
// laid on a guess.
func (b *belief) blind(e *Engine, r *RepairDone) float64 {
	known := e.repair(r.Repair)
	lo, hi, ok := span(r.AtM, r.FromM, r.ToM)
	if !ok || known == nil || known.Cause == "" {
		return 1
	}
	return min(1, (1-seenMended)/seenMended*(hi-lo+2*repairReachM)/b.axis.LengthM)
}

// reaches tells whether a repair took in the wire at xM.
func (b *belief) reaches(r *RepairDone, xM float64) bool {
	lo, hi, ok := span(r.AtM, r.FromM, r.ToM)
	return !ok || math.IsNaN(xM) || xM >= lo-repairReachM && xM <= hi+repairReachM
}

// logSum is ln of the sum of e^l.
func logSum(l []float64) float64 {
	return logMean(l) + math.Log(float64(len(l)))
}
