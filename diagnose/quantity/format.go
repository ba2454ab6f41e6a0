package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Units is the system that a person thinks lengths in.
type Units int

// The two systems.
const (
	Feet Units = iota
	Metres
)

// ParseUnits reads the name of a system: ft or m.
func ParseUnits(text string) (Units, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "ft", "feet", "foot":
		return Feet, nil
	case "m", "metre", "metres", "meter", "meters":
		return Metres, nil
	}
	return Feet, fmt.Errorf("%s: expected ft or m", quote(text))
}

// String is the unit's short name, ft or m.
func (u Units) String() string {
	if u == Metres {
		return "m"
	}
	return "ft"
}

// Of turns metres into the unit.
func (u Units) Of(lengthM float64) float64 {
	if u == Metres {
		return lengthM
	}
	return lengthM / MPerFt
}

// M turns a number of the unit into metres.
func (u Units) M(value float64) float64 {
	if u == Metres {
		return value
	}
	return value * MPerFt
}

// decimals is how many a place or length along a wire deserves: whole feet and
// decimetres, a digit more below ten feet or one metre.
func (u Units) decimals(lengthM float64) int {
	switch {
	case u == Metres && math.Abs(lengthM) < 1:
		return 2
	case u == Metres:
		return 1
	case math.Abs(lengthM) < 10*MPerFt:
		return 1
	}
	return 0
}

// Noted is a place along a wire as a person notes it down: to the whole foot, or
// to the tenth of a metre, in metres.
func (u Units) Noted(lengthM float64) float64 {
	if u == Metres {
		return math.Round(lengthM*10) / 10
	}
	return math.Round(lengthM/MPerFt) * MPerFt
}

// FormatLength gives a length with its unit: "309 ft", "94.2 m".
func FormatLength(lengthM float64, u Units) string {
	return fixed(u.Of(lengthM), u.decimals(lengthM)) + " " + u.String()
}

// FormatRange gives a stretch with its unit: "300 to 314 ft".
func FormatRange(fromM, toM float64, u Units) string {
	d := u.decimals(toM)
	from, to := fixed(u.Of(fromM), d), fixed(u.Of(toM), d)
	if from == to {
		return to + " " + u.String()
	}
	return from + " to " + to + " " + u.String()
}

// FormatOhms gives a resistance in the unit that keeps it readable, with three
// digits and no more than hundredths of an ohm: "5.08 ohm", "35.2 kohm".
func FormatOhms(ohm float64) string {
	switch a := math.Abs(ohm); {
	case a >= 999.5e6:
		return significant(ohm/1e9) + " Gohm"
	case a >= 999.5e3:
		return significant(ohm/1e6) + " Mohm"
	case a >= 999.5:
		return significant(ohm/1e3) + " kohm"
	}
	return significant(ohm) + " ohm"
}

// FormatFarads gives a capacitance: "850 pF", "13.9 nF", "1.2 uF".
func FormatFarads(farad float64) string {
	switch a := math.Abs(farad); {
	case a >= 999.5e-9:
		return significant(farad*1e6) + " uF"
	case a >= 0.9995e-9 || a == 0:
		return significant(farad*1e9) + " nF"
	}
	return significant(farad*1e12) + " pF"
}

// FormatVolts gives a voltage: "12.1 V", "350 mV".
func FormatVolts(volt float64) string {
	if a := math.Abs(volt); a < 0.9995 && a != 0 {
		return significant(volt*1e3) + " mV"
	}
	return significant(volt) + " V"
}

// FormatAmps gives a current: "38 mA", "1.2 A".
func FormatAmps(ampere float64) string {
	if math.Abs(ampere) < 0.9995 {
		return significant(ampere*1e3) + " mA"
	}
	return significant(ampere) + " A"
}

// FormatTemperature gives a temperature in the degrees that go with the units.
func FormatTemperature(celsius float64, u Units) string {
	if u == Metres {
		return fixed(celsius, 0) + " C"
	}
	return fixed(celsius*9/5+32, 0) + " F"
}

// FormatPercent gives a share as people read one: "62 %", "3.5 %", "under 0.1 %".
func FormatPercent(share float64) string {
	p := share * 100
	switch {
	case p == 0:
		return "0 %"
	case p < 0.1:
		return "under 0.1 %"
	case p < 9.95:
		return fixed(p, 1) + " %"
	case p > 99.9 && p < 100:
		return "over 99.9 %"
	case p > 99 && p < 100:
		return fixed(p, 1) + " %"
	}
	return fixed(p, 0) + " %"
}

// FormatMinutes gives a time: "12 min", "1 h 20 min".
func FormatMinutes(minute float64) string {
	if !(math.Abs(minute) < 1e9) {
		return "? min"
	}
	whole := int(math.Round(minute))
	switch {
	case minute > 0 && minute < 0.95:
		return fixed(minute*60, 0) + " s"
	case whole < 60:
		return strconv.Itoa(whole) + " min"
	case whole%60 == 0:
		return strconv.Itoa(whole/60) + " h"
	}
	return fmt.Sprintf("%d h %d min", whole/60, whole%60)
}

// FormatReading gives a reading of the quantity whose common unit is named, as
// [ParseReading] takes it.
func FormatReading(value float64, over bool, unitName string) string {
	if over {
		return "over-range"
	}
	switch unitName {
	case "ohm":
		return FormatOhms(value)
	case "nF", "uF", "pF", "F":
		return FormatFarads(value)
	case "V", "mV":
		return FormatVolts(value)
	case "mA", "A":
		return FormatAmps(value)
	case "C":
		return FormatTemperature(value, Metres)
	}
	return digits(value) + " " + unitName
}

// WriteLength gives a length for a file.
func WriteLength(lengthM float64, u Units) string { return digits(u.Of(lengthM)) + " " + u.String() }

// WriteOhms gives a resistance for a file.
func WriteOhms(ohm float64) string {
	switch {
	case ohm >= 1e6:
		return digits(ohm/1e6) + " Mohm"
	case ohm >= 1e3:
		return digits(ohm/1e3) + " kohm"
	}
	return digits(ohm) + " ohm"
}

// WriteFarads gives a capacitance for a file.
func WriteFarads(farad float64) string { return digits(farad*1e9) + " nF" }

// WriteTemperature gives a temperature for a file.
func WriteTemperature(celsius float64) string { return digits(celsius) + " C" }

// WriteVolts gives a voltage for a file.
func WriteVolts(volt float64) string { return digits(volt) + " V" }

// WriteAmps gives a current for a file.
func WriteAmps(ampere float64) string { return digits(ampere*1e3) + " mA" }

// WritePercent gives a share for a file.
func WritePercent(share float64) string { return digits(share*100) + " %" }

// WriteArea gives an area for a file.
func WriteArea(areaM2 float64) string { return digits(areaM2) + " m2" }

// WriteReading gives a reading for a file, as [ParseReading] takes it.
func WriteReading(value float64, over bool, unitName string) string {
	if over {
		return "over-range"
	}
	switch unitName {
	case "ohm":
		return WriteOhms(value)
	case "nF", "uF", "pF", "F":
		return WriteFarads(value)
	case "V", "mV":
		return WriteVolts(value)
	case "mA", "A":
		return WriteAmps(value)
	case "C":
		return WriteTemperature(value)
	}
	return digits(value) + " " + unitName
}

// digits writes eleven significant digits, trailing zeros off: enough to lose
// nothing a person measured, few enough to hide the last bit of 480*0.3048/0.3048.
func digits(v float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 10, 64), 64)
	if rounded == 0 {
		return "0"
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// significant writes three significant digits at the most, hundredths at the finest.
func significant(v float64) string {
	switch a := math.Abs(v); {
	case a >= 99.95:
		return fixed(v, 0)
	case a >= 9.995:
		return trim(fixed(v, 1))
	}
	return trim(fixed(v, 2))
}

// fixed writes so many decimals, and never a minus before zero. What is no
// number is a question mark, not "NaN" in front of a homeowner.
func fixed(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "?"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

func trim(s string) string {
	if !strings.Contains(s, ".") {
		return s
	}
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}
