package kb

import "maps"

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
