package faultmodel

import (
	"math/rand/v2"
	"testing"
)

var fiveQuantities = []Quantity{LoopOhms, LegAToEarth, LegBToEarth, CapacitanceA, CapacitanceB}

func benchReadings(b *testing.B, m *Model, qs []Quantity, truth Fault) []Reading {
	rng := rand.New(rand.NewPCG(1, 2))
	w := m.Draw(rng, truth)
	var rs []Reading
	for _, q := range qs {
		rs = append(rs, w.Read(q, 0, rng))
	}
	return rs
}

func benchPlaces(m *Model, n int) []float64 {
	at := make([]float64, n)
	for i := range at {
		at[i] = m.loop.TotalM() * (float64(i) + 0.5) / float64(n)
	}
	return at
}

func BenchmarkFreshModelSweepFive(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, fiveQuantities, Fault{Kind: Open, AtM: 90})
	at := benchPlaces(m, 1000)
	for b.Loop() {
		m, _ := NewModel(m.loop, m.meters)
		m.Sweep(rs, Open, at)
	}
}

func BenchmarkFreshPredict(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	for b.Loop() {
		m.Predict(LoopOhms, Fault{Kind: Open, AtM: 60})
	}
}

func BenchmarkPredictCapacitance(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	for b.Loop() {
		m.Predict(CapacitanceA, Fault{Kind: Open, AtM: 60})
	}
}

func BenchmarkSweepPredictGivenThree(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, fiveQuantities[:3], Fault{Kind: Open, AtM: 90})
	at := benchPlaces(m, 24)
	for b.Loop() {
		m.SweepPredict(rs, CapacitanceA, 0, Open, at)
	}
}

func BenchmarkFreshSweepPredict(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	at := benchPlaces(m, 24)
	for b.Loop() {
		m, _ := NewModel(m.loop, m.meters)
		m.SweepPredict(nil, CapacitanceA, 0, Open, at)
	}
}

func BenchmarkPairsTwoBreaks(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, fiveQuantities, Fault{Kind: Open, AtM: 90})
	at := benchPlaces(m, 60)
	for b.Loop() {
		m.SweepPairs(rs, Open, Open, at)
	}
}

func BenchmarkPairsMixed(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, fiveQuantities, Fault{Kind: Open, AtM: 90})
	at := benchPlaces(m, 60)
	for b.Loop() {
		m.SweepPairs(rs, Open, Series, at)
	}
}

func BenchmarkSweepWidths(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rng := rand.New(rand.NewPCG(1, 2))
	ws := m.Draw(rng, Fault{Kind: TooDeep, AtM: 80}).Widths(benchPlaces(m, 20), rng)
	at := benchPlaces(m, 1000)
	for _, k := range []Kind{TooDeep, Leak, Series} {
		b.Run(string(k), func(b *testing.B) {
			for b.Loop() {
				m.SweepWidths(ws, k, at)
			}
		})
	}
}

func BenchmarkLogLikelihoodPair(b *testing.B) {
	m := newTestModel(b, DefaultLoop(12, 146))
	rs := benchReadings(b, m, fiveQuantities, Fault{Kind: Open, AtM: 90})
	for b.Loop() {
		m.LogLikelihood(rs, Fault{Kind: Open, AtM: 90}, Fault{Kind: Series, AtM: 30})
	}
}
