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
