package energy_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

func TestFanPower(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		what      string
		got, want float64
		rel       float64
		source    string
	}{
		{"1 Pa all year, kWh", energy.FanPowerW(3, 1, 0.5) * 8.76, 52.56, 1e-9, computed},
		{"1 Pa and 1 m³/s all year, kWh", energy.FanPowerW(1, 1, 0.5) * 8.76, 17.52, 1e-9, computed},
		{"85 Pa, W", energy.FanPowerW(3, 85, 0.5), 510, 1e-9, computed},
		{"900 Pa at held airflow, W", energy.FanPowerW(3, 900, 0.5), 5400, 1e-9, computed},
		{"1070 Pa at held airflow, W", energy.FanPowerW(3, 1070, 0.5), 6420, 1e-9, computed},
		{"2000 cfm, 0.2 in wg, η 0.65: hp", energy.AirHorsepower(2000, 0.2) / 0.65, 0.0968195, 1e-5, "cfm · in wg / 6356, worked example printed as 0.097 hp"},
		{"conventional inch instead of 6356", units.WPerHp / (units.M3sPerCfm * units.PaPerInH2O), 6343.31, 1e-6, computed},
		{"SFP of 100 Pa", energy.SFP(100, 0.5), 200, 1e-9, computed},
		{"pressure that 10 kW give at 3 m³/s", 10000.0 / 3 * 0.5, 1667, 1e-3, "P = q Δp / η: more airflow is likelier, common practice, no source"},
		{"SFP of 833 Pa", energy.SFP(5000.0/3*0.5, 0.5), 1666.67, 1e-5, "5 kW at 3 m³/s"},
	} {
		within(t, c.what, c.got, c.want, c.rel, c.source)
	}
}

// The American and the SI way agree within 0.25 %: 6356 belongs to water at 68 °F.
func TestFanPowerInBothSystems(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		q, pa, eta := 0.1+20*rng.Float64(), 5+1500*rng.Float64(), 0.3+0.6*rng.Float64()
		ip := energy.FanPowerIP(units.Cfm.FromM3s(q), units.InH2O.FromPa(pa), eta)
		within(t, "W", ip, energy.FanPowerW(q, pa, eta), 0.0025, "difference of the 6356 constant")
		if ip == energy.FanPowerW(q, pa, eta) {
			t.Fatal("the two constants cannot agree to the last digit")
		}
	}
}

func TestFanLaws(t *testing.T) {
	t.Parallel()
	_, _, bhp := energy.FanLaws(15800, 0, 6.3, 20000.0/15800)
	within(t, "15 800 to 20 000 cfm", bhp, 12.77789, 1e-6, "worked example of a fan manual, 6.3 bhp")
	_, _, hp := energy.FanLaws(0, 0, 5, 1250.0/1000)
	within(t, "1000 to 1250 rpm", hp, 9.765625, 1e-9, "worked example of a fan-law page, 5 hp")
	flow, _, power := energy.FanLaws(15800, 0, 6.3, 18430.77/15800)
	within(t, "10 bhp allows", flow, 18430.77, 1e-9, "worked example of a fan manual")
	within(t, "10 bhp", power, 10, 1e-5, "worked example of a fan manual")
	q, pa, w := energy.FanLaws(3, 900, 5400, 0.9)
	within(t, "power from flow and pressure", w, 5400*(q/3)*(pa/900), 1e-12, "P = q Δp / η")
}

func TestSFPCategory(t *testing.T) {
	t.Parallel()
	const source = "EN 16798-3:2017"
	for sfp, want := range map[float64]int{300: 0, 301: 1, 500: 1, 750: 2, 1250: 3, 1666.67: 4, 2000: 4, 3000: 5, 4500: 6, 4501: 7} {
		if got := energy.SFPCategory(sfp); got != want {
			t.Errorf("%g W/(m³/s): SFP %d, want %d (%s)", sfp, got, want, source)
		}
	}
}

func TestEfficiencyOf(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		e    plant.Efficiency
		want float64
		says string
	}{
		{"overall rules", plant.Efficiency{Overall: 0.58, Fan: 0.7, Motor: 0.9}, 0.58, "register"},
		{"all parts", plant.Efficiency{Fan: 0.7, Belt: 0.94, Motor: 0.9, Drive: 0.96}, 0.7 * 0.94 * 0.9 * 0.96, "belt 0.94"},
		{"direct drive", plant.Efficiency{Fan: 0.7, Motor: 0.9}, 0.63, "fan 0.70 × motor 0.90"},
		{"motor by class", plant.Efficiency{Fan: 0.7, MotorClass: "IE3", MotorKW: 7.5}, 0.7 * 0.904, "IE3, 7.5 kW"},
		{"motor out of range", plant.Efficiency{Fan: 0.7, MotorClass: "IE3", MotorKW: 355}, 0.63, "out of range"},
		{"motor not given", plant.Efficiency{Fan: 0.7}, 0.63, "motor not given"},
		{"nothing", plant.Efficiency{}, 0.5, "Eurovent 4/21"},
		{"no sense", plant.Efficiency{Overall: 1.3}, 0.5, "Eurovent 4/21"},
	} {
		got := energy.EfficiencyOf(c.e)
		within(t, c.name, got.Eta, c.want, 1e-12, "product of the parts")
		if !strings.Contains(got.Source, c.says) {
			t.Errorf("%s: source %q does not say %q", c.name, got.Source, c.says)
		}
	}
}
