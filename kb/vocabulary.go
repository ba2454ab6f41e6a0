package kb

// Words that the knowledge base shares with the rooms that use it: the kinds of
// fault and the quantities are faultmodel's, the features yard's, the facts
// diagnose's.

var (
	roles       = []string{homeowner, support, technician}
	confidences = []string{"high", "medium", "low"}

	faultKinds = []string{"open", "series", "leak", "touch", "lead-short", "arrester-short", "arrester-open",
		"loose-terminal", "weak-source", "no-source", "no-supply", "outside-rating", "too-deep", "close-run",
		"corner", "metal-along", "service-along"}
	quantities = []string{"loop-ohms", "loop-ohms-reversed", "boundary-ohms", "leg-a-to-earth", "leg-b-to-earth",
		"capacitance-a", "capacitance-b", "lead-in-ohms-open", "adapter-volts", "terminal-volts", "loop-current"}
	units = []string{"ohm", "nF", "V", "mA"}

	features = []string{"splice", "driveway", "path", "bed", "edge", "tree", "fence", "metal", "utility", "gate",
		"own-return", "soil-added", "surface", "twisted", "corner"}
	regions = []string{"boundary", "lead-in", "anywhere"}
	facts   = []string{"has-splices", "no-known-splices", "old", "new", "crosses-driveway", "bordered", "arrester",
		"no-arrester", "earthed", "reversed-runs", "deep-soil-added", "metal", "utility", "gate", "no-map", "age-known"}

	generalActs = []string{"replace-section", "replace-lead-in", "replace-loop", "refer", "verify", "done"}
	stoppable   = []string{"wire-work", "digging", "collar-on-pet"}
	surfaceIDs  = []string{"surface", "turf", "bed", "gravel", "slab", "driveway", "path"}
	scaleIDs    = []string{"weight", "chance"}
)

// The two causes that are always there and never combined with another.
const (
	NothingWrong  = "nothing-wrong"
	SomethingElse = "something-else"
)
