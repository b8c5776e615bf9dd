package resistance_test

import (
	"math"
	"testing"

	"clogwise/internal/resistance"
)

// Figures computed from the stated formula, q·3600·C·1e-6, at concentrations that
// the WHO global air quality guidelines of 2021 name (PM10 15 µg/m³, interim
// targets 20, 30, 50).
func TestDustFed(t *testing.T) {
	for _, tc := range []struct {
		name              string
		flow, conc, hours float64
		want              float64 // g
	}{
		{"guideline", 3, 15, 1, 0.162},
		{"interim 4", 3, 20, 1, 0.216},
		{"interim 3", 3, 30, 1, 0.324},
		{"interim 2", 3, 50, 1, 0.540},
		{"one 3400 m³/h front", 3400.0 / 3600, 20, 1, 0.068},
		{"the same in a year", 3400.0 / 3600, 20, 8760, 595.68},
	} {
		if got := resistance.DustFedG(tc.flow, tc.conc, tc.hours); math.Abs(got-tc.want) > 1e-9*tc.want {
			t.Errorf("%s: %g g, want %g g", tc.name, got, tc.want)
		}
	}
}
