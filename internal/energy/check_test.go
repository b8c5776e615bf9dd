package energy_test

import (
	"math"
	"testing"

	"github.com/shopspring/decimal"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// within fails unless got lies within a relative tolerance of want.
func within(t *testing.T, what string, got, want, rel float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.8g, want %.8g ± %g (%s)", what, got, want, rel, source)
	}
}

const computed = "computed from the stated formula"

// duty is 3 m³/s at an efficiency of 0.5, 0.20 a kWh, 0.177 kgCO2e a kWh (UK
// government conversion factors 2025, generation).
func duty(control plant.FanControl) energy.Duty {
	return energy.Duty{
		Control: control, FlowM3s: 3, Law: resistance.ClassDefault(1.3, "test"),
		Efficiency: energy.Efficiency{Eta: 0.5},
		Price:      energy.Price{PerKWh: decimal.RequireFromString("0.20"), Currency: "GBP"},
		Carbon:     plant.Carbon{KgPerKWh: 0.177, Source: "UK government conversion factors", Year: 2025},
	}
}
