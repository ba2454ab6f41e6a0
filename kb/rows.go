package kb

import "maps"

// Distribution is the chance of each of the check's answers, in their order,
// where the given causes and no others are present: none is the baseline, one
// its row, two are combined as [Check.Combine] says. It is nil for a check
// without answers of its own to weigh.
func (c *Check) Distribution(causes ...string) []float64 {
	if len(c.Baseline.P) == 0 {
		return nil
	}
	base := c.chances(&c.Baseline)
	p := base
	for i, id := range causes {
		row := c.Row(id)
		if row == &c.Baseline {
			continue
		}
		if i == 0 {
			p = c.chances(row)
			continue
		}
		p = c.pair(p, c.chances(row), base)
	}
	return p
}

func (c *Check) chances(r *Row) []float64 {
	p := make([]float64, len(c.Answers))
	for i, a := range c.Answers {
		p[i] = r.P[a.ID]
	}
	return p
}

// pair combines two distributions against the baseline. Answers with a share of
// their own are as likely under any cause and stand aside.
func (c *Check) pair(p1, p2, base []float64) []float64 {
	out := make([]float64, len(p1))
	rest, sum := 1.0, 0.0
	var f1, f2, fBase, before float64
	for i, a := range c.Answers {
		if a.Share.Value > 0 {
			out[i] = base[i]
			rest -= base[i]
			continue
		}
		switch c.Combine {
		case "product":
			if base[i] > 0 {
				out[i] = p1[i] * p2[i] / base[i]
			}
		default:
			f1, f2, fBase = f1+p1[i], f2+p2[i], fBase+base[i]
			f := before
			if fBase > 0 {
				f = max(before, f1*f2/fBase) // rows may be off by rounding, or learned
			}
			out[i] = f - before
			before = f
		}
		sum += out[i]
	}
	if sum <= 0 {
		return base
	}
	for i, a := range c.Answers {
		if a.Share.Value == 0 {
			out[i] *= rest / sum
		}
	}
	return out
}

// shares is the part of the answers that say nothing about the fault.
func (c *Check) shares() float64 {
	var s float64
	for _, a := range c.Answers {
		s += a.Share.Value
	}
	return s
}

// withShares scales the rows to make room for the answers that have a share of
// their own, so that every row holds all answers.
func (c *Check) withShares() {
	if s := c.shares(); s > 0 {
		c.eachRow(func(p map[string]float64) {
			for id := range p {
				p[id] *= 1 - s
			}
			for _, a := range c.Answers {
				if a.Share.Value > 0 {
					p[a.ID] = a.Share.Value
				}
			}
		})
	}
}

// withoutShares undoes withShares, to the form of the file.
func (c *Check) withoutShares() {
	if s := c.shares(); s > 0 {
		c.eachRow(func(p map[string]float64) {
			for _, a := range c.Answers {
				if a.Share.Value > 0 {
					delete(p, a.ID)
				}
			}
			for id := range p {
				p[id] /= 1 - s
			}
		})
	}
}

// eachRow changes copies of the rows' distributions.
func (c *Check) eachRow(change func(p map[string]float64)) {
	c.Baseline.P = maps.Clone(c.Baseline.P)
	change(c.Baseline.P)
	rows := make([]Row, len(c.Rows))
	for i, r := range c.Rows {
		r.P = maps.Clone(r.P)
		change(r.P)
		rows[i] = r
	}
	c.Rows = rows
}
