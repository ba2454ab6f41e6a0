package locate

// Zone is what lies over a stretch of wire. Where zones overlap the later one holds.
type Zone struct {
	FromM, ToM float64
	Surface    string // a key of [Costs].DigMinutes; "surface" is wire reachable without digging
	NoDig      bool   // may be neither opened nor trenched
}

// Site is the wire as the person with the spade meets it.
type Site struct {
	LengthM  float64 // the whole conductor
	Zones    []Zone  // what is in no zone is turf
	SplicesM []float64
	// ChordM is the straight line on the map between two chainages, in metres;
	// nil where there is no map: then distance is wire length.
	ChordM func(fromM, toM float64) float64
	// TempWireM is how far from the transmitter the temporary wire reaches, as
	// the crow flies; a tap beyond it cannot be tested. 0 is no limit.
	TempWireM float64
	// LeadInM is the length of each lead-in leg. A new section may not run from
	// one leg into the boundary by a short cut.
	LeadInM float64
	// ShiftM is how far a new section laid straight may leave the old line; 0 means 3 m.
	ShiftM float64
	// StepM is the finest spacing of the spots to open; 0 means one foot.
	StepM float64
}

// Costs are what the work takes, in minutes and money. The zero value of a
// field means that it costs nothing; see [DefaultCosts] for a start.
type Costs struct {
	PerMinute       float64 // money
	WalkMinutesPerM float64

	TapMinutes        float64            // at an opened spot: cut, strip, test both ways
	OpenSpliceMinutes float64            // at an opened spot: open an old splice, test both ways
	ReadMinutes       float64            // each further reading both ways at an open spot
	LayMinutesPerM    float64            // temporary wire from the transmitter and back, per metre of distance
	DigMinutes        map[string]float64 // to open a spot, by surface; a surface not named is as turf

	JoinMinutes float64 // one waterproof splice
	JoinPrice   float64
	SpliceLater float64 // money: what a new splice costs later, as the next suspect
	JoinsPerTap float64 // joins that make good a cut

	ReplaceMinutes    float64 // each new section: fetch, lay out, tidy
	TrenchMinutesPerM float64
	TrenchFactor      map[string]float64 // by surface, times TrenchMinutesPerM; a surface not named is 1
	NoDigFactor       float64            // same for a no-dig zone, which a section goes round; 0 means 5
	WirePerM          float64            // money

	OpenMinutesPerM float64 // laying bare a stretch along the old wire, by the same factors
	OpenMaxM        float64 // the longest stretch laid bare whole; 0: never
	CheckMinutes    float64 // the end-to-end check after a repair

	// TapError is the chance that a reading at an open spot is wrong,
	// PersistentError that the spot misleads however often it is read.
	TapError        float64
	PersistentError float64
}

// DefaultCosts are those of a technician working in turf. All are judgement, in
// minutes and an unnamed currency; the program's own figures come from its knowledge base.
func DefaultCosts() Costs {
	return Costs{
		PerMinute:         1,
		WalkMinutesPerM:   1.0 / 50,
		TapMinutes:        6,
		OpenSpliceMinutes: 4,
		ReadMinutes:       1,
		LayMinutesPerM:    1.0 / 25,
		DigMinutes:        map[string]float64{"turf": 5, "bed": 3, "gravel": 6, "slab": 25, "driveway": 60, "path": 30, "surface": 0},
		JoinMinutes:       4,
		JoinPrice:         3,
		SpliceLater:       4,
		JoinsPerTap:       1,
		ReplaceMinutes:    5,
		TrenchMinutesPerM: 1.2,
		TrenchFactor:      map[string]float64{"turf": 1, "bed": 0.8, "gravel": 1.3, "slab": 5, "driveway": 15, "path": 8, "surface": 0.2},
		WirePerM:          0.3,
		OpenMinutesPerM:   4,
		OpenMaxM:          2,
		CheckMinutes:      3,
		TapError:          0.02,
		PersistentError:   0.01,
	}
}
