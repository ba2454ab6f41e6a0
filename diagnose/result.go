package diagnose

// Result is the stable answer to "what do we know and what next", the object of
// --json and of the last line of a dialogue. Lengths are in Position.Unit.
type Result struct {
	Case      string        `json:"case"`
	Role      Role          `json:"role"`
	Ranking   []RankedCause `json:"ranking"` // falling probability
	Parts     []RankedPart  `json:"parts"`
	TwoFaults float64       `json:"two_faults"`
	Position  *Position     `json:"position"` // nil: no wire fault is likely enough to matter
	Next      Next          `json:"next"`
	Expected  Expected      `json:"expected"`
	Conflicts []Conflict    `json:"conflicts"`
	Cautions  []CautionText `json:"cautions"` // those of the next step
	Notes     []string      `json:"notes"`    // what the answers mean together, in the role's words
}

// RankedCause is the probability that a cause is present, alone or with another.
type RankedCause struct {
	Cause       string  `json:"cause"`
	Probability float64 `json:"probability"`
	Part        string  `json:"part"`
}

// RankedPart is the probability that a part holds a fault.
type RankedPart struct {
	Part        string  `json:"part"`
	Probability float64 `json:"probability"`
}

// Position is where along the wire, as chainage from terminal A.
type Position struct {
	Unit       string      `json:"unit"` // ft or m
	Best       float64     `json:"best"`
	Interval50 [2]float64  `json:"interval50"`
	Interval90 [2]float64  `json:"interval90"`
	Modes      []Mode      `json:"modes"`
	Near       string      `json:"near,omitempty"`
	Place      *[2]float64 `json:"place,omitempty"` // on the map, in its units
}

// Mode is one stretch of the shortest set that holds 90 %.
type Mode struct {
	From        float64 `json:"from"`
	To          float64 `json:"to"`
	Probability float64 `json:"probability"`
}

// NextKind is what sort of step comes next.
type NextKind string

// The sorts of step.
const (
	NextCheck          NextKind = "check"
	NextTap            NextKind = "tap"
	NextRepair         NextKind = "repair"
	NextReplaceSection NextKind = "replace-section"
	NextRefer          NextKind = "refer"
	NextVerify         NextKind = "verify"
	NextDone           NextKind = "done"
)

// Next is the step with the least expected total cost.
type Next struct {
	Kind    NextKind `json:"kind"`
	ID      string   `json:"id"`           // the check's id, "tap", "repair:CAUSE", or the kind itself
	At      *float64 `json:"at,omitempty"` // chainage in the result's unit
	From    *float64 `json:"from,omitempty"`
	To      *float64 `json:"to,omitempty"`
	Minutes float64  `json:"minutes"`
	Cost    float64  `json:"cost"`
	Why     string   `json:"why"`
}

// Expected is what the case will still take from here, on average.
type Expected struct {
	Minutes float64 `json:"minutes"`
	Cost    float64 `json:"cost"`
	Taps    float64 `json:"taps"`
}

// Conflict names an answer that sits badly with the rest.
type Conflict struct {
	Check   string `json:"check"`
	Message string `json:"message"`
}

// CautionText is a caution in the role's words.
type CautionText struct {
	ID   string `json:"id"`
	Text string `json:"text"`
}
