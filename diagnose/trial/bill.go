package trial

import (
	"math"
	"slices"

	"loopfault/diagnose"
	"loopfault/kb"
	"loopfault/locate"
)

// Bill is what a call took.
type Bill struct {
	Minutes, Money float64 // money: minutes at their rate, material and tools got
	Questions      int     // checks asked, taps apart
	Taps           int
	Splices        float64 // new ones left in the wire
	Digs           int     // spots and stretches opened
	NeedlessDigs   int     // while nothing that digging finds was wrong
	Parts          int     // repairs that used material
	NeedlessParts  int     // for something that was not wrong
	Unsafe         int     // steps against a safety rule or without its caution
}

// meter runs up the bill. The prices are the knowledge base's, for every strategy
// alike, and do not depend on what a strategy says of itself.
type meter struct {
	Bill
	c     *Caller
	base  *kb.Base
	site  locate.Site
	costs locate.Costs
	role  string
	hand  []string
	hereM float64
	open  float64   // chainage of the spot that lies open now; NaN where none
	cuts  []float64 // where joins of this call are: opened again they leave no new splice
}

func newMeter(c *Caller) *meter {
	m := &meter{c: c, open: math.NaN(), base: c.base(), site: c.house.desk.Site(), costs: c.house.desk.Costs(), role: string(c.house.c.Role)}
	m.hand = slices.Clone(c.house.c.Tools)
	if slices.Contains(m.hand, "meter") && slices.Contains(m.hand, "spade") {
		m.hand = append(m.hand, "earth-rod")
	}
	return m
}

// charge adds a step, before its answer changes the truth.
func (m *meter) charge(s diagnose.Step) {
	defer func() {
		if s.Kind != diagnose.NextTap && s.Kind != diagnose.NextCheck {
			m.open = math.NaN()
		}
	}()
	switch s.Kind {
	case diagnose.NextCheck:
		m.Questions++
		m.obtain(s.Check.Tools)
		m.spend(s.Check.Minutes.For(m.role))
		m.dig(s.Check.Digs)
	case diagnose.NextTap:
		m.obtain(s.Check.Tools)
		m.tap(*s.AtM)
		return
	case diagnose.NextRefer:
		m.Minutes += m.base.Settings.ReferMinutes.For(m.role)
		m.Money += m.base.Settings.ReferCost.For(m.role)
	case diagnose.NextDone:
	default:
		m.repair(s)
	}
}

func (m *meter) spend(minutes float64) {
	m.Minutes += minutes
	m.Money += minutes * m.costs.PerMinute
}

// obtain gets the tools that are not at hand, once.
func (m *meter) obtain(tools []string) {
	for _, id := range tools {
		if slices.Contains(m.hand, id) {
			continue
		}
		m.hand = append(m.hand, id)
		if t := m.base.Tool(id); t != nil {
			m.spend(max(0, t.ObtainMinutes.For(m.role)))
			m.Money += t.ObtainPrice.Value
		}
	}
}

func (m *meter) dig(digs bool) {
	if !digs {
		return
	}
	m.Digs++
	if !m.c.inGround() {
		m.NeedlessDigs++
	}
}

// inGround tells whether something is wrong that is found or mended with a spade.
func (c *Caller) inGround() bool {
	for _, f := range c.faults {
		if f.standing && !math.IsNaN(f.AtM) {
			return true
		}
	}
	return false
}

func (m *meter) walk(toM float64) {
	d := math.Abs(toM - m.hereM)
	if m.site.ChordM != nil {
		d = m.site.ChordM(m.hereM, toM)
	} else {
		d = min(d, m.site.LengthM-d)
	}
	m.spend(d * m.costs.WalkMinutesPerM)
	m.hereM = toM
}

// ground is what lies over a chainage.
func (m *meter) ground(xM float64) string {
	surface := "turf"
	for _, z := range m.site.Zones {
		if z.Surface != "" && xM >= z.FromM && xM <= z.ToM {
			surface = z.Surface
		}
	}
	return surface
}

// sameSpotM is how near two openings are one spot, and an opening is at a splice.
const sameSpotM = 0.5

// tap opens a spot, or reads again at the one that lies open.
func (m *meter) tap(atM float64) {
	m.Taps++
	if math.Abs(m.open-atM) < sameSpotM {
		m.spend(m.costs.ReadMinutes)
		return
	}
	m.open = atM
	m.walk(atM)
	c := &m.costs
	work, splices := c.TapMinutes, c.JoinsPerTap
	for _, x := range append(slices.Clone(m.site.SplicesM), m.cuts...) {
		if math.Abs(x-atM) < sameSpotM {
			work, splices = c.OpenSpliceMinutes, 0
		}
	}
	m.cuts = append(m.cuts, atM)
	m.spend(work + c.DigMinutes[m.ground(atM)] + c.LayMinutesPerM*min(atM, m.site.LengthM-atM))
	m.join(max(1, splices))
	m.Splices += splices
	m.dig(true)
}

// mended adds what it takes to mend a fault that an opened spot showed: a piece of
// wire between two joins, one of them the tap's own.
func (m *meter) mended() {
	m.join(1)
	m.Splices++
	m.spend(m.costs.CheckMinutes)
	m.open = math.NaN()
}

// join makes waterproof splices.
func (m *meter) join(n float64) {
	m.spend(n * m.costs.JoinMinutes)
	m.Money += n * m.costs.JoinPrice
}

// repair charges a repair: along the wire by what is opened, laid and joined,
// elsewhere by the knowledge base's minutes and materials.
func (m *meter) repair(s diagnose.Step) {
	right := m.base.Repair(s.ID) == nil || m.base.Repair(s.ID).Cause == ""
	ends := false
	for _, f := range m.c.faults {
		ends = ends || f.standing && m.c.engine().Ends(s.ID, f.Cause)
	}
	right = right && s.Kind == diagnose.NextVerify || ends
	along := s.FromM != nil && s.ToM != nil
	if r := s.Repair; r != nil {
		m.obtain(r.Tools)
		if s.Kind != diagnose.NextReplaceSection && !(along && r.Digs) {
			m.spend(r.Minutes.For(m.role))
			for _, u := range r.Uses {
				if item := m.base.Item(u.Item); item != nil {
					m.Money += u.Quantity * item.Price.Value
				}
			}
			m.dig(r.Digs && s.Kind != diagnose.NextVerify)
			m.part(len(r.Uses) > 0, right)
			if r.ID == "replace-loop" {
				length := m.site.LengthM
				m.spend(length * m.costs.TrenchMinutesPerM)
				m.Money += length * m.costs.WirePerM
			}
			return
		}
	}
	if !along {
		return
	}
	from, to := min(*s.FromM, *s.ToM), max(*s.FromM, *s.ToM)
	m.walk((from + to) / 2)
	weigh := m.weigh(from, to)
	if s.Kind == diagnose.NextReplaceSection {
		m.spend(m.costs.ReplaceMinutes + m.costs.TrenchMinutesPerM*weigh)
		m.Money += (to - from) * m.costs.WirePerM
	} else {
		m.spend(m.costs.OpenMinutesPerM * weigh)
	}
	m.join(2)
	m.Splices += 2
	m.spend(m.costs.CheckMinutes)
	m.dig(true)
	m.part(true, right)
}

func (m *meter) part(uses, right bool) {
	if !uses {
		return
	}
	m.Parts++
	if !right {
		m.NeedlessParts++
	}
}

// weigh is the length of turf that takes as long to trench as a stretch, m.
func (m *meter) weigh(fromM, toM float64) float64 {
	const step = 0.3048
	var sum float64
	for x := fromM; x < toM; x += step {
		f, ok := m.costs.TrenchFactor[m.ground(x+step/2)]
		if !ok {
			f = 1
		}
		sum += f * min(step, toM-x)
	}
	return sum
}
