package policy

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
	s := newSearch(p, Effort{})
	return s.bound(s.root())
}
