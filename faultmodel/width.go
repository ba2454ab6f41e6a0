package faultmodel

import (
	"cmp"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
)

// A collar hears a wire out to the distance at which the field falls to its
// threshold. Near a straight wire that reach is in proportion to the current;
// measured level with the wire and a height above it, the width is
// sqrt(reach^2 - height^2). So ln(reach) is a sum: the installation's own reach,
// one unknown for the whole walk; the current at the place against that of a
// healthy loop, from the circuit; the shape of the path; and what a fault of the
// field takes away.

// How well a width is measured by walking up to a wire: judgement.
const (
	widthRelSD   = 0.10
	widthAbsSD   = 0.08 // m
	widthOutlier = 0.03
	seasonWidth  = 0.10 // of ln(reach), between a baseline and today
)

// dip is a stretch over which a fault of the field changes the reach.
type dip struct {
	loM, hiM, factor float64
}

// dipFactors is by how much a fault of the field changes the reach, in equally
// likely steps. A parallel return at a spacing of 1, 1/2, 1/4 and 1/16 of the
// reach leaves the first four: the solution of 1/r - 1/(r+s) = 1/reach. The
// others are judgement.
func (k Kind) dipFactors(reachM, heightM float64) []float64 {
	switch k {
	case CloseRun:
		return []float64{0.62, 0.50, 0.39, 0.22}
	case Corner:
		return []float64{0.85, 0.70, 0.50}
	case MetalAlong:
		return []float64{0.80, 0.60, 0.40}
	case ServiceAlong:
		return []float64{0.50, 0.75, 1.35, 1.80}
	case TooDeep:
		var out []float64
		for _, deeper := range [...]float64{0.2, 0.4, 0.7, 1.0} {
			// Level distance is reach^2 - (height + deeper)^2 squared; this is the reach
			// that would give it at the usual depth, below the height where it is silent.
			left := reachM*reachM - (heightM+deeper)*(heightM+deeper) + heightM*heightM
			out = append(out, math.Sqrt(max(left, 1e-4*reachM*reachM))/reachM)
		}
		return out
	}
	return nil
}

// dipLengths are the extents tried where a fault's is not known, m.
var dipLengths = [...]float64{4, 10, 25}

// dips lists what a fault of the field may look like.
func (f Fault) dips(reachM, heightM float64) []dip {
	var out []dip
	for _, k := range f.Kind.dipFactors(reachM, heightM) {
		if f.ToM != 0 {
			out = append(out, dip{min(f.AtM, f.ToM), max(f.AtM, f.ToM), k})
			continue
		}
		for _, l := range dipLengths {
			out = append(out, dip{f.AtM - l/2, f.AtM + l/2, k})
		}
	}
	return out
}

// current is the current in the conductor at a chainage for one ampere from the
// source, after drive.
func (c *circuit) current(atM float64) complex128 {
	nw := &c.nw
	ve := nw.v[earth]
	along := func(z, y complex128, p ports, v1, v2 complex128, s float64) complex128 {
		i := (v1-v2)*p.series + v1*p.shunt
		l := complex(s, 0)
		g := cmplx.Sqrt(z*y) * l
		if g == 0 {
			return i
		}
		return i*cmplx.Cosh(g) - v1*y*l*cmplx.Sinh(g)/g
	}
	l := c.boundary0
	total := c.totalM
	if atM >= l && atM <= total-l {
		for i := range nw.lines {
			b := &nw.lines[i]
			nominal := b.lengthM / c.boundaryLength
			if atM <= b.atM+nominal*(1+1e-12) {
				return along(b.w.z, b.w.y, b.p, nw.v[b.a]-ve, nw.v[b.b]-ve, max(atM-b.atM, 0)*c.boundaryLength)
			}
		}
		return 0
	}
	u := min(atM, total-atM)
	for i := range nw.pairs {
		p := &nw.pairs[i]
		last := i == len(nw.pairs)-1
		if !last && nw.pairs[i+1].uM < u {
			continue
		}
		s := (u - p.uM) * c.leadLength
		a, a2, b, b2 := nw.v[p.a]-ve, nw.v[p.a2]-ve, nw.v[p.b]-ve, nw.v[p.b2]-ve
		even := along(p.w.z, p.w.y, p.even, (a+b)/2, (a2+b2)/2, s)
		odd := along(p.w.zOdd, p.w.yOdd, p.odd, (a-b)/2, (a2-b2)/2, s)
		if atM < l {
			return even + odd
		}
		return odd - even
	}
	return 0
}

// relative appends ln of the current at each place over that at the terminals of
// the same installation without a fault.
func (c *circuit) relative(in *installation, faults []Fault, healthy float64, atM []float64, out []float64) []float64 {
	volts, _ := in.drive(faults)
	c.build(in, faults, transmitter, 0, in.loop.FrequencyHz)
	c.nw.drive(c.srcA, c.srcB)
	for _, x := range atM {
		i := volts / in.sourceOhm * cmplx.Abs(c.current(x))
		out = append(out, math.Log(max(i/healthy, 1e-9)))
	}
	return out
}

// profile is what is known of the widths of a healthy loop.
type profile struct {
	healthyA  float64   // median current at the terminals, A
	lnReach   float64   // mean of ln(reach)
	sd        float64   // of ln(reach), for the walk as a whole
	mapAt     []float64 // chainage, m
	mapLn     []float64 // ln(reach by the map's shape / reach of a straight wire)
	baseAt    []float64 // chainage, m
	baseLn    []float64 // ln(reach in the baseline / its mean)
	heightM   float64
	straightM float64
}

const mapPlaces = 120

func (m *Model) profile() *profile {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.walk != nil {
		return m.walk
	}
	l := &m.loop
	p := &profile{heightM: l.HeightM + l.DepthM, healthyA: 1}
	w := World{m: m, in: m.prior.median}
	if a := w.sourceCurrent(nil); a > 0 {
		p.healthyA = a
	}
	width := l.WidthM.Median
	p.lnReach = math.Log(math.Hypot(width, p.heightM))
	p.sd = l.WidthM.SigmaLn * width * width / (width*width + p.heightM*p.heightM)
	base := slices.Clone(l.BaselineWidth)
	base = slices.DeleteFunc(base, func(w Width) bool { return w.Silent || !(w.WidthM >= 0) })
	if len(base) > 0 {
		slices.SortStableFunc(base, func(a, b Width) int { return cmp.Compare(a.AtM, b.AtM) })
		var mean float64
		for _, b := range base {
			p.baseAt = append(p.baseAt, b.AtM)
			v := math.Log(math.Hypot(b.WidthM, p.heightM))
			p.baseLn = append(p.baseLn, v)
			mean += v / float64(len(base))
		}
		for i := range p.baseLn {
			p.baseLn[i] -= mean
		}
		p.lnReach, p.sd = mean, math.Hypot(seasonWidth, widthRelSD/math.Sqrt(float64(len(base))))
	}
	p.straightM = math.Exp(p.lnReach)
	if len(l.Path) >= 3 {
		at := make([]float64, mapPlaces)
		var perimeter float64
		for i, a := range l.Path {
			b := l.Path[(i+1)%len(l.Path)]
			perimeter += math.Hypot(b.X-a.X, b.Y-a.Y)
		}
		for i := range at {
			f := (float64(i) + 0.5) / mapPlaces
			at[i] = f * perimeter
			p.mapAt = append(p.mapAt, l.LeadInM+f*l.BoundaryM)
		}
		in, _ := PathWidths(l.Path, p.heightM, p.straightM, at)
		for _, w := range in {
			p.mapLn = append(p.mapLn, math.Log(math.Hypot(w, p.heightM)/p.straightM))
		}
	}
	m.walk = p
	return p
}

// between interpolates y at x along sorted places.
func between(at, y []float64, x float64) float64 {
	i, _ := slices.BinarySearch(at, x)
	switch {
	case len(at) == 0:
		return 0
	case i == 0:
		return y[0]
	case i == len(at):
		return y[len(y)-1]
	}
	f := (x - at[i-1]) / (at[i] - at[i-1])
	return y[i-1] + f*(y[i]-y[i-1])
}

// drawField fixes what the collar hears.
func (w *World) drawField(rng *rand.Rand) {
	p := w.m.profile()
	w.reach = math.Exp(p.lnReach + p.sd*rng.NormFloat64())
	for _, f := range w.all {
		if ds := f.dips(p.straightM, p.heightM); len(ds) > 0 {
			w.dips = append(w.dips, ds[rng.IntN(len(ds))])
		}
	}
}

// Widths walks the boundary and measures the detection width at each place.
func (w *World) Widths(atM []float64, rng *rand.Rand) []Width {
	p := w.m.profile()
	ln := w.c.relative(&w.in, w.faults, w.normal, atM, nil)
	out := make([]Width, len(atM))
	for i, x := range atM {
		shape := between(p.mapAt, p.mapLn, x)
		if len(p.baseAt) > 0 {
			shape = between(p.baseAt, p.baseLn, x)
		}
		r := w.reach * math.Exp(ln[i]+shape)
		for _, d := range w.dips {
			if x >= d.loM && x <= d.hiM {
				r *= d.factor
			}
		}
		out[i] = Width{AtM: x, Silent: true}
		if level := math.Sqrt(max(r*r-p.heightM*p.heightM, 0)); level > 0 {
			level += (widthRelSD*level + widthAbsSD) * rng.NormFloat64()
			if level > 0 {
				out[i] = Width{AtM: x, WidthM: level}
			}
		}
	}
	return out
}

// walk is a set of widths made ready to be judged.
type walk struct {
	p       *profile
	at      []float64
	lnReach []float64 // measured; not used where silent
	noise   []float64 // variance of lnReach
	silent  []bool
	shapes  [][]float64 // ln reach a healthy loop has at each place, by way of seeing its shape
	reachM  float64     // a typical measured reach
	lnMean  []float64
}

func (m *Model) newWalk(widths []Width) *walk {
	w := &walk{p: m.profile()}
	h := w.p.heightM
	var heard []float64
	widths = slices.Clone(widths)
	slices.SortStableFunc(widths, func(a, b Width) int { return cmp.Compare(a.AtM, b.AtM) })
	for _, x := range widths {
		if !x.Silent && !(x.WidthM >= 0 && !math.IsInf(x.WidthM, 0)) {
			continue
		}
		r := math.Hypot(x.WidthM, h)
		sd := (widthRelSD*x.WidthM + widthAbsSD) * max(x.WidthM, widthAbsSD) / (r * r)
		w.at = append(w.at, x.AtM)
		w.lnReach = append(w.lnReach, math.Log(r))
		w.noise = append(w.noise, sd*sd+0.03*0.03)
		w.silent = append(w.silent, x.Silent)
		if !x.Silent {
			heard = append(heard, r)
		}
	}
	straight := make([]float64, len(w.at))
	w.shapes = [][]float64{straight}
	if len(w.p.baseAt) > 0 {
		for i, x := range w.at {
			straight[i] = between(w.p.baseAt, w.p.baseLn, x)
		}
	} else if len(w.p.mapAt) > 0 {
		byMap := make([]float64, len(w.at))
		for i, x := range w.at {
			byMap[i] = between(w.p.mapAt, w.p.mapLn, x)
		}
		w.shapes = append(w.shapes, byMap)
	}
	w.reachM = w.p.straightM
	if len(heard) > 0 {
		slices.Sort(heard)
		w.reachM = max(heard[len(heard)/2], 1.05*h)
	}
	w.lnMean = make([]float64, len(w.at))
	return w
}

// judge is ln p of the widths where ln(reach) is the installation's own plus
// lnMean at each place. extra is variance the hypothesis adds to the common part.
func (w *walk) judge(lnMean []float64, extra float64) float64 {
	m0, v0 := w.p.lnReach, w.p.sd*w.p.sd+extra
	// The common part, with what does not fit weighed down.
	m, v := m0, v0
	for pass := range 3 {
		sw, sx := 1/v0, m0/v0
		for i, z := range w.lnReach {
			if w.silent[i] {
				continue
			}
			k := 1 / w.noise[i]
			d := z - lnMean[i] - m
			if pass == 0 {
				// Start from a weight that one bad place cannot pull far.
				k /= 1 + d*d/(w.noise[i]+v0)
			} else {
				good := math.Exp(-d*d*k/2) * math.Sqrt(k/(2*math.Pi)) * (1 - widthOutlier)
				k *= good / (good + widthOutlier*0.3)
			}
			sw += k
			sx += k * (z - lnMean[i])
		}
		m, v = sx/sw, 1/sw
	}
	l := -(m-m0)*(m-m0)/(2*v0) + 0.5*math.Log(v/v0)
	anySilent := false
	for i, z := range w.lnReach {
		if w.silent[i] {
			anySilent = true
			continue
		}
		d := z - lnMean[i] - m
		good := math.Exp(-d*d/(2*w.noise[i])) / math.Sqrt(2*math.Pi*w.noise[i])
		l += math.Log((1-widthOutlier)*good + widthOutlier*0.3)
	}
	if anySilent {
		// Three-point Gauss-Hermite over what is left of the common part.
		total := math.Inf(-1)
		for _, q := range [...]struct{ x, ln float64 }{{-1.7320508, math.Log(1. / 6)}, {0, math.Log(2. / 3)}, {1.7320508, math.Log(1. / 6)}} {
			at := m + q.x*math.Sqrt(v)
			s := q.ln
			limit := math.Log(math.Hypot(w.p.heightM, widthAbsSD))
			for i, silent := range w.silent {
				if silent {
					p := normalAbove((lnMean[i] + at - limit) / 0.12)
					s += math.Log((1-widthOutlier)*p + widthOutlier*0.3)
				}
			}
			total = logAdd(total, s)
		}
		l += total
	}
	return l
}

// fieldVariants lists the contacts of the circuit's faults for a walk; bare ends
// hardly matter at the working frequency and stay whole.
func fieldVariants(faults []Fault) []variant {
	out := []variant{{}}
	for i, f := range faults {
		ps := f.Kind.prospects()
		if ps == nil {
			continue
		}
		var next []variant
		for _, v := range out {
			for _, p := range ps {
				t, w := []LogNormal{p.c[0].LogNormal}, []float64{1}
				if f.Kind != Open && f.Kind != WeakSource {
					t, w = tile(p.c[0].LogNormal, 0.8)
				}
				for a := range t {
					n := v
					n.lnWeight += math.Log(p.weight * w[a])
					n.contacts[i] = [2]contactPrior{p.c[0].as(t[a]), p.c[1]}
					next = append(next, n)
				}
			}
		}
		out = next
	}
	return out
}

// WidthLogLikelihood is ln p(widths | faults) up to a constant that depends on
// the widths only. A healthy loop is judged half by the map's shape and half as
// a straight wire, so that a corner or a close run on the map can still be found
// at fault.
func (m *Model) WidthLogLikelihood(widths []Width, faults ...Fault) float64 {
	if len(widths) == 0 {
		return 0
	}
	if !m.possible(faults) {
		return math.Inf(-1)
	}
	j := m.judge()
	defer m.release(j)
	return m.judgeWalk(j, m.newWalk(widths), faults)
}

func (m *Model) judgeWalk(j *judge, w *walk, faults []Fault) float64 {
	circuit := seenFaults(faults)
	var field [][]dip
	for _, f := range faults {
		if d := f.dips(w.reachM, w.p.heightM); d != nil && len(field) < 2 {
			field = append(field, d)
		}
	}
	total := math.Inf(-1)
	var ln []float64
	for _, v := range fieldVariants(circuit) {
		in := m.prior.median
		extra := 0.0
		for i := range circuit {
			for k, c := range v.contacts[i] {
				in.contacts[i][k] = contact{value: c.Median, soil: c.soil}
			}
			if circuit[i].Kind == WeakSource {
				extra += v.contacts[i][0].SigmaLn * v.contacts[i][0].SigmaLn
			}
		}
		ln = j.c.relative(&in, circuit, w.p.healthyA, w.at, ln[:0])
		total = logAdd(total, v.lnWeight+w.judgeDips(ln, field, extra))
	}
	return total
}

// judgeDips averages over the shapes of the path and what the faults of the
// field may look like.
func (w *walk) judgeDips(ln []float64, field [][]dip, extra float64) float64 {
	total := math.Inf(-1)
	for _, shape := range w.shapes {
		l := math.Inf(-1)
		switch len(field) {
		case 0:
			for i := range ln {
				w.lnMean[i] = ln[i] + shape[i]
			}
			l = w.judge(w.lnMean, extra)
		case 1:
			for _, d := range field[0] {
				w.apply(ln, shape, d)
				l = logAdd(l, w.judge(w.lnMean, extra))
			}
			l -= math.Log(float64(len(field[0])))
		default:
			for _, d := range field[0] {
				for _, e := range field[1] {
					w.apply(ln, shape, d, e)
					l = logAdd(l, w.judge(w.lnMean, extra))
				}
			}
			l -= math.Log(float64(len(field[0]) * len(field[1])))
		}
		total = logAdd(total, l)
	}
	return total - math.Log(float64(len(w.shapes)))
}

func (w *walk) apply(ln, shape []float64, ds ...dip) {
	for i, x := range w.at {
		w.lnMean[i] = ln[i] + shape[i]
		for _, d := range ds {
			if x >= d.loM && x <= d.hiM {
				w.lnMean[i] += math.Log(d.factor)
			}
		}
	}
}

// SweepWidths is the WidthLogLikelihood of one fault of a kind at each place. A
// [Touch] is taken with its other place half a boundary away.
func (m *Model) SweepWidths(widths []Width, kind Kind, atM []float64) []float64 {
	out := make([]float64, len(atM))
	if len(widths) == 0 || len(atM) == 0 {
		return out
	}
	j := m.judge()
	defer m.release(j)
	w := m.newWalk(widths)
	switch {
	case kind.dipFactors(1, 0.3) != nil:
		m.sweepDips(j, w, kind, atM, out)
	case kind.placed():
		m.sweepCurrents(j, w, kind, atM, out)
	default:
		l := m.judgeWalk(j, w, []Fault{{Kind: kind}})
		for i := range out {
			out[i] = l
		}
	}
	return out
}

// sweepDips judges a fault of the field: all places that cover the same measured
// widths are alike.
func (m *Model) sweepDips(j *judge, w *walk, kind Kind, atM, out []float64) {
	ln := j.c.relative(&m.prior.median, nil, w.p.healthyA, w.at, nil)
	type cover struct {
		shape, length, factor int
		first, last           int
	}
	seen := map[cover]float64{}
	factors := kind.dipFactors(w.reachM, w.p.heightM)
	for i, x := range atM {
		total := math.Inf(-1)
		for s, shape := range w.shapes {
			for li, l := range dipLengths {
				first, last := -1, -1
				for k, p := range w.at {
					if p >= x-l/2 && p <= x+l/2 {
						if first < 0 {
							first = k
						}
						last = k
					}
				}
				if first < 0 {
					li = 0 // no width inside: one healthy value serves
				}
				for f, factor := range factors {
					key := cover{s, li, f, first, last}
					if first < 0 {
						key.factor = 0
					}
					v, ok := seen[key]
					if !ok {
						w.apply(ln, shape, dip{x - l/2, x + l/2, factor})
						v = w.judge(w.lnMean, 0)
						seen[key] = v
					}
					total = logAdd(total, v)
				}
			}
		}
		out[i] = total - math.Log(float64(len(w.shapes)*len(dipLengths)*len(factors)))
	}
}

// sweepCurrents judges a fault of the circuit: smooth between the measured
// places and the ends of the lead-in, a parabola on each such stretch.
func (m *Model) sweepCurrents(j *judge, w *walk, kind Kind, atM, out []float64) {
	l := &m.loop
	total := l.TotalM()
	cuts := append([]float64{0, l.LeadInM, total - l.LeadInM, total}, w.at...)
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	at := func(x float64) float64 {
		f := Fault{Kind: kind, AtM: x}
		if kind == Touch {
			f.ToM = math.Mod(x+l.BoundaryM/2, total)
		}
		if !m.possible([]Fault{f}) {
			return math.Inf(-1)
		}
		return m.judgeWalk(j, w, []Fault{f})
	}
	known := map[int][3]float64{}
	for i, x := range atM {
		k, found := slices.BinarySearch(cuts, x)
		if found || k == 0 || k == len(cuts) {
			out[i] = at(x)
			continue
		}
		lo, hi := cuts[k-1], cuts[k]
		v, ok := known[k]
		f := [3]float64{0.05, 0.5, 0.95}
		if !ok {
			for n := range f {
				v[n] = at(lo + f[n]*(hi-lo))
			}
			known[k] = v
		}
		t := (x - lo) / (hi - lo)
		if math.IsInf(v[0], -1) || math.IsInf(v[1], -1) || math.IsInf(v[2], -1) {
			out[i] = math.Inf(-1)
			continue
		}
		for n := range f {
			b := 1.0
			for k := range f {
				if k != n {
					b *= (t - f[k]) / (f[n] - f[k])
				}
			}
			out[i] += b * v[n]
		}
	}
}
