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
	gone := []int{len(b.h.repairs)} // by path: the repair at which it is gone; the first is none
	for k := range b.h.repairs {
		if b.endsFor(e, c, k) {
			gone = append(gone, k)
		}
	}
	cells := max(len(hints), 1)
	on := make([][]float64, len(gone)) // by path and cell: ln of the evidence
	for path, k := range gone {
		states := b.states(c, k)
		l := make([]float64, cells)
		flat := 0.0 // what does not depend on the place
		for i := range b.terms {
			flat += b.terms[i].under(states)
		}
		for i := range healthy {
			if i > k {
				flat += healthy[i]
			}
		}
		var outcomes float64
		reached := ^uint64(0) // of the cell before; none is so
		for x := range l {
			l[x] = flat
			mid := math.NaN()
			if hints != nil {
				l[x] += hints[x]
				mid = b.mids[x]
			}
			if r := b.reached(mid); r != reached {
				reached, outcomes = r, b.outcomesOn(e, c, k, r)
			}
			l[x] += outcomes
			for i := 0; i < len(healthy) && i <= k; i++ {
				l[x] += seen(i, x)
			}
		}
		on[path] = l
	}
	all := make([]float64, cells)
	each := make([]float64, len(gone))
	for x := range all {
		for path := range on {
			each[path] = on[path][x]
		}
		all[x] = logSum(each)
	}
	posterior, logZ := locate.Belief{P: []float64{1}}, all[0]
	if hints != nil {
		posterior, logZ = b.prior[c].Update(all)
	}
	likeliest, most := 0, 0.0
	for path := range on {
		share := make([]float64, cells)
		var sum float64
		for x, p := range posterior.P {
			if p > 0 && !math.IsInf(all[x], -1) {
				share[x] = p * math.Exp(on[path][x]-all[x])
				sum += share[x]
			}
		}
		if sum > most {
			likeliest, most = path, sum
		}
		if path > 0 {
			continue
		}
		b.stays[c] = sum
		if hints != nil {
			b.place[c] = &posterior
			if sum > 0 {
				normalise(share)
				b.place[c] = &locate.Belief{Axis: b.axis, P: share}
			}
		}
	}
	states := b.states(c, gone[likeliest])
	for i := range b.terms {
		b.terms[i].logL[c] = b.terms[i].under(states)
	}
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

// outcomesOn is ln of the chance of what was said of every repair where cause c is
// gone at repair k; a bit of reached for each that took in its place.
func (b *belief) outcomesOn(e *Engine, c, k int, reached uint64) (sum float64) {
	for i, r := range b.h.repairs {
		var p float64
		reaches := reached>>min(i, 63)&1 == 1
		switch held := e.success(r.Repair); {
		case i > k || c == b.space.nothing:
			p = strayCure // a sound loop that is said not to work
			if r.Fixed {
				p = b.blind(e, r)
			}
		case i == k:
			p = held
			if !reaches {
				p = 0
			}
		case e.ended[r.Repair][c] && reaches: // the repair failed
			p = 1 - held
			if r.Fixed {
				p *= strayCure
			}
		case r.Fixed:
			p = strayCure * b.blind(e, r)
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
	known := e.kb.RepairMade(r.Repair)
	lo, hi, ok := span(r.AtM, r.FromM, r.ToM)
	if !ok || known == nil || known.Cause == "" {
		return 1
	}
	return min(1, (1-seenMended)/seenMended*(hi-lo+2*repairReachM)/b.axis.LengthM)
}

// reached has a bit for each repair that took in the wire at xM, or was made without
// a place; NaN is no place, which every repair of a cause takes in.
func (b *belief) reached(xM float64) (bits uint64) {
	for i, r := range b.h.repairs {
		if math.IsNaN(xM) || r.reaches(xM) {
			bits |= 1 << min(i, 63)
		}
	}
	return bits
}

// logSum is ln of the sum of e^l.
func logSum(l []float64) float64 {
	return logMean(l) + math.Log(float64(len(l)))
}
