package resistance_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"clogwise/internal/resistance"
)

// simulated makes readings of a loading life at airflows that vary, with noise
// of 1.5 % and a share of wild readings.
func simulated(rng *rand.Rand, n float64, count int, wild float64) []resistance.FlowReading {
	out := make([]resistance.FlowReading, count)
	for i := range out {
		h := 3000 * float64(i) / float64(count)
		q := 3 * (0.6 + 0.5*rng.Float64())
		pa := (60 + 0.02*h + 3e-6*h*h) * math.Pow(q/3, n) * math.Exp(0.015*rng.NormFloat64())
		if rng.Float64() < wild {
			pa *= 0.3 + 2*rng.Float64()
		}
		out[i] = resistance.FlowReading{Hours: h, FlowM3s: q, Pa: pa}
	}
	return out
}

func TestEstimateExponent(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 12))
	for _, c := range []struct {
		name  string
		n     float64
		count int
		wild  float64
		tol   float64
	}{
		{"clean data", 1.3, 40, 0, 0.05},
		{"one in eight wild", 1.3, 60, 0.12, 0.08},
		{"near laminar", 1.05, 60, 0.08, 0.08},
		{"inertial", 1.7, 60, 0.08, 0.08},
		{"few readings", 1.3, 12, 0, 0.2},
	} {
		t.Run(c.name, func(t *testing.T) {
			for range 10 {
				e, ok := resistance.EstimateExponent(simulated(rng, c.n, c.count, c.wild))
				if !ok {
					t.Fatal("not estimated")
				}
				if math.Abs(e.N-c.n) > c.tol {
					t.Errorf("n = %.3f ± %.3f, made with %.3f", e.N, e.SE, c.n)
				}
			}
		})
	}
}

// The stated error must be the real one: of 200 lives, as many as it says lie
// within two standard errors.
func TestExponentErrorIsHonest(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(13, 14))
	for _, count := range []int{12, 40} {
		inside := 0
		const lives = 200
		for range lives {
			e, ok := resistance.EstimateExponent(simulated(rng, 1.3, count, 0.04))
			if !ok {
				t.Fatal("not estimated")
			}
			if math.Abs(e.N-1.3) <= 2*e.SE {
				inside++
			}
		}
		if share := float64(inside) / lives; share < 0.86 || share > 0.99 {
			t.Errorf("%d readings: %.0f %% within two standard errors, want about 95 (normal distribution)", count, 100*share)
		}
	}
}

func TestExponentExact(t *testing.T) {
	t.Parallel()
	var rs []resistance.FlowReading
	for i := range 8 { // no loading at all
		q := 2 + 0.2*float64(i)
		rs = append(rs, resistance.FlowReading{FlowM3s: q, Pa: 100 * math.Pow(q, 1.25)})
	}
	e, ok := resistance.EstimateExponent(rs)
	if !ok || math.Abs(e.N-1.25) > 1e-9 || !e.Usable() {
		t.Errorf("%+v, %v, want n = 1.25 exactly", e, ok)
	}
	if l := e.Law(); l.Basis != resistance.LawLife || math.Abs(l.Ratio(1, 2)-math.Pow(2, 1.25)) > 1e-9 {
		t.Errorf("law %+v", l)
	}
}

func TestExponentNotEstimated(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(15, 16))
	alike := simulated(rng, 1.3, 40, 0)
	for i := range alike {
		alike[i].FlowM3s = 3 * (1 + 0.01*rng.Float64())
	}
	broken := make([]resistance.FlowReading, 20)
	for i := range broken {
		broken[i] = resistance.FlowReading{Hours: float64(i), FlowM3s: math.NaN(), Pa: 100}
	}
	for name, rs := range map[string][]resistance.FlowReading{
		"none": nil, "seven": simulated(rng, 1.3, 7, 0), "airflows alike": alike, "no airflows": broken,
	} {
		if e, ok := resistance.EstimateExponent(rs); ok {
			t.Errorf("%s: %+v", name, e)
		}
	}
}
