package say_test

import (
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"clogwise/internal/assess"
	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/say"
	"clogwise/internal/units"
)

// What figures of energy and money rest on is told with them, each with its source.
func TestFiguresSayWhatTheyRestOn(t *testing.T) {
	t.Parallel()
	c := registerIn(units.SI).Contents()
	c.Sites[0].Tariff = plant.Tariff{PerKWh: decimal.RequireFromString("0.24"), Source: "contract 2026"}
	c.Sites[0].Carbon = plant.Carbon{KgPerKWh: 0.177, Source: "UK DESNZ", Year: 2025}
	ahu := c.AHUs["s/a"]
	ahu.DesignFlowM3s, ahu.FanControl = 3, plant.FlowHeld
	ahu.Efficiency = plant.Efficiency{Fan: 0.72, MotorClass: "IE3", MotorKW: 7.5, Drive: 0.96}
	c.AHUs["s/a"] = ahu
	a := loading()
	a.Energy.ChangeCost = eur("200")
	cost := func(c plant.Contents) string {
		reg := plant.NewRegister(c)
		site, _ := reg.Site("s")
		return say.Cost(say.At(site, now).In, []assess.Assessment{a}, nil, reg, now)
	}
	want := func(text string, parts ...string) {
		t.Helper()
		for _, p := range parts {
			if !strings.Contains(text, p) {
				t.Errorf("no %q in\n%s", p, text)
			}
		}
	}
	want(cost(c), "\n  Reckoned with 3.00 m³/s (6360 cfm), efficiency 0.62 (fan 0.72 × motor 0.904 (IE3, 7.5 kW) × drive 0.96), 0.24 EUR/kWh (contract 2026), 0.177 kgCO2e/kWh (UK DESNZ, 2025).")
	option := energy.Option{Item: plant.Item{Code: "OLD"}, KWh: 100}
	want(say.Compare("s/a/secondary", []energy.Option{option}, plant.NewRegister(c)), "\nReckoned with 3.00 m³/s (6360 cfm), efficiency 0.62")

	c.Sites[0].Language = "de"
	want(cost(c), "Gerechnet mit 3,00 m³/s (6360 cfm), Wirkungsgrad 0,62 (Ventilator 0,72 × Motor 0,904 (IE3, 7,5 kW) × Umrichter 0,96), 0,24 EUR/kWh (contract 2026), 0,177 kgCO2e/kWh (UK DESNZ, 2025).")

	c.Sites[0].Language, c.Sites[0].Units, c.Sites[0].Carbon = "en", units.IP, plant.Carbon{}
	c.Sites[0].Tariff.Bands = []plant.TariffBand{{Days: "daily", From: "22:00", To: "06:00", PerKWh: decimal.RequireFromString("0.12")}}
	ahu.Efficiency, ahu.FlowProfile = plant.Efficiency{}, []plant.FlowShare{{Fraction: 1, Share: 0.5}, {Fraction: 0.5, Share: 0.5}}
	c.AHUs["s/a"] = ahu
	// Round the clock: eight hours at 0.12 and sixteen at 0.24.
	want(cost(c), "Reckoned with the airflow profile up to 6360 cfm (3.00 m³/s), efficiency 0.50 (not given: taken as 0.50, reference of Eurovent 4/21), 0.20 EUR/kWh by the hour, fan hours as scheduled (contract 2026), no carbon factor.")

	c.Sites[0].Tariff = plant.Tariff{}
	want(cost(c), ", no tariff, ")
	ahu.DesignFlowM3s = 0
	c.AHUs["s/a"] = ahu
	if text := cost(c); strings.Contains(text, "Reckoned") {
		t.Errorf("no airflow to reckon with, yet\n%s", text)
	}
}
