package quantity_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"loopfault/diagnose/quantity"
)

// Conversions are exact by definition: 1 ft = 0.3048 m, 1 in = 25.4 mm, 1 yd =
// 0.9144 m, 1 acre = 43,560 ft2 (NIST Special Publication 811, appendix B.8).
const rounding = 1e-12 // relative; a few roundings of a float64

func TestParseLength(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{
		"480 ft": 146.304, "480ft": 146.304, "480 FT": 146.304, "480 feet": 146.304, "480'": 146.304,
		"146 m": 146, "146 metres": 146, "146meters": 146, "146,5 m": 146.5, ".5 m": 0.5, "5. m": 5,
		`3' 6"`: 1.0668, `3'6"`: 1.0668, "3'6": 1.0668, "3 ft 6 in": 1.0668, "3ft6in": 1.0668, "3 ft 6": 1.0668,
		"3′ 6″": 1.0668, "3’ 6”": 1.0668,
		"14in": 0.3556, `14"`: 0.3556, "14 inches": 0.3556, "14''": 0.3556, "1/2 in": 0.0127, "3 1/2 in": 0.0889,
		"6 cm": 0.06, "75 mm": 0.075, "1 m 20 cm": 1.2, "10 yd": 9.144,
		"1,200.5 ft": 365.9124, "1e2 m": 100, "010 m": 10, "0 ft": 0, "480\u00a0ft": 146.304,
	} {
		got, err := quantity.ParseLength(text, quantity.Strict)
		if assert.NoError(t, err, text) {
			assert.InDelta(t, want, got, rounding*(1+want), text)
		}
	}
}

func TestTypedAnswersTakeTheUnitThatWasAsked(t *testing.T) {
	t.Parallel()
	got, err := quantity.ParseLength(" 480 ", "ft")
	require.NoError(t, err)
	assert.InDelta(t, 146.304, got, 1e-9)
	got, err = quantity.ParseLength("480 m", "ft")
	require.NoError(t, err, "what is typed wins over what was asked")
	assert.Equal(t, 480.0, got)
	got, err = quantity.ParseTemperature("50", "F")
	require.NoError(t, err)
	assert.InDelta(t, 10, got, 1e-9)
	wire, err := quantity.ParseWire("20", "awg")
	require.NoError(t, err)
	assert.Equal(t, quantity.Gauge{AWG: 20}, wire)
	wire, err = quantity.ParseWire("0,75", "mm2")
	require.NoError(t, err)
	assert.Equal(t, quantity.Gauge{MM2: 0.75}, wire)
}

func TestParseOhms(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{
		"12.3 ohm": 12.3, "12.3ohms": 12.3, "12.3 Ω": 12.3, "12.3 \u2126": 12.3, "12.3 Ohm": 12.3,
		"12,5 k": 12500, "12,5 kΩ": 12500, ".35 kohm": 350, "35k": 35000, "35 Kohm": 35000, "35kΩ": 35000,
		"4.7 Mohm": 4.7e6, "4.7M": 4.7e6, "4.7 megohm": 4.7e6, "4.7 meg": 4.7e6, "1 Gohm": 1e9, "2 kilohms": 2000,
		"4k7": 4700, "12R3": 12.3, "1M5": 1.5e6, // IEC 60062
		"0 ohm": 0,
	} {
		got, over, err := quantity.ParseOhms(text, quantity.Strict)
		if assert.NoError(t, err, text) {
			assert.False(t, over, text)
			assert.InEpsilon(t, 1+want, 1+got, 1e-12, text)
		}
	}
	for _, text := range []string{"OL", "ol", "O.L", "0L", "over-range", "Over range", "open", "OPEN", " over-limit ", "∞"} {
		_, over, err := quantity.ParseOhms(text, quantity.Strict)
		assert.NoError(t, err, text)
		assert.True(t, over, text)
	}
}

func TestParseOthers(t *testing.T) {
	t.Parallel()
	parse := map[string]func(string, string) (float64, error){
		"farads": quantity.ParseFarads, "temperature": quantity.ParseTemperature, "volts": quantity.ParseVolts,
		"amps": quantity.ParseAmps, "percent": quantity.ParsePercent, "minutes": quantity.ParseMinutes, "area": quantity.ParseArea,
	}
	for _, c := range []struct {
		kind, text string
		want       float64
	}{
		{"farads", "22 nF", 22e-9}, {"farads", "22n", 22e-9}, {"farads", "0.022 uF", 22e-9}, {"farads", "0,022 µF", 22e-9},
		{"farads", "0.022 μF", 22e-9}, {"farads", "850 pF", 850e-12},
		{"temperature", "10 C", 10}, {"temperature", "10 °C", 10}, {"temperature", "50 F", 10}, {"temperature", "-40 F", -40},
		{"temperature", "−5 C", -5}, {"temperature", "212 F", 100}, // no soil boils; the range is checked below
		{"volts", "12.1 V", 12.1}, {"volts", "350 mV", 0.35}, {"volts", "9 Vdc", 9},
		{"amps", "38 mA", 0.038}, {"amps", "0.2 A", 0.2},
		{"percent", "3 %", 0.03}, {"percent", "0.9%", 0.009},
		{"minutes", "15 min", 15}, {"minutes", "1 h 20 min", 80}, {"minutes", "1.5 h", 90}, {"minutes", "1h20", 80}, {"minutes", "90 s", 1.5},
		{"area", "1 acre", 4046.8564224}, {"area", "1/3 acre", 4046.8564224 / 3}, {"area", "1350 m2", 1350},
		{"area", "1350 m²", 1350}, {"area", "14,520.0 sq ft", 14520 * 0.09290304}, {"area", "0.2 ha", 2000},
	} {
		got, err := parse[c.kind](c.text, quantity.Strict)
		if c.text == "212 F" {
			assert.ErrorContains(t, err, "from -60 to 90 C")
			continue
		}
		if assert.NoError(t, err, c.text) {
			assert.InEpsilon(t, c.want, got, 1e-12, c.text)
		}
	}
}

func TestParseWire(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]quantity.Gauge{
		"20 awg": {AWG: 20}, "20AWG": {AWG: 20}, "AWG 20": {AWG: 20}, "#14": {AWG: 14}, "18 gauge": {AWG: 18},
		"0.75 mm2": {MM2: 0.75}, "0,75 mm²": {MM2: 0.75}, "1.5 sq mm": {MM2: 1.5},
	} {
		got, err := quantity.ParseWire(text, quantity.Strict)
		if assert.NoError(t, err, text) {
			assert.Equal(t, want, got, text)
			again, err := quantity.ParseWire(got.String(), quantity.Strict)
			require.NoError(t, err)
			assert.Equal(t, got, again)
		}
	}
	for text, want := range map[string]string{
		"20":       "needs its unit",
		"20.5 awg": "a gauge number is whole",
		"2 awg":    "from 6 to 30 awg",
		"50 mm2":   "from 0.05 to 16 mm2",
		"20 mm":    `"mm" is not a unit of wire gauge`,
	} {
		_, err := quantity.ParseWire(text, quantity.Strict)
		assert.ErrorContains(t, err, want, text)
	}
}

func TestWhatIsRefused(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"":           "nothing given: expected a length",
		"480":        "a length needs its unit, such as 480 ft",
		"ft":         "expected a length",
		"NaN ft":     "expected a length",
		"inf m":      "expected a length",
		"+Inf m":     "expected a length",
		"1e400 m":    "too large",
		"-3 ft":      "a length cannot be negative",
		"20 km":      `"km" is not a unit of length`,
		"99999 m":    "out of range: a length is from 0 to 10000 m",
		"12 ohm":     `"ohm" is not a unit of length`,
		"1,200 ft":   "can be read as 1200 or as 1.200",
		"1.2.3 m":    "not a number",
		"3 in 2 ft":  "expected one number and one unit",
		"3 ft -2 in": "expected one number and one unit",
		"3 m 2":      "the last number needs its unit",
		"1/0 ft":     "divides by zero",
		"3 ft\x00":   "is not a unit",
	} {
		_, err := quantity.ParseLength(text, quantity.Strict)
		assert.ErrorContains(t, err, want, text)
	}
	_, _, err := quantity.ParseOhms("4.7 mohm", quantity.Strict)
	assert.ErrorContains(t, err, "milli or mega")
	_, _, err = quantity.ParseOhms("-2 ohm", quantity.Strict)
	assert.ErrorContains(t, err, "leads swapped")
	_, _, err = quantity.ParseOhms("22 nF", quantity.Strict)
	assert.ErrorContains(t, err, `"nF" is not a unit of resistance`)
	_, err = quantity.ParsePercent("130 %", quantity.Strict)
	assert.ErrorContains(t, err, "from 0 to 100 %")
	_, _, err = quantity.ParseReading("12", "furlong", "furlong")
	assert.ErrorContains(t, err, "expected ohm, nF, V, mA or C")
	_, err = quantity.ParseUnits("yards")
	assert.ErrorContains(t, err, "expected ft or m")
}

func TestParseReading(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text, unit string
		want       float64
		over       bool
	}{
		{"12.4", "ohm", 12.4, false}, {"OL", "ohm", 0, true}, {"13.9", "nF", 13.9e-9, false},
		{"over-range", "nF", 0, true}, {"12", "V", 12, false}, {"38", "mA", 0.038, false}, {"50 F", "C", 10, false},
	} {
		got, over, err := quantity.ParseReading(c.text, c.unit, c.unit)
		require.NoError(t, err, c.text)
		assert.Equal(t, c.over, over, c.text)
		assert.InDelta(t, c.want, got, 1e-12, c.text)
	}
}

func TestFormat(t *testing.T) {
	t.Parallel()
	for want, got := range map[string]string{
		"309 ft":        quantity.FormatLength(309.2*0.3048, quantity.Feet),
		"94.2 m":        quantity.FormatLength(94.2432, quantity.Metres),
		"4.5 ft":        quantity.FormatLength(4.5*0.3048, quantity.Feet),
		"0.06 m":        quantity.FormatLength(0.06, quantity.Metres),
		"300 to 314 ft": quantity.FormatRange(300*0.3048, 314*0.3048, quantity.Feet),
		"150 ft":        quantity.FormatRange(150*0.3048, 150*0.3048, quantity.Feet),
		"12.3 ohm":      quantity.FormatOhms(12.34),
		"5.08 ohm":      quantity.FormatOhms(5.0812),
		"35.2 kohm":     quantity.FormatOhms(35190),
		"1 kohm":        quantity.FormatOhms(999.7),
		"4.7 Mohm":      quantity.FormatOhms(4.7e6),
		"0 ohm":         quantity.FormatOhms(-0.0001),
		"13.9 nF":       quantity.FormatFarads(13.9e-9),
		"850 pF":        quantity.FormatFarads(850e-12),
		"1.2 uF":        quantity.FormatFarads(1.2e-6),
		"12.1 V":        quantity.FormatVolts(12.1),
		"350 mV":        quantity.FormatVolts(0.35),
		"38 mA":         quantity.FormatAmps(0.038),
		"50 F":          quantity.FormatTemperature(10, quantity.Feet),
		"10 C":          quantity.FormatTemperature(10, quantity.Metres),
		"62 %":          quantity.FormatPercent(0.62),
		"3.5 %":         quantity.FormatPercent(0.035),
		"under 0.1 %":   quantity.FormatPercent(0.0004),
		"99.4 %":        quantity.FormatPercent(0.994),
		"over 99.9 %":   quantity.FormatPercent(0.9999),
		"100 %":         quantity.FormatPercent(1),
		"12 min":        quantity.FormatMinutes(12.2),
		"1 h 20 min":    quantity.FormatMinutes(80),
		"30 s":          quantity.FormatMinutes(0.5),
		"? min":         quantity.FormatMinutes(math.NaN()),
		"? %":           quantity.FormatPercent(math.NaN()),
		"over-range":    quantity.FormatReading(0, true, "ohm"),
		"480 ft":        quantity.WriteLength(146.304, quantity.Feet),
		"12.35 kohm":    quantity.WriteOhms(12350),
		"22 nF":         quantity.WriteFarads(22e-9),
		"3 %":           quantity.WritePercent(0.03),
	} {
		assert.Equal(t, want, got)
	}
}

// What is written for a file reads back to the same value, whatever it is.
func TestWriteReadsBack(t *testing.T) {
	t.Parallel()
	const lossless = 1e-10 // relative; WriteLength promises eleven digits
	same := func(t *rapid.T, want, got float64, text string, err error) {
		if err != nil || math.Abs(got-want) > lossless*math.Max(math.Abs(want), 1e-12) {
			t.Fatalf("%g was written as %q and read as %g (%v)", want, text, got, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		for _, u := range []quantity.Units{quantity.Feet, quantity.Metres} {
			text := quantity.WriteLength(share*1e4, u)
			got, err := quantity.ParseLength(text, quantity.Strict)
			same(t, share*1e4, got, text, err)
		}
		for unit, most := range map[string]float64{"ohm": 1e10, "nF": 1e-5, "V": 900, "mA": 10, "C": 80} {
			text := quantity.WriteReading(share*most, false, unit)
			got, over, err := quantity.ParseReading(text, unit, quantity.Strict)
			if over {
				t.Fatalf("%q read as over-range", text)
			}
			same(t, share*most, got, text, err)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"480 ft", `3' 6"`, "12,5 kΩ", "1,200 ft", "OL", "4k7", "-5 C", "1/3 acre", "NaN", "1e999 m", "0.75 mm2", "\xff\xfe", "1 h 20"} {
		f.Add(seed, "ft")
	}
	f.Fuzz(func(t *testing.T, text, bare string) {
		finite := func(v float64, err error, low, high float64) {
			if err == nil && !(v >= low && v <= high) {
				t.Fatalf("%q read as %g", text, v)
			}
			if err != nil && strings.ContainsAny(err.Error(), "\x00\n\x1b") {
				t.Fatalf("%q: the message carries control characters", text)
			}
		}
		m, err := quantity.ParseLength(text, bare)
		finite(m, err, 0, 10000)
		ohm, _, err := quantity.ParseOhms(text, bare)
		finite(ohm, err, 0, 1e11)
		farad, err := quantity.ParseFarads(text, bare)
		finite(farad, err, 0, 1e-4)
		celsius, err := quantity.ParseTemperature(text, bare)
		finite(celsius, err, -60, 90)
		share, err := quantity.ParsePercent(text, bare)
		finite(share, err, 0, 1)
		areaM2, err := quantity.ParseArea(text, bare)
		finite(areaM2, err, 10, 1e6)
		if g, err := quantity.ParseWire(text, bare); err == nil && (g.AWG == 0) == (g.MM2 == 0) {
			t.Fatalf("%q read as %+v", text, g)
		}
	})
}
