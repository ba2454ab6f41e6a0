package trial

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"sync"

	"loopfault/diagnose"
	"loopfault/kb"
)

// Plan is a simulation to run.
type Plan struct {
	Base       *kb.Base
	Away       bool // callers from the away world; the home world otherwise
	Cases      int
	Seed       uint64
	Strategies []Strategy
	Workers    int             // 0: one for each processor
	Progress   func(cases int) // called now and then with the cases done, from one goroutine; may be nil
}

// callsPerHousehold is how often the same yard calls, each time with another
// fault: most of the cost of a case is in making ready for a yard.
const callsPerHousehold = 25

// Simulate runs every case with every strategy. The report is the same for the
// same plan, whatever the number of workers.
func Simulate(ctx context.Context, p Plan) (*Report, error) {
	if p.Cases < 1 || len(p.Strategies) == 0 {
		return nil, fmt.Errorf("%d cases with %d strategies: expected at least one of each", p.Cases, len(p.Strategies))
	}
	w := Home(p.Base, p.Seed)
	if p.Away {
		w = Away(p.Base, p.Seed)
	}
	run := &run{plan: p, world: w}
	for _, s := range p.Strategies {
		run.begin = append(run.begin, s.begin(p.Base))
	}
	return run.all(ctx)
}

// run is a simulation under way.
type run struct {
	plan  Plan
	world *World
	begin []func(*diagnose.Case) (Adviser, error)
}

// batch is what came of one household's calls: by call, by strategy.
type batch struct {
	household int
	records   [][]record
	err       error
}

func (r *run) all(ctx context.Context) (*Report, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	households := (r.plan.Cases + callsPerHousehold - 1) / callsPerHousehold
	workers := r.plan.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	todo, done := make(chan int), make(chan batch, workers)
	go func() {
		defer close(todo)
		for i := range households {
			select {
			case todo <- i:
			case <-ctx.Done():
				return
			}
		}
	}()
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			for i := range todo {
				done <- r.household(ctx, i)
			}
		})
	}
	go func() {
		wait.Wait()
		close(done)
	}()

	// Batches are added in the order of the households, so that sums of floats
	// come out the same.
	report := newReport(r)
	waiting := map[int]batch{}
	next, cases := 0, 0
	var failed error
	for b := range done {
		if b.err != nil {
			if failed == nil {
				failed = b.err
			}
			stop()
			continue
		}
		waiting[b.household] = b
		for {
			ready, ok := waiting[next]
			if !ok {
				break
			}
			delete(waiting, next)
			next++
			cases += len(ready.records)
			report.add(ready.records)
		}
		if r.plan.Progress != nil {
			r.plan.Progress(cases)
		}
	}
	if failed == nil {
		failed = context.Cause(ctx)
	}
	if next == households {
		failed = nil
	}
	return report, failed
}

// household runs all calls of one household with every strategy.
func (r *run) household(ctx context.Context, i int) batch {
	b := batch{household: i}
	h, err := r.world.household(i)
	if err != nil {
		return batch{err: err}
	}
	calls := min(callsPerHousehold, r.plan.Cases-i*callsPerHousehold)
	b.records = make([][]record, calls)
	for s, begin := range r.begin {
		c := h.c
		adviser, err := begin(&c)
		if err != nil {
			return batch{err: fmt.Errorf("strategy %s: %w", r.plan.Strategies[s].ID, err)}
		}
		adviser = remember(adviser)
		for n := range calls {
			if ctx.Err() != nil {
				return batch{err: context.Cause(ctx)}
			}
			b.records[n] = append(b.records[n], observe(adviser, r.world.draw(h, n)))
		}
	}
	return b
}

// record is what is kept of one call.
type record struct {
	Outcome
	stated []statement // what was said on the way, and whether it was so
	placed []placing
}

// statement is one probability stated and whether it was so.
type statement struct {
	p    float64
	so   bool
	top  bool // the first of the ranking
	turn int
}

// placing is a pair of intervals stated and whether they held the fault.
type placing struct {
	in50, in90 bool
	widthM     float64
	beforeDig  bool // the last before the ground was opened first, or of the call
}

// observe runs one call and keeps what was stated.
func observe(a Adviser, c *Caller) record {
	var r record
	dug := -1
	look := &watcher{Adviser: a, see: func(turn int, advice Advice) {
		r.note(turn, advice.Stated, c)
		if n := len(r.placed); n > 0 && dug < 0 && opens(advice.Step) {
			dug = n - 1
		}
	}}
	r.Outcome = Call(look, c, nil)
	if dug < 0 {
		dug = len(r.placed) - 1
	}
	if dug >= 0 {
		r.placed[dug].beforeDig = true
	}
	r.Log = nil // not needed any more, and large
	return r
}

func opens(s diagnose.Step) bool {
	return s.Check != nil && s.Check.Digs || s.Repair != nil && s.Repair.Digs
}

// watcher sees advice before it is followed, while the truth is still as it was.
type watcher struct {
	Adviser
	turn int
	see  func(turn int, a Advice)
}

func (w *watcher) Advise(log []diagnose.Entry) Advice {
	a := w.Adviser.Advise(log)
	w.see(w.turn, a)
	w.turn++
	return a
}

func (r *record) note(turn int, s *Stated, c *Caller) {
	if s == nil {
		return
	}
	for i, p := range s.Causes {
		r.stated = append(r.stated, statement{p.P, c.present(p.Cause), i == 0, turn})
	}
	places := c.places()
	if !s.Placed || len(places) == 0 {
		return
	}
	hold := func(v interface{ Holds(float64) bool }) bool {
		for _, x := range places {
			if v.Holds(x) {
				return true
			}
		}
		return false
	}
	r.placed = append(r.placed, placing{hold(s.Interval50), hold(s.Interval90), s.Interval90.LengthM(), false})
}

// present tells whether a cause stands.
func (c *Caller) present(cause string) bool {
	if cause == nothingWrong {
		return c.Sound()
	}
	for _, f := range c.faults {
		if f.standing && f.Cause == cause {
			return true
		}
	}
	return false
}

// places are where standing faults are; of a lead-in fault both chainages.
func (c *Caller) places() []float64 {
	var out []float64
	for _, f := range c.faults {
		if !f.standing || math.IsNaN(f.AtM) {
			continue
		}
		out = append(out, f.AtM)
		if f.cause.Mirror {
			out = append(out, c.lengthM()-f.AtM)
		}
		if !math.IsNaN(f.ToM) {
			out = append(out, f.ToM)
		}
	}
	return out
}
