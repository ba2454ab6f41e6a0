package yard

// Field is one of the readings that a baseline may hold.
type Field struct {
	Quantity string    // as yard files and faultmodel name it
	Unit     string    // that a file gives it in
	Reading  **Reading // where the baseline keeps it; nil there: not measured
}

// Fields are a baseline's readings, measured or not, in the order of a file.
func (b *Baseline) Fields() []Field {
	return []Field{
		{"loop-ohms", "ohm", &b.LoopOhms},
		{"boundary-ohms", "ohm", &b.BoundaryOhms},
		{"lead-in-ohms-open", "ohm", &b.LeadInOhms},
		{"leg-a-to-earth", "ohm", &b.LegAToEarth},
		{"leg-b-to-earth", "ohm", &b.LegBToEarth},
		{"capacitance-a", "nF", &b.CapacitanceA},
		{"capacitance-b", "nF", &b.CapacitanceB},
		{"loop-current", "mA", &b.LoopCurrentA},
		{"terminal-volts", "V", &b.TerminalVolts},
	}
}
