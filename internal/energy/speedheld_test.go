package energy_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// fixedFan is a fan 1350 − 50 q² that gives 3 m³/s against 900 Pa, 130 of them the
// clean bank's. At an efficiency of 1 its power is the air power.
func fixedFan(step float64) plant.AHU {
	a := plant.AHU{DesignFlowM3s: 3, FanControl: plant.SpeedHeld, DesignSystemPa: 900, Efficiency: plant.Efficiency{Overall: 1}}
	for q := 0.0; q < 5.01; q += step {
		a.FanCurve = append(a.FanCurve, plant.FlowPoint{FlowM3s: q, Pa: 1350 - 50*q*q})
	}
	return a
}

var law13 = resistance.ClassDefault(1.3, "test")

func TestSpeedHeld(t *testing.T) {
	t.Parallel()
	const source = "synthetic: fan 1350 − 50 q², system 85.5556 q² + Δp (q/3)^1.3, computed"
	for _, c := range []struct{ filter, q, pa, read, kW float64 }{
		{130, 3.000000, 900.000, 130.000, 2.7000}, {200, 2.921258, 923.313, 193.203, 2.6972},
		{300, 2.814609, 953.899, 276.126, 2.6849}, {400, 2.714413, 981.598, 351.222, 2.6645},
	} {
		for _, step := range []struct{ m3s, tol float64 }{{0.05, 2e-5}, {0.5, 2e-3}} {
			got := energy.SpeedHeld(fixedFan(step.m3s), plant.Bank{}, law13, 130, c.filter)
			if !got.Known {
				t.Fatalf("%+v", got)
			}
			within(t, "airflow", got.NowM3s, c.q, step.tol, source)
			within(t, "clean airflow", got.CleanM3s, 3, step.tol, source)
			within(t, "fan pressure", got.NowPa, c.pa, step.tol, source)
			within(t, "gauge", got.FilterPa, c.read, 2*step.tol, source)
			within(t, "air power", got.NowW, 1000*c.kW, 2*step.tol, source)
		}
	}
	loss := energy.SpeedHeld(fixedFan(0.05), plant.Bank{}, law13, 130, 300)
	within(t, "airflow lost", loss.LostPct, 100*(1-2.814609/3), 1e-3, source)
	if !(loss.NowW < loss.CleanW) {
		t.Error("without speed control both airflow and power fell (Zaatari, Novoselac, Siegel 2014)")
	}
	if got := loss.String(); got != "airflow 2.81 of 3.00 m³/s, 6.2 % lost; fan power -15 W" {
		t.Errorf("said as %q", got)
	}
	// What the gauge shows at the airflow left leads back to the resistance at design.
	ahu := fixedFan(0.05)
	bank := plant.Bank{CleanPa: 130}
	back := resistance.NewCorrector(ahu, bank, plant.Site{}, law13).Correct(loss.FilterPa, resistance.Stated{})
	within(t, "back to design airflow", back.Pa, 300, 1e-3, "the two must be inverse")
}

// With speed control the same filter costs power: 900 to 1070 Pa at 3 m³/s.
func TestFlowHeldCounterpart(t *testing.T) {
	t.Parallel()
	within(t, "power at held airflow, kW", energy.FanPowerW(3, 1070, 0.5)/energy.FanPowerW(3, 900, 0.5), 6.42/5.40, 1e-12, computed)
}

func TestSpeedHeldWithoutFanCurve(t *testing.T) {
	t.Parallel()
	curveless := fixedFan(0.05)
	curveless.FanCurve = nil
	got := energy.SpeedHeld(curveless, plant.Bank{}, law13, 130, 300)
	if got.Known || len(got.Missing) != 1 || !strings.Contains(got.Missing[0], "fan curve") {
		t.Fatalf("%+v, want the fan curve named as missing", got)
	}
	if got.NowM3s != 0 || got.NowW != 0 {
		t.Errorf("a guess was made: %+v", got)
	}
	real := energy.SpeedHeld(fixedFan(0.05), plant.Bank{}, law13, 130, 300)
	if !(got.LostMin <= real.LostPct && real.LostPct <= got.LostMax && got.LostMax < 15) {
		t.Errorf("loss %g %% outside the bounds %g to %g", real.LostPct, got.LostMin, got.LostMax)
	}
	blind := curveless
	blind.DesignSystemPa = 0
	wide := energy.SpeedHeld(blind, plant.Bank{}, law13, 130, 300)
	if len(wide.Missing) != 2 || !(wide.LostMax > got.LostMax) {
		t.Errorf("less known must be wider: %+v", wide)
	}
	within(t, "widest bound", wide.LostMax, 100*(1-math.Pow(130.0/300, 1/1.3)), 1e-6, "a level fan with nothing but the filter, computed")
	if !strings.Contains(wide.String(), "missing: fan curve") {
		t.Errorf("said as %q", wide.String())
	}
	if none := energy.SpeedHeld(plant.AHU{}, plant.Bank{}, law13, 0, 300); none.Known || none.LostMax != 100 || len(none.Missing) < 3 {
		t.Errorf("nothing known: %+v", none)
	}
	short := fixedFan(0.05)
	short.FanCurve = short.FanCurve[:50] // ends at 2.45 m³/s, short of design
	if got := energy.SpeedHeld(short, plant.Bank{}, law13, 130, 300); got.Known || !strings.Contains(strings.Join(got.Missing, " "), "last point") {
		t.Errorf("a curve that ends too early: %+v", got)
	}
}

func TestSpeedHeldProperties(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(9, 10))
	for range 100 {
		clean := 50 + 100*rng.Float64()
		now := clean * (1 + 2*rng.Float64())
		ahu := fixedFan(0.25)
		got := energy.SpeedHeld(ahu, plant.Bank{}, law13, clean, now)
		more := energy.SpeedHeld(ahu, plant.Bank{}, law13, clean, now*1.05)
		if !got.Known || !more.Known || !(more.LostPct > got.LostPct) || got.LostPct < -1e-9 {
			t.Fatalf("dirt takes airflow: %g %% then %g %%", got.LostPct, more.LostPct)
		}
		ahu.FanCurve = nil
		if b := energy.SpeedHeld(ahu, plant.Bank{}, law13, clean, now); got.LostPct > b.LostMax || got.LostPct < b.LostMin {
			t.Fatalf("loss %g %% outside %g to %g", got.LostPct, b.LostMin, b.LostMax)
		}
		half := plant.Bank{FlowShare: 0.5}
		within(t, "a bank with half the airflow", energy.SpeedHeld(fixedFan(0.25), half, law13, clean, now).NowM3s, got.NowM3s, 1e-9, "a power law sees only the ratio")
	}
}
