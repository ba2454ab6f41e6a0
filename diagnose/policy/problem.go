package policy

import (
	"math"
	"math/bits"
)

// MaxCauses is how many causes a problem can tell apart.
const MaxCauses = 64

// Hypothesis is a set of causes, as bits, present together.
type Hypothesis uint64

// Of makes a hypothesis of the causes with the given numbers, 0 to MaxCauses-1.
func Of(causes ...int) Hypothesis {
	var h Hypothesis
	for _, c := range causes {
		h |= 1 << c
	}
	return h
}

// Act is something done that ends causes.
type Act struct {
	Cost float64    // in money; more than 0
	Ends Hypothesis // the causes it ends
}

// Test is something looked at.
type Test struct {
	Cost     float64 // in money; 0 or more
	Outcomes []Outcome
}

// Outcome is one result of a test.
type Outcome struct {
	// P is the probability of the outcome under each hypothesis of the problem,
	// in the problem's order. Over a test's outcomes it sums to 1.
	P []float64
	// ActCost, where not nil, replaces the cost of each act after this outcome: a
	// look that narrows a place makes the search there cheaper.
	ActCost []float64
}

// Problem is a decision to take. Hypotheses and P run in parallel.
type Problem struct {
	Hypotheses []Hypothesis
	P          []float64 // probability of each hypothesis; sums to 1
	Acts       []Act
	Tests      []Test
	GiveUp     float64 // price of handing the job on; +Inf where nobody can be called
}

// Kind is the sort of decision.
type Kind int

// The sorts of decision.
const (
	DoTest Kind = iota
	DoAct
	DoGiveUp
)

// Decision is the next step and what the whole job is then expected to cost.
type Decision struct {
	Kind  Kind
	Index int     // of the test or act; -1 for giving up
	Cost  float64 // expected cost of the whole job from here, in money
	alone float64 // of a test: the same if nothing more were asked after it
}

// Bound is the least any policy can spend on average: with perfect knowledge
// each hypothesis costs its own acts, or giving up. (Equation E6: the cost of
// repair less this is the most a test can be worth.)
func (p *Problem) Bound() float64 {
	var sum float64
	for i, h := range p.Hypotheses {
		if p.P[i] > 0 {
			sum += p.P[i] * math.Min(p.GiveUp, cheapestCover(p.Acts, h))
		}
	}
	return sum
}

// cheapestCover is the least cost of acts that end every cause of h, which has at
// most two; +Inf where none do.
func cheapestCover(acts []Act, h Hypothesis) float64 {
	best := math.Inf(1)
	for i, a := range acts {
		left := h &^ a.Ends
		switch {
		case left == h:
			continue
		case left == 0:
			best = math.Min(best, a.Cost)
		default:
			for _, b := range acts[i+1:] {
				if left&^b.Ends == 0 {
					best = math.Min(best, a.Cost+b.Cost)
				}
			}
			for _, b := range acts[:i] {
				if left&^b.Ends == 0 {
					best = math.Min(best, a.Cost+b.Cost)
				}
			}
		}
	}
	return best
}

// causesOf lists the numbers of the causes in h.
func causesOf(h Hypothesis) []int {
	out := make([]int, 0, bits.OnesCount64(uint64(h)))
	for h != 0 {
		c := bits.TrailingZeros64(uint64(h))
		out = append(out, c)
		h &^= 1 << c
	}
	return out
}
