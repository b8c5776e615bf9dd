package resistance_test

import (
	"math"
	"testing"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

// Published figures that no other test of this package names.
func TestPublishedFigures(t *testing.T) {
	t.Parallel()
	// Davies' clean medium: Δp = 64 α^1.5 (1 + 56 α³) μ U t/d_f², laminar in U and μ.
	davies := func(mu, u float64) float64 {
		const alpha, thick, fibre = 0.05, 1e-3, 10e-6
		return 64 * math.Pow(alpha, 1.5) * (1 + 56*alpha*alpha*alpha) * mu * u * thick / (fibre * fibre)
	}
	hot := resistance.Air{TempC: 35, Pa: 95000, RHPct: 60}
	laminar := resistance.ClassDefault(1, "test")
	limit := func(rule plant.LimitRule, class string, clean, final float64) float64 {
		l, err := resistance.LimitFor(plant.Site{}, plant.Bank{Rule: rule}, plant.Item{Class: class, FinalPa: final}, clean)
		if err != nil {
			t.Fatal(err)
		}
		return l.Pa
	}
	const (
		daviesForm = "Davies' formula for clean media, as printed at ingener.by"
		credit     = "fan power credit of ASHRAE 90.1, as in openstudio-standards"
		cct        = "CCT 105:2023, table C16.5"
	)
	for _, c := range []struct {
		what      string
		got, want float64
		rel       float64
		source    string
	}{
		{"laminar medium from 35 °C to standard air", hot.ToStandard(1), davies(resistance.Viscosity(20), 1) / davies(resistance.Viscosity(35), 1), 1e-6, daviesForm},
		{"laminar medium at half the airflow", laminar.Ratio(3, 1.5), davies(1.8e-5, 1) / davies(1.8e-5, 2), 1e-12, daviesForm},
		{"EPA filter of 120 Pa, twice initial", limit(plant.RuleTwiceClean, "E11", 120, 0), 240, 1e-12, cct},
		{"EPA filter, never above the maker's value", limit(plant.RuleTwiceClean, "E11", 120, 230), 230, 1e-12, cct},
		{"constant air velocity: up to the maker's maximum", limit("", "F7", 60, 450), 450, 1e-12, "BOMA BEST field guide"},
		{"MERV 16 of 200 Pa, twice clean", resistance.MERVFinalPa(16, 200), 2 * 200, 1e-12, credit + ": from MERV 16 on twice clean"},
		// The credits are for filters in use: less than the resistance at which the class's test ends.
		{"MERV 9 to 12, in wc", resistance.MERVFinalPa(12, 0) / units.PaPerInH2O, 1.0, 1e-9, "twice the credit of 0.5 in wc: " + credit},
		{"WHO interim target 1, 70 µg/m³, g in an hour", resistance.DustFedG(3, 70, 1), 0.756, 1e-9, "WHO air quality guidelines 2021; q·3600·C·1e-6, computed"},
		{"least air that needs no correction", resistance.Air{TempC: 29, Pa: 101325, RHPct: 50}.ToStandard(1.3), 1, 0.02, "ISO 16890-2: none from 1.16 to 1.24 kg/m³, from memory"},
		{"most air that needs no correction", resistance.Air{TempC: 11.5, Pa: 101325, RHPct: 50}.ToStandard(1.3), 1, 0.02, "ISO 16890-2: none from 1.16 to 1.24 kg/m³, from memory"},
	} {
		within(t, c.what, c.got, c.want, c.rel, c.source)
	}
	if end := resistance.MERVFinalPa(13, 0) / units.PaPerInH2O; !(0.9 < end) {
		t.Errorf("the test of MERV 13 ends at %.2f in wc, the credit for filters in use is 0.9 (%s)", end, credit)
	}
	for tempC, rho := range map[float64]float64{29: 1.16, 11.5: 1.24} {
		within(t, "density at the bound", resistance.Air{TempC: tempC, Pa: 101325, RHPct: 50}.Density(), rho, 5e-3, annex)
	}
}
