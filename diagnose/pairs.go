package diagnose

import (
	"math"
	"slices"

	"loopfault/faultmodel"
	"loopfault/locate"
)

// breaks is the belief over two breaks: the joint grid, and ln of the evidence.
type breaks struct {
	belief locate.PairBelief
	logZ   float64
}

// pairCells is how many cells two breaks share along the wire: half of them
// follow the probability, so that a narrow place stays narrow.
const pairCells = 40

// weighBreaks works out the joint belief of two breaks.
func (b *belief) weighBreaks(e *Engine, epochs []epoch) {
	bears := false
	var focus []float64
	for i := range epochs {
		bears = bears || len(epochs[i].readings)+len(epochs[i].spots) > 0
		for _, s := range epochs[i].spots {
			if f, ok := s.(locate.Focuser); ok {
				focus = append(focus, f.Focus()...)
			}
		}
	}
	if !bears {
		return
	}
	// One prior for all breaks: their causes' mixtures by prior share.
	var parts []locate.Belief
	var shares []float64
	for _, c := range b.breakCauses() {
		parts = append(parts, *b.prior[c])
		shares = append(shares, b.space.causes[c].Prior.Value)
	}
	prior := locate.Belief{Axis: b.axis, P: make([]float64, b.axis.Cells)}
	var total float64
	for _, s := range shares {
		total += s
	}
	for i, p := range parts {
		for x := range prior.P {
			prior.P[x] += shares[i] / total * p.P[x]
		}
	}
	pb := locate.NewPairBelief(faultmodel.Open, prior, faultmodel.Open, prior, true, pairCells, focus...)
	n := pb.Cells()
	mids := pb.Mids()
	logL := make([]float64, n*n)
	// Which of the two is still there: a repair takes the one it reached.
	type left struct{ first, second bool }
	state := make([]left, n*n)
	for k := range state {
		state[k] = left{true, true}
	}
	for i := range epochs {
		ep := &epochs[i]
		both := make([]float64, n*n)
		one := make([]float64, n)
		if len(ep.readings) > 0 {
			for r, row := range b.memo.pairs(b.model, ep.readings, mids) {
				copy(both[r*n:(r+1)*n], row)
			}
			if i > 0 {
				copy(one, b.model.Sweep(ep.readings, faultmodel.Open, mids))
			}
		}
		for _, s := range ep.spots {
			for k, l := range pb.LogLikelihood(s) {
				both[k] += l
			}
			for k, m := range mids {
				one[k] += s.At(faultmodel.Open, m)
			}
		}
		for _, h := range ep.hints {
			if !slices.ContainsFunc(b.breakCauses(), func(c int) bool { return h.causes[c] }) {
				continue
			}
			for k, l := range pb.LogLikelihood(h.stretch) {
				both[k] += l
			}
			for k, m := range mids {
				one[k] += h.stretch.At(faultmodel.Open, m)
			}
		}
		none := b.flat(ep, faultmodel.Healthy)
		for k := range logL {
			switch state[k] {
			case left{true, true}:
				logL[k] += both[k]
			case left{true, false}:
				logL[k] += one[k/n]
			case left{false, true}:
				logL[k] += one[k%n]
			default:
				logL[k] += none
			}
		}
		if i == len(b.h.repairs) {
			break
		}
		r := b.h.repairs[i]
		if _, _, placed := span(r.AtM, r.FromM, r.ToM); !placed || !b.endsBreaks(e, r) {
			continue
		}
		held := e.success(r.Repair)
		for k := range state {
			s := &state[k]
			hit := s.first && r.reaches(mids[k/n]) || s.second && r.reaches(mids[k%n])
			if hit {
				s.first = s.first && !r.reaches(mids[k/n])
				s.second = s.second && !r.reaches(mids[k%n])
				logL[k] += math.Log(held)
			} else if r.Fixed {
				logL[k] += math.Log(b.blind(e, r))
			}
			if cured := *s == (left{}); cured != r.Fixed {
				logL[k] += math.Log(strayCure)
			}
		}
	}
	pb, logZ := pb.Update(logL)
	b.pairs = &breaks{pb, logZ}
}

func (b *belief) endsBreaks(e *Engine, r *RepairDone) bool {
	for c := range e.ended[r.Repair] {
		if b.isBreak(c) {
			return true
		}
	}
	return false
}

// pairing weighs two faults that are not both breaks.
type pairing struct {
	*belief
	epochs  []epoch
	single  []float64 // ln evidence of each cause alone
	beside  []float64 // the same, beside a fault that no repair has ended
	engine  *Engine
	healthy float64 // ln evidence of a sound loop
	seen    []bool  // by cause: the evidence tells it from a sound loop
	sweeps  map[faultmodel.Kind][][]float64
	places  map[faultmodel.Kind][]float64 // see represent
	ratios  map[int]float64               // by hypothesis that was weighed
	best    float64                       // ln of the most probable single cause, evidence included
	most    float64                       // ln of the best evidence any cause gets anywhere
}

// couple is what the evidence sees of a pair: the kinds, and which of the two
// stands in which epoch, two bits each.
type couple struct {
	a, b  faultmodel.Kind
	stand uint64
}

// pairMatters is ln of the share of the most probable cause below which a pair is
// not worked out: even the best evidence would leave it under one in 50,000.
const pairMatters = -11

// newPairing prepares; b.logP holds priors and choice answers.
func (b *belief) newPairing(e *Engine, epochs []epoch, single, beside, alone, healthy []float64, sweeps map[faultmodel.Kind][][]float64) *pairing {
	p := &pairing{belief: b, engine: e, epochs: epochs, single: single, beside: beside, seen: make([]bool, len(single)), sweeps: sweeps,
		places: map[faultmodel.Kind][]float64{}, ratios: map[int]float64{}, best: math.Inf(-1)}
	for i := range epochs {
		p.healthy += healthy[i]
		most := healthy[i]
		for _, s := range sweeps {
			most = max(most, slices.Max(s[i]))
		}
		p.most += most
	}
	for c, l := range single {
		p.seen[c] = b.sees(c, sweeps[p.kind(c)], l, healthy)
		p.best = max(p.best, b.logP[c]+alone[c])
		p.most = max(p.most, l)
	}
	p.weigh()
	return p
}

func (p *pairing) kind(c int) faultmodel.Kind { return faultmodel.Kind(p.space.causes[c].Kind) }

// together is ln of the evidence for a pair. Where the evidence sees only one of
// the two it is that one's alone. Where it sees both, the circuit with both is
// weighed at representative places of each: with Z_a and L_a the evidence of a
// alone, over all places and at one,
//
//	Z_ab = Z_a Z_b E[ L_ab(x,y) / (L_a(x) L_b(y)) ]   over x, y where each would be alone
//
// The expectation is taken from what circuit and field say of the places, so that
// it is a function of that evidence alone.
func (p *pairing) together(h int) float64 {
	hyp := p.space.hyps[h]
	switch {
	case !p.seen[hyp.a] || !p.seen[hyp.b]:
		// Places given in answers still speak of each.
		return p.of(hyp.a, hyp.b) + p.of(hyp.b, hyp.a) - p.healthy
	}
	ratio, weighed := p.ratios[h]
	if !weighed {
		return max(p.single[hyp.a], p.single[hyp.b])
	}
	return p.of(hyp.a, hyp.b) + p.of(hyp.b, hyp.a) + ratio
}

// needs tells whether a pair is one whose circuit with both is weighed.
func (p *pairing) needs(h int) bool {
	hyp := p.space.hyps[h]
	return hyp.b >= 0 && p.seen[hyp.a] && p.seen[hyp.b] && p.logP[h]+p.most >= p.best+pairMatters && !p.jointly(h)
}

// couple is what the evidence sees of a pair, with its causes in the order of the
// couple's kinds.
func (p *pairing) couple(h int) (couple, hypothesis) {
	hyp, stand := p.space.hyps[h], p.standing(h)
	if p.kind(hyp.a) > p.kind(hyp.b) {
		const first = 0x5555555555555555
		hyp.a, hyp.b = hyp.b, hyp.a
		stand = stand&first<<1 | stand>>1&first
	}
	return couple{p.kind(hyp.a), p.kind(hyp.b), stand}, hyp
}

// weigh works out the ratio of every couple that is needed.
func (p *pairing) weigh() {
	type task struct {
		couple
		of   hypothesis // one with these kinds
		hyps []int      // all of them
		hope float64    // ln of the most probable such pair, its ratio aside, over the most probable single cause
	}
	var tasks []task
	number := map[couple]int{}
	for h := range p.space.hyps {
		if !p.needs(h) {
			continue
		}
		c, hyp := p.couple(h)
		i, ok := number[c]
		if !ok {
			i = len(tasks)
			number[c] = i
			tasks = append(tasks, task{c, hyp, nil, math.Inf(-1)})
			p.represent(hyp.a)
			p.represent(hyp.b)
		}
		tasks[i].hyps = append(tasks[i].hyps, h)
		tasks[i].hope = max(tasks[i].hope, p.logP[h]+p.of(hyp.a, hyp.b)+p.of(hyp.b, hyp.a)-p.best)
	}
	ratios := make([]float64, len(tasks))
	parallel(len(tasks), func(i int) { ratios[i] = p.ratio(tasks[i].of, tasks[i].couple, tasks[i].hope) })
	for i, t := range tasks {
		for _, h := range t.hyps {
			p.ratios[h] = ratios[i]
		}
	}
}

// of is ln of the evidence for c in a pair with another: a repair of c is no failure
// while the other still shows.
func (p *pairing) of(c, other int) float64 {
	if p.mended(c, other) {
		return p.beside[c]
	}
	return p.single[c]
}

// mended tells whether the repairs of c were made while another fault stood.
func (p *pairing) mended(c, other int) bool {
	if p.prior[c] == nil {
		return false
	}
	gone, any := false, false
	for _, r := range p.h.repairs {
		gone = gone || p.engine.ended[r.Repair][other]
		if p.engine.ended[r.Repair][c] {
			if gone {
				return false
			}
			any = true
		}
	}
	return any
}

// standing tells which of a pair stands in each epoch: bit 2i for the first, 2i+1
// for the second.
func (p *pairing) standing(h int) uint64 {
	var bits uint64
	for e, left := range p.stand[h] {
		now, hyp := p.space.hyps[left], p.space.hyps[h]
		switch {
		case left == h:
			bits |= 3 << (2 * e)
		case now.a == hyp.a && left != p.space.nothing:
			bits |= 1 << (2 * e)
		case now.a == hyp.b && left != p.space.nothing:
			bits |= 2 << (2 * e)
		}
	}
	return bits
}

// farOff is how far below mattering, in nats, a pair has to be at the likeliest
// places of its causes for the others not to be looked at.
const farOff = 8

// ratio is ln of the expectation. hope is what the most probable pair of this couple
// has without it.
func (p *pairing) ratio(hyp hypothesis, c couple, hope float64) float64 {
	xa, la := p.possible(hyp.a, hyp.b, c.a, c.stand)
	xb, lb := p.possible(hyp.b, hyp.a, c.b, c.stand>>1)
	if len(xa) == 0 || len(xb) == 0 {
		return logMean(nil)
	}
	i, j := largest(la), largest(lb)
	l := p.expect(hyp, c, xa[i:i+1], la[i:i+1], xb[j:j+1], lb[j:j+1])
	if hope+l < pairMatters-farOff {
		return l
	}
	return p.expect(hyp, c, xa, la, xb, lb)
}

// expect is ln of the expectation over some places, given ln of each cause's
// evidence there alone.
func (p *pairing) expect(hyp hypothesis, c couple, xa, la, xb, lb []float64) float64 {
	both := make([][][]float64, len(p.epochs))
	for e := range both {
		if c.stand>>(2*e)&3 == 3 {
			both[e] = p.memo.both(c.a, xa, c.b, xb, p.epochs[e].key, func() [][]float64 { return p.both(&p.epochs[e], c.a, xa, c.b, xb) })
		}
	}
	logs := make([]float64, 0, len(xa)*len(xb))
	for i, x := range xa {
		for j, y := range xb {
			l := -la[i] - lb[j]
			for e := range p.epochs {
				switch c.stand >> (2 * e) & 3 {
				case 3:
					l += both[e][i][j]
				case 1:
					l += p.oneAt(e, hyp.a, c.a, x)
				case 2:
					l += p.oneAt(e, hyp.b, c.b, y)
				default:
					l += p.flat(&p.epochs[e], faultmodel.Healthy)
				}
			}
			logs = append(logs, l)
		}
	}
	return logMean(logs)
}

// possible are the representative places where a cause can be, and ln of its
// evidence alone at each. Bit 2e of stand tells whether it stands in epoch e.
func (p *pairing) possible(c, other int, kind faultmodel.Kind, stand uint64) (at, l []float64) {
	mended := p.mended(c, other)
	for _, x := range p.places[kind] {
		if one := p.alone(c, kind, x, mended, stand); !math.IsInf(one, -1) {
			at, l = append(at, x), append(l, one)
		}
	}
	return at, l
}

func largest(v []float64) (at int) {
	for i := range v {
		if v[i] > v[at] {
			at = i
		}
	}
	return at
}

// alone is ln of the circuit's and field's evidence for a cause alone at a place.
func (p *pairing) alone(c int, kind faultmodel.Kind, x float64, mended bool, stand uint64) float64 {
	var l float64
	for e := range p.epochs {
		gone := p.stand[c][e] == p.space.nothing
		if mended {
			gone = stand>>(2*e)&1 == 0
		}
		if gone {
			l += p.flat(&p.epochs[e], faultmodel.Healthy)
		} else {
			l += p.oneAt(e, c, kind, x)
		}
	}
	return l
}

// oneAt is ln of an epoch's evidence for one fault at a place: the sweep has it.
func (p *pairing) oneAt(e, c int, kind faultmodel.Kind, x float64) float64 {
	if p.place[c] == nil {
		return p.flat(&p.epochs[e], kind)
	}
	return p.sweeps[kind][e][p.axis.Cell(x)]
}

// both is ln of an epoch's evidence for two faults at each couple of places.
func (b *belief) both(ep *epoch, ka faultmodel.Kind, xa []float64, kb faultmodel.Kind, xb []float64) [][]float64 {
	out := b.model.Couples(ep.readings, ka, xa, kb, xb)
	for i, x := range xa {
		for j, y := range xb {
			if len(ep.widths) > 0 {
				out[i][j] += b.model.WidthLogLikelihood(ep.widths, append(faults(ka, x), faults(kb, y)...)...)
			}
			for _, s := range ep.spots {
				out[i][j] += s.AtPair(ka, x, kb, y)
			}
		}
	}
	return out
}

// represent finds the places that stand for where a cause's kind of fault may be: what the
// circuit and the field leave of the kind's prior is cut into parts of equal mass,
// and the likeliest cell of each part stands for it (not its middle, which may
// fall between two mirrored places, where the fault is known not to be). One
// place stands for a kind without a position.
func (p *pairing) represent(c int) {
	if p.places[p.kind(c)] != nil {
		return
	}
	if p.place[c] == nil {
		p.places[p.kind(c)] = []float64{0}
		return
	}
	mix := locate.Belief{Axis: p.axis, P: make([]float64, p.axis.Cells)}
	for d := range p.space.causes {
		if p.kind(d) == p.kind(c) && p.prior[d] != nil {
			for x, q := range p.prior[d].P {
				mix.P[x] += p.space.causes[d].Prior.Value * q
			}
		}
	}
	normalise(mix.P)
	logL := make([]float64, p.axis.Cells)
	for _, epoch := range p.sweeps[p.kind(c)] {
		for x, l := range epoch {
			logL[x] += l
		}
	}
	mix, _ = mix.Update(logL)
	out := make([]float64, 0, representativePlaces)
	best, seen := 0, 0.0
	for x, q := range mix.P {
		if q > mix.P[best] {
			best = x
		}
		seen += q
		if seen >= float64(len(out)+1)/representativePlaces-1e-9 && len(out) < representativePlaces {
			out = append(out, p.axis.Mid(best))
			best = min(x+1, len(mix.P)-1)
		}
	}
	p.places[p.kind(c)] = out
}

const representativePlaces = 3
