package energy_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/plant"
)

func level(pa float64) energy.Curve { return func(float64) float64 { return pa } }

func ramp(from, to, hours float64) energy.Curve {
	return func(h float64) float64 { return from + (to-from)*h/hours }
}

func TestPenalty(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		curve energy.Curve
		clean float64
		hours float64
		kWh   float64
	}{ // 3 m³/s, η 0.5: computed from ∫ q (Δp − Δp_clean)/η dt
		{"60 Pa for a year", level(60), 0, 8760, 3153.6},
		{"60 Pa for half a year", level(60), 0, 4380, 1576.8},
		{"145 Pa for a year", level(145), 0, 8760, 7621.2},
		{"145 Pa for half a year", level(145), 0, 4380, 3810.6},
		{"145 against 60 Pa", level(145), 60, 8760, 4467.6},
		{"145 against 60 Pa, half a year", level(145), 60, 4380, 2233.8},
		{"200 against 60 Pa", level(200), 60, 8760, 7358.4},
		{"200 against 60 Pa, half a year", level(200), 60, 4380, 3679.2},
		{"250 against 60 Pa", level(250), 60, 8760, 9986.4},
		{"250 against 60 Pa, half a year", level(250), 60, 4380, 4993.2},
		{"ramp 60 to 145 Pa", ramp(60, 145, 8760), 60, 8760, 2233.8},
		{"ramp 60 to 145 Pa, half a year", ramp(60, 145, 4380), 60, 4380, 1116.9},
		{"cleaner than clean", level(50), 60, 8760, 0},
		{"new", level(145), 60, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := duty(plant.FlowHeld).Penalty(energy.Life{Curve: c.curve, CleanPa: c.clean, Hours: c.hours}, 168)
			if math.Abs(p.SoFar.KWh-c.kWh) > 1e-6*(1+c.kWh) {
				t.Errorf("%g kWh, want %g (%s)", p.SoFar.KWh, c.kWh, computed)
			}
		})
	}
}

func TestPenaltyInMoneyAndCarbon(t *testing.T) {
	t.Parallel()
	d := duty(plant.FlowHeld)
	p := d.Penalty(energy.Life{Curve: level(145), CleanPa: 60, Hours: 8760}, 168)
	if got := p.SoFar.Money.String(); got != "£893.52" {
		t.Errorf("%s, want £893.52 (4467.6 kWh at 0.20)", got)
	}
	within(t, "carbon", p.SoFar.KgCO2e, 790.77, 1e-5, "4467.6 kWh at 0.177 kgCO2e/kWh, UK government conversion factors 2025")
	within(t, "power now", p.NowW, 510, 1e-9, computed)
	within(t, "a day", p.PerDay.KWh, 0.510*24, 1e-9, computed)
	within(t, "a week", p.Week.KWh, 0.510*168, 1e-9, computed)
	for eta, want := range map[float64]float64{0.55: 4061.45, 0.60: 3723.00, 0.65: 3436.62} {
		d.Efficiency.Eta = eta
		within(t, "better fan", d.Energy(85*8760).KWh, want, 1e-5, computed)
	}
	within(t, "share of a fan of 5 kW", 100*p.NowW/5000, 10.2, 1e-9, computed)
	within(t, "share of a fan of 10 kW", 100*p.NowW/10000, 5.1, 1e-9, computed)
}

func TestPenaltyByFanControl(t *testing.T) {
	t.Parallel()
	life := energy.Life{Curve: level(145), CleanPa: 60, Hours: 8760}
	held := duty(plant.FlowHeld).Penalty(life, 168)
	speed := duty(plant.SpeedHeld).Penalty(life, 168)
	unknown := duty(plant.FanUnknown).Penalty(life, 168)
	noFlow := duty(plant.FlowHeld)
	noFlow.FlowM3s = 0
	missing := noFlow.Penalty(life, 168)

	if held.Claim != energy.Claimed || held.Note != "" {
		t.Errorf("flow-held: %q, note %q", held.Claim, held.Note)
	}
	if speed.Claim != energy.NotEnergy || speed.SoFar.KWh != 0 || speed.NowW != 0 || !speed.Week.Money.Amount.IsZero() || speed.Note == "" {
		t.Errorf("speed-held: no energy may be claimed (Eurovent 4/11: the formula holds only for a held airflow): %+v", speed)
	}
	if unknown.Claim != energy.AtMost || unknown.SoFar.KWh != held.SoFar.KWh || unknown.Note == "" {
		t.Errorf("unknown: %+v", unknown)
	}
	if missing.Claim != energy.Unavailable || missing.SoFar.KWh != 0 || missing.NowW != 0 || missing.Note == "" {
		t.Errorf("no airflow: %+v", missing)
	}
}

// The mean of q·Δp over a profile is not the product of the means.
func TestPenaltyOverAProfile(t *testing.T) {
	t.Parallel()
	d := duty(plant.FlowHeld)
	full := d.WPerPa()
	d.Profile = []plant.FlowShare{{Fraction: 1, Share: 0.25}, {Fraction: 0.7, Share: 0.5}, {Fraction: 0.4, Share: 0.25}}
	want := 0.25*1 + 0.5*math.Pow(0.7, 2.3) + 0.25*math.Pow(0.4, 2.3) // q·Δp ∝ q^(1+n), n = 1.3
	within(t, "share of full airflow", d.WPerPa()/full, want, 1e-12, computed)
	meanFlow := 0.25 + 0.5*0.7 + 0.25*0.4
	meanPa := 0.25 + 0.5*math.Pow(0.7, 1.3) + 0.25*math.Pow(0.4, 1.3)
	if !(d.WPerPa()/full > meanFlow*meanPa) {
		t.Error("airflow and resistance rise together: the mean of the product is the larger")
	}
	scaled := d
	scaled.Profile = nil
	for _, p := range d.Profile { // shares in per cent, with a fan that is off in between
		scaled.Profile = append(scaled.Profile, plant.FlowShare{Fraction: p.Fraction, Share: 100 * p.Share})
	}
	within(t, "shares need not add to one", scaled.WPerPa(), d.WPerPa(), 1e-12, "normalised")
}

func TestPenaltyThroughAgreesWithQuadrature(t *testing.T) {
	t.Parallel()
	d := duty(plant.FlowHeld)
	pts := []energy.At{{Hours: 0, Pa: 60}, {Hours: 1500, Pa: 90}, {Hours: 3000, Pa: 150}, {Hours: 5000, Pa: 260}}
	exact := d.PenaltyThrough(pts, 60, 3500, 100)
	near := d.Penalty(energy.Life{Curve: energy.Through(pts), CleanPa: 60, Hours: 3500}, 100)
	within(t, "so far", near.SoFar.KWh, exact.SoFar.KWh, 1e-4, "exact areas")
	within(t, "a week", near.Week.KWh, exact.Week.KWh, 1e-4, "exact areas")
	within(t, "so far", exact.SoFar.KWh, 0.006*((30.0/2)*1500+(30+90)/2.0*1500+(90+117.5)/2*500), 1e-12, "areas by hand")
}

func TestPenaltyProperties(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		d := duty(plant.FlowHeld)
		from, to, hours := 40+60*rng.Float64(), 150+200*rng.Float64(), 1000+8000*rng.Float64()
		life := energy.Life{Curve: ramp(from, to, hours), CleanPa: from, Hours: hours}
		base := d.Penalty(life, 100)
		more := d
		more.FlowM3s *= 1.1
		if got := more.Penalty(life, 100); !(got.SoFar.KWh > base.SoFar.KWh && got.Week.KWh > base.Week.KWh) {
			t.Fatal("more airflow must cost more")
		}
		dirtier := life
		dirtier.Curve = ramp(from, to*1.1, hours)
		if got := d.Penalty(dirtier, 100); !(got.SoFar.KWh > base.SoFar.KWh && got.NowW > base.NowW) {
			t.Fatal("more dust must cost more")
		}
		if base.Week.KWh < base.PerDay.KWh*7-1e-9 {
			t.Fatal("a rising curve costs more in the week ahead than seven days like today")
		}
		if half := d.Penalty(life, 50); !(half.PerDay.KWh < base.PerDay.KWh) {
			t.Fatal("fewer running hours must cost less")
		}
		if again := d.Penalty(life, 100); again.SoFar.KWh != base.SoFar.KWh {
			t.Fatal("the same life gives another figure")
		}
	}
}

func BenchmarkPenalty(b *testing.B) {
	d := duty(plant.FlowHeld)
	life := energy.Life{Curve: func(h float64) float64 { return 60 + 85*math.Sqrt(h/4380) }, CleanPa: 60, Hours: 4380}
	for b.Loop() {
		d.Penalty(life, 100)
	}
}
