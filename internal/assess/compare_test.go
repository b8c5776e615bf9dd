package assess_test

import (
	"math"
	"testing"

	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

// The curve of a bank goes on past the limit of the fitted item: one that may load
// to a higher resistance is changed when it gets there, not after many years.
func TestComparedItemLoadsOnPastTheFittedLimit(t *testing.T) {
	t.Parallel()
	_, in := pairOf(plant.SpeedHeld, "100") // no energy counts, so limits alone end lives
	c := in.Register.Contents()
	bank := c.Banks["s/a/secondary"]
	bank.LimitPa = 0
	c.Banks["s/a/secondary"] = bank
	for i := range c.Items {
		if c.Items[i].Code == "S" {
			c.Items[i].FinalPa = 250
			c.Items[i].Points = []plant.FlowPoint{{FlowM3s: 0.75, Pa: 80}}
			high := c.Items[i]
			high.Code, high.FinalPa, high.Price = "HIGH", 450, decimal.NewFromInt(90)
			c.Items = append(c.Items, high)
		}
	}
	in.Register = plant.NewRegister(c)
	out, err := assess.Compare(in, []string{"HIGH"})
	if err != nil {
		t.Fatal(err)
	}
	// Straight from 80 to 250 Pa in 240 days: 450 Pa after 370/170 of it.
	ratio := out[1].Hours / out[0].Hours
	if !out[1].AtLimit || out[1].Open || math.Abs(ratio/(370.0/170)-1) > 0.2 {
		t.Errorf("%.0f h to 250 Pa, %.0f h to 450 Pa (%+v), want 2.18 times as many (computed)", out[0].Hours, out[1].Hours, out[1])
	}
}

// Without a gauge the cap on age ends every life.
func TestComparedWithoutAGauge(t *testing.T) {
	t.Parallel()
	_, in := pairOf(plant.FlowHeld, "100")
	c := in.Register.Contents()
	bank := c.Banks["s/a/secondary"]
	bank.Gauge.Absent, bank.MaxHours = true, 1500
	c.Banks["s/a/secondary"] = bank
	in.Register = plant.NewRegister(c)
	out, err := assess.Compare(in, nil)
	if err != nil || len(out) != 1 || math.Abs(out[0].Hours/1500-1) > 1e-6 || !out[0].AtCap || out[0].Basis != energy.ByAgeAlone {
		t.Errorf("%+v, %v, want a change every 1500 h", out, err)
	}
}

// A secondary that its primary's changes make load more slowly still ends at its cap
// on age.
func TestPairsKeepTheCapOfTheSecondary(t *testing.T) {
	t.Parallel()
	primary, secondary := pairOf(plant.FlowHeld, "5000")
	c := secondary.Register.Contents()
	bank := c.Banks["s/a/secondary"]
	bank.MaxHours = 2500 // its limit comes after 240 days of 24 hours
	c.Banks["s/a/secondary"] = bank
	primary.Register, secondary.Register = plant.NewRegister(c), plant.NewRegister(c)
	got, err := assess.Pairs(primary, secondary)
	if err != nil || len(got) == 0 {
		t.Fatal(got, err)
	}
	for _, p := range got {
		if p.SecondaryHours > 2500*(1+1e-9) {
			t.Errorf("%d primaries: the secondary stays in %.0f h, beyond its cap of 2500", p.K, p.SecondaryHours)
		}
	}
	if p := got[1]; math.Abs(p.SecondaryHours/2500-1) > 1e-3 { // visits are so dear that none is made sooner
		t.Errorf("two primaries: %.0f h, want the cap", p.SecondaryHours)
	}
}
