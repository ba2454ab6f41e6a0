package locate

import "math"

// ActKind is what is done next along the wire.
type ActKind string

// The acts.
const (
	ActTap     ActKind = "tap"     // cut the wire at AtM, or open the splice there, and test both ways
	ActReplace ActKind = "replace" // lay a new section from FromM to ToM
	ActOpen    ActKind = "open"    // lay the wire bare from FromM to ToM, and mend what is found
)

// Act is one step of the plan. A tap has AtM, the others FromM and ToM.
type Act struct {
	Kind     ActKind
	AtM      float64
	AtSplice bool // the tap opens an old splice
	FromM    float64
	ToM      float64
	Minutes  float64 // this act alone, walk included
	Money    float64 // this act alone, time included
}

// Expected is what the rest of the job takes on average under the plan.
type Expected struct {
	Taps       float64
	Minutes    float64
	Money      float64 // minutes at their rate, material, and what new splices cost later
	NewSplices float64
}

// Node is one step of the whole plan as a tree. A node with a tap branches; a
// leaf has Replace.
type Node struct {
	AtM         float64 // the tap
	AtSplice    bool
	FromM, ToM  float64 // where the fault may be at this point
	Probability float64 // of coming here
	// ABroken is the plan when the wire towards terminal A is broken, BBroken
	// towards B. Both is the pair of plans, A side first, when both are; it is
	// there only where two breaks are thought possible.
	ABroken *Node
	BBroken *Node
	Both    []*Node
	Replace *Act // a leaf: replace or open
}

// Plan is the next act and what stands behind it.
type Plan struct {
	Next       Act
	Expected   Expected
	ReplaceNow bool
	Tree       *Node
	// Repeats is the net number of agreeing readings to take at each open spot.
	Repeats int
	// MissProb is the chance, from here, that the fault is outside what the plan
	// covers; its cost is in Expected.
	MissProb float64
}

// Planner plans taps on one site at given costs. It may be shared between goroutines.
type Planner struct {
	site  Site
	costs Costs
}

// Option changes one call of [Planner.Plan].
type Option func(*options)

type options struct{ noReplace bool }

// NewPlanner prepares a site for planning.
func NewPlanner(s Site, c Costs) *Planner { return &Planner{site: s, costs: c} }

// Plan is the plan of least expected cost for one fault believed at b, with the
// person standing at hereM; NaN is at the transmitter.
func (p *Planner) Plan(b Belief, hereM float64, opts ...Option) Plan { return Plan{} }

// PlanPair is Plan for two breaks.
func (p *Planner) PlanPair(b PairBelief, hereM float64, opts ...Option) Plan { return Plan{} }

// Value is the expected cost of the whole search and repair in money.
func (p *Planner) Value(b Belief) float64 { return math.NaN() }
