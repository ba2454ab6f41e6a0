package diagnose

import (
	"fmt"
	"math"
	"slices"

	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// belief is what is held after the log: the probability of each hypothesis and,
// for each cause with a position, where it would be.
type belief struct {
	*wire
	space *space
	h     history

	logP  []float64        // ln of the unnormalised probability of each hypothesis
	p     []float64        // normalised
	place []*locate.Belief // by cause: where, if it is there; nil without a position
	pairs *breaks          // two breaks together; nil where no evidence bears on breaks
	terms []term           // each choice answer's weight, for conflicts
	stand [][]int          // by hypothesis: what is left of it in each epoch, if repairs did what was said of them
	stays []float64        // by cause, where it is alone and was repaired: the chance that it is still there
}

// term is what one answer says.
type term struct {
	fact   fact
	fresh  []float64 // by what is wrong at the time: ln of the answer's probability
	again  []float64 // the same where nothing has changed since the check was last answered; nil where it was not
	before int       // the epoch in which it was
	weight float64   // below 1 where other answers look at the same fact
	logL   []float64 // by hypothesis: what it says on balance
	norm   float64   // answers the check has, for what a chance answer would get
}

// under is what the answer says where state holds what is wrong in each epoch.
func (t *term) under(state []int) float64 {
	now := state[t.fact.epoch]
	if t.again != nil && state[t.before] == now {
		return t.weight * t.again[now]
	}
	return t.weight * t.fresh[now]
}

// epoch is the positional evidence between two repairs.
type epoch struct {
	readings []faultmodel.Reading
	widths   []faultmodel.Width
	spots    []locate.Evidence // taps, traces, bridges: they speak of breaks
	hints    []hint            // stretches that speak of some causes only
	key      string            // the evidence of circuit and field, for the memo
}

// hint is a stretch that bears on the causes that the answer speaks for.
type hint struct {
	stretch locate.Stretch
	causes  map[int]bool
}

// believe derives the belief from a log.
func (e *Engine) believe(w *wire, log []Entry) *belief {
	b := &belief{wire: w, space: e.space, h: e.read(log)}
	b.follow(e)
	b.logP = e.space.prior(w.facts, e.kb.Settings.TwoFaults.Value, e.kb.Settings.SameAgain.Value)
	b.weighChoices(e)
	b.weighPlaces(e)
	b.weighRepairs(e)
	b.p = make([]float64, len(b.logP))
	normaliseLog(b.p, b.logP)
	return b
}

// follow works out what is left of each hypothesis in each epoch, as the repairs
// take causes away.
func (b *belief) follow(e *Engine) {
	epochs := len(b.h.repairs) + 1
	all := make([]int, epochs*len(b.space.hyps))
	b.stand = make([][]int, len(b.space.hyps))
	for h := range b.stand {
		left := all[h*epochs : (h+1)*epochs]
		left[0] = h
		for i, r := range b.h.repairs {
			left[i+1] = e.after(left[i], r)
		}
		b.stand[h] = left
	}
}

// after is the hypothesis left of h by a repair. A repair that did not cure the
// only fault leaves it: the repair failed, or was made at the wrong spot. One spot
// holds one fault, a section one of each cause, a new loop all.
func (e *Engine) after(h int, r *RepairDone) int {
	hyp, left := e.space.hyps[h], h
	causes := []int{hyp.a, hyp.b}
	if known := e.kb.RepairMade(r.Repair); known != nil && hyp.b >= 0 && e.space.causes[hyp.b].ID == known.Cause {
		causes[0], causes[1] = hyp.b, hyp.a // the cause it is named for first
	}
	for _, c := range causes {
		if !e.ended[r.Repair][c] {
			continue
		}
		left = e.space.without(left, c)
		if hyp.a == hyp.b && r.Repair != replaceLoop || r.AtM != nil && r.FromM == nil {
			break
		}
	}
	if !r.Fixed && left == e.space.nothing {
		return h
	}
	return left
}

// weighChoices adds every answer that is judged by a table.
func (b *belief) weighChoices(e *Engine) {
	groups := map[[2]any][]int{} // terms by epoch and fact
	var claimedAbsent bool
	for _, f := range b.h.facts {
		claimedAbsent = claimedAbsent || f.answer.When == FaultAbsent
		table := e.tables[f.answer.Check]
		if table == nil || f.answer.Choice == "" {
			continue
		}
		check := e.kb.Check(f.answer.Check)
		k := check.AnswerIndex(f.answer.Choice)
		if k < 0 {
			continue
		}
		row := table.any[k]
		switch f.answer.When {
		case FaultPresent:
			row = table.present[k]
		case FaultAbsent:
			row = table.absent[k]
		}
		unsure := 0.0
		if f.answer.Unsure {
			unsure = e.kb.Settings.Unsure.Value
		}
		t := term{fact: f, fresh: make([]float64, len(row)), weight: 1, norm: float64(len(check.Answers))}
		before := b.saidBefore(f)
		if before != nil {
			t.again, t.before = make([]float64, len(row)), before.epoch
		}
		for h, p := range row {
			p = (1-unsure)*p + unsure/t.norm
			t.fresh[h] = math.Log(p)
			if before != nil {
				// Nothing has changed since: who read a light wrongly does so again.
				p *= e.kb.Settings.SameFactShare.Value
				if before.answer.Choice == f.answer.Choice {
					p += 1 - e.kb.Settings.SameFactShare.Value
				}
				t.again[h] = math.Log(p)
			}
		}
		b.terms = append(b.terms, t)
		if check.Fact != "" {
			key := [2]any{f.epoch, check.Fact}
			groups[key] = append(groups[key], len(b.terms)-1)
		}
	}
	// Answers that look at the same fact share their errors: n of them weigh as
	// 1 + (n-1) s answers, s the share that is news, and whichever came first.
	for _, g := range groups {
		n := float64(len(g))
		for _, i := range g {
			b.terms[i].weight = (1 + (n-1)*e.kb.Settings.SameFactShare.Value) / n
		}
	}
	for i := range b.terms {
		t := &b.terms[i]
		t.logL = make([]float64, len(b.logP))
		for h := range t.logL {
			t.logL[h] = t.under(b.stand[h])
			if !b.mayStay(h) {
				b.logP[h] += t.logL[h]
			}
		}
	}
	if claimedAbsent {
		for h, hyp := range b.space.hyps {
			b.logP[h] += math.Log(e.sometimesAway(hyp))
		}
	}
}

// saidBefore is the last answer to the same check before the repair that came before f.
func (b *belief) saidBefore(f fact) *fact {
	for i := len(b.h.facts) - 1; i >= 0; i-- {
		g := &b.h.facts[i]
		if g.answer.Check == f.answer.Check && g.epoch < f.epoch && g.answer.When == f.answer.When {
			return g
		}
	}
	return nil
}

// sometimesAway is the chance that somebody sees the fault away: the cause comes
// and goes, or the person is mistaken.
func (e *Engine) sometimesAway(h hypothesis) float64 {
	away := e.space.causes[h.a].Intermittent.Value
	if h.b >= 0 {
		away *= e.space.causes[h.b].Intermittent.Value
	}
	m := e.kb.Settings.Unsure.Value / 10
	return m + (1-m)*away
}

// epochs sorts the positional evidence of the log.
func (b *belief) epochs(e *Engine) []epoch {
	out := make([]epoch, len(b.h.repairs)+1)
	taps := make([][]locate.Tap, len(out))
	for _, f := range b.h.facts {
		at := e.circuitEpoch(&b.h, f.epoch)
		a, ep := f.answer, &out[at]
		check := e.kb.Check(a.Check)
		switch {
		case a.Reading != nil:
			r := *a.Reading
			r.FaultAway = a.When == FaultAbsent
			ep.readings = append(ep.readings, r)
		case check.Kind == kb.Tap && a.AtM != nil:
			t := locate.Tap{AtM: *a.AtM, A: a.ASide, B: a.BSide,
				ErrorProb: e.kb.Settings.TapError.Value, PersistentProb: e.kb.Settings.PersistentError.Value}
			if b.atSplice(*a.AtM) {
				t.PitM = SplicePitM
			}
			taps[at] = append(taps[at], t)
			ep.readings = append(ep.readings, tapReadings(a)...)
		case check.Kind == kb.Widths:
			ep.widths = append(ep.widths, a.Widths...)
		case check.Kind == kb.Position && a.Choice == Throughout:
			ep.spots = append(ep.spots, locate.Trace{Throughout: true, LengthM: b.axis.LengthM})
		case check.Kind == kb.Position && a.AtM != nil:
			end := locate.EndA
			if a.End == locate.EndB {
				end = locate.EndB
			}
			ep.spots = append(ep.spots, locate.Trace{AtM: *a.AtM, End: end, SpreadM: check.SpreadFt.Value * quantity.MPerFt,
				MissProb: 1 - check.PlaceShare.Value, LengthM: b.axis.LengthM})
		case a.Check == "bridge":
			if lo, hi, ok := span(a.AtM, a.FromM, a.ToM); ok {
				ep.spots = append(ep.spots, locate.Bridge{FromM: lo, ToM: hi, Restored: a.Choice == "restores", ErrorProb: max(check.Mistake.Value, 0.02)})
			}
		default:
			if lo, hi, ok := span(a.AtM, a.FromM, a.ToM); ok {
				ep.hints = append(ep.hints, b.hint(e, check, a, lo, hi))
			}
		}
	}
	for i := range out {
		for _, t := range locate.GroupTaps(taps[i], quantity.MPerFt) {
			out[i].spots = append(out[i].spots, t)
		}
		out[i].key = fmt.Sprint(out[i].readings, out[i].widths, out[i].spots)
	}
	return out
}

// Throughout is the answer of a trace that lost the signal nowhere.
const Throughout = "throughout"

// SplicePitM is how far either side of an old splice its opening lays the wire bare.
const SplicePitM = quantity.MPerFt

// atSplice tells whether a tap there opens a known splice.
func (b *belief) atSplice(xM float64) bool {
	return slices.ContainsFunc(b.site.SplicesM, func(s float64) bool { return math.Abs(s-xM) < SplicePitM })
}

// tapReadings are the ohms read on a tap. They join the other readings, with which
// they share the wire's unknowns.
func tapReadings(a *Answer) []faultmodel.Reading {
	var readings []faultmodel.Reading
	for _, r := range []struct {
		q faultmodel.Quantity
		r *faultmodel.Reading
	}{{faultmodel.SideAOhms, a.AOhms}, {faultmodel.SideBOhms, a.BOhms}, {faultmodel.SideAToEarth, a.AToEarth}, {faultmodel.SideBToEarth, a.BToEarth}} {
		if r.r != nil {
			read := *r.r
			read.Quantity, read.AtM = r.q, *a.AtM
			readings = append(readings, read)
		}
	}
	return readings
}

// hint is a place given with an answer. It bears on the causes that the answer
// speaks for, or on all where the check has no tables.
func (b *belief) hint(e *Engine, check *kb.Check, a *Answer, lo, hi float64) hint {
	h := hint{
		stretch: locate.Stretch{FromM: lo, ToM: hi, Share: check.PlaceShare.Value,
			SpreadM: check.SpreadFt.Value * quantity.MPerFt, LengthM: b.axis.LengthM},
		causes: map[int]bool{},
	}
	// A place that is asked for because of another answer bears on what that speaks for.
	asked, choice := check, a.Choice
	if e.tables[check.ID] == nil {
		for _, need := range check.Needs {
			if other := b.h.latest[need.Check]; other != nil && slices.Contains(need.Answers, other.Choice) {
				asked, choice = e.kb.Check(need.Check), other.Choice
			}
		}
	}
	t, k := e.tables[asked.ID], asked.AnswerIndex(choice)
	for c := range b.space.causes {
		h.causes[c] = t == nil || k < 0 || t.present[k][c] > speaksFor*t.present[k][b.space.nothing]
	}
	return h
}

// speaksFor is by how much an answer must be likelier under a cause than with
// nothing wrong for the place given with it to bear on the cause.
const speaksFor = 1.5

// weighPlaces adds everything that bears on position, and with it what readings
// say about the causes themselves.
func (b *belief) weighPlaces(e *Engine) {
	epochs := b.epochs(e)
	b.place = make([]*locate.Belief, len(b.space.causes))
	b.stays = make([]float64, len(b.space.causes))
	single := make([]float64, len(b.space.causes)) // ln evidence of each cause alone
	beside := make([]float64, len(b.space.causes)) // the same beside a fault that no repair so far has ended
	alone := make([]float64, len(b.space.causes))  // the same, where repairs were made with all that answers and their outcomes say
	sweeps := b.allSweeps(e, epochs)
	healthy := make([]float64, len(epochs))
	for i := range epochs {
		healthy[i] = b.flat(&epochs[i], faultmodel.Healthy)
	}
	for c := range b.space.causes {
		kind := faultmodel.Kind(b.space.causes[c].Kind)
		if b.prior[c] == nil {
			flat := make([]float64, len(epochs))
			for i := range epochs {
				flat[i] = b.flat(&epochs[i], kind)
				if b.stand[c][i] != b.space.nothing {
					single[c] += flat[i]
				} else {
					single[c] += healthy[i]
				}
			}
			beside[c], alone[c] = single[c], single[c]
			if b.mayStay(c) {
				alone[c] = b.weighPaths(e, c, nil, func(epoch, _ int) float64 { return flat[epoch] }, healthy)
			}
			continue
		}
		logL := make([]float64, b.axis.Cells)
		for i := range epochs {
			for _, h := range epochs[i].hints {
				if h.causes[c] {
					for x, l := range b.axis.LogLikelihood(h.stretch, kind) {
						logL[x] += l
					}
				}
			}
		}
		var hints []float64
		if b.mayStay(c) {
			hints = slices.Clone(logL)
		}
		b.followRepairs(e, c, logL, sweeps[kind], healthy, false)
		posterior, logZ := b.prior[c].Update(logL)
		b.place[c] = &posterior
		single[c], beside[c], alone[c] = logZ, logZ, logZ
		if b.mayStay(c) {
			aside := slices.Clone(hints)
			b.followRepairs(e, c, aside, sweeps[kind], healthy, true)
			_, beside[c] = b.prior[c].Update(aside)
			alone[c] = b.weighPaths(e, c, hints, func(epoch, x int) float64 { return sweeps[kind][epoch][x] }, healthy)
		}
	}
	pair := b.newPairing(e, epochs, single, beside, alone, healthy, sweeps)
	for h, hyp := range b.space.hyps {
		switch {
		case hyp.b < 0:
			b.logP[h] += alone[hyp.a]
		case b.jointly(h):
			b.logP[h] += b.pairs.logZ
		default:
			b.logP[h] += pair.together(h)
		}
	}
}

// allSweeps works out everything that takes a pass over the wire: ln of the
// evidence by kind, epoch and cell, and besides it the belief of two breaks.
func (b *belief) allSweeps(e *Engine, epochs []epoch) map[faultmodel.Kind][][]float64 {
	var kinds []faultmodel.Kind
	for c := range b.space.causes {
		kind := faultmodel.Kind(b.space.causes[c].Kind)
		if b.prior[c] != nil && !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	swept := make([][][]float64, len(kinds))
	parallel(len(kinds)+1, func(i int) {
		if i == 0 { // the dearest first
			b.weighBreaks(e, epochs)
			return
		}
		for k := range epochs {
			swept[i-1] = append(swept[i-1], b.sweep(&epochs[k], kinds[i-1]))
		}
	})
	sweeps := map[faultmodel.Kind][][]float64{}
	for i, kind := range kinds {
		sweeps[kind] = swept[i]
	}
	return sweeps
}

// sees tells whether the circuit's and the field's evidence tells a cause from a
// sound loop anywhere along the wire.
func (b *belief) sees(c int, sweep [][]float64, single float64, healthy []float64) bool {
	const alike = 1e-6
	if sweep == nil {
		var sum float64
		for _, h := range healthy {
			sum += h
		}
		return math.Abs(single-sum) > alike
	}
	for i := range sweep {
		for x, l := range sweep[i] {
			if b.prior[c].P[x] > 0 && math.Abs(l-healthy[i]) > alike {
				return true
			}
		}
	}
	return false
}

// followRepairs adds the evidence of each epoch to logL, cell by cell: a repair
// that reached the cell and cured took the fault away there. With another fault
// about, which the repairs did not end, "not fixed" speaks of that one.
func (b *belief) followRepairs(e *Engine, c int, logL []float64, sweep [][]float64, healthy []float64, another bool) {
	gone := make([]bool, len(logL))
	for i := range sweep {
		for x := range logL {
			if gone[x] {
				logL[x] += healthy[i]
			} else {
				logL[x] += sweep[i][x]
			}
		}
		if i == len(b.h.repairs) {
			break
		}
		r := b.h.repairs[i]
		if !e.ended[r.Repair][c] {
			continue
		}
		held := e.success(r.Repair)
		for x, m := range b.mids {
			reached := r.reaches(m)
			switch {
			case another && reached: // mended, whatever still shows
				logL[x] += math.Log(held)
				gone[x] = true
			case another && r.Fixed: // made elsewhere
				logL[x] += math.Log(b.blind(e, r))
			case another:
			case reached && r.Fixed:
				logL[x] += math.Log(held)
				gone[x] = true
			case reached:
				logL[x] += math.Log(1 - held)
			case r.Fixed:
				logL[x] += math.Log(strayCure)
			}
		}
	}
}

const (
	// repairReachM is how far from the place written down a repair still takes in
	// the fault: people write the place to a step.
	repairReachM = 1.0
	// strayCure is the chance that a loop works after a repair that did not reach
	// the fault: it came and went, or two things were done. Judgement.
	strayCure = 0.02
)

// isBreak tells whether a cause parts the conductor.
func (b *belief) isBreak(c int) bool {
	return faultmodel.Kind(b.space.causes[c].Kind) == faultmodel.Open && b.prior[c] != nil
}

// breakCauses are the causes that part the conductor.
func (b *belief) breakCauses() []int {
	var out []int
	for c := range b.space.causes {
		if b.isBreak(c) {
			out = append(out, c)
		}
	}
	return out
}

// flat is ln of an epoch's evidence for a kind without a position.
func (b *belief) flat(ep *epoch, kind faultmodel.Kind) float64 {
	return b.memo.flat(kind, ep.key, func() float64 {
		var sum float64
		if len(ep.readings) > 0 {
			sum += b.model.LogLikelihood(ep.readings, faults(kind, 0)...)
		}
		if len(ep.widths) > 0 {
			sum += b.model.WidthLogLikelihood(ep.widths, faults(kind, 0)...)
		}
		for _, s := range ep.spots {
			sum += s.At(kind, 0)
		}
		return sum
	})
}

func faults(kind faultmodel.Kind, xM float64) []faultmodel.Fault {
	if kind == faultmodel.Healthy {
		return nil
	}
	return []faultmodel.Fault{{Kind: kind, AtM: xM}}
}

// sweep is ln of an epoch's evidence for one fault of a kind at each cell.
func (b *belief) sweep(ep *epoch, kind faultmodel.Kind) []float64 {
	out := make([]float64, len(b.mids))
	add := func(l []float64) {
		for i := range out {
			out[i] += l[i]
		}
	}
	if len(ep.readings) > 0 {
		add(b.memo.sweep(b.model, ep.readings, kind, b.mids))
	}
	if len(ep.widths) > 0 {
		add(b.memo.widths(b.model, ep.widths, kind, b.mids))
	}
	for _, s := range ep.spots {
		add(b.axis.LogLikelihood(s, kind))
	}
	return out
}

// weighRepairs adds what each repair's outcome says about pairs; single causes were
// followed on every path.
func (b *belief) weighRepairs(e *Engine) {
	for h := range b.space.hyps {
		if b.mayStay(h) {
			continue
		}
		now := h
		for _, r := range b.h.repairs {
			next := e.after(now, r)
			switch whole := next == b.space.nothing; {
			case !b.followed(e, h, now, r):
				b.logP[h] += math.Log(b.cureLikelihood(e, now, next, r))
			case !b.jointly(h):
				if r.Fixed && !whole && now != next {
					b.logP[h] += math.Log(strayCure) // the other still shows
				}
			}
			now = next
		}
	}
}

// jointly tells whether a hypothesis is two breaks with a belief of their own.
func (b *belief) jointly(h int) bool {
	hyp := b.space.hyps[h]
	return b.pairs != nil && hyp.b >= 0 && b.isBreak(hyp.a) && b.isBreak(hyp.b)
}

// followed tells whether what was said of a repair is in the evidence for the places
// already: it ends a placed cause of those that it met.
func (b *belief) followed(e *Engine, h, now int, r *RepairDone) bool {
	if b.jointly(h) {
		_, _, ok := span(r.AtM, r.FromM, r.ToM)
		return ok && b.endsBreaks(e, r) // see weighBreaks
	}
	for c := range e.ended[r.Repair] {
		if b.prior[c] != nil && b.space.hyps[now].has(c) {
			return true
		}
	}
	return false
}

// cureLikelihood is the chance of a repair's outcome when it met hypothesis now
// and left next.
func (b *belief) cureLikelihood(e *Engine, now, next int, r *RepairDone) float64 {
	held := e.success(r.Repair)
	ends := false
	for c := range e.ended[r.Repair] {
		ends = ends || e.space.hyps[now].has(c)
	}
	whole := e.space.hyps[next].a == e.space.nothing
	switch {
	case now == e.space.nothing:
		if r.Fixed {
			return b.blind(e, r)
		}
		return strayCure
	case !ends && r.Fixed:
		return strayCure * b.blind(e, r)
	case !ends:
		return 1 - strayCure
	case r.Fixed && whole:
		return held
	case r.Fixed:
		return strayCure
	case now == next:
		return 1 - held
	}
	return 1 // one of two ended, the other still shows
}

// normaliseLog writes exp(logP) scaled to sum 1 into p.
func normaliseLog(p, logP []float64) {
	top := math.Inf(-1)
	for _, l := range logP {
		top = max(top, l)
	}
	var sum float64
	for i, l := range logP {
		p[i] = math.Exp(l - top)
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
}

// logMean is ln of the mean of exp(l), -Inf for none.
func logMean(l []float64) float64 {
	top := math.Inf(-1)
	for _, v := range l {
		top = max(top, v)
	}
	if math.IsInf(top, -1) {
		return top
	}
	var sum float64
	for _, v := range l {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum/float64(len(l)))
}
