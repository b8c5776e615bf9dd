package demo_test

import (
	"bytes"
	"testing"

	"clogwise/configs"
	"clogwise/internal/demo"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

func TestPortfolioHasNoFaults(t *testing.T) {
	t.Parallel()
	for name, raw := range map[string][]byte{
		"clinic.yaml": configs.DemoClinic, "hall.yaml": configs.DemoHall, "works.yaml": configs.DemoWorks,
	} {
		_, faults := registerfile.Read(name, bytes.NewReader(raw))
		for _, f := range faults {
			t.Errorf("%s", f)
		}
	}
	for _, f := range plant.Validate(demo.Portfolio()) {
		t.Errorf("together: %s", f)
	}
}
