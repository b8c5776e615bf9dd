package forecast_test

import (
	"math"
	"slices"
	"testing"

	"clogwise/internal/forecast"
)

func TestDoseAndBack(t *testing.T) {
	t.Parallel()
	events := []forecast.Event{{FromX: 100, ToX: 200, Rate: 3}, {FromX: 150, ToX: 300, Rate: 2}, {FromX: 500, ToX: 600}}
	tests := []struct{ x, dose float64 }{ // computed from the stated formula
		{50, 50}, {100, 100}, {150, 250}, {200, 450}, {300, 650}, {400, 750}, {1000, 1350},
	}
	for _, tt := range tests {
		if got := forecast.Dose(tt.x, events); math.Abs(got-tt.dose) > 1e-9 {
			t.Errorf("dose at %v: %v, want %v", tt.x, got, tt.dose)
		}
		if got := forecast.FromDose(tt.dose, events); math.Abs(got-tt.x) > 1e-9 {
			t.Errorf("place of dose %v: %v, want %v", tt.dose, got, tt.x)
		}
	}
}

func TestAnEventOfUnknownRateIsReadFromTheReadings(t *testing.T) {
	t.Parallel()
	event := forecast.Event{FromX: 600, ToX: 800, Rate: 4}
	life := forecast.Life{Obs: cake(2000, 25), LimitPa: 200, CleanPa: 80}
	for i := range life.Obs { // straight in dose
		life.Obs[i].Pa = 80 + 120*forecast.Dose(life.Obs[i].X, []forecast.Event{event})/3000
	}
	prior := forecast.ClassPrior("secondary")
	if got := forecast.EventRate(prior, life, event); got < 2.2 || got > 6 {
		t.Errorf("rate %.2f, want about 4", got)
	}
	calm := life
	calm.Obs = slices.Clone(cake(2000, 25))
	if got := forecast.EventRate(prior, calm, event); got > 1.6 {
		t.Errorf("rate %.2f where nothing happened, want about 1", got)
	}
}
