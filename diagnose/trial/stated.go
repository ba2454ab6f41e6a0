package trial

import (
	"loopfault/diagnose"
	"loopfault/locate"
)

// Stated is what an adviser stated at a turn, in few bytes: it is kept for every
// turn of many cases.
type Stated struct {
	Causes     []CauseP // those with at least spokenOf, falling
	Interval50 locate.Interval
	Interval90 locate.Interval
	Placed     bool // the intervals speak
	TwoBreaks  bool
}

// CauseP is the probability stated for a cause.
type CauseP struct {
	Cause string
	P     float64
}

// spokenOf is the probability from which a cause counts as spoken of: statements
// of next to nothing would drown the rest of a calibration.
const spokenOf = 0.01

func state(a *diagnose.Assessment) *Stated {
	s := &Stated{}
	for _, r := range a.Ranking {
		if r.P >= spokenOf {
			s.Causes = append(s.Causes, CauseP{r.Cause.ID, r.P})
		}
	}
	if w := a.Where; w != nil {
		s.Placed, s.TwoBreaks, s.Interval50, s.Interval90 = true, w.TwoBreaks, w.Interval50, w.Interval90
	}
	return s
}
