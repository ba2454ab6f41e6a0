package faultmodel

import (
	"math/rand/v2"
	"testing"
)

func benchReadings(b *testing.B, m *Model, truth Fault, qs ...Quantity) []Reading {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	return take(m.Draw(rng, truth), rng, 0, qs...)
}

// BenchmarkSweep judges 1,000 places on a loop whose tables are filled.
func BenchmarkSweep(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	at := places(1000, 0, 170)
	ten := append([]Quantity{LoopOhmsReversed, BoundaryOhms, LeadInOhmsOpen, AdapterVolts, TerminalVolts}, wireReadings...)
	for _, c := range []struct {
		name  string
		truth Fault
		qs    []Quantity
	}{
		{"open, one reading", Fault{Kind: Open, AtM: 90}, []Quantity{CapacitanceA}},
		{"lead-short, one reading", Fault{Kind: LeadShort, AtM: 6}, []Quantity{LoopOhms}},
		{"series, three readings", Fault{Kind: Series, AtM: 90}, []Quantity{LoopOhms, SideAOhms, SideBOhms}},
		{"leak, five readings", Fault{Kind: Leak, AtM: 90}, wireReadings},
		{"open, five readings", Fault{Kind: Open, AtM: 90}, wireReadings},
		{"open, ten readings", Fault{Kind: Open, AtM: 90}, ten},
	} {
		b.Run(c.name, func(b *testing.B) {
			rs := benchReadings(b, m, c.truth, c.qs...)
			for b.Loop() {
				m.Sweep(rs, c.truth.Kind, at)
			}
		})
	}
}

// BenchmarkFreshSweep is the same on a loop never seen before.
func BenchmarkFreshSweep(b *testing.B) {
	known := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, known, Fault{Kind: Open, AtM: 90}, wireReadings...)
	at := places(1000, 0, 170)
	for b.Loop() {
		m := newTestModel(b, known.loop)
		m.Sweep(rs, Open, at)
	}
}

func BenchmarkSweepPairs(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, Fault{Kind: Open, AtM: 90}, wireReadings...)
	at := places(60, 0, 170)
	for b.Loop() {
		m.SweepPairs(rs, Open, Open, at)
	}
}

func BenchmarkLogLikelihoodOfPair(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, Fault{Kind: Open, AtM: 90}, wireReadings...)
	for b.Loop() {
		m.LogLikelihood(rs, Fault{Kind: Open, AtM: 90}, Fault{Kind: Series, AtM: 30})
	}
}

func BenchmarkSweepPredict(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, Fault{Kind: Open, AtM: 90}, wireReadings[:3]...)
	at := places(24, 0, 170)
	for b.Loop() {
		m.SweepPredict(rs, CapacitanceA, 0, Open, at)
	}
}

func BenchmarkSweepWidths(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rng := rand.New(rand.NewPCG(1, 2))
	ws := m.Draw(rng, Fault{Kind: TooDeep, AtM: 80}).Widths(places(20, 12, 158), rng)
	at := places(1000, 0, 170)
	for _, k := range []Kind{TooDeep, Leak, Series} {
		b.Run(string(k), func(b *testing.B) {
			for b.Loop() {
				m.SweepWidths(ws, k, at)
			}
		})
	}
}

// BenchmarkCold is what one case asks of a model never asked before: a technician's
// readings of a break on 500 ft of wire.
func BenchmarkCold(b *testing.B) {
	loop := DefaultLoop(12.2, 128)
	rs := []Reading{
		{Quantity: LoopOhms, OverRange: true},
		{Quantity: LegAToEarth, Value: 12e6}, {Quantity: LegBToEarth, Value: 15e6},
		{Quantity: CapacitanceA, Value: 13.9e-9}, {Quantity: CapacitanceB, Value: 11.2e-9},
	}
	kinds := []Kind{Healthy, Open, Series, Leak, Touch, LeadShort, ArresterShort, LooseTerminal, OutsideRating}
	qs := []Quantity{LoopOhms, LoopOhmsReversed, BoundaryOhms, LegAToEarth, LegBToEarth, CapacitanceA, CapacitanceB,
		LeadInOhmsOpen, AdapterVolts, TerminalVolts, LoopCurrent}
	at, few, grid := places(305, 0, loop.TotalM()), places(16, 0, loop.TotalM()), places(40, 0, loop.TotalM())
	for _, c := range []struct {
		name string
		ask  func(m *Model)
	}{
		{"sweep of every kind", func(m *Model) {
			for _, k := range kinds {
				m.Sweep(rs, k, at)
			}
		}},
		{"forecast of every quantity", func(m *Model) {
			for _, q := range qs {
				for _, k := range kinds {
					if k != Touch {
						m.SweepPredict(rs, q, 0, k, few)
					}
				}
			}
		}},
		{"two breaks", func(m *Model) { m.SweepPairs(rs, Open, Open, grid) }},
		{"a break and every other", func(m *Model) {
			for _, k := range kinds[2:] {
				f := Fault{Kind: k, AtM: 5}
				if k == Touch {
					f.ToM = 90
				}
				m.LogLikelihood(rs, Fault{Kind: Open, AtM: 80}, f)
			}
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				c.ask(newTestModel(b, loop))
			}
		})
	}
	for _, k := range kinds {
		b.Run("sweep of "+string(k), func(b *testing.B) {
			for b.Loop() {
				newTestModel(b, loop).Sweep(rs, k, at)
			}
		})
	}
}
