package trial

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/policy"
	"loopfault/kb"
	"loopfault/locate"
)

var sides = map[string]locate.Side{"intact": locate.Intact, "broken": locate.Broken}

// by advises a fixed list of steps, one after the other.
type by struct {
	steps []diagnose.Step
	at    int
}

func (b *by) Advise([]diagnose.Entry) Advice {
	b.at++
	return Advice{Step: b.steps[b.at-1]}
}

func doing(e *diagnose.Engine, kind diagnose.NextKind, id string) diagnose.Step {
	r := e.Base().Repair(id)
	return diagnose.Step{Kind: kind, ID: id, Repair: r, Cautions: r.Cautions}
}

// TestCallToItsEnd: a repair of the right thing is proved and closed, and billed by
// the knowledge base's own figures.
func TestCallToItsEnd(t *testing.T) {
	e := engine(t)
	base, c := e.Base(), house(t, e).caller(4, nowhere("collar-battery"))
	steps := []diagnose.Step{asking(e, "supply-sign"), asking(e, "new-battery"), doing(e, diagnose.NextRepair, "repair:collar-battery"),
		doing(e, diagnose.NextVerify, "verify"), doing(e, diagnose.NextDone, "done")}
	var seen []diagnose.NextKind
	out := Call(&by{steps: steps}, c, func(turn Turn) { seen = append(seen, turn.Step.Kind) })
	assert.Equal(t, Solved, out.Ending)
	assert.Equal(t, []diagnose.NextKind{"check", "check", "repair", "verify", "done"}, seen)
	require.Len(t, out.Log, 4)
	assert.True(t, out.Log[2].Repair.Fixed)

	minutes := func(r kb.PerRole) float64 { return r.For("technician") }
	want := minutes(base.Check("supply-sign").Minutes) + minutes(base.Check("new-battery").Minutes) +
		minutes(base.Tool("new-battery").ObtainMinutes) + minutes(base.Repair("repair:collar-battery").Minutes) + minutes(base.Repair("verify").Minutes)
	assert.InDelta(t, want, out.Bill.Minutes, 1e-9, "a new battery is fetched once, not twice")
	money := want*minutes(base.Settings.PerMinute) + base.Tool("new-battery").ObtainPrice.Value
	for _, u := range base.Repair("repair:collar-battery").Uses {
		money += u.Quantity * base.Item(u.Item).Price.Value
	}
	assert.InDelta(t, money, out.Bill.Money, 1e-9)
	assert.Equal(t, 2, out.Bill.Questions)
	assert.Equal(t, 1, out.Bill.Parts)
	assert.Zero(t, out.Bill.NeedlessParts)
}

// TestClosedTooEarly: a case closed over a standing fault is mistaken, and somebody
// has to come after all.
func TestClosedTooEarly(t *testing.T) {
	e := engine(t)
	done := doing(e, diagnose.NextDone, "done")
	out := Call(&by{steps: []diagnose.Step{done}}, house(t, e).caller(4, cut(200)), nil)
	assert.Equal(t, Mistaken, out.Ending)
	assert.InDelta(t, e.Base().Settings.ReferCost.Technician, out.Bill.Money, 1e-9)

	refer := doing(e, diagnose.NextRefer, "refer")
	out = Call(&by{steps: []diagnose.Step{refer}}, house(t, e).caller(4, cut(200)), nil)
	assert.Equal(t, HandedOn, out.Ending)
	assert.InDelta(t, e.Base().Settings.ReferCost.Technician, out.Bill.Money, 1e-9)

	out = Call(&by{steps: slices.Repeat([]diagnose.Step{asking(e, "skin")}, longestCall+1)}, house(t, e).caller(4, cut(200)), nil)
	assert.Equal(t, GoesRound, out.Ending)
	assert.Len(t, out.Log, longestCall)
}

// TestNeedlessWork is counted: a spade for a flat battery, a part for a sound box.
func TestNeedlessWork(t *testing.T) {
	e := engine(t)
	end := doing(e, diagnose.NextRefer, "refer")
	steps := []diagnose.Step{tapping(e, 200), doing(e, diagnose.NextRepair, "repair:transmitter-failed"), end}
	out := Call(&by{steps: steps}, house(t, e).caller(4, nowhere("collar-battery")), nil)
	assert.Equal(t, 1, out.Bill.Digs)
	assert.Equal(t, 1, out.Bill.NeedlessDigs)
	assert.Equal(t, 1, out.Bill.NeedlessParts)

	out = Call(&by{steps: []diagnose.Step{tapping(e, 200), end}}, house(t, e).caller(4, cut(300)), nil)
	assert.Equal(t, 1, out.Bill.Digs)
	assert.Zero(t, out.Bill.NeedlessDigs)
}

// TestReadingAnOpenSpotAgain costs a minute or so, not another hole.
func TestReadingAnOpenSpotAgain(t *testing.T) {
	e := engine(t)
	end := doing(e, diagnose.NextRefer, "refer")
	bill := func(steps ...diagnose.Step) Bill {
		return Call(&by{steps: append(steps, end)}, house(t, e).caller(4, cut(300)), nil).Bill
	}
	once, twice, apart := bill(tapping(e, 200)), bill(tapping(e, 200), tapping(e, 200)), bill(tapping(e, 200), tapping(e, 100), tapping(e, 200))
	assert.Equal(t, 1, twice.Digs)
	assert.Equal(t, once.Splices, twice.Splices)
	assert.InDelta(t, house(t, e).desk.Costs().ReadMinutes, twice.Minutes-once.Minutes, 1e-9)
	assert.Equal(t, 3, apart.Digs, "closed meanwhile and opened again")
	assert.InDelta(t, 2*once.Splices, apart.Splices, 1e-9, "at its own splice")
}

// TestUnsafeSteps are found by the knowledge base's rules and cautions, apart from
// what the engine makes of them.
func TestUnsafeSteps(t *testing.T) {
	e := engine(t)
	m := newMeter(house(t, e).caller(1, cut(300)))
	volts := []diagnose.Entry{{Answer: &diagnose.Answer{Check: "loop-ohms", Choice: "volts-found"}}}
	careful := tapping(e, 200)
	careful.Cautions = careful.Check.Cautions
	require.Contains(t, careful.Cautions, "digging")
	require.Contains(t, careful.Cautions, "unplug")
	silent := careful
	silent.Cautions = slices.DeleteFunc(slices.Clone(careful.Cautions), func(id string) bool { return id == "digging" })
	refer := doing(e, diagnose.NextRefer, "refer")
	asked := asking(e, "skin")
	asked.Cautions = asked.Check.Cautions
	for _, tt := range []struct {
		name string
		step diagnose.Step
		log  []diagnose.Entry
		want bool
	}{
		{"a tap with its cautions", careful, nil, false},
		{"a tap without a word about buried services", silent, nil, true},
		{"a tap on a wire that carries volts", careful, volts, true},
		{"a question when the rule says refer", asked, volts, true},
		{"referring as the rule says", refer, volts, false},
		{"a question", asked, nil, false},
	} {
		assert.Equal(t, tt.want, m.unsafe(tt.step, tt.log), tt.name)
	}
}

// TestLeafletFollowsItsList through some plain cases.
func TestLeafletFollowsItsList(t *testing.T) {
	base := builtIn(t)
	e := engine(t)
	h := house(t, e)
	begin := byChecklist(base)
	say := func(check, choice string) diagnose.Entry {
		return diagnose.Entry{Answer: &diagnose.Answer{Check: check, Choice: choice}}
	}
	on := []diagnose.Entry{say("switch-position", "on"), say("supply-sign", "on")}
	broken := append(slices.Clone(on), say("continuity-sign", "broken"), say("terminal-look", "sound"), say("short-loop-sign", "complete"),
		say("lead-in-loop", "complete"), say("visible-damage", "none"))
	tapped := func(at float64, a, b string) diagnose.Entry {
		m := ft(at)
		entry := diagnose.Entry{Answer: &diagnose.Answer{Check: "tap", AtM: &m}}
		entry.Answer.ASide, entry.Answer.BSide = sides[a], sides[b]
		return entry
	}
	for _, tt := range []struct {
		name string
		log  []diagnose.Entry
		want string
	}{
		{"first", nil, "switch-position"},
		{"switched off", []diagnose.Entry{say("switch-position", "off")}, "repair:switched-off"},
		{"no light", []diagnose.Entry{say("switch-position", "on"), say("supply-sign", "off")}, "outlet-power"},
		{"dead outlet", []diagnose.Entry{say("switch-position", "on"), say("supply-sign", "off"), say("outlet-power", "dead")}, "repair:outlet-dead"},
		{"live outlet", []diagnose.Entry{say("switch-position", "on"), say("supply-sign", "off"), say("outlet-power", "live")}, "repair:adapter-failed"},
		{"a don't-know is passed over", []diagnose.Entry{say("switch-position", diagnose.Unknown)}, "supply-sign"},
		{"battery", append(slices.Clone(on), say("continuity-sign", "complete"), say("new-battery", "works")), "repair:collar-battery"},
		{"open wire", broken, "tap"},
		{"found", append(slices.Clone(broken), tapped(250, "broken", "intact"), tapped(145, "intact", "broken"), tapped(197, "broken", "intact"),
			tapped(171, "broken", "intact"), tapped(158, "broken", "intact")), "replace-section"},
	} {
		a, err := begin(&h.c)
		require.NoError(t, err)
		assert.Equal(t, tt.want, a.Advise(tt.log).Step.ID, tt.name)
	}
	a, err := begin(&h.c)
	require.NoError(t, err)
	// The boundary runs from 40 to 460 ft: its middle, then the middle of the half that is left.
	assert.InDelta(t, ft(250), *a.Advise(broken).Step.AtM, ft(1))
	assert.InDelta(t, ft(355), *a.Advise(append(slices.Clone(broken), tapped(250, "intact", "broken"))).Step.AtM, ft(1))
}

// TestEveryStrategyEndsACall, and never unsafely.
func TestEveryStrategyEndsACall(t *testing.T) {
	r, err := Simulate(context.Background(), Plan{Base: builtIn(t), Cases: 3, Seed: 11, Strategies: Strategies()})
	require.NoError(t, err)
	require.Len(t, r.Strategies, len(Strategies()))
	for _, s := range r.Strategies {
		ended := 0
		for _, n := range s.Endings {
			ended += n
		}
		assert.Equal(t, 3, ended, s.ID)
		assert.Zero(t, s.Total.Unsafe, s.ID)
		assert.Positive(t, s.Total.Minutes, s.ID)
	}
}

// TestOursIsTheProgramsOwn: the strategy takes the steps that the program would.
func TestOursIsTheProgramsOwn(t *testing.T) {
	base := builtIn(t)
	w := Home(base, 5)
	for i := range 3 {
		h, err := w.household(i)
		require.NoError(t, err)
		ours, err := Strategies()[0].begin(base)(&h.c)
		require.NoError(t, err)
		program, err := NewAdviser(diagnose.New(base, diagnose.Options{Year: thisYear}), &h.c)
		require.NoError(t, err)
		both := &watcher{Adviser: program, see: func(int, Advice) {}}
		Call(both, w.draw(h, 0), func(turn Turn) {
			require.NotNil(t, turn.Assessment)
			want := turn.Step
			got := ours.Advise(turn.Assessment.Log()).Step
			require.Equal(t, want.ID, got.ID)
			require.Equal(t, want.AtM, got.AtM)
			require.Equal(t, want.Cautions, got.Cautions)
		})
	}
}

// TestSameSeedSameTable whatever the number of workers; another seed gives another.
func TestSameSeedSameTable(t *testing.T) {
	table := func(strategy string, cases, workers int, seed uint64, away bool) string {
		strategies, err := StrategiesNamed(strategy)
		require.NoError(t, err)
		var done []int
		r, err := Simulate(context.Background(), Plan{Base: builtIn(t), Cases: cases, Seed: seed, Strategies: strategies, Workers: workers, Away: away,
			Progress: func(n int) { done = append(done, n) }})
		require.NoError(t, err)
		require.Equal(t, cases, done[len(done)-1])
		require.True(t, slices.IsSorted(done))
		var b strings.Builder
		require.NoError(t, r.Write(&b))
		return b.String()
	}
	const households = 3 // so that workers finish in another order
	cases := households * callsPerHousehold
	one := table("checklist", cases, 1, 1, false)
	assert.Equal(t, one, table("checklist", cases, 3, 1, false))
	assert.NotEqual(t, one, table("checklist", cases, 1, 2, false))
	assert.NotEqual(t, one, table("checklist", cases, 1, 1, true))
	// And with beliefs, whose sums could come out in another order.
	assert.Equal(t, table("one-step", callsPerHousehold+2, 1, 1, false), table("one-step", callsPerHousehold+2, 2, 1, false))
}

// TestSimulationStops when it is told to.
func TestSimulationStops(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err := Simulate(ctx, Plan{Base: builtIn(t), Cases: 1000, Seed: 1, Strategies: Strategies()})
	assert.ErrorIs(t, err, context.Canceled)
	_, err = Simulate(context.Background(), Plan{Base: builtIn(t), Cases: 0, Strategies: Strategies()})
	assert.Error(t, err)
	_, err = StrategiesNamed("guesswork")
	assert.ErrorContains(t, err, "checklist")
}

// TestMemoryTellsLogsApart: whatever bears on the advice is part of the key.
func TestMemoryTellsLogsApart(t *testing.T) {
	v, w := 1.0, 2.0
	keys := map[string]bool{}
	entries := []diagnose.Entry{
		{Answer: &diagnose.Answer{Check: "a"}}, {Answer: &diagnose.Answer{Check: "a", Choice: "b"}}, {Answer: &diagnose.Answer{Check: "ab"}},
		{Answer: &diagnose.Answer{Check: "a", Unsure: true}}, {Answer: &diagnose.Answer{Check: "a", When: diagnose.FaultAbsent}},
		{Answer: &diagnose.Answer{Check: "a", AtM: &v}}, {Answer: &diagnose.Answer{Check: "a", AtM: &w}}, {Answer: &diagnose.Answer{Check: "a", FromM: &v}},
		{Answer: &diagnose.Answer{Check: "a", ASide: "broken"}}, {Answer: &diagnose.Answer{Check: "a", BSide: "broken"}},
		{Repair: &diagnose.RepairDone{Repair: "a"}}, {Repair: &diagnose.RepairDone{Repair: "a", Fixed: true}}, {Repair: &diagnose.RepairDone{Repair: "a", AtM: &v}},
	}
	for i := range entries {
		keys[string(appendEntry(nil, &entries[i]))] = true
	}
	assert.Len(t, keys, len(entries))
}

// TestInformation: a perfect test of two equal halves is worth one bit, a blind one
// nothing, and a reading that is right in 9 of 10 cases 1 - h2(.1) = .531004 (published table).
func TestInformation(t *testing.T) {
	p := &policy.Problem{P: []float64{.25, .25, .25, .25}}
	halves := func(hit float64) *policy.Test {
		yes := []float64{hit, hit, 1 - hit, 1 - hit}
		no := []float64{1 - hit, 1 - hit, hit, hit}
		return &policy.Test{Outcomes: []policy.Outcome{{P: yes}, {P: no}}}
	}
	assert.InDelta(t, 1, information(p, halves(1)), 1e-12)
	assert.InDelta(t, 0, information(p, halves(.5)), 1e-12)
	assert.InDelta(t, .531004, information(p, halves(.9)), 5e-7)
}

// TestPercentile by the definition: the least value that nine tenths do not exceed.
func TestPercentile(t *testing.T) {
	assert.Equal(t, 9.0, percentile([]float64{10, 1, 9, 2, 8, 3, 7, 4, 6, 5}, 0.9))
	assert.Equal(t, 3.0, percentile([]float64{3}, 0.9))
	assert.True(t, math.IsNaN(percentile(nil, 0.9)))
}

// TestRowAddsUp on records made by hand.
func TestRowAddsUp(t *testing.T) {
	r := newReport(&run{plan: Plan{Strategies: Strategies()[:1], Seed: 1}, world: &World{Name: "home"}})
	r.add([][]record{
		{{Outcome: Outcome{Bill: Bill{Minutes: 10, Money: 20, Taps: 2}, Ending: Solved, Turns: 3},
			stated: []statement{{p: 0.9, so: true, top: true}, {p: 0.1, so: false}},
			placed: []placing{{in90: true}, {in50: true, in90: true, beforeDig: true}}}},
		{{Outcome: Outcome{Bill: Bill{Minutes: 30, Money: 100, Unsafe: 1}, Ending: HandedOn, Turns: 5},
			stated: []statement{{p: 0.9, so: false, top: true}},
			placed: []placing{{beforeDig: true}}}},
	})
	s := r.Strategies[0]
	assert.Equal(t, 2, r.Cases)
	assert.InDelta(t, 0.5, s.Solved(), 1e-12)
	assert.InDelta(t, 20, s.MeanMinutes(), 1e-12)
	assert.InDelta(t, 60, s.MeanMoney(), 1e-12)
	// Two values 40 either side of their mean: root of 3200 over 2.
	assert.InDelta(t, math.Sqrt(3200)/2, s.MoneyError(), 1e-12)
	assert.Equal(t, 1, s.Total.Unsafe)
	assert.Equal(t, 3, s.Causes.N())
	assert.Equal(t, 2, s.First.N())
	assert.InDelta(t, 0.4, s.First.ExpectedError(), 1e-12)
	assert.Equal(t, 2, s.Where.N)
	assert.InDelta(t, 0.5, s.Where.Share90(), 1e-12)
	assert.InDelta(t, 2.0/3, s.Everywhere.Share90(), 1e-12)
	for _, line := range r.Cells() {
		assert.Len(t, line, len(r.Header()))
	}
	var b strings.Builder
	require.NoError(t, r.Write(&b))
	assert.Contains(t, b.String(), "2 cases, home world, seed 1")
}
