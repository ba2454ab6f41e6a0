package trial

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"loopfault/diagnose"
	"loopfault/kb"
)

// World is where callers come from: households that call, and what goes wrong
// with them. It is safe for use by several goroutines.
type World struct {
	Name   string
	engine *diagnose.Engine // whose knowledge is the truth here
	seed   uint64
	habits func(diagnose.Role) Habits
}

// household is one yard and the person who looks after it.
type household struct {
	c     diagnose.Case  // as the asked engine is told; no log
	desk  *diagnose.Desk // the truth about it
	prior []diagnose.Hypothesis
	share []float64 // probabilities of prior
}

// Habits are how a person errs beyond the mistakes in the knowledge base's own
// tables, as chances for each question.
type Habits struct {
	DontKnow   float64
	Later      float64
	Unsure     float64 // marks the answer as unsure, and then often guesses
	Moment     float64 // says whether the fault showed at the time
	Volunteer  float64 // answers a question nobody asked
	Repeat     float64 // says the same thing again later
	GivesPlace float64 // says where, if the answer has a where
	Misread    float64 // reads the wrong range or clips to the wrong wire
}

// habits of the home world: judgement.
func habitsAtHome(r diagnose.Role) Habits {
	h := Habits{DontKnow: 0.06, Later: 0.02, Unsure: 0.06, Moment: 0.05, Volunteer: 0.06, Repeat: 0.02, GivesPlace: 0.8, Misread: 0.01}
	switch r {
	case diagnose.Technician:
		h.DontKnow, h.Unsure = 0.02, 0.03
	case diagnose.Support:
		h.DontKnow = 0.12
	}
	return h
}

// Home is the world that the knowledge base describes.
func Home(base *kb.Base, seed uint64) *World {
	return &World{"home", diagnose.New(base, diagnose.Options{Year: thisYear}), seed, habitsAtHome}
}

// Away is a world that the knowledge base gets wrong: causes are more or less
// common by half as much again, answers to questions come from tables that differ,
// one in twenty of them says nothing, the soil is not as the map says, and
// people err twice as often.
func Away(base *kb.Base, seed uint64) *World {
	other := diagnose.New(tilted(base, source(seed, "tilt", 0)), diagnose.Options{Year: thisYear})
	return &World{"away", other, seed, func(r diagnose.Role) Habits {
		h := habitsAtHome(r)
		for _, v := range []*float64{&h.DontKnow, &h.Later, &h.Unsure, &h.Volunteer, &h.Repeat, &h.Misread} {
			*v *= 2
		}
		return h
	}}
}

// household draws the i-th. In the away world the truth has another soil than the map.
func (w *World) household(i int) (*household, error) {
	rng := source(w.seed, "household", i)
	role := []diagnose.Role{diagnose.Homeowner, diagnose.Technician, diagnose.Support}[pick(rng, []float64{0.4, 0.45, 0.15})]
	h := &household{c: diagnose.Case{Name: fmt.Sprintf("%s %d", w.Name, i), Role: role, Yard: drawYard(rng, role)}}
	h.c.Tools = drawTools(rng, w.engine.Base(), role)
	truth := h.c
	if w.Name != "home" && truth.Yard != nil {
		other := *truth.Yard
		other.Soil.Moisture = []string{"dry", "moist", "wet"}[rng.IntN(3)]
		truth.Yard = &other
	}
	if err := h.settle(w.engine, &truth); err != nil {
		return nil, fmt.Errorf("household %d of the %s world: %w", i, w.Name, err)
	}
	return h, nil
}

// settle prepares the truth about the household.
func (h *household) settle(e *diagnose.Engine, truth *diagnose.Case) (err error) {
	if h.desk, err = e.At(truth); err != nil {
		return err
	}
	h.prior = h.desk.Prior()
	for _, p := range h.prior {
		h.share = append(h.share, p.P)
	}
	return nil
}

// drawTools are the role's usual ones, and now and then another.
func drawTools(rng *rand.Rand, base *kb.Base, role diagnose.Role) []string {
	more := map[string]float64{"spare-wire": 0.5, "new-battery": 0.6, "meter": 0.25, "lamp": 0.3}
	if role == diagnose.Technician {
		more = map[string]float64{"capacitance": 0.6, "new-battery": 0.9, "second-collar": 0.5, "clamp": 0.3, "tracer": 0.3, "earth-rod": 0.5, "collar": 1}
	}
	if role == diagnose.Support {
		more = map[string]float64{"new-battery": 0.4, "spare-wire": 0.2}
	}
	var out []string
	for i := range base.Tools {
		t := &base.Tools[i]
		if has := chance(rng, more[t.ID]); has || slices.Contains(t.Usual, string(role)) {
			out = append(out, t.ID)
		}
	}
	return out
}

// tilted is a knowledge base that differs from base as the away world does.
func tilted(base *kb.Base, rng *rand.Rand) *kb.Base {
	own := *base
	own.Causes, own.Checks = slices.Clone(base.Causes), slices.Clone(base.Checks)
	for i := range own.Causes {
		own.Causes[i].Prior.Value = logNormal(rng, own.Causes[i].Prior.Value, 0.45)
		own.Causes[i].Place = slices.Clone(own.Causes[i].Place)
		var total float64
		for k := range own.Causes[i].Place {
			p := &own.Causes[i].Place[k]
			p.Share = logNormal(rng, p.Share, 0.45)
			total += p.Share
		}
		for k := range own.Causes[i].Place {
			own.Causes[i].Place[k].Share /= total
		}
	}
	for i := range own.Checks {
		c := &own.Checks[i]
		c.Mistake.Value = min(2*c.Mistake.Value, 0.2)
		c.Rows = slices.Clone(c.Rows)
		for k := range c.Rows {
			c.Rows[k].P = perturbed(c, c.Rows[k].P, rng)
		}
	}
	return &own
}

const (
	// perturbedConcentration is that of the Dirichlet a row is drawn from: a row
	// learned from so many cases would differ as much.
	perturbedConcentration = 12
	perturbedNoise         = 0.05 // the share of answers that say nothing
)

// perturbed draws another distribution about a row, in the order of the answers
// so that the draw is the same each time.
func perturbed(c *kb.Check, row map[string]float64, rng *rand.Rand) map[string]float64 {
	out := make(map[string]float64, len(row))
	var total float64
	for _, a := range c.Answers {
		if p := row[a.ID]; p > 0 {
			out[a.ID] = gamma(rng, p*perturbedConcentration)
			total += out[a.ID]
		}
	}
	for _, a := range c.Answers {
		out[a.ID] = (1-perturbedNoise)*out[a.ID]/total + perturbedNoise*c.Baseline.P[a.ID]
	}
	return out
}
