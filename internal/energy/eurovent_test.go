package energy_test

import (
	"errors"
	"testing"

	"clogwise/internal/energy"
)

func TestEurovent(t *testing.T) {
	t.Parallel()
	const source = "Eurovent 4/21, mean by the trapezoid over dust (from memory), computed"
	steps := []energy.DustStep{{0, 80}, {25, 88}, {50, 97}, {100, 118}, {150, 143}, {200, 172}}
	mean, err := energy.EuroventMeanPa(steps)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "mean", mean, 120.9375, 1e-12, source)
	within(t, "yearly energy", energy.EuroventKWh(mean), 1369.98, 1e-6, source)
	within(t, "yearly energy at 80 Pa", energy.EuroventKWh(80), 906.24, 1e-9, source)
	within(t, "per pascal", energy.EuroventKWh(1), 11.328, 1e-9, source)
	within(t, "money per pascal at 0.10", energy.EuroventKWh(1)*0.10, 1.13, 0.01, "about 1 € per Pa and year, published cost split")
	for name, bad := range map[string][]energy.DustStep{
		"none": nil, "one": {{0, 80}}, "not clean": {{10, 80}, {20, 90}}, "falling": {{0, 80}, {50, 90}, {40, 95}}, "doubled": {{0, 80}, {50, 90}, {50, 95}},
	} {
		if got, err := energy.EuroventMeanPa(bad); !errors.Is(err, energy.ErrDustSteps) {
			t.Errorf("%s: %g, %v, want ErrDustSteps", name, got, err)
		}
	}
}
