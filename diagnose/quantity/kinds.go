package quantity

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Lengths of the inch-pound system, exact by the international agreement of
// 1959 (NIST Special Publication 811, appendix B).
const (
	MPerFt   = 0.3048
	mPerInch = 0.0254
	mPerYard = 0.9144
	m2Acre   = 4046.8564224 // 43,560 square international feet
)

var length = &kind{
	name: "a length", examples: "480 ft, 146 m, 3' 6\" or 14 in",
	units: map[string]unit{
		"ft": {scale: MPerFt}, "ft.": {scale: MPerFt}, "foot": {scale: MPerFt}, "feet": {scale: MPerFt}, "'": {scale: MPerFt},
		"in": {scale: mPerInch}, "in.": {scale: mPerInch}, "inch": {scale: mPerInch}, "inches": {scale: mPerInch}, `"`: {scale: mPerInch},
		"yd": {scale: mPerYard}, "yard": {scale: mPerYard}, "yards": {scale: mPerYard},
		"m": {scale: 1}, "metre": {scale: 1}, "metres": {scale: 1}, "meter": {scale: 1}, "meters": {scale: 1},
		"cm": {scale: 0.01}, "mm": {scale: 0.001},
	},
	min: 0, max: 10000, limits: "from 0 to 10000 m (32808 ft)",
	below:    "a length cannot be negative",
	foldCase: true, compound: true,
	after: map[string]string{"'": "in", "ft": "in"},
}

// ParseLength reads a length in metres.
func ParseLength(text, bare string) (lengthM float64, err error) { return length.parse(text, bare) }

var ohms = &kind{
	name: "a resistance", examples: "12.3 ohm, 35 kohm or over-range",
	units: scaled(map[string]float64{"": 1, "k": 1e3, "K": 1e3, "M": 1e6, "meg": 1e6, "mega": 1e6, "kilo": 1e3, "G": 1e9, "m": 0},
		"ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS", "\u03a9", "\u03c9", "R", "r"),
	min: 0, max: 1e11, limits: "from 0 to 100 Gohm",
	below: "a resistance cannot be negative: a voltage in the wire does that to a meter; note it and measure again with the meter's leads swapped",
}

func init() {
	for prefix, scale := range map[string]float64{"k": 1e3, "K": 1e3, "M": 1e6, "meg": 1e6, "Meg": 1e6, "MEG": 1e6, "megs": 1e6, "G": 1e9, "m": 0} {
		ohms.units[prefix] = unit{scale: scale} // as on a meter's display
	}
	for _, word := range []string{"Megohm", "Megohms", "MEGOHM", "megohm", "megohms", "Kilohm", "Kilohms", "kilohm", "kilohms"} {
		scale := 1e6
		if strings.EqualFold(word[:3], "kil") {
			scale = 1e3
		}
		ohms.units[word] = unit{scale: scale}
	}
}

// overRange holds the ways a meter's "more than I can show" is written.
var overRange = map[string]bool{
	"ol": true, "o.l": true, "o.l.": true, "0l": true, "0.l": true, "over-range": true, "over range": true, "overrange": true,
	"over-limit": true, "over limit": true, "overload": true, "over": true, "open": true, "open line": true, "open loop": true,
	"infinite": true, "\u221e": true,
}

// OverRange tells whether text says that the meter's range was passed.
func OverRange(text string) bool {
	return overRange[strings.ToLower(strings.TrimSpace(plain.Replace(text)))]
}

// rkm is the resistor notation of IEC 60062: the prefix stands for the decimal point.
var rkm = regexp.MustCompile(`^(\d+)([RrkKMG])(\d+)$`)

// ParseOhms reads a resistance in ohms; over tells that the meter's range was passed.
func ParseOhms(text, bare string) (ohm float64, over bool, err error) {
	if OverRange(text) {
		return 0, true, nil
	}
	if m := rkm.FindStringSubmatch(strings.TrimSpace(text)); m != nil {
		prefix := m[2]
		if prefix == "R" || prefix == "r" {
			prefix = ""
		}
		ohm, err = ohms.parse(m[1]+"."+m[3]+" "+prefix+"ohm", Strict)
		return ohm, false, err
	}
	ohm, err = ohms.parse(text, bare)
	return ohm, false, err
}

var farads = &kind{
	name: "a capacitance", examples: "22 nF, 0.022 uF or 850 pF",
	units: scaled(map[string]float64{"p": 1e-12, "P": 1e-12, "n": 1e-9, "N": 1e-9, "u": 1e-6, "U": 1e-6, "\u00b5": 1e-6},
		"F", "f", "farad", "farads", ""),
	min: 0, max: 1e-4, limits: "from 0 to 100 uF",
	below: "a capacitance cannot be negative: null the meter with its leads open and measure again",
}

// ParseFarads reads a capacitance in farads.
func ParseFarads(text, bare string) (farad float64, err error) { return farads.parse(text, bare) }

var temperature = &kind{
	name: "a temperature", examples: "10 C or 50 F",
	units: map[string]unit{},
	min:   -60, max: 90, limits: "from -60 to 90 C (-76 to 194 F)",
	foldCase: true,
}

func init() {
	const perF = 5.0 / 9.0
	for _, degree := range []string{"", "\u00b0", "deg", "deg.", "degree", "degrees", "\u00ba"} {
		for _, c := range []string{"c", "celsius"} {
			temperature.units[degree+c] = unit{scale: 1}
		}
		for _, f := range []string{"f", "fahrenheit"} {
			temperature.units[degree+f] = unit{scale: perF, offset: -32 * perF}
		}
	}
}

// ParseTemperature reads a temperature in degrees Celsius.
func ParseTemperature(text, bare string) (celsius float64, err error) {
	return temperature.parse(text, bare)
}

var volts = &kind{
	name: "a voltage", examples: "12.1 V or 350 mV",
	units: scaled(map[string]float64{"": 1, "m": 1e-3, "k": 1e3}, "V", "v", "volt", "volts", "Volt", "Volts", "Vac", "Vdc", "VAC", "VDC"),
	min:   0, max: 1000, limits: "from 0 to 1000 V",
	below: "give the voltage without its sign",
}

// ParseVolts reads a voltage in volts, without its sign.
func ParseVolts(text, bare string) (volt float64, err error) { return volts.parse(text, bare) }

var amps = &kind{
	name: "a current", examples: "38 mA or 0.2 A",
	units: scaled(map[string]float64{"": 1, "m": 1e-3, "u": 1e-6, "\u00b5": 1e-6}, "A", "a", "amp", "amps", "Amp", "Amps"),
	min:   0, max: 20, limits: "from 0 to 20 A",
	below: "give the current without its sign",
}

// ParseAmps reads a current in amperes.
func ParseAmps(text, bare string) (ampere float64, err error) { return amps.parse(text, bare) }

var percent = &kind{
	name: "a share", examples: "3 %",
	units: map[string]unit{"%": {scale: 0.01}, "percent": {scale: 0.01}, "pct": {scale: 0.01}},
	min:   0, max: 1, limits: "from 0 to 100 %",
	below: "a share cannot be negative", foldCase: true,
}

// ParsePercent reads a share written in percent: "3 %" is 0.03.
func ParsePercent(text, bare string) (share float64, err error) { return percent.parse(text, bare) }

var minutes = &kind{
	name: "a time", examples: "15 min or 1 h 20 min",
	units: map[string]unit{
		"min": {scale: 1}, "min.": {scale: 1}, "minute": {scale: 1}, "minutes": {scale: 1},
		"h": {scale: 60}, "hr": {scale: 60}, "hrs": {scale: 60}, "hour": {scale: 60}, "hours": {scale: 60},
		"s": {scale: 1.0 / 60}, "sec": {scale: 1.0 / 60}, "second": {scale: 1.0 / 60}, "seconds": {scale: 1.0 / 60},
		"d": {scale: 1440}, "day": {scale: 1440}, "days": {scale: 1440},
	},
	min: 0, max: 30 * 1440, limits: "from 0 to 30 days",
	below: "a time cannot be negative", foldCase: true, compound: true,
	after: map[string]string{"h": "min"},
}

// ParseMinutes reads a length of time in minutes.
func ParseMinutes(text, bare string) (minute float64, err error) { return minutes.parse(text, bare) }

var area = &kind{
	name: "an area", examples: "0.33 acre, 1350 m2 or 14500 ft2",
	units: map[string]unit{
		"acre": {scale: m2Acre}, "acres": {scale: m2Acre}, "ac": {scale: m2Acre},
		"ha": {scale: 1e4}, "hectare": {scale: 1e4}, "hectares": {scale: 1e4},
		"m2": {scale: 1}, "sqm": {scale: 1}, "m^2": {scale: 1}, "squaremetres": {scale: 1}, "squaremeters": {scale: 1},
		"ft2": {scale: MPerFt * MPerFt}, "sqft": {scale: MPerFt * MPerFt}, "sq.ft.": {scale: MPerFt * MPerFt}, "ft^2": {scale: MPerFt * MPerFt}, "squarefeet": {scale: MPerFt * MPerFt},
	},
	min: 10, max: 1e6, limits: "from 10 m2 to 1 km2 (247 acres)",
	below: "an area cannot be negative", foldCase: true,
}

// ParseArea reads an area in square metres.
func ParseArea(text, bare string) (areaM2 float64, err error) { return area.parse(text, bare) }

// Gauge is a wire's size as its owner knows it: by American Wire Gauge number
// or by metric cross-section. Exactly one field of a known gauge is not zero.
type Gauge struct {
	AWG int     // 6 to 30
	MM2 float64 // copper cross-section, mm2
}

// Known tells whether the gauge says anything.
func (g Gauge) Known() bool { return g != Gauge{} }

// String writes the gauge as files hold it: "20 awg", "0.75 mm2", "unknown".
func (g Gauge) String() string {
	switch {
	case g.AWG != 0:
		return strconv.Itoa(g.AWG) + " awg"
	case g.MM2 != 0:
		return digits(g.MM2) + " mm2"
	}
	return "unknown"
}

var (
	gaugeKind = &kind{
		name: "a wire gauge", examples: "20 awg or 0.75 mm2",
		units: map[string]unit{
			"awg": {scale: 1}, "ga": {scale: 1}, "gauge": {scale: 1}, "gaugeawg": {scale: 1},
			"mm2": {scale: 1}, "sqmm": {scale: 1}, "mm^2": {scale: 1}, "mmq": {scale: 1},
		},
		min: 0, max: 100, limits: "from 6 to 30 awg or from 0.05 to 16 mm2",
		below: "a wire gauge cannot be negative", foldCase: true,
	}
	awgFirst = regexp.MustCompile(`(?i)^(?:awg|#|gauge)\s*(\d+)$`)
)

// ParseWire reads a wire's gauge.
func ParseWire(text, bare string) (Gauge, error) {
	s := strings.TrimSpace(plain.Replace(text))
	if m := awgFirst.FindStringSubmatch(s); m != nil {
		s = m[1] + " awg"
	}
	value, err := gaugeKind.parse(s, bare)
	if err != nil {
		return Gauge{}, err
	}
	metric := strings.Contains(strings.ToLower(s), "mm")
	if _, rest, err := number(s); err == nil && strings.TrimSpace(rest) == "" {
		metric = strings.Contains(bare, "mm")
	}
	switch {
	case metric && value >= 0.05 && value <= 16:
		return Gauge{MM2: value}, nil
	case !metric && value != float64(int(value)):
		return Gauge{}, fmt.Errorf("%s: a gauge number is whole: expected %s", quote(text), gaugeKind.examples)
	case !metric && value >= 6 && value <= 30:
		return Gauge{AWG: int(value)}, nil
	}
	return Gauge{}, fmt.Errorf("%s: out of range: a wire gauge is %s", quote(text), gaugeKind.limits)
}

// ParseReading reads a meter's reading in the SI unit of the quantity whose
// common unit is named: ohm, nF, V, mA or C. Any of them can be over-range.
func ParseReading(text, unitName, bare string) (value float64, over bool, err error) {
	if OverRange(text) {
		return 0, true, nil
	}
	switch unitName {
	case "ohm":
		return ParseOhms(text, bare)
	case "nF", "uF", "pF", "F":
		value, err = ParseFarads(text, bare)
	case "V", "mV":
		value, err = ParseVolts(text, bare)
	case "mA", "A":
		value, err = ParseAmps(text, bare)
	case "C":
		value, err = ParseTemperature(text, bare)
	default:
		return 0, false, fmt.Errorf("no readings are taken in %s: expected ohm, nF, V, mA or C", quote(unitName))
	}
	return value, false, err
}

// scaled spells every prefix before every name of a unit.
func scaled(prefixes map[string]float64, names ...string) map[string]unit {
	units := map[string]unit{}
	for prefix, scale := range prefixes {
		for _, name := range names {
			if prefix+name != "" {
				units[prefix+name] = unit{scale: scale}
			}
		}
	}
	return units
}
