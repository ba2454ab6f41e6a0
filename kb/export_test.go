package kb

// The vocabulary, for the test that holds it against the rooms it comes from.
var (
	FaultKinds = faultKinds
	Quantities = quantities
	Features   = features
)
