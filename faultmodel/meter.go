package faultmodel

import "math"

// DigitAt is the value of the last digit the meter shows at a value: the
// finest, or a decade coarser for each decade by which the display overflows.
func (m Meter) DigitAt(value float64) float64 {
	d := m.Resolution
	if m.DisplayCount <= 0 || d <= 0 {
		return d
	}
	for math.Abs(value) > d*m.DisplayCount {
		d *= 10
	}
	return d
}

// HalfWidth is the limit of error the data sheet promises at a value,
// "percent of reading plus counts", SI.
func (m Meter) HalfWidth(value float64) float64 {
	return m.AccuracyFrac*math.Abs(value) + m.Counts*m.DigitAt(value)
}

// Uncertainty is the standard uncertainty of one reading: the half-width taken
// as a rectangular distribution, a/sqrt(3). Source: JCGM 100:2008 (GUM) 4.3.7,
// clause from memory.
func (m Meter) Uncertainty(value float64) float64 { return m.HalfWidth(value) / math.Sqrt(3) }

// gainSD is the part of the uncertainty that all readings on this function
// share, as a fraction: it cancels in ratios.
func (m Meter) gainSD() float64 { return m.AccuracyFrac / math.Sqrt(3) }

// digitSD is the part that each reading has for itself: the counts, and the
// rounding to the last digit (0.289 of it, GUM F.2.2.1).
func (m Meter) digitSD(value float64) float64 {
	d := m.DigitAt(value)
	return d * math.Sqrt(m.Counts*m.Counts/3+1.0/12)
}

// round is the value as the display shows it.
func (m Meter) round(value float64) float64 {
	d := m.DigitAt(value)
	if d <= 0 {
		return value
	}
	return math.Round(value/d) * d
}
