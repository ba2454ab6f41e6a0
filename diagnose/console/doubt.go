package console

import (
	"fmt"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb"
)

// Limits past which an entry is more likely a slip than a finding.
const (
	// nearFactor is how close to a thousand times, or a thousandth of, the value of
	// a sound wire a reading lies when the range was misread: ohms per foot and
	// length are hardly known worse than to a factor of 1.5.
	nearFactor = 1.5
	// mostAdapterV: plug-in adapters for outdoor wire are limited to low voltage,
	// 60 V d.c. at the most in IEC 61140; more is the outlet, or a misread range.
	mostAdapterV = 60.0
	// mostWidthM: the collar is heard 2 to 12 ft from the wire (common practice).
	mostWidthM = 20 * quantity.MPerFt
)

// doubt says why an answer looks like a slip, or "" where it does not. It is
// asked back, never refused.
func doubt(s speech, c *kb.Check, a *diagnose.Answer, view View, leadsOhm float64) string {
	if r := a.Reading; r != nil && !r.OverRange {
		shown := quantity.FormatReading(r.Value, r.OverRange, c.Unit)
		if sound, ok := view.Sound(c); ok && r.Value > 0 {
			for _, slip := range []struct {
				times float64
				hint  string
			}{{1000, "is a k or an M on the display, or the range set otherwise?"}, {0.001, "is a k or an M on the display left out?"}} {
				if d := r.Value / (sound * slip.times); d < nearFactor && d > 1/nearFactor {
					return fmt.Sprintf("%s is a thousand times off %s, which a sound wire would show: %s", shown, quantity.FormatReading(sound, false, c.Unit), slip.hint)
				}
			}
		}
		switch {
		case c.Unit == "ohm" && r.Value < leadsOhm/2:
			return fmt.Sprintf("%s is less than the meter's own leads (%s): do the leads touch, or are they nulled?", shown, quantity.FormatOhms(leadsOhm))
		case c.Unit == "V" && r.Value > mostAdapterV:
			return fmt.Sprintf("%s is far above a low-voltage adapter: is it the outlet that is measured, or another range?", shown)
		}
	}
	for _, w := range a.Widths {
		if w.WidthM > mostWidthM {
			return fmt.Sprintf("%s from the wire is far: is it the distance from the wire to where the collar sounds, in the right unit?",
				quantity.FormatLength(w.WidthM, s.Units))
		}
	}
	return ""
}
