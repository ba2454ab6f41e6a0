package diagnose

import (
	"time"

	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/locate"
)

// Role is one of the three people on the job.
type Role string

// The three roles.
const (
	Homeowner  Role = "homeowner"
	Technician Role = "technician"
	Support    Role = "support"
)

// Answers that any check accepts besides its own.
const (
	Unknown       = "unknown"        // don't know, can't do it: changes nothing, is not asked again
	NotApplicable = "not-applicable" // does not fit this yard: changes nothing, is not asked again
	Later         = "later"          // asked again at the end
)

// When says whether the fault showed itself at the moment of an answer.
type When string

// The moments of an answer; the zero value is "not said".
const (
	FaultPresent When = "fault-present"
	FaultAbsent  When = "fault-absent"
)

// Case is a call: who is on it, with what, about which yard, and the log of
// everything answered and done. The log is the only state: every belief is
// derived from it.
type Case struct {
	Name     string
	Role     Role
	Tools    []string  // nil: the role's usual ones
	Yard     *yard.Map // nil: nothing is known
	YardFile string    // as named in the case file; "" where the yard stands in place
	Meters   faultmodel.Meters
	Log      []Entry
}

// Entry is one line of the log. Exactly one of its fields is set.
type Entry struct {
	Time    time.Time // when it was written; zero where the file does not say
	Answer  *Answer
	Repair  *RepairDone
	Outcome *Outcome
	Undo    bool // takes back the last entry that is not itself taken back
}

// Answer is what a person said to a check.
type Answer struct {
	Check  string
	Choice string // one of the check's own answers, Unknown, NotApplicable or Later; "" for a reading, tap or walk
	Unsure bool   // softens what the answer says
	When   When

	Reading *faultmodel.Reading // kind reading

	AtM          *float64            // chainage, m: position, tap, trace
	FromM, ToM   *float64            // chainage, m: stretch
	End          locate.End          // trace: the end the signal was fed from
	ASide, BSide locate.Side         // tap
	AOhms, BOhms *faultmodel.Reading // tap, ohms per side
	AToEarth     *faultmodel.Reading
	BToEarth     *faultmodel.Reading
	Widths       []faultmodel.Width // tone-walk

	Note string
}

// RepairDone records a repair and whether the fault was gone after it.
type RepairDone struct {
	Repair string   // the cause's id, or a general act such as replace-section
	AtM    *float64 // chainage, m
	FromM  *float64
	ToM    *float64
	Fixed  bool
}

// Outcome is what it was in the end.
type Outcome struct {
	Cause     string
	AtM       *float64 // chainage, m
	Confirmed bool     // by repair and verification
}
