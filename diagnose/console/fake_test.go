package console

import (
	"testing"

	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
)

// fakeEngine asks what a test wants asked: next decides by the log that holds.
type fakeEngine struct {
	next func(log []diagnose.Entry) diagnose.Next
	// clash names a check whose answer is reported as a conflict once it is there.
	clash string
	walk  diagnose.Acceptance // what the acceptance walk comes to
	// cautions are those of every step; one that unplugs where left out.
	cautions []diagnose.CautionText
}

func (e fakeEngine) Assess(log []diagnose.Entry) View { return fakeView{e, log} }

func (e fakeEngine) Standing(log []diagnose.Entry) []int {
	var out []int
	for _, i := range diagnose.Kept(log) {
		if a := log[i].Answer; a != nil && !diagnose.Unanswered(a.Choice) {
			out = append(out, i)
		}
	}
	return out
}

func (e fakeEngine) InHand(*kb.Check) bool                       { return true }
func (e fakeEngine) Verify([]diagnose.Entry) diagnose.Acceptance { return e.walk }
func (e fakeEngine) WalkPlaces() []float64                       { return []float64{12.8, 15.8, 18.9} }

type fakeView struct {
	e   fakeEngine
	log []diagnose.Entry
}

func (v fakeView) Result(u quantity.Units) diagnose.Result {
	r := diagnose.Result{Case: "fake", Role: diagnose.Technician,
		Ranking: []diagnose.RankedCause{{Cause: "wire-cut", Probability: 0.62, Part: "boundary-wire"}, {Cause: "splice-open", Probability: 0.2, Part: "boundary-wire"},
			{Cause: "collar-battery", Probability: 0.01, Part: "collar"}},
		Parts: []diagnose.RankedPart{{Part: "boundary-wire", Probability: 0.82}},
		Position: &diagnose.Position{Unit: u.String(), Best: round1(u.Of(309 * quantity.MPerFt)),
			Interval90: [2]float64{round1(u.Of(301 * quantity.MPerFt)), round1(u.Of(318 * quantity.MPerFt))}, Near: "driveway, 300 to 314 ft"},
		Expected: diagnose.Expected{Minutes: 41, Cost: 55.2, Taps: 1.4},
		Next:     v.e.next(standing(v.log)), Cautions: []diagnose.CautionText{{ID: "unplug", Text: "Unplug it."}}, Conflicts: []diagnose.Conflict{}}
	if v.e.cautions != nil {
		r.Cautions = v.e.cautions
	}
	for _, e := range standing(v.log) {
		if e.Answer != nil && e.Answer.Check == v.e.clash {
			r.Conflicts = append(r.Conflicts, diagnose.Conflict{Check: v.e.clash, Message: "that answer sits badly with the rest"})
		}
	}
	return r
}

func round1(v float64) float64 { return float64(int(v*10+0.5)) / 10 }

func (v fakeView) Why() string { return "Because it splits the likely causes." }

func (v fakeView) WhyNot(cause string) []diagnose.Weight {
	if cause != "collar-battery" {
		return nil
	}
	for i, e := range v.log {
		if e.Answer != nil {
			return []diagnose.Weight{{Entry: i, Decibans: -12.4}}
		}
	}
	return nil
}

// Sound is a loop of 5.08 ohm: 480 ft and 2 x 40 ft of 20 AWG by the contract's example.
func (v fakeView) Sound(c *kb.Check) (float64, bool) { return 5.08, c.ID == "loop-ohms" }

// standing is the log without what is taken back.
func standing(log []diagnose.Entry) []diagnose.Entry {
	var out []diagnose.Entry
	for _, i := range diagnose.Kept(log) {
		out = append(out, log[i])
	}
	return out
}

// inTurn asks steps one after the other, one for each entry of the log, then is done.
func inTurn(steps ...diagnose.Next) fakeEngine {
	return fakeEngine{next: func(log []diagnose.Entry) diagnose.Next {
		if len(log) < len(steps) {
			return steps[len(log)]
		}
		return diagnose.Next{Kind: diagnose.NextDone, ID: "done"}
	}}
}

func check(id string) diagnose.Next {
	return diagnose.Next{Kind: diagnose.NextCheck, ID: id, Minutes: 3}
}

func tapNext(feet float64) diagnose.Next {
	return diagnose.Next{Kind: diagnose.NextTap, ID: "tap", At: &feet, Minutes: 12}
}

func repairNext(cause string, feet float64) diagnose.Next {
	return diagnose.Next{Kind: diagnose.NextRepair, ID: "repair:" + cause, At: &feet, Minutes: 20}
}

var verifyNext = diagnose.Next{Kind: diagnose.NextVerify, ID: "verify", Minutes: 15}

func testBase(t testing.TB) *kb.Base {
	t.Helper()
	base, err := kb.Load()
	require.NoError(t, err)
	return base
}

// memory is a case of 560 ft of wire without a file.
func memory(t testing.TB, role diagnose.Role) *Memory {
	t.Helper()
	m, err := yard.Parse("yard", []byte("lead_in: {length: 40 ft}\nloop: {length: 480 ft}\n"))
	require.NoError(t, err)
	return &Memory{C: &diagnose.Case{Name: "fake", Role: role, Yard: m, Meters: faultmodel.DefaultMeters()}}
}
