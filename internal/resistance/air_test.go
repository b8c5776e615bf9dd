package resistance_test

import (
	"math"
	"testing"

	"clogwise/internal/resistance"
)

// within fails unless got lies within a relative tolerance of want.
func within(t *testing.T, what string, got, want, rel float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.8g, want %.8g ± %g (%s)", what, got, want, rel, source)
	}
}

const (
	annex    = "computed from the formula of EN 779:2012 annex, ISO 16890-2 annex"
	icao     = "ICAO standard atmosphere"
	cipm     = "computed from CIPM-2007, Picard et al., Metrologia 45 (2008) 149–155"
	crc      = "CRC Handbook of Chemistry and Physics, viscosity of air"
	computed = "computed from the stated formula"
)

func TestAirByTheAnnex(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		air       resistance.Air
		pws       float64 // 0 = not checked
		rho, muE5 float64
	}{
		{"20 °C 50 %", resistance.Air{TempC: 20, Pa: 101325, RHPct: 50}, 2339.2507, 1.198823, 1.809675},
		{"20 °C dry", resistance.Air{TempC: 20, Pa: 101325}, 0, 1.204076, 1.809675},
		{"15 °C dry", resistance.Air{TempC: 15, Pa: 101325}, 1706.4022, 1.224970, 1.785698},
		{"0 °C 80 %", resistance.Air{TempC: 0, Pa: 101325, RHPct: 80}, 612.0569, 1.289878, 1.712548},
		{"35 °C 60 %", resistance.Air{TempC: 35, Pa: 101325, RHPct: 60}, 5620.8575, 1.131053, 1.880438},
		{"30 °C 950 hPa 50 %", resistance.Air{TempC: 30, Pa: 95000, RHPct: 50}, 4243.0454, 1.082460, 1.857040},
		{"35 °C 950 hPa 60 %", resistance.Air{TempC: 35, Pa: 95000, RHPct: 60}, 5620.8575, 1.059550, 1.880438},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.pws > 0 {
				within(t, "saturated vapour pressure", resistance.SaturatedVapourPa(c.air.TempC), c.pws, 1e-6, annex)
			}
			within(t, "density", c.air.Density(), c.rho, 1e-6, annex)
			within(t, "viscosity", resistance.Viscosity(c.air.TempC)*1e5, c.muE5, 1e-6, annex)
		})
	}
}

func TestAirAgainstOtherSources(t *testing.T) {
	t.Parallel()
	density := func(tempC, rh float64) float64 {
		return resistance.Air{TempC: tempC, Pa: 101325, RHPct: rh}.Density()
	}
	for _, c := range []struct {
		what      string
		got, want float64
		rel       float64
		source    string
	}{
		{"density 15 °C dry", density(15, 0), 1.2250, 1e-4, icao},
		{"density 20 °C 50 %", density(20, 50), 1.199314, 6e-4, cipm},
		{"density 15 °C dry", density(15, 0), 1.225521, 6e-4, cipm},
		{"density 23 °C 45 %", density(23, 45), 1.186707, 6e-4, cipm},
		{"viscosity 15 °C", resistance.Viscosity(15), 1.7894e-5, 5e-3, icao + ", from memory"},
		{"viscosity 100 K", resistance.Viscosity(100 - 273.15), 7.1e-6, 0.03, crc},
		{"viscosity 200 K", resistance.Viscosity(200 - 273.15), 13.3e-6, 0.03, crc},
		{"viscosity 300 K", resistance.Viscosity(300 - 273.15), 18.5e-6, 0.03, crc},
		{"viscosity 400 K", resistance.Viscosity(400 - 273.15), 23.1e-6, 0.03, crc},
		{"viscosity 500 K", resistance.Viscosity(500 - 273.15), 27.1e-6, 0.03, crc},
		{"viscosity 600 K", resistance.Viscosity(600 - 273.15), 30.8e-6, 0.03, crc},
		{"viscosity 15 °C", resistance.Viscosity(15), 1.78938e-5, 3e-3, "computed from Sutherland's formula with 1.458e-6"},
		{"viscosity 300 K", resistance.Viscosity(300 - 273.15), 18.460e-6, 3e-3, "computed from Sutherland's formula with 1.458e-6"},
		{"pressure at sea level", resistance.PressureAtPa(0), 101325, 0, "ISO 2533:1975"},
		{"pressure at 1000 m", resistance.PressureAtPa(1000), 89875, 2e-3, "ISO 2533:1975, from memory"},
		{"pressure at 3000 m", resistance.PressureAtPa(3000), 70109, 2e-3, "ISO 2533:1975, from memory"},
		{"pressure beyond the layer", resistance.PressureAtPa(20000), resistance.PressureAtPa(11000), 0, "the end of the layer"},
	} {
		within(t, c.what, c.got, c.want, c.rel, c.source)
	}
}

func TestToStandard(t *testing.T) {
	t.Parallel()
	air := resistance.Air{TempC: 35, Pa: 95000, RHPct: 60}
	for _, c := range []struct{ n, want float64 }{
		{1, 144.3553}, {1.3, 151.5822}, {1.5, 156.6001}, {2, 169.8834},
	} {
		within(t, "150 Pa at 1.20 kg/m³", 150*air.ToStandard(c.n), c.want, 1e-6, annex)
	}
	within(t, "standard air", resistance.Air{TempC: 20, Pa: 101325, RHPct: 50}.ToStandard(1.3), 1, 4e-4, "1.1988 kg/m³ is 0.1 % from 1.20")
}
