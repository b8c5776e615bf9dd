package energy_test

import (
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// Published figures that no other test of this package names.
func TestPublishedFigures(t *testing.T) {
	t.Parallel()
	const (
		polish   = "Polish building regulations as printed at hvacr.pl: 300 W/(m³/s) more for an extra filter stage, 600 from H10 on"
		handbook = "Improving Fan System Performance, from memory: bhp · 0.746 · h · price / motor efficiency"
	)
	for _, c := range []struct {
		what      string
		got, want float64
		rel       float64
		source    string
	}{
		{"kWh a year per Pa at 3400 m³/h", energy.EuroventKWh(1), 11.33333, 5e-4, "Eurovent 4/21 with 3400/3600 m³/s instead of 0.944, computed"},
		{"150 Pa of an extra stage", energy.SFP(150, 0.5), 300, 1e-12, polish},
		{"300 Pa of a stage from H10 on", energy.SFP(300, 0.5), 600, 1e-12, polish},
		{"833 Pa at 3 m³/s all year, kWh", energy.FanPowerW(3, 5000.0/3*0.5, 0.5) * 8.76, 43800, 1e-9, "5 kW for 8760 h, computed"},
		{"10 hp all year at 0.05, motor 0.9", energy.FanPowerIP(2000, 10*6356.0/2000, 0.9) / 1000 * 8760 * 0.05, 10 * 0.746 * 8760 * 0.05 / 0.9, 0.02, handbook},
		{"no efficiency given", energy.EfficiencyOf(plant.Efficiency{}).Eta, 0.55, 0.19, "0.45 to 0.65 overall, typical values from memory"},
		{"backward-curved, V-belt, IE3, drive", energy.EfficiencyOf(plant.Efficiency{Fan: 0.77, Belt: 0.93, MotorClass: "IE3", MotorKW: 7.5, Drive: 0.96}).Eta, 0.62, 0.10, "typical values from memory"},
	} {
		within(t, c.what, c.got, c.want, c.rel, c.source)
	}
}

// What other people measured gives the order of what is computed here.
func TestComputedFiguresAreOfThePublishedOrder(t *testing.T) {
	t.Parallel()
	loss := energy.SpeedHeld(fixedFan(0.05), plant.Bank{}, law13, 130, 300)
	held := energy.FanPowerW(3, 1070, 1) / loss.CleanW
	// One bag of 610 × 610 mm at 0.944 m³/s, 0.07 a kWh, bought at 90 and fitted.
	d := duty(plant.FlowHeld)
	d.FlowM3s, d.Price.PerKWh = 0.944, dec("0.07")
	bag, err := energy.LeastCost(energy.Plan{ChangeCost: 110, FiltersCost: 90, PerPaHour: d.PerPaHour(), Curve: ramp(100, 300, 8760)})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what          string
		got, from, to float64
		source        string
	}{
		{"filter's share of fan pressure, clean", 130.0 / loss.CleanPa, 0.10, 0.70, "10 to 70 % of an AHU's fan energy: Liu, Claridge, Deng, Int. J. Energy Res. 27 (2003) 589"},
		{"filter's share of fan pressure, loaded", loss.FilterPa / loss.NowPa, 0.10, 0.70, "10 to 70 % of an AHU's fan energy: Liu, Claridge, Deng, Int. J. Energy Res. 27 (2003) 589"},
		{"power at held airflow, share more", held - 1, 0.05, 0.25, "+11 to +18 % with speed control: Zaatari, Novoselac, Siegel 2014, abstract"},
		{"airflow at fixed speed, share less", loss.LostPct / 100, 0.03, 0.13, "−8 to −13 % without speed control: Zaatari, Novoselac, Siegel 2014, abstract"},
		{"one bag, a year", bag.PerYear, 100, 847, "about $100 to 847 a filter and year at C$0.07 a kWh: Montgomery, Green, Rogak, Energy Build. 47 (2012) 643"},
	} {
		if !(c.got >= c.from && c.got <= c.to) {
			t.Errorf("%s: %.3g, want %g to %g (%s)", c.what, c.got, c.from, c.to, c.source)
		}
	}
	// What filters cost in all, by share.
	year := compare(t, bench())[0]
	of := func(m units.Money) float64 { return m.Amount.InexactFloat64() / year.Total.Amount.InexactFloat64() }
	for _, c := range []struct {
		what          string
		got, from, to float64
	}{
		{"energy, 70 %", of(year.Energy), 0.5, 0.85}, {"filters, 15 %", of(year.Filters), 0.08, 0.3},
		{"change and downtime, 13 %", of(year.Labour) + of(year.Visits), 0.05, 0.25}, {"waste, 2 %", of(year.Disposal), 0.005, 0.05},
	} {
		if !(c.got >= c.from && c.got <= c.to) {
			t.Errorf("%s: %.2f of the year's cost, want %g to %g (split of costs as printed at gesec.fr)", c.what, c.got, c.from, c.to)
		}
	}
	// A straight life has on average the mean of its clean and its final resistance.
	p := duty(plant.FlowHeld).Penalty(energy.Life{Curve: ramp(60, 145, 4380), Hours: 4380}, 168)
	within(t, "mean of a life, kWh", p.SoFar.KWh, duty(plant.FlowHeld).Energy((60+145)/2.0*4380).KWh, 1e-6, "design resistance of a filter: mean of clean and recommended maximum, EN 16798-3:2017")
}
