package resistance_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
	"clogwise/internal/units"
)

func p(x float64) *float64 { return &x }

var (
	flowHeld  = plant.AHU{DesignFlowM3s: 3, FanControl: plant.FlowHeld}
	speedHeld = plant.AHU{DesignFlowM3s: 3, FanControl: plant.SpeedHeld}
	law13     = resistance.ClassDefault(1.3, "test")
)

func TestCorrectToDesign(t *testing.T) {
	t.Parallel()
	withCurve := speedHeld
	withCurve.FanCurve = parabola()
	byFan := withCurve // the parabola gives 900 Pa at design airflow anyway
	withCurve.DesignSystemPa = 900
	outside := withCurve
	outside.FanCurve = withCurve.FanCurve[:20]
	curveLaw := law13.Through(plant.FlowPoint{FlowM3s: 3, Pa: 130})
	vav := flowHeld
	vav.FlowProfile = []plant.FlowShare{{Fraction: 1, Share: 0.5}, {Fraction: 0.6, Share: 0.5}}
	for _, c := range []struct {
		name  string
		said  resistance.Stated
		ahu   plant.AHU
		law   resistance.Law
		pa    float64
		want  float64
		basis resistance.Basis
		least float64 // weight
		most  float64
	}{
		{"measured at design", resistance.Stated{FlowM3s: p(3)}, flowHeld, law13, 145, 145, resistance.ByFlow, 0.99, 1},
		{"measured at 75 %", resistance.Stated{FlowM3s: p(2.25)}, flowHeld, law13, 68.799, 100, resistance.ByFlow, 0.99, 1},
		{"measured at 125 %", resistance.Stated{FlowM3s: p(3.75)}, flowHeld, law13, 133.654, 100, resistance.ByFlow, 0.99, 1},
		{"measured rules over speed", resistance.Stated{FlowM3s: p(2.25), FanHz: p(50)}, flowHeld, law13, 68.799, 100, resistance.ByFlow, 0.99, 1},
		{"two-term law", resistance.Stated{FlowM3s: p(0.708)}, plant.AHU{DesignFlowM3s: 0.944, FanControl: plant.FlowHeld}, resistance.Law{A: 74.152542, B: 44.886527}, 75, 110, resistance.ByFlow, 0.99, 1},
		{"45 of 50 Hz", resistance.Stated{FanHz: p(45)}, flowHeld, law13, 145, 145 * math.Pow(50.0/45, 1.3), resistance.BySpeed, 0.6, 0.8},
		{"90 %", resistance.Stated{FanPct: p(90)}, flowHeld, law13, 145, 145 * math.Pow(1/0.9, 1.3), resistance.BySpeed, 0.6, 0.8},
		{"above design speed to hold airflow", resistance.Stated{FanHz: p(53)}, flowHeld, law13, 145, 145, resistance.BySpeed, 0.6, 0.8},
		{"45 of 50 Hz, speed held", resistance.Stated{FanHz: p(45)}, speedHeld, law13, 145, 145 * math.Pow(50.0/45, 1.3), resistance.BySpeed, 0.4, 0.6},
		{"fan curve not met", resistance.Stated{FanHz: p(45)}, outside, curveLaw, 145, 145 * math.Pow(50.0/45, 1.3), resistance.BySpeed, 0.4, 0.6},
		{"fan curve, design pressure from the curve", resistance.Stated{}, byFan, curveLaw, 276.126, 300, resistance.ByFanCurve, 0.7, 0.9},
		{"nothing said, flow held", resistance.Stated{}, flowHeld, law13, 145, 145, resistance.AsDesign, 0.99, 1},
		{"nothing said, VAV", resistance.Stated{}, vav, law13, 145, 145, resistance.AsDesign, 0.2, 0.4},
		{"nothing said, speed held", resistance.Stated{}, speedHeld, law13, 145, 145, resistance.AsDesign, 0.4, 0.6},
		{"nothing said, control not known", resistance.Stated{}, plant.AHU{DesignFlowM3s: 3}, law13, 145, 145, resistance.AsDesign, 0.4, 0.6},
		// Operating points computed for a fan 1350 − 50 q² on a system
		// 85.5556 q² + Δp (q/3)^1.3: the gauge shows 276.126 Pa at 2.814609 m³/s.
		{"fan curve, speed held", resistance.Stated{}, withCurve, curveLaw, 276.126, 300, resistance.ByFanCurve, 0.7, 0.9},
		{"fan curve, clean", resistance.Stated{}, withCurve, curveLaw, 130, 130, resistance.ByFanCurve, 0.7, 0.9},
		{"low airflow hardly weighs", resistance.Stated{FlowM3s: p(1.14)}, flowHeld, law13, 50, 50 * math.Pow(3/1.14, 1.3), resistance.ByFlow, 0, 0.05},
		{"fan off", resistance.Stated{FanHz: p(0)}, flowHeld, law13, 3, 3, resistance.NoAirflow, 0, 0},
		{"no flow", resistance.Stated{FlowM3s: p(0)}, flowHeld, law13, 3, 3, resistance.NoAirflow, 0, 0},
		{"not a flow", resistance.Stated{FlowM3s: p(math.NaN())}, flowHeld, law13, 3, 3, resistance.NoAirflow, 0, 0},
		{"design airflow missing", resistance.Stated{FlowM3s: p(2)}, plant.AHU{FanControl: plant.FlowHeld}, law13, 145, 145, resistance.AsDesign, 0.4, 0.6},
		{"negative keeps its sign", resistance.Stated{FlowM3s: p(2.25)}, flowHeld, law13, -68.799, -100, resistance.ByFlow, 0.99, 1},
		{"zero", resistance.Stated{FlowM3s: p(2.25)}, flowHeld, law13, 0, 0, resistance.ByFlow, 0.99, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := entry.Reading{Pa: c.pa, FlowM3s: c.said.FlowM3s, FanHz: c.said.FanHz, FanPct: c.said.FanPct}
			got := resistance.CorrectToDesign(r, c.ahu, plant.Bank{}, plant.Site{}, c.law)
			if math.Abs(got.Pa-c.want) > 2e-4*math.Abs(c.want) {
				t.Errorf("%g Pa, want %g (%s)", got.Pa, c.want, computed)
			}
			if got.Basis != c.basis {
				t.Errorf("basis %q, want %q", got.Basis, c.basis)
			}
			if got.Weight < c.least || got.Weight > c.most {
				t.Errorf("weight %g, want %g to %g", got.Weight, c.least, c.most)
			}
			if got.Basis != resistance.ByFlow && got.Weight < 0.99 && got.Note == "" {
				t.Error("a doubtful basis must say so")
			}
			if math.Abs(c.pa*got.Factor-got.Pa) > 1e-9 {
				t.Errorf("factor %g does not carry %g to %g", got.Factor, c.pa, got.Pa)
			}
		})
	}
}

// parabola is a fan 1350 − 50 q², closely sampled.
func parabola() []plant.FlowPoint {
	var out []plant.FlowPoint
	for i := range 101 {
		q := 0.05 * float64(i)
		out = append(out, plant.FlowPoint{FlowM3s: q, Pa: 1350 - 50*q*q})
	}
	return out
}

func TestDesignFrequency(t *testing.T) {
	t.Parallel()
	said := entry.Reading{Pa: 100, FanHz: p(60)}
	own := flowHeld
	own.DesignHz = 75
	for _, c := range []struct {
		name string
		ahu  plant.AHU
		site plant.Site
		want float64
	}{
		{"60 Hz on an IP site", flowHeld, plant.Site{Units: units.IP}, 1},
		{"60 Hz on an SI site holds design airflow", flowHeld, plant.Site{Units: units.SI}, 1},
		{"design 75 Hz", own, plant.Site{}, 0.8},
		{"60 Hz, fixed speed", speedHeld, plant.Site{}, 1.2},
	} {
		if got := resistance.CorrectToDesign(said, c.ahu, plant.Bank{}, c.site, law13); math.Abs(got.Ratio-c.want) > 1e-12 {
			t.Errorf("%s: ratio %g, want %g", c.name, got.Ratio, c.want)
		}
	}
}

func TestCorrectForAir(t *testing.T) {
	t.Parallel()
	hot := flowHeld
	hot.AirTempC, hot.RHPct = p(35), p(60)
	got := resistance.CorrectToDesign(entry.Reading{Pa: 150, FlowM3s: p(3)}, hot, plant.Bank{}, plant.Site{}, law13)
	// 1.131053 kg/m³ and 1.880438e-5 Pa·s by the annex of EN 779:2012.
	within(t, "35 °C", got.Pa, 150*math.Pow(1.809675/1.880438, 0.7)*math.Pow(1.2/1.131053, 0.3), 1e-6, annex)
	high := resistance.CorrectToDesign(entry.Reading{Pa: 150, FlowM3s: p(3)}, flowHeld, plant.Bank{}, plant.Site{AltitudeM: 1600}, law13)
	if !(high.Pa > 150) || !(high.Air > 1) {
		t.Errorf("at 1600 m the air is thinner: %g Pa", high.Pa)
	}
	plain := resistance.CorrectToDesign(entry.Reading{Pa: 150, FlowM3s: p(3)}, flowHeld, plant.Bank{}, plant.Site{}, law13)
	if plain.Pa != 150 || plain.Air != 1 {
		t.Errorf("nothing known of the air, yet corrected: %g Pa", plain.Pa)
	}
}

func TestFlowShareOfABank(t *testing.T) {
	t.Parallel()
	bank := plant.Bank{FlowShare: 0.4}
	got := resistance.CorrectToDesign(entry.Reading{Pa: 100, FlowM3s: p(2.25)}, flowHeld, bank, plant.Site{}, law13)
	within(t, "airflow through the bank", got.FlowM3s, 0.9, 1e-12, "40 % of 2.25")
	within(t, "ratio", got.Ratio, 0.75, 1e-12, "2.25 of 3")
}

func TestCorrectionProperties(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 8))
	for range 500 {
		l := resistance.Law{A: 1 + 50*rng.Float64(), B: 30 * rng.Float64()}
		c := resistance.NewCorrector(flowHeld, plant.Bank{}, plant.Site{AltitudeM: 2000 * rng.Float64()}, l)
		pa, q := 10+300*rng.Float64(), 0.5+4*rng.Float64()
		at := func(pa, q float64) resistance.Corrected { return c.Correct(pa, resistance.Stated{FlowM3s: &q}) }
		here := at(pa, q)
		if more := at(pa, q*1.01); !(more.Pa < here.Pa) {
			t.Fatalf("the same gauge at more airflow means a cleaner filter: %g then %g", here.Pa, more.Pa)
		}
		if more := at(pa*1.01, q); !(more.Pa > here.Pa) {
			t.Fatalf("a higher gauge means a dirtier filter: %g then %g", here.Pa, more.Pa)
		}
		if here.Weight < 0 || here.Weight > 1 {
			t.Fatalf("weight %g", here.Weight)
		}
		// The same reading taken in inches of water and cfm.
		ip := at(units.InH2O.ToPa(units.InH2O.FromPa(pa)), units.Cfm.ToM3s(units.Cfm.FromM3s(q)))
		within(t, "SI and IP", ip.Pa, here.Pa, 1e-12, "the units cancel")
	}
	weigh := func(share float64) float64 {
		q := 3 * share
		return resistance.NewCorrector(flowHeld, plant.Bank{}, plant.Site{}, law13).Correct(100, resistance.Stated{FlowM3s: &q}).Weight
	}
	for share := 0.05; share < 1; share += 0.01 {
		if weigh(share+0.01) < weigh(share)-1e-5 {
			t.Fatalf("weight falls between %g and %g of design airflow", share, share+0.01)
		}
		if share < 0.4 && weigh(share) > 0.06 {
			t.Fatalf("weight %g at %g of design airflow", weigh(share), share)
		}
	}
}

func BenchmarkCorrectToDesign(b *testing.B) {
	r := entry.Reading{Pa: 145, FlowM3s: p(2.5)}
	l := resistance.Law{A: 20, B: 5}
	for b.Loop() {
		resistance.CorrectToDesign(r, flowHeld, plant.Bank{}, plant.Site{AltitudeM: 500}, l)
	}
}

func BenchmarkCorrector(b *testing.B) {
	curve := speedHeld
	curve.FanCurve = parabola()
	for name, c := range map[string]struct {
		ahu  plant.AHU
		said resistance.Stated
	}{
		"flow": {flowHeld, resistance.Stated{FlowM3s: p(2.5)}}, "fan-curve": {curve, resistance.Stated{}},
	} {
		b.Run(name, func(b *testing.B) {
			cor := resistance.NewCorrector(c.ahu, plant.Bank{}, plant.Site{AltitudeM: 500}, resistance.Law{A: 20, B: 5})
			for b.Loop() {
				cor.Correct(145, c.said)
			}
		})
	}
}
