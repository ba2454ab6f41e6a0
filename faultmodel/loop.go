package faultmodel

import (
	"fmt"
	"math"
)

// Kind says how the wire, its field and a meter see a fault.
type Kind string

// The kinds of fault. The strings are used by the knowledge base.
const (
	Healthy Kind = "" // the circuit sees nothing

	Open          Kind = "open"           // conductor parted at AtM; each bare end dry, in gel or in wet soil
	Series        Kind = "series"         // resistive splice at AtM
	Leak          Kind = "leak"           // bare spot to soil at AtM
	Touch         Kind = "touch"          // the stretches at AtM and ToM touch, metal to metal
	LeadShort     Kind = "lead-short"     // the two lead-in legs touch; AtM on either leg names the same spot
	ArresterShort Kind = "arrester-short" // both gaps of the arrester shorted to its rod
	ArresterOpen  Kind = "arrester-open"  // the arrester's series path is open at terminal A
	LooseTerminal Kind = "loose-terminal" // seen only with the transmitter connected
	WeakSource    Kind = "weak-source"    // control low, weak transmitter or weak collar: the field is uniformly narrow
	NoSource      Kind = "no-source"      // dead transmitter or switched off: no field, adapter volts good
	NoSupply      Kind = "no-supply"      // dead outlet or failed adapter: no field, no adapter volts
	OutsideRating Kind = "outside-rating" // loop longer or shorter than known, or another wire in it

	TooDeep      Kind = "too-deep"      // field only: AtM to ToM lies deeper than the rest
	CloseRun     Kind = "close-run"     // field only: AtM to ToM runs beside its opposite
	Corner       Kind = "corner"        // field only: a sharp corner at AtM
	MetalAlong   Kind = "metal-along"   // field only: metal beside AtM to ToM
	ServiceAlong Kind = "service-along" // field only: a buried service beside AtM to ToM
)

// Fault is one thing wrong at a place. Places are chainage, the distance in
// metres along the conductor from terminal A on the nominal map. ToM is the
// second place of a Touch, or the far end of a stretch; 0 where the extent of
// a stretch is not known.
type Fault struct {
	Kind     Kind
	AtM, ToM float64
}

// End names one of the two terminals.
type End string

// The two ends of the conductor, and neither.
const (
	NoEnd End = ""
	EndA  End = "a"
	EndB  End = "b"
)

// Point is a place in the plane of the yard, metres.
type Point struct{ X, Y float64 }

// LogNormal is an unknown positive quantity: its logarithm is normal with
// mean ln(Median) and standard deviation SigmaLn. SigmaLn 0 is a known value.
type LogNormal struct {
	Median  float64
	SigmaLn float64
}

// Loop is what is known of one installation. Every unknown is a distribution.
// [DefaultLoop] fills in what is typical.
type Loop struct {
	LeadInM     float64 // length of each leg of the lead-in, m
	BoundaryM   float64 // length of the boundary, m; the whole conductor is 2 LeadInM + BoundaryM
	LengthRelSD float64 // standard deviation of both lengths, as a fraction
	Twisted     bool    // the legs of the lead-in are twisted together

	OhmPerM       LogNormal // conductor resistance at 20 C, ohm/m
	AlphaPerK     float64   // temperature coefficient at 20 C, 1/K
	TemperatureC  float64   // of the wire, C
	TemperatureSD float64   // K

	FaradPerM           LogNormal // boundary to soil, F/m
	LeadFaradPerM       LogNormal // one leg of the lead-in to soil, F/m
	LeadMutualFaradPerM LogNormal // between the legs of the lead-in, F/m
	InsulationOhmM      LogNormal // insulation resistance times length, ohm m
	HenryPerM           float64   // boundary inductance per length of loop, H/m
	LeadHenryPerM       float64   // one leg of the lead-in with its return at a distance, H/m
	LeadCoupling        float64   // magnetic coupling factor of the legs, 0 to below 1

	SoilOhmM LogNormal // soil resistivity, ohm m
	DepthM   float64   // of the wire below the surface, m

	EarthedTerminal End  // terminal the transmitter holds to earth
	Arrester        bool // a surge arrester is fitted; readings to earth are taken to its rod

	AdapterVolts  LogNormal // what the adapter's plug shows unloaded, V
	SourceVolts   LogNormal // transmitter, open circuit, at the working frequency, V
	SourceOhm     LogNormal // its output impedance, ohm
	FrequencyHz   float64   // working frequency, Hz
	HeightM       float64   // collar above the ground: the pet's neck, m
	WidthM        LogNormal // detection width of a healthy straight stretch, m
	Path          []Point   // optional: the boundary in the plane, first vertex where lead-in leg A meets it
	Baseline      []Reading // readings recorded while all was well
	BaselineWidth []Width   // widths recorded while all was well
}

// TotalM is the length of the whole conductor, m.
func (l Loop) TotalM() float64 { return 2*l.LeadInM + l.BoundaryM }

// Check reports the first thing in l that physics cannot accept.
func (l Loop) Check() error {
	positive := func(name string, v float64) error {
		if !(v > 0) || math.IsInf(v, 0) {
			return fmt.Errorf("faultmodel: %s is %v, want a positive number", name, v)
		}
		return nil
	}
	unknown := func(name string, v LogNormal) error {
		if err := positive(name, v.Median); err != nil {
			return err
		}
		if !(v.SigmaLn >= 0) || v.SigmaLn > 5 {
			return fmt.Errorf("faultmodel: spread of %s is %v, want 0 to 5", name, v.SigmaLn)
		}
		return nil
	}
	if !(l.LeadInM >= 0) || math.IsInf(l.LeadInM, 0) {
		return fmt.Errorf("faultmodel: lead-in length is %v, want 0 or more", l.LeadInM)
	}
	if !(l.LengthRelSD >= 0) || l.LengthRelSD > 1 {
		return fmt.Errorf("faultmodel: length uncertainty is %v, want 0 to 1", l.LengthRelSD)
	}
	if !(l.HeightM >= 0) || !(l.DepthM >= 0) || !(l.HeightM+l.DepthM > 0) || l.HeightM+l.DepthM > 10 {
		return fmt.Errorf("faultmodel: collar %v m above and wire %v m below the ground, want 0 to 10 m between them", l.HeightM, l.DepthM)
	}
	if l.LeadCoupling < 0 || l.LeadCoupling >= 1 {
		return fmt.Errorf("faultmodel: lead-in coupling is %v, want 0 to below 1", l.LeadCoupling)
	}
	if !(l.TemperatureSD >= 0) || l.TemperatureC < -60 || l.TemperatureC > 90 {
		return fmt.Errorf("faultmodel: wire at %v C +- %v K, want -60 to 90 C", l.TemperatureC, l.TemperatureSD)
	}
	for _, err := range []error{
		positive("boundary length", l.BoundaryM),
		positive("frequency", l.FrequencyHz),
		unknown("ohms per metre", l.OhmPerM),
		unknown("farads per metre", l.FaradPerM),
		unknown("lead-in farads per metre", l.LeadFaradPerM),
		unknown("lead-in mutual farads per metre", l.LeadMutualFaradPerM),
		unknown("insulation", l.InsulationOhmM),
		unknown("soil resistivity", l.SoilOhmM),
		unknown("adapter volts", l.AdapterVolts),
		unknown("source volts", l.SourceVolts),
		unknown("source impedance", l.SourceOhm),
		unknown("width", l.WidthM),
	} {
		if err != nil {
			return err
		}
	}
	return nil
}

// DefaultLoop is a typical installation with the given lengths in metres: 20
// AWG solid copper with plastic insulation in moist soil, everything that
// varies from yard to yard left as uncertain as it is. Figures: copper and
// polyethylene capacitance by the formulas of this package; inductance 2.0 to
// 2.3 uH/m for loops of this size (computed from Rosa's rectangle formula);
// soil resistivity after Peters (1918); the rest judgement.
func DefaultLoop(leadInM, boundaryM float64) Loop {
	return Loop{
		LeadInM: leadInM, BoundaryM: boundaryM, LengthRelSD: 0.03, Twisted: true,
		OhmPerM: LogNormal{0.0333, 0.02}, AlphaPerK: 0.00393,
		TemperatureC: 12, TemperatureSD: 5,
		FaradPerM:           LogNormal{160e-12, 0.25},
		LeadFaradPerM:       LogNormal{110e-12, 0.3},
		LeadMutualFaradPerM: LogNormal{50e-12, 0.3},
		InsulationOhmM:      LogNormal{3e10, 1.5},
		HenryPerM:           2.1e-6, LeadHenryPerM: 2.1e-6, LeadCoupling: 0.85,
		SoilOhmM: LogNormal{80, 0.8}, DepthM: 0.05,
		AdapterVolts: LogNormal{13, 0.25},
		SourceVolts:  LogNormal{10, 0.9}, SourceOhm: LogNormal{50, 0.8}, // the make of transmitter is not known
		FrequencyHz: 10e3, HeightM: 0.3,
		WidthM: LogNormal{1.5, 0.45},
	}
}
