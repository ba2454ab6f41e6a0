package quantity

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Strict is the bare unit of files: a number without a unit is an error.
const Strict = ""

// unit is one spelling's meaning: SI = value*scale + offset.
type unit struct {
	scale  float64
	offset float64
}

// kind is one sort of quantity: its units by spelling, what it may be, and how
// an error speaks of it.
type kind struct {
	name     string // with its article: "a length"
	examples string // "480 ft or 146 m"
	units    map[string]unit
	min, max float64
	limits   string // the range in people's units
	below    string // hint where the value is negative; may be empty
	foldCase bool   // spellings do not depend on case
	compound bool   // may be a sum of falling units: 3 ft 6 in
	after    map[string]string
}

// spaces and signs that word processors and phones put in place of plain ones.
var plain = strings.NewReplacer(
	"\u00a0", " ", "\u202f", " ", "\u2009", " ", "\t", " ",
	"\u2212", "-", "\u2013", "-",
	"\u2032", "'", "\u2019", "'", "\u2018", "'", "\u00b4", "'",
	"\u2033", `"`, "\u201d", `"`, "\u201c", `"`, "''", `"`,
	"\u2126", "\u03a9", // ohm sign to capital omega
	"\u03bc", "\u00b5", // Greek mu to micro sign
	"\u00b2", "2",
)

var (
	numberRE    = regexp.MustCompile(`^[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?`)
	fractionRE  = regexp.MustCompile(`^(?:(\d+)[ -])?(\d+)/(\d+)`)
	thousandsRE = regexp.MustCompile(`^[+-]?\d{1,3}(?:,\d{3})+$`)
	groupedRE   = regexp.MustCompile(`^[+-]?\d{1,3}(?:,\d{3})+\.\d*$|^[+-]?\d{1,3}(?:,\d{3}){2,}$`)
)

// number reads the number at the head of s and returns what follows it.
func number(s string) (value float64, rest string, err error) {
	if f := fractionRE.FindStringSubmatch(s); f != nil {
		whole := 0.0
		if f[1] != "" {
			whole, _ = strconv.ParseFloat(f[1], 64)
		}
		top, _ := strconv.ParseFloat(f[2], 64)
		bottom, _ := strconv.ParseFloat(f[3], 64)
		if bottom == 0 {
			return 0, "", fmt.Errorf("%s divides by zero", f[0])
		}
		return whole + top/bottom, s[len(f[0]):], nil
	}
	text := numberRE.FindString(s)
	if text == "" {
		return 0, "", errNoNumber
	}
	rest = s[len(text):]
	mantissa := text
	if i := strings.IndexAny(text, "eE"); i >= 0 {
		mantissa = text[:i]
	}
	// A comma closing the number is punctuation, not part of it.
	if trimmed := strings.TrimRight(mantissa, ","); trimmed != mantissa && len(mantissa) == len(text) {
		rest = strings.TrimLeft(text[len(trimmed):], ",") + rest
		text, mantissa = trimmed, trimmed
	}
	digits := mantissa
	switch {
	case groupedRE.MatchString(mantissa):
		digits = strings.ReplaceAll(mantissa, ",", "")
	case thousandsRE.MatchString(mantissa) && !strings.HasPrefix(strings.TrimLeft(mantissa, "+-"), "0"):
		return 0, "", fmt.Errorf("%s can be read as %s or as %s: write it without the comma",
			mantissa, strings.ReplaceAll(mantissa, ",", ""), strings.Replace(mantissa, ",", ".", 1))
	case strings.Count(mantissa, ",")+strings.Count(mantissa, ".") > 1:
		return 0, "", fmt.Errorf("%s is not a number: write it with one decimal point and nothing between the thousands", mantissa)
	default:
		digits = strings.Replace(mantissa, ",", ".", 1)
	}
	value, err = strconv.ParseFloat(digits+text[len(mantissa):], 64)
	if err != nil { // only out of range is left
		return 0, "", fmt.Errorf("%s is too large to be a number here", text)
	}
	return value, rest, nil
}

var errNoNumber = fmt.Errorf("no number")

// parse reads text as a quantity of the kind, in SI.
func (k *kind) parse(text, bare string) (float64, error) {
	fail := func(format string, args ...any) (float64, error) {
		return 0, fmt.Errorf("%s: %s", quote(text), fmt.Sprintf(format, args...))
	}
	s := strings.TrimSpace(plain.Replace(text))
	if s == "" {
		return 0, fmt.Errorf("nothing given: expected %s, such as %s", k.name, k.examples)
	}
	total, last, lastUnit := 0.0, math.Inf(1), ""
	for first := true; s != ""; first = false {
		value, rest, err := number(s)
		if err == errNoNumber {
			return fail("expected %s, such as %s", k.name, k.examples)
		}
		if err != nil {
			return fail("%v", err)
		}
		spelling, rest := k.cutUnit(rest)
		if spelling == "" {
			switch {
			case !first && k.after[lastUnit] != "":
				spelling = k.after[lastUnit]
			case first && bare != Strict && strings.TrimSpace(rest) == "":
				spelling = bare
			case first:
				return fail("%s needs its unit, such as %s", k.name, k.examples)
			default:
				return fail("the last number needs its unit")
			}
		}
		u, ok := k.units[k.fold(spelling)]
		if !ok {
			return fail("%s is not a unit of %s: expected %s", quote(spelling), strings.TrimPrefix(strings.TrimPrefix(k.name, "a "), "an "), k.examples)
		}
		if u.scale == 0 { // known, and refused on purpose
			return fail("%s could be milli or mega: write 4.7 Mohm or 0.0047 ohm", quote(spelling))
		}
		if !first && (!k.compound || u.scale >= last || value < 0) {
			return fail("expected one number and one unit, such as %s", k.examples)
		}
		total += value*u.scale + u.offset
		last, lastUnit, s = u.scale, k.fold(spelling), strings.TrimSpace(rest)
	}
	if k.below != "" && total < 0 {
		return fail("%s", k.below)
	}
	if !(total >= k.min && total <= k.max) { // NaN fails too
		return fail("out of range: %s is %s", k.name, k.limits)
	}
	return total, nil
}

// cutUnit splits the unit off the head of s. Only a compound kind may have
// another number behind the unit; of the others the unit is all that is left,
// so that "mm2" and "sq ft" stay whole.
func (k *kind) cutUnit(s string) (spelling, rest string) {
	if k.compound {
		end := strings.IndexAny(s, "0123456789.,+-")
		if end < 0 {
			end = len(s)
		}
		s, rest = s[:end], s[end:]
	}
	return strings.ReplaceAll(strings.TrimSpace(s), " ", ""), rest
}

func (k *kind) fold(spelling string) string {
	if k.foldCase {
		return strings.ToLower(spelling)
	}
	return spelling
}

// quote shows what was read, shortened and on one line, whatever it holds.
func quote(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "..."
	}
	return strconv.Quote(s)
}
