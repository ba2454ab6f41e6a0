package faultmodel

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// What is not known of any installation beforehand. Judgement, but where said.
const (
	rodPerM      = 2.9  // ohms per ohm metre: a spade or rod 0.25 m deep, by RodOhm
	deepRodPerM  = 0.4  // an arrester's 8 ft rod, likewise
	rodSigmaLn   = 0.5  // how well it is driven, and how wet
	rodEMFSD     = 0.25 // V: steel against copper in soil; a few tenths of a volt in corrosion tables, from memory
	copperEMFSD  = 0.06 // V: copper against copper
	leadsSigmaLn = 0.3  // of the resistance of the meter's leads

	gelOhm, gelSigmaLn   = 1e9, 1.5  // a bare end in gel or in a dry splice
	wetPerM, wetSigmaLn  = 200, 1.3  // a cut end, 2 to 10 mm bare: BareWireOhm gives 70 to 400 ohms per ohm metre
	bareSpotPerM         = 60        // a bare spot 5 to 50 mm long, likewise
	bareSpotSigmaLn      = 1.2       //
	spliceOhm, spliceSig = 15, 2.2   // a splice bad enough to notice
	touchOhm, touchSig   = 0.3, 1.3  // metal to metal
	shortOhm, shortSig   = 0.5, 1.6  // through crushed insulation
	gapOhm, gapSig       = 1.0, 1.0  // an arrester element failed short
	goneOhm, goneSig     = 1e10, 0.5 // an arrester element failed open
	looseOhm, looseSig   = 1e3, 3.0  // a loose terminal
	weakFactor, weakSig  = 0.45, 0.4 // drive of a weak source against a good one
	noVolts, noVoltsSig  = 2e-3, 1.5 // of the adapter's volts, with no supply

	// Both ends of a break are usually in the same surroundings.
	bothWet, bothGel = 0.5, 0.26

	// What no reading shares: the wire is not as uniform as the model.
	ohmModelSD, faradModelSD, voltModelSD, ampereModelSD = 0.003, 0.012, 0.03, 0.05
	seasonFaradSD                                        = 0.05 // between a baseline and today
)

// Spreads of ln(contact) over which a reading may be taken as straight in it,
// with the correction predict makes. Wider unknowns are mixtures of such tiles.
// Where one contact is all there is the tiles are fine: a small resistance in
// series with a known one has a hard lower bound that a wide tile would blur. The
// four ends and mixtures of a break make do with coarser ones, pairs of faults
// with the coarsest.
const (
	tileFine   = 0.25
	tileEnds   = 1.0
	tileCoarse = 1.1
)

// tile splits a lognormal into a mixture of narrower ones. Normals of standard
// deviation s spaced 2s apart under a normal envelope reproduce the wide normal
// to exp(-pi^2/2) = 0.7 %; tiles of less than 0.1 % are left out.
func tile(q LogNormal, s float64) (parts []LogNormal, weights []float64) {
	if q.SigmaLn <= s*1.2 {
		return []LogNormal{q}, []float64{1}
	}
	envelope := math.Sqrt(q.SigmaLn*q.SigmaLn - s*s)
	n := int(3 * envelope / (2 * s))
	var sum float64
	for k := -n; k <= n; k++ {
		x := float64(k) * 2 * s
		w := math.Exp(-x * x / (2 * envelope * envelope))
		parts = append(parts, LogNormal{q.Median * math.Exp(x), s})
		weights = append(weights, w)
		sum += w
	}
	keep := 0
	var kept float64
	for i, w := range weights {
		if w/sum > 0.001 {
			parts[keep], weights[keep] = parts[i], w
			kept += w
			keep++
		}
	}
	parts, weights = parts[:keep], weights[:keep]
	for i := range weights {
		weights[i] /= kept
	}
	return parts, weights
}

// contactPrior is one of the contacts of a fault: a mixture of what it may be.
type contactPrior struct {
	LogNormal
	soil bool
	step float64 // of a variant: the factor between its median and its outer points
}

// as is the contact narrowed to one tile.
func (c contactPrior) as(t LogNormal) contactPrior {
	return contactPrior{t, c.soil, math.Exp(sigmaStep * t.SigmaLn)}
}

// variant is one way the unknown contacts of some faults may be, narrow enough
// to be linear in.
type variant struct {
	lnWeight float64
	contacts [maxFaults][2]contactPrior
}

// prospect is one alternative for both contacts of one fault.
type prospect struct {
	weight float64
	c      [2]contactPrior
}

// prospects lists what the contacts of a fault of a kind may be, untiled.
func (k Kind) prospects() []prospect {
	one := func(m, s float64, soil bool) []prospect {
		return []prospect{{1, [2]contactPrior{{LogNormal: LogNormal{m, s}, soil: soil}}}}
	}
	switch k {
	case Open:
		gel := contactPrior{LogNormal: LogNormal{gelOhm, gelSigmaLn}}
		wet := contactPrior{LogNormal: LogNormal{wetPerM, wetSigmaLn}, soil: true}
		mixed := (1 - bothWet - bothGel) / 2
		return []prospect{
			{bothWet, [2]contactPrior{wet, wet}}, {bothGel, [2]contactPrior{gel, gel}},
			{mixed, [2]contactPrior{wet, gel}}, {mixed, [2]contactPrior{gel, wet}},
		}
	case Series:
		return one(spliceOhm, spliceSig, false)
	case Leak:
		return one(bareSpotPerM, bareSpotSigmaLn, true)
	case Touch:
		return one(touchOhm, touchSig, false)
	case LeadShort:
		return one(shortOhm, shortSig, false)
	case ArresterShort:
		g := contactPrior{LogNormal: LogNormal{gapOhm, gapSig}}
		return []prospect{{1, [2]contactPrior{g, g}}}
	case ArresterOpen:
		return one(goneOhm, goneSig, false)
	case LooseTerminal:
		return one(looseOhm, looseSig, false)
	case WeakSource:
		return one(weakFactor, weakSig, false)
	case NoSupply:
		return one(noVolts, noVoltsSig, false)
	case OutsideRating: // another 20 to 200 % in it, or a good part out of it
		p := append(one(1.8, 0.4, false), one(0.6, 0.25, false)...)
		p[0].weight, p[1].weight = 0.6, 0.4
		return p
	}
	return nil
}

// seen says whether any circuit is changed by a fault of the kind.
func (k Kind) seen() bool {
	switch k {
	case Open, Series, Leak, Touch, LeadShort, ArresterShort, ArresterOpen, LooseTerminal,
		WeakSource, NoSource, NoSupply, OutsideRating:
		return true
	}
	return false
}

// placed says whether a reading depends on where a fault of the kind is.
func (k Kind) placed() bool {
	switch k {
	case Open, Series, Leak, Touch, LeadShort:
		return true
	}
	return false
}

// variants is the product of what the contacts of several faults may be, tiled.
// An end that hangs between two breaks is not tiled: no instrument reaches it.
func variants(faults []Fault) []variant {
	out := []variant{{}}
	s := tileFine
	if len(faults) > 1 {
		s = tileCoarse
	} else if len(faults) == 1 && len(faults[0].Kind.prospects()) > 1 || len(faults) == 1 && faults[0].Kind == ArresterShort {
		s = tileEnds
	}
	for i, f := range faults {
		ps := f.Kind.prospects()
		if ps == nil {
			continue
		}
		inner := [2]bool{innerEnd(faults, i, 0), innerEnd(faults, i, 1)}
		ps = forget(ps, inner)
		var next []variant
		for _, v := range out {
			for _, p := range ps {
				t0, w0 := f.tiles(p.c[0], s, inner[0])
				t1, w1 := f.tiles(p.c[1], s, inner[1])
				for a := range t0 {
					for b := range t1 {
						n := v
						n.lnWeight += math.Log(p.weight * w0[a] * w1[b])
						n.contacts[i] = [2]contactPrior{p.c[0].as(t0[a]), p.c[1].as(t1[b])}
						next = append(next, n)
					}
				}
			}
		}
		out = next
	}
	for i, f := range faults {
		if f.Kind == OutsideRating { // by its scale, which changes the wire itself
			slices.SortStableFunc(out, func(a, b variant) int {
				return cmp.Compare(a.contacts[i][0].Median, b.contacts[i][0].Median)
			})
		}
	}
	return out
}

// forget joins prospects that differ only in an end no instrument reaches.
func forget(ps []prospect, inner [2]bool) []prospect {
	if !inner[0] && !inner[1] {
		return ps
	}
	var out []prospect
next:
	for _, p := range ps {
		for k := range out {
			if (inner[0] || out[k].c[0] == p.c[0]) && (inner[1] || out[k].c[1] == p.c[1]) {
				out[k].weight += p.weight
				continue next
			}
		}
		out = append(out, p)
	}
	return out
}

// tiles splits what a contact of f may be. A bare end that no instrument
// reaches, or one in gel that every instrument finds open, stays whole.
func (f Fault) tiles(c contactPrior, s float64, inner bool) ([]LogNormal, []float64) {
	if f.Kind == Open && (inner || !c.soil) {
		return []LogNormal{c.LogNormal}, []float64{1}
	}
	return tile(c.LogNormal, s)
}

// innerEnd says whether the left (0) or right (1) end of break i faces another break.
func innerEnd(faults []Fault, i, side int) bool {
	for j, f := range faults {
		if j == i || f.Kind != Open || faults[i].Kind != Open {
			continue
		}
		if (side == 0) == (f.AtM < faults[i].AtM || (f.AtM == faults[i].AtM && j < i)) {
			return true
		}
	}
	return false
}

// prior is what is known of the unknowns that readings share.
type prior struct {
	median installation
	sd     [sharedTags]float64 // of ln(unknown); volts for electrode potentials
	// factor turns independent standard normals into the shared unknowns; its
	// square is their covariance. Diagonal but after a baseline.
	factor   [sharedTags][sharedTags]float64
	loadings []loading // the factor's entries that are not nought
}

// loading is by how much one shared unknown follows one standard normal.
type loading struct {
	unknown, normal tag
	factor          float64
}

// list fills in the loadings.
func (p *prior) list() {
	p.loadings = p.loadings[:0]
	for t := noTag + 1; t < sharedTags; t++ {
		for k, f := range p.factor[t] {
			if f != 0 {
				p.loadings = append(p.loadings, loading{t, tag(k), f})
			}
		}
	}
}

func newPrior(l *Loop, m *Meters) prior {
	var p prior
	t := TemperatureFactor(l.AlphaPerK, l.TemperatureC)
	p.median = installation{
		loop:    l,
		ohmPerM: l.OhmPerM.Median * t, boundary: 1, lead: 1,
		faradPerM: l.FaradPerM.Median, leadFarad: l.LeadFaradPerM.Median, leadMutual: l.LeadMutualFaradPerM.Median,
		insulationOhmM: l.InsulationOhmM.Median, soilOhmM: l.SoilOhmM.Median,
		rod: rodPerM, gainOhm: 1, gainFarad: 1, gainVolt: 1, gainAmpere: 1,
		meterLeadsOhm: m.Ohms.LeadsOhm,
		sourceVolts:   l.SourceVolts.Median, sourceOhm: l.SourceOhm.Median, adapterVolts: l.AdapterVolts.Median,
	}
	if l.Arrester {
		p.median.rod = deepRodPerM
	}
	p.sd = [sharedTags]float64{
		tagOhm:      math.Hypot(l.OhmPerM.SigmaLn, l.AlphaPerK*l.TemperatureSD/t),
		tagBoundary: l.LengthRelSD, tagLead: l.LengthRelSD,
		tagFarad: l.FaradPerM.SigmaLn, tagLeadFarad: l.LeadFaradPerM.SigmaLn, tagMutual: l.LeadMutualFaradPerM.SigmaLn,
		tagInsulation: l.InsulationOhmM.SigmaLn, tagSoil: l.SoilOhmM.SigmaLn,
		tagRod: rodSigmaLn, tagRodEMF: rodEMFSD,
		tagGainOhm: m.Ohms.gainSD(), tagGainFarad: m.Capacitance.gainSD(),
		tagGainVolt: m.Volts.gainSD(), tagGainAmpere: m.Amperes.gainSD(),
		tagMeterLeads:  leadsSigmaLn,
		tagSourceVolts: l.SourceVolts.SigmaLn, tagSourceOhm: l.SourceOhm.SigmaLn, tagAdapter: l.AdapterVolts.SigmaLn,
	}
	for i, s := range p.sd {
		p.factor[i][i] = s
	}
	return p
}

// unknown points at the value a shared tag scales.
func (in *installation) unknown(t tag) *float64 {
	switch t {
	case tagOhm:
		return &in.ohmPerM
	case tagBoundary:
		return &in.boundary
	case tagLead:
		return &in.lead
	case tagFarad:
		return &in.faradPerM
	case tagLeadFarad:
		return &in.leadFarad
	case tagMutual:
		return &in.leadMutual
	case tagInsulation:
		return &in.insulationOhmM
	case tagSoil:
		return &in.soilOhmM
	case tagRod:
		return &in.rod
	case tagGainOhm:
		return &in.gainOhm
	case tagGainFarad:
		return &in.gainFarad
	case tagGainVolt:
		return &in.gainVolt
	case tagGainAmpere:
		return &in.gainAmpere
	case tagMeterLeads:
		return &in.meterLeadsOhm
	case tagSourceVolts:
		return &in.sourceVolts
	case tagSourceOhm:
		return &in.sourceOhm
	case tagAdapter:
		return &in.adapterVolts
	case tagRodEMF:
		return &in.rodEMFV
	}
	return nil
}

// move shifts a shared unknown by d in the scale of its tag.
func (in *installation) move(t tag, d float64) {
	v := in.unknown(t)
	if t == tagRodEMF {
		*v += d
		return
	}
	*v *= math.Exp(d)
}

// learn conditions the shared unknowns on readings taken while all was well.
// The wire keeps its length, conductor and insulation; temperature, soil, rod
// and meter may all have been others then. A Gaussian step, repeated about where
// it led, since a gauge nobody knows may be far from where it started.
func (p *prior) learn(l *Loop, meters *Meters, baseline []Reading) {
	type record struct {
		r        Reading
		resid    float64
		slope    [sharedTags]float64
		variance float64
	}
	var rows []record
	for _, r := range baseline {
		if r.usable() && !r.OverRange {
			rows = append(rows, record{r: r})
		}
	}
	n := len(rows)
	if n == 0 {
		return
	}
	// Covariances: of the unknowns as they were then, and of those with today's.
	var then, kept [sharedTags]float64
	for t, s := range p.sd {
		then[t] = s * s
	}
	for _, t := range []tag{tagBoundary, tagLead, tagFarad, tagLeadFarad, tagMutual, tagInsulation, tagSourceVolts, tagSourceOhm, tagAdapter} {
		kept[t] = then[t]
	}
	kept[tagOhm] = l.OhmPerM.SigmaLn * l.OhmPerM.SigmaLn

	const passes = 4
	var past [sharedTags]float64 // where the unknowns of then are thought to have been
	var gain, cross *mat.Dense
	var c circuit
	var o outcome
	for range passes {
		in := p.median
		for t := noTag + 1; t < sharedTags; t++ {
			in.move(t, past[t])
		}
		s := mat.NewSymDense(n, nil)
		cross = mat.NewDense(int(sharedTags), n, nil)
		for i := range rows {
			w := &rows[i]
			c.measure(&in, nil, w.r.Quantity, w.r.AtM, meters.capHz(), &o)
			fn := w.r.Quantity.function()
			q := fn.shift(meters)
			w.resid = math.Log((w.r.Value + q) / (o.value + q))
			for t := range w.slope {
				w.slope[t] = o.slope[t] * o.value / (o.value + q)
				w.resid += w.slope[t] * past[t]
			}
			w.variance = fn.noise(meters, w.r.Value)
			if fn == farads {
				w.variance += seasonFaradSD * seasonFaradSD
			}
		}
		for i := range rows {
			for j := i; j < n; j++ {
				var v float64
				for t := range then {
					v += rows[i].slope[t] * rows[j].slope[t] * then[t]
				}
				if i == j {
					v += rows[i].variance
				}
				s.SetSym(i, j, v)
			}
			for t := range kept {
				cross.Set(t, i, kept[t]*rows[i].slope[t])
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(s) {
			return
		}
		gain = new(mat.Dense) // S^-1 cross^T
		if err := chol.SolveTo(gain, cross.T()); err != nil {
			return
		}
		resid := mat.NewVecDense(n, nil)
		for i := range rows {
			resid.SetVec(i, rows[i].resid)
		}
		var solved mat.VecDense
		if err := chol.SolveVecTo(&solved, resid); err != nil {
			return
		}
		for t := range past {
			past[t] = 0
			for i := range rows {
				past[t] += then[t] * rows[i].slope[t] * solved.AtVec(i)
			}
		}
	}
	cov := mat.NewSymDense(int(sharedTags), nil)
	for a := range int(sharedTags) {
		var shift float64
		for i := range rows {
			shift += gain.At(i, a) * rows[i].resid
		}
		if a != int(noTag) {
			p.median.move(tag(a), shift)
		}
		for b := a; b < int(sharedTags); b++ {
			var v float64
			if a == b {
				v = then[a]
			}
			for i := range rows {
				v -= cross.At(a, i) * gain.At(i, b)
			}
			cov.SetSym(a, b, v)
		}
	}
	// The square root of the covariance: V sqrt(D) V^T, the one that is symmetric, so
	// that the last digits of the readings do not turn it round.
	var eig mat.EigenSym
	if !eig.Factorize(cov, true) {
		return
	}
	values := eig.Values(nil)
	var vec mat.Dense
	eig.VectorsTo(&vec)
	for a := range int(sharedTags) {
		for b := range int(sharedTags) {
			var f float64
			for k, d := range values {
				f += vec.At(a, k) * math.Sqrt(max(0, d)) * vec.At(b, k)
			}
			if math.Abs(f) < 1e-9 { // rounding
				f = 0
			}
			p.factor[a][b] = f
		}
		p.sd[a] = math.Sqrt(max(0, cov.At(a, a)))
	}
}

// seenFaults leaves out what no circuit notices.
func seenFaults(faults []Fault) []Fault {
	out := slices.DeleteFunc(slices.Clone(faults), func(f Fault) bool { return !f.Kind.seen() })
	if len(out) > maxFaults {
		out = out[:maxFaults]
	}
	return out
}
