package journal

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/faultmodel"
)

// header is the file of a case down to its answers, which come last.
func header(c *diagnose.Case) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "case: %s\n", quoted(c.Name))
	if c.Role != "" {
		fmt.Fprintf(&b, "role: %s\n", c.Role)
	}
	if c.Tools != nil {
		fmt.Fprintf(&b, "tools: [%s]\n", strings.Join(c.Tools, ", "))
	}
	switch {
	case c.YardFile != "":
		fmt.Fprintf(&b, "yard: %s\n", quoted(c.YardFile))
	case c.Yard != nil:
		b.WriteString("yard:\n")
		for line := range strings.Lines(string(c.Yard.Marshal())) {
			b.WriteString("  " + line)
		}
	}
	writeMeters(&b, c.Meters)
	return b.Bytes()
}

// writeMeters writes what differs from the usual meter.
func writeMeters(b *bytes.Buffer, m faultmodel.Meters) {
	usual := faultmodel.DefaultMeters()
	if m == (faultmodel.Meters{}) || m == usual {
		return
	}
	b.WriteString("meters:\n")
	for _, function := range []struct {
		name, unit  string
		is, usually faultmodel.Meter
	}{
		{"ohms", "ohm", m.Ohms, usual.Ohms},
		{"capacitance", "nF", m.Capacitance, usual.Capacitance},
		{"volts", "V", m.Volts, usual.Volts},
		{"amperes", "mA", m.Amperes, usual.Amperes},
	} {
		var g group
		is, usually := function.is, function.usually
		differs := func(a, b float64, name, value string) {
			if a != b {
				g.add(name, value)
			}
		}
		differs(is.AccuracyFrac, usually.AccuracyFrac, "accuracy", quantity.WritePercent(is.AccuracyFrac))
		differs(is.Counts, usually.Counts, "counts", number(is.Counts))
		differs(is.Resolution, usually.Resolution, "resolution", quantity.WriteReading(is.Resolution, false, function.unit))
		differs(is.LeadsOhm, usually.LeadsOhm, "leads", quantity.WriteOhms(is.LeadsOhm))
		differs(is.RangeMax, usually.RangeMax, "range", quantity.WriteReading(is.RangeMax, false, function.unit))
		differs(is.DisplayCount, usually.DisplayCount, "display", number(is.DisplayCount))
		if len(g) > 0 {
			fmt.Fprintf(b, "  %s: %s\n", function.name, g.flow())
		}
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
