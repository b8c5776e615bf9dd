package energy_test

import (
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

func TestDutyOf(t *testing.T) {
	t.Parallel()
	ahu := plant.AHU{
		DesignFlowM3s: 5, FanControl: plant.FlowHeld, Efficiency: plant.Efficiency{Overall: 0.6},
		FlowProfile: []plant.FlowShare{{Fraction: 1, Share: 1}},
	}
	site := plant.Site{Carbon: plant.Carbon{KgPerKWh: 0.2}}
	price := energy.Price{PerKWh: dec("0.25"), Currency: "EUR"}
	d := energy.DutyOf(ahu, plant.Bank{FlowShare: 0.6}, site, law13, price)
	within(t, "power of 100 Pa", d.PowerW(100), 3*100/0.6, 1e-12, "P = q Δp / η with 60 % of 5 m³/s")
	spent := d.Energy(100 * 1000)
	within(t, "kWh", spent.KWh, 500, 1e-12, "500 W over 1000 h")
	within(t, "carbon", spent.KgCO2e, 100, 1e-12, "0.2 kg a kWh")
	if got := spent.Money.String(); got != "€125.00" {
		t.Errorf("%s, want €125.00", got)
	}
	within(t, "money of a pascal hour", d.PerPaHour(), 0.005*0.25, 1e-12, "0.005 kWh at 0.25")
}
