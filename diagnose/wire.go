package diagnose

import (
	"fmt"
	"math"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/yard"
	"loopfault/faultmodel"
	"loopfault/kb"
	"loopfault/locate"
)

// wire is what the engine knows of one yard's conductor before any answer: the
// axis, the physics, the tap planner's site and where each cause is likely.
type wire struct {
	yard    *yard.Map
	axis    locate.Axis
	mids    []float64
	model   *faultmodel.Model
	site    locate.Site
	planner *locate.Planner  // at the role's costs
	prior   []*locate.Belief // by cause; nil for a cause without a position
	facts   map[string]bool
	memo    *memo
}

// newWire prepares a yard. A nil yard is one of which nothing is known.
func (e *Engine) newWire(y *yard.Map, m faultmodel.Meters, role Role) (*wire, error) {
	if m == (faultmodel.Meters{}) {
		m = faultmodel.DefaultMeters()
	}
	model, err := faultmodel.NewModel(e.loop(y), m)
	if err != nil {
		return nil, fmt.Errorf("the yard cannot be modelled: %w", err)
	}
	w := &wire{yard: y, model: model, facts: e.facts(y), memo: newMemo()}
	w.axis = locate.NewAxis(y.TotalM(), quantity.MPerFt)
	w.mids = w.axis.Mids()
	w.site = site(y)
	w.planner = locate.NewPlanner(w.site, e.costs(role))
	for i := range e.kb.Causes {
		w.prior = append(w.prior, w.placePrior(&e.kb.Causes[i]))
	}
	return w, nil
}

// loop turns the as-built map into what physics wants; what is unknown stays a
// distribution.
func (e *Engine) loop(y *yard.Map) faultmodel.Loop {
	leadIn, boundary := y.LeadInLength(), y.BoundaryLength()
	l := faultmodel.DefaultLoop(leadIn.Value, boundary.Value)
	l.LengthRelSD = math.Hypot(boundary.SD, 2*leadIn.SD) / y.TotalM()
	l.OhmPerM, l.AlphaPerK = e.ohmPerM(y)
	l.FaradPerM = e.faradPerM(y)
	if y == nil {
		return l
	}
	if y.Soil.TemperatureC != nil {
		l.TemperatureC, l.TemperatureSD = *y.Soil.TemperatureC, soilTemperatureSDK
	}
	if rho, ok := soilOhmM[y.Soil.Moisture]; ok {
		l.SoilOhmM = faultmodel.LogNormal{Median: rho, SigmaLn: soilSpreadLn}
	}
	if y.LeadIn.Twisted != nil {
		l.Twisted = *y.LeadIn.Twisted
	}
	switch y.Transmitter.Earthed {
	case "a":
		l.EarthedTerminal = faultmodel.EndA
	case "b":
		l.EarthedTerminal = faultmodel.EndB
	}
	l.Arrester = y.Transmitter.Arrester != nil && *y.Transmitter.Arrester
	for _, p := range y.Loop.Path {
		l.Path = append(l.Path, faultmodel.Point(p))
	}
	if y.Baseline != nil {
		l.Baseline, l.BaselineWidth = baseline(y.Baseline)
	}
	return l
}

// soilOhmM is the resistivity of soil by how it feels. IEEE Std 80 table 8, from
// memory: wet organic 10, moist 100, dry 1000 ohm m. Makes of soil differ by far
// more than that, see Peters (Bureau of Standards Technologic Paper 108, 1918):
// loam and clay 3.4 to 163.
var soilOhmM = map[string]float64{"wet": 30, "moist": 100, "dry": 1000}

const soilSpreadLn = 0.8

// soilTemperatureSDK is how far a noted soil temperature may be from the wire's: judgement.
const soilTemperatureSDK = 3

// ohmPerM mixes the gauges and materials that fit what is known into one
// log-normal, ohm per metre at 20 C.
func (e *Engine) ohmPerM(y *yard.Map) (faultmodel.LogNormal, float64) {
	type wireType struct{ ln, share float64 }
	var types []wireType
	var alpha, total, spread float64
	for _, m := range e.kb.Materials {
		share := m.Share.Value
		if y != nil && y.Wire.Material != "" {
			share = 0
			if y.Wire.Material == m.ID {
				share = 1
			}
		}
		if share == 0 {
			continue
		}
		stranded := y != nil && y.Wire.Strands == "stranded"
		each := func(diameterM, s float64) {
			metal := faultmodel.Material{IACSFraction: m.Conductivity.Value, AlphaPerK: m.AlphaPerK.Value}
			c := faultmodel.Conductor{DiameterM: diameterM, Material: metal, Stranded: stranded}
			types = append(types, wireType{math.Log(c.OhmPerM(20)), share * s})
			alpha += share * s * m.AlphaPerK.Value
			spread += share * s * m.SpreadLn.Value * m.SpreadLn.Value
			total += share * s
		}
		if d, ok := diameterM(y); ok {
			each(d, 1)
			continue
		}
		for _, g := range e.kb.Settings.GaugeShares {
			each(faultmodel.GaugeDiameterM(g.AWG), g.Share)
		}
	}
	var mean, square float64
	for _, t := range types {
		mean += t.share / total * t.ln
	}
	for _, t := range types {
		square += t.share / total * (t.ln - mean) * (t.ln - mean)
	}
	return faultmodel.LogNormal{Median: math.Exp(mean), SigmaLn: math.Sqrt(square + spread/total)}, alpha / total
}

// diameterM is the metal's diameter where the gauge is known.
func diameterM(y *yard.Map) (float64, bool) {
	switch {
	case y == nil || !y.Wire.Gauge.Known():
		return 0, false
	case y.Wire.Gauge.AWG != 0:
		return faultmodel.GaugeDiameterM(float64(y.Wire.Gauge.AWG)), true
	}
	return faultmodel.AreaDiameterM(y.Wire.Gauge.MM2 * 1e-6), true
}

// faradPerM is the capacitance of the boundary to soil over the insulations met.
func (e *Engine) faradPerM(y *yard.Map) faultmodel.LogNormal {
	metalM, ok := diameterM(y)
	if !ok {
		metalM = faultmodel.GaugeDiameterM(20) // the common gauge of kits; insulation matters more
	}
	var mean, square, total float64
	for _, i := range e.kb.Insulation {
		ln := math.Log(faultmodel.CoaxialFaradPerM(i.Permittivity.Value, metalM, metalM+2e-3*i.ThicknessMM.Value))
		mean += i.Share.Value * ln
		square += i.Share.Value * ln * ln
		total += i.Share.Value
	}
	mean /= total
	return faultmodel.LogNormal{
		Median:  math.Exp(mean),
		SigmaLn: math.Sqrt(max(0, square/total-mean*mean) + soilContactSpreadLn*soilContactSpreadLn),
	}
}

// soilContactSpreadLn is how much the soil's grip on the insulation varies from
// yard to yard beyond the insulation itself: judgement.
const soilContactSpreadLn = 0.2

func baseline(b *yard.Baseline) (readings []faultmodel.Reading, widths []faultmodel.Width) {
	for _, f := range b.Fields() {
		if r := *f.Reading; r != nil {
			readings = append(readings, faultmodel.Reading{Quantity: faultmodel.Quantity(f.Quantity), Value: r.Value, OverRange: r.Over})
		}
	}
	for _, w := range b.Widths {
		widths = append(widths, faultmodel.Width{AtM: w.AtM, WidthM: w.WidthM})
	}
	return readings, widths
}

// site is the yard as the person with the spade meets it.
func site(y *yard.Map) locate.Site {
	s := locate.Site{LengthM: y.TotalM(), LeadInM: y.LeadInM()}
	if y == nil {
		return s
	}
	if y.HasPath() {
		s.ChordM = func(from, to float64) float64 {
			if d, ok := y.ChordM(from, to); ok {
				return d
			}
			return math.Abs(to - from)
		}
	}
	surface := map[yard.FeatureKind]string{yard.Driveway: "driveway", yard.FootPath: "path", yard.Bed: "bed", yard.Surface: "surface"}
	for _, f := range y.Features {
		switch {
		case f.Kind == yard.Splice:
			s.SplicesM = append(s.SplicesM, f.FromM)
		case f.Kind == yard.NoDig || f.Kind == yard.Utility:
			s.Zones = append(s.Zones, locate.Zone{FromM: f.FromM, ToM: f.ToM, NoDig: true})
		case surface[f.Kind] != "":
			s.Zones = append(s.Zones, locate.Zone{FromM: f.FromM, ToM: f.ToM, Surface: surface[f.Kind]})
		}
	}
	return s
}

// costs are the planner's figures from the knowledge base, for a role.
func (e *Engine) costs(role Role) locate.Costs {
	s := &e.kb.Settings
	c := locate.Costs{
		PerMinute:         e.perMinute(role),
		WalkMinutesPerM:   s.WalkMinutesPerFt.Value / quantity.MPerFt,
		TapMinutes:        s.TapMinutes.Value,
		OpenSpliceMinutes: s.OpenSpliceMinutes.Value,
		ReadMinutes:       s.ReadMinutes.Value,
		LayMinutesPerM:    s.LayMinutesPerFt.Value / quantity.MPerFt,
		DigMinutes:        map[string]float64{},
		JoinMinutes:       s.JoinMinutes.Value,
		SpliceLater:       s.SpliceLater.Value,
		JoinsPerTap:       1,
		ReplaceMinutes:    s.ReplaceMinutes.Value,
		TrenchMinutesPerM: s.TrenchMinutesPerFt.Value / quantity.MPerFt,
		TrenchFactor:      map[string]float64{},
		OpenMinutesPerM:   s.OpenMinutesPerFt.Value / quantity.MPerFt,
		OpenMaxM:          s.OpenMaxFt.Value * quantity.MPerFt,
		CheckMinutes:      s.TestMinutes.Value,
		TapError:          s.TapError.Value,
		PersistentError:   s.PersistentError.Value,
	}
	if splice := e.kb.Item(SpliceItem); splice != nil {
		c.JoinPrice = splice.Price.Value
	}
	if wire := e.kb.Item("boundary-wire"); wire != nil {
		c.WirePerM = wire.Price.Value / quantity.MPerFt
	}
	for _, f := range s.Surfaces {
		c.DigMinutes[f.ID], c.TrenchFactor[f.ID] = f.DigMinutes.Value, f.PerFtFactor.Value
	}
	return c
}

// facts are the facts of the yard that the knowledge base may speak of in a prior.
func (e *Engine) facts(y *yard.Map) map[string]bool {
	f := map[string]bool{"no-map": y == nil}
	if y == nil {
		return f
	}
	has := func(k yard.FeatureKind) bool { return len(y.FeaturesOf(k)) > 0 }
	f["has-splices"] = has(yard.Splice)
	f["no-known-splices"] = !has(yard.Splice)
	f["crosses-driveway"] = has(yard.Driveway) || has(yard.FootPath)
	f["bordered"] = has(yard.Edge) || has(yard.Bed)
	f["reversed-runs"] = has(yard.OwnReturn)
	f["deep-soil-added"] = has(yard.SoilAdded)
	f["metal"] = has(yard.Metal) || has(yard.Fence)
	f["utility"] = has(yard.Utility)
	f["gate"] = has(yard.Gate)
	f["earthed"] = y.Transmitter.Earthed == "a" || y.Transmitter.Earthed == "b"
	if y.Transmitter.Arrester != nil {
		f["arrester"], f["no-arrester"] = *y.Transmitter.Arrester, !*y.Transmitter.Arrester
	}
	f["age-known"] = y.InstalledYear > 0 && e.options.Year > 0
	if f["age-known"] {
		age := e.options.Year - y.InstalledYear
		f["old"], f["new"] = age > oldYears, age < newYears
	}
	return f
}

// A loop is old when its first splices have had time to fail and new while the
// installer's mistakes still show; the bounds are those of the answers to
// system-age. Between them the age says nothing.
const (
	oldYears = 10
	newYears = 3
)

// placePrior is where a cause is likely before any answer: the mixture of the
// knowledge base over the yard's features. nil for a cause without a position.
func (w *wire) placePrior(c *kb.Cause) *locate.Belief {
	if len(c.Place) == 0 {
		return nil
	}
	total, leadIn := w.axis.LengthM, w.yard.LeadInM()
	var parts []locate.Part
	for _, p := range c.Place {
		reach := p.ReachFt * quantity.MPerFt
		switch p.On {
		case "anywhere":
			parts = append(parts, locate.Part{Weight: p.Share, FromM: 0, ToM: total})
		case "boundary":
			parts = append(parts, locate.Part{Weight: p.Share, FromM: leadIn, ToM: total - leadIn})
		case "lead-in":
			parts = append(parts, locate.Part{Weight: p.Share / 2, FromM: 0, ToM: leadIn},
				locate.Part{Weight: p.Share / 2, FromM: total - leadIn, ToM: total})
		default:
			spots := w.spots(p.On)
			for _, f := range spots {
				parts = append(parts, locate.Part{Weight: p.Share / float64(len(spots)), FromM: f.FromM - reach, ToM: f.ToM + reach, SpreadM: reach / 2})
			}
		}
	}
	if len(parts) == 0 { // the yard has none of the features: the whole wire
		parts = []locate.Part{{Weight: 1, FromM: leadIn, ToM: total - leadIn}}
	}
	b := locate.Mixture(w.axis, parts...)
	return &b
}

// spots are the stretches of the yard that a place of the knowledge base names.
func (w *wire) spots(on string) []yard.Feature {
	if w.yard == nil {
		return nil
	}
	if on == "corner" {
		var out []yard.Feature
		for _, c := range w.yard.Corners(sharpTurnDeg) {
			if c.Reentrant {
				out = append(out, yard.Feature{FromM: c.AtM, ToM: c.AtM})
			}
		}
		return out
	}
	return w.yard.FeaturesOf(yard.FeatureKind(on))
}

// sharpTurnDeg is from where a corner is called sharp: common practice has corners rounded.
const sharpTurnDeg = 60
