package diagnose

import (
	"slices"

	"loopfault/kb"
)

// InHand tells whether the person has every tool that a check takes.
func (d *Desk) InHand(c *kb.Check) bool {
	return !slices.ContainsFunc(c.Tools, func(tool string) bool { return !d.hand[tool] })
}
