package assess_test

import (
	"testing"

	"clogwise/internal/assess"
	"clogwise/internal/plant"
)

// Where the cap on age comes before the limit, less dust puts nothing off: no
// interval that is told goes beyond the cap.
func TestFirmnessStaysWithinTheCap(t *testing.T) {
	t.Parallel()
	_, in := pairOf(plant.FlowHeld, "5000") // so dear that waiting for the limit is cheapest
	c := in.Register.Contents()
	bank := c.Banks["s/a/secondary"]
	bank.MaxHours = 2000 // the limit comes after 240 days of 24 hours
	c.Banks["s/a/secondary"] = bank
	in.Register = plant.NewRegister(c)
	rows, err := assess.Firmness(in)
	if err != nil || len(rows) != 6 {
		t.Fatalf("%+v, %v", rows, err)
	}
	for _, r := range rows {
		if !r.AtLimit || r.Hours > 2000*(1+1e-9) || r.Hours < 1999 {
			t.Errorf("%s %s: %.0f h, want the cap of 2000", r.What, r.Change, r.Hours)
		}
	}
}
