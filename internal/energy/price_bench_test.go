package energy_test

import (
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

func BenchmarkUsualPrice(b *testing.B) {
	s := plant.Schedule{Hours: map[string]float64{"Mon-Fri": 12, "Sat": 6}, From: "05:00"}
	for b.Loop() {
		if _, err := energy.UsualPrice(night, "EUR", s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCompare(b *testing.B) {
	old, other := item("OLD", "ISO ePM1 60%", "45", 30, 80, 300), item("LOWER", "ISO ePM1 60%", "70", 24, 60, 450)
	for b.Loop() {
		if _, err := energy.Compare(bench(), old, other); err != nil {
			b.Fatal(err)
		}
	}
}
