package faultmodel

import (
	"math/rand/v2"
	"testing"
)

func benchSweep(b *testing.B, qs []Quantity, truth Fault, kind Kind) {
	l := DefaultLoop(12, 146)
	m, err := NewModel(l, DefaultMeters())
	if err != nil {
		b.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	w := m.Draw(rng, truth)
	var rs []Reading
	for _, q := range qs {
		rs = append(rs, w.Read(q, 0, rng))
	}
	at := make([]float64, 1000)
	for i := range at {
		at[i] = l.TotalM() * float64(i) / 999
	}
	for b.Loop() {
		m.Sweep(rs, kind, at)
	}
}

func BenchmarkSweepOneReading(b *testing.B) {
	benchSweep(b, []Quantity{CapacitanceA}, Fault{Kind: Open, AtM: 90}, Open)
}

func BenchmarkSweepOneReadingLeadShort(b *testing.B) {
	benchSweep(b, []Quantity{LoopOhms}, Fault{Kind: LeadShort, AtM: 6}, LeadShort)
}

func BenchmarkSweepFiveReadings(b *testing.B) {
	benchSweep(b, []Quantity{LoopOhms, LegAToEarth, LegBToEarth, CapacitanceA, CapacitanceB}, Fault{Kind: Open, AtM: 90}, Open)
}

func BenchmarkSweepTenReadings(b *testing.B) {
	benchSweep(b, []Quantity{LoopOhms, LoopOhmsReversed, BoundaryOhms, LegAToEarth, LegBToEarth, CapacitanceA,
		CapacitanceB, LeadInOhmsOpen, AdapterVolts, TerminalVolts}, Fault{Kind: Open, AtM: 90}, Open)
}
