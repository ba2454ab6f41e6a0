package locate

import (
	"math"

	"loopfault/faultmodel"
)

// End names a terminal of the loop, or the side of a tap that leads to it.
type End string

// The two ends of the conductor.
const (
	EndA End = "a"
	EndB End = "b"
)

// Side is what a tap showed of the wire towards one terminal.
type Side string

// What a side can show; the zero value means the same as SideUnknown.
const (
	SideUnknown Side = "unknown"
	Intact      Side = "intact"
	Broken      Side = "broken"
)

// Evidence is anything that says where along the wire a fault is. Both methods
// give ln P(evidence | the faults); a constant that depends neither on kind nor
// place may be left out.
type Evidence interface {
	At(kind faultmodel.Kind, xM float64) float64
	AtPair(kind1 faultmodel.Kind, x1M float64, kind2 faultmodel.Kind, x2M float64) float64
}

// Sweeper is evidence that judges many places of one fault at once.
type Sweeper interface {
	Sweep(kind faultmodel.Kind, xM []float64) []float64
}

// PairSweeper is evidence that judges all pairs of places at once, the fault of
// kind1 at xM[i] and that of kind2 at xM[j] in [i][j].
type PairSweeper interface {
	SweepPairs(kind1, kind2 faultmodel.Kind, xM []float64) [][]float64
}

// breaks says whether a fault of this kind stops a continuity test.
func breaks(k faultmodel.Kind) bool { return k == faultmodel.Open }

// Reads is one reading of a tap both ways.
type Reads struct{ A, B Side }

// Tap is the wire opened at a spot and tested towards both terminals. One fault
// shows one side broken; both broken are two breaks or an error, both intact
// an error or a fault that is away just now.
//
// The error model: each reading of a side is wrong with ErrorProb, independently;
// besides, the contact on a side is bad with PersistentProb and then shows the
// opposite of the truth (before reading errors) each time, for as long as the
// spot is open. Again therefore holds the repeats at the same spot: as separate
// taps they would count as separate contacts. [GroupTaps] brings together what was logged apart.
type Tap struct {
	AtM            float64
	A, B           Side
	Again          []Reads // further readings at this spot
	ErrorProb      float64
	PersistentProb float64
	// PitM is set where an old splice was opened: a break within it either side is
	// laid bare, and mostly out of the way of the test, so that both sides read intact.
	PitM float64

	// Readings are the ohms read on this tap, per side and to earth, judged by
	// Model: they find a resistive splice or a leak, which continuity cannot.
	// Readings that share an unknown with others (ohms per metre, soil) are
	// better handed to the model all at once, and left out here.
	Readings []faultmodel.Reading
	Model    *faultmodel.Model
}

// At is ln P(what the tap showed | one fault of kind at xM).
func (t Tap) At(kind faultmodel.Kind, xM float64) float64 {
	l := t.continuity(kind, xM)
	if t.Model != nil && len(t.Readings) > 0 {
		l += t.Model.LogLikelihood(t.readings(), faultmodel.Fault{Kind: kind, AtM: xM})
	}
	return l
}

// AtPair is ln P(what the tap showed | two faults).
func (t Tap) AtPair(k1 faultmodel.Kind, x1M float64, k2 faultmodel.Kind, x2M float64) float64 {
	l := t.through(breaks(k1), x1M, breaks(k2), x2M)
	if t.Model != nil && len(t.Readings) > 0 {
		l += t.Model.LogLikelihood(t.readings(), faultmodel.Fault{Kind: k1, AtM: x1M}, faultmodel.Fault{Kind: k2, AtM: x2M})
	}
	return l
}

// Sweep is At at many places at once, which the model does much faster.
func (t Tap) Sweep(kind faultmodel.Kind, xM []float64) []float64 {
	l := make([]float64, len(xM))
	if t.Model != nil && len(t.Readings) > 0 {
		copy(l, t.Model.Sweep(t.readings(), kind, xM))
	}
	for i, x := range xM {
		l[i] += t.continuity(kind, x)
	}
	return l
}

func (t Tap) continuity(kind faultmodel.Kind, xM float64) float64 {
	return t.through(breaks(kind), xM, false, 0)
}

// laidBare is the chance that opening a splice takes its own break out of the way
// of the test; else somebody clipped on outside it. Judgement.
const laidBare = 0.8

// through is ln P(what the sides showed | breaks at x1M and x2M, where there are).
func (t Tap) through(b1 bool, x1M float64, b2 bool, x2M float64) float64 {
	as := func(b1, b2 bool) float64 {
		return t.sides(b1 && x1M < t.AtM || b2 && x2M < t.AtM, b1 && x1M >= t.AtM || b2 && x2M >= t.AtM)
	}
	bare1, bare2 := b1 && math.Abs(x1M-t.AtM) < t.PitM, b2 && math.Abs(x2M-t.AtM) < t.PitM
	if !bare1 && !bare2 {
		return as(b1, b2)
	}
	return math.Log(laidBare*math.Exp(as(b1 && !bare1, b2 && !bare2)) + (1-laidBare)*math.Exp(as(b1, b2)))
}

// readings are the tap's own, wherever the caller left their place unset.
func (t Tap) readings() []faultmodel.Reading {
	at := make([]faultmodel.Reading, len(t.Readings))
	for i, r := range t.Readings {
		r.AtM = t.AtM
		at[i] = r
	}
	return at
}

// Healthy is ln P(what the tap showed | nothing on the wire breaks it).
func (t Tap) Healthy() float64 { return t.sides(false, false) }

func (t Tap) sides(aBroken, bBroken bool) float64 {
	return t.side(EndA, aBroken) + t.side(EndB, bBroken)
}

// side is ln of the chance of everything read on one side, good contact or bad.
func (t Tap) side(end End, broken bool) float64 {
	good, bad := 1-t.PersistentProb, t.PersistentProb
	e := t.ErrorProb
	read := func(s Side) {
		if s != Intact && s != Broken {
			return
		}
		if (s == Broken) == broken {
			good, bad = good*(1-e), bad*e
		} else {
			good, bad = good*e, bad*(1-e)
		}
	}
	if end == EndA {
		read(t.A)
		for _, r := range t.Again {
			read(r.A)
		}
	} else {
		read(t.B)
		for _, r := range t.Again {
			read(r.B)
		}
	}
	return math.Log(good + bad)
}

// Focus is where the tap's likelihood steps; a grid of pairs puts a line there.
func (t Tap) Focus() []float64 {
	if t.PitM > 0 {
		return []float64{t.AtM - t.PitM, t.AtM, t.AtM + t.PitM}
	}
	return []float64{t.AtM}
}

// GroupTaps joins taps within withinM of each other's first spot into one with
// repeats, since they share a contact. The first one's place and error figures hold.
func GroupTaps(taps []Tap, withinM float64) []Tap {
	var spots []Tap
next:
	for _, t := range taps {
		for i := range spots {
			s := &spots[i]
			if math.Abs(s.AtM-t.AtM) > withinM {
				continue
			}
			s.Again = append(append(append([]Reads(nil), s.Again...), Reads{t.A, t.B}), t.Again...)
			s.Readings = append(append([]faultmodel.Reading(nil), s.Readings...), t.Readings...)
			if s.Model == nil {
				s.Model = t.Model
			}
			continue next
		}
		spots = append(spots, t)
	}
	return spots
}

// Trace is the place where an AM radio tuned low, or a tone probe, loses the
// signal fed into one end. The place is Gaussian about the first break from that
// end with SpreadM. With MissProb the follower was led astray and lost it just anywhere.
type Trace struct {
	AtM     float64
	End     End
	SpreadM float64 // one standard deviation; 0 means a foot
	// MissProb is the chance that the place has nothing to do with the fault.
	MissProb float64
	LengthM  float64 // the whole wire; where a stray loss is equally likely
	// Throughout says that the signal was heard to the far end; AtM is not used.
	Throughout bool
}

// How often someone reports a loss of signal on a wire that carries it to the
// end, and how often no loss on one that is broken: wet ends and neighbouring runs
// carry it on. Judgement: one walk in ten, and one in twenty.
const (
	lossWithoutBreak = 0.1
	heardPastBreak   = 0.05
)

// Lost is the chance that the signal is lost somewhere, on a broken wire or a whole one.
func (Trace) Lost(broken bool) float64 {
	if broken {
		return 1 - heardPastBreak
	}
	return lossWithoutBreak
}

// At is ln of the density (per metre) of losing the signal at AtM, or of the chance
// of not losing it.
func (t Trace) At(kind faultmodel.Kind, xM float64) float64 {
	if !breaks(kind) {
		return t.stray()
	}
	return t.near(xM)
}

// AtPair is At for the break that the signal meets first.
func (t Trace) AtPair(k1 faultmodel.Kind, x1M float64, k2 faultmodel.Kind, x2M float64) float64 {
	b1, b2 := breaks(k1), breaks(k2)
	switch {
	case !b1 && !b2:
		return t.stray()
	case !b2:
		return t.near(x1M)
	case !b1:
		return t.near(x2M)
	case t.Throughout:
		return 2 * t.near(x1M)
	case t.End == EndB:
		return t.near(max(x1M, x2M))
	}
	return t.near(min(x1M, x2M))
}

func (t Trace) near(xM float64) float64 {
	if t.Throughout {
		return math.Log(heardPastBreak)
	}
	spread := t.SpreadM
	if !(spread > 0) {
		spread = FootM
	}
	z := (t.AtM - xM) / spread
	hit := math.Exp(-0.5*z*z) / (spread * math.Sqrt(2*math.Pi))
	if t.MissProb == 0 {
		return math.Log((1 - heardPastBreak) * hit)
	}
	return math.Log((1 - heardPastBreak) * ((1-t.MissProb)*hit + t.MissProb/t.LengthM))
}

func (t Trace) stray() float64 {
	if t.Throughout {
		return math.Log(1 - lossWithoutBreak)
	}
	return math.Log(lossWithoutBreak / t.LengthM)
}

// Focus is where the trace points.
func (t Trace) Focus() []float64 {
	if t.Throughout {
		return nil
	}
	return []float64{t.AtM}
}

// Stretch says that with chance Share the fault lies between FromM and ToM
// (recent work, visible damage, a silent stretch), with soft ends; otherwise it
// says nothing. Averaged over the whole wire its likelihood is 1, so it moves
// the place without speaking for or against a cause.
type Stretch struct {
	FromM, ToM float64
	Share      float64
	SpreadM    float64
	LengthM    float64 // the whole wire
}

// At is the same for every kind of fault.
func (s Stretch) At(_ faultmodel.Kind, xM float64) float64 { return s.like(s.height()(xM)) }

// AtPair takes either of the two faults, equally likely, for the one meant.
func (s Stretch) AtPair(_ faultmodel.Kind, x1M float64, _ faultmodel.Kind, x2M float64) float64 {
	height := s.height()
	return s.like((height(x1M) + height(x2M)) / 2)
}

// Sweep is At at many places.
func (s Stretch) Sweep(_ faultmodel.Kind, xM []float64) []float64 {
	height, l := s.height(), make([]float64, len(xM))
	flat := s.like(0)
	for i, x := range xM {
		if h := height(x); h > 0 {
			l[i] = s.like(h)
		} else {
			l[i] = flat
		}
	}
	return l
}

func (s Stretch) like(height float64) float64 { return math.Log(1 - s.Share + s.Share*height) }

// height is the density of the stretch over that of the whole wire, by place.
func (s Stretch) height() func(xM float64) float64 {
	from, to := min(s.FromM, s.ToM), max(s.FromM, s.ToM)
	if s.SpreadM <= 0 {
		to = max(to, from+FootM) // a sharp point is a foot long
		whole := s.LengthM / (min(to, s.LengthM) - max(from, 0))
		return func(xM float64) float64 {
			if xM < from || xM > to {
				return 0
			}
			return whole
		}
	}
	// What the shoulders lose off the ends of the wire is given back.
	p := Part{FromM: from, ToM: to, SpreadM: s.SpreadM}
	onWire := p.distribution(s.LengthM) - p.distribution(0)
	const far = 9 // standard deviations: beyond, the density is below 1e-17 of its top
	return func(xM float64) float64 {
		if !(onWire > 0) || xM < from-far*s.SpreadM || xM > to+far*s.SpreadM {
			return 0
		}
		return p.density(xM) / onWire * s.LengthM
	}
}

// density is the derivative of distribution, per metre.
func (p Part) density(x float64) float64 {
	if p.ToM == p.FromM {
		z := (x - p.FromM) / p.SpreadM
		return math.Exp(-0.5*z*z) / (p.SpreadM * math.Sqrt(2*math.Pi))
	}
	return (normalCDF((x-p.FromM)/p.SpreadM) - normalCDF((x-p.ToM)/p.SpreadM)) / (p.ToM - p.FromM)
}

// Focus is where the stretch begins and ends.
func (s Stretch) Focus() []float64 { return []float64{s.FromM, s.ToM} }

// Bridge is a temporary wire laid across a stretch, both ends joined to the
// boundary wire: if the loop works with it, every break lies between them.
type Bridge struct {
	FromM, ToM float64
	Restored   bool
	ErrorProb  float64
}

// At is ln P(restored or not | one fault).
func (b Bridge) At(kind faultmodel.Kind, xM float64) float64 { return b.like(b.cures(kind, xM)) }

// AtPair needs both faults bridged.
func (b Bridge) AtPair(k1 faultmodel.Kind, x1M float64, k2 faultmodel.Kind, x2M float64) float64 {
	return b.like(b.cures(k1, x1M) && b.cures(k2, x2M))
}

// cures says whether the bridge takes the fault out of the current's way. It
// carries the current past a break or a resistive splice; a leak or a touching
// stretch still hangs on the wire beside it.
func (b Bridge) cures(kind faultmodel.Kind, xM float64) bool {
	from, to := min(b.FromM, b.ToM), max(b.FromM, b.ToM)
	return (kind == faultmodel.Open || kind == faultmodel.Series) && from <= xM && xM < to
}

func (b Bridge) like(cured bool) float64 {
	if cured == b.Restored {
		return math.Log(1 - b.ErrorProb)
	}
	return math.Log(b.ErrorProb)
}

// Focus is where the bridge begins and ends.
func (b Bridge) Focus() []float64 { return []float64{b.FromM, b.ToM} }

// Measured is what meters and a walk along the wire read, judged all together by
// the physics, so that unknowns they share count once.
type Measured struct {
	Model    *faultmodel.Model
	Readings []faultmodel.Reading
	Widths   []faultmodel.Width
}

// At is ln p(readings | one fault).
func (m Measured) At(kind faultmodel.Kind, xM float64) float64 {
	return m.judge(faultmodel.Fault{Kind: kind, AtM: xM})
}

// AtPair is ln p(readings | two faults).
func (m Measured) AtPair(k1 faultmodel.Kind, x1M float64, k2 faultmodel.Kind, x2M float64) float64 {
	return m.judge(faultmodel.Fault{Kind: k1, AtM: x1M}, faultmodel.Fault{Kind: k2, AtM: x2M})
}

func (m Measured) judge(faults ...faultmodel.Fault) float64 {
	l := 0.0
	if len(m.Readings) > 0 {
		l += m.Model.LogLikelihood(m.Readings, faults...)
	}
	if len(m.Widths) > 0 {
		l += m.Model.WidthLogLikelihood(m.Widths, faults...)
	}
	return l
}

// Sweep is At at many places at once.
func (m Measured) Sweep(kind faultmodel.Kind, xM []float64) []float64 {
	l := make([]float64, len(xM))
	if len(m.Readings) > 0 {
		copy(l, m.Model.Sweep(m.Readings, kind, xM))
	}
	if len(m.Widths) > 0 {
		for i, w := range m.Model.SweepWidths(m.Widths, kind, xM) {
			l[i] += w
		}
	}
	return l
}

// SweepPairs is AtPair for all pairs of places at once.
func (m Measured) SweepPairs(k1, k2 faultmodel.Kind, xM []float64) [][]float64 {
	l := make([][]float64, len(xM))
	if len(m.Readings) > 0 {
		l = m.Model.SweepPairs(m.Readings, k1, k2, xM)
	}
	for i := range l {
		if l[i] == nil {
			l[i] = make([]float64, len(xM))
		}
		if len(m.Widths) == 0 {
			continue
		}
		for j := range l[i] {
			l[i][j] += m.Model.WidthLogLikelihood(m.Widths,
				faultmodel.Fault{Kind: k1, AtM: xM[i]}, faultmodel.Fault{Kind: k2, AtM: xM[j]})
		}
	}
	return l
}
