package resistance_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/optimize"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

func TestMeet(t *testing.T) {
	t.Parallel()
	fan, err := resistance.NewFanCurve(parabola())
	if err != nil {
		t.Fatal(err)
	}
	// Fan 1350 − 50 q², system 85.5556 q² + Δp (q/3)^1.3: synthetic, computed.
	for _, c := range []struct{ filter, q, pa float64 }{
		{130, 3.000000, 900.000}, {200, 2.921258, 923.313}, {300, 2.814609, 953.899}, {400, 2.714413, 981.598},
	} {
		system := func(q float64) float64 { return 85.5556*q*q + c.filter*math.Pow(q/3, 1.3) }
		q, err := fan.Meet(system)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "airflow", q, c.q, 1e-5, computed)
		within(t, "pressure", fan.Pa(q), c.pa, 1e-5, computed)

		// The same point as the least of the squared difference.
		res, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
			d := 1350 - 50*x[0]*x[0] - system(x[0])
			return d * d
		}}, []float64{2.5}, nil, &optimize.NelderMead{})
		if err != nil {
			t.Fatal(err)
		}
		within(t, "airflow against gonum", q, res.X[0], 1e-4, "gonum optimize on the parabola itself")
	}
}

func TestMeetByFanLaws(t *testing.T) {
	t.Parallel()
	fan, err := resistance.NewFanCurve(parabola())
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(9, 10))
	for range 50 {
		k := 60 + 100*rng.Float64() // purely quadratic: airflow goes with speed
		system := func(q float64) float64 { return k * q * q }
		full, err := fan.Meet(system)
		if err != nil {
			t.Fatal(err)
		}
		s := 0.5 + 0.7*rng.Float64()
		part, err := fan.AtSpeed(s).Meet(system)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "airflow at part speed", part, s*full, 1e-9, "fan laws")
		dirtier, err := fan.Meet(func(q float64) float64 { return 1.1 * system(q) })
		if err != nil || dirtier >= full {
			t.Fatalf("a steeper system gives %g after %g m³/s, %v", dirtier, full, err)
		}
	}
	// 900 to 1070 Pa at a held 3 m³/s: s² 1350 − 50 q² = 1070, computed.
	s := 1.061097
	within(t, "speed that holds airflow", fan.AtSpeed(s).Pa(3), 1070, 1e-4, computed)
}

// Between two points the curve stays between their pressures and does not turn, on
// plateaus and cliffs alike; at its points it goes through them.
func TestFanCurveDoesNotOvershoot(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(19, 20))
	for range 100 {
		var pts []plant.FlowPoint
		q, pa := 0.0, 1000+500*rng.Float64()
		for range 4 + rng.IntN(6) {
			pts = append(pts, plant.FlowPoint{FlowM3s: q, Pa: pa})
			q += 0.1 + rng.Float64()
			pa -= pa * 0.4 * math.Pow(rng.Float64(), 4) // mostly level, now and then a cliff
		}
		pts = append(pts, plant.FlowPoint{FlowM3s: q, Pa: 0.5 * pa})
		fan, err := resistance.NewFanCurve(pts)
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i < len(pts); i++ {
			a, b := pts[i-1], pts[i]
			within(t, "at a point", fan.Pa(a.FlowM3s), a.Pa, 1e-12, "its own point")
			last := a.Pa
			for k := 1; k <= 20; k++ {
				got := fan.Pa(a.FlowM3s + (b.FlowM3s-a.FlowM3s)*float64(k)/20)
				if got > last*(1+1e-12) || got < b.Pa*(1-1e-12) {
					t.Fatalf("%g Pa after %g, between %+v and %+v", got, last, a, b)
				}
				last = got
			}
		}
	}
}

func TestMeetRefused(t *testing.T) {
	t.Parallel()
	fan, err := resistance.NewFanCurve(points(1, 1000, 2, 900, 3, 700))
	if err != nil {
		t.Fatal(err)
	}
	for name, k := range map[string]float64{"too open": 1, "too tight": 5000} {
		if q, err := fan.Meet(func(q float64) float64 { return k * q * q }); !errors.Is(err, resistance.ErrFanCurve) {
			t.Errorf("%s: %g, %v, want ErrFanCurve", name, q, err)
		}
	}
	hump, err := resistance.NewFanCurve(points(0.5, 700, 1, 800, 2, 900, 3, 700, 4, 300))
	if err != nil {
		t.Fatal(err)
	}
	// Level at 800 Pa: the fan gives it at 1 m³/s and beyond the crest; the latter is stable.
	if q, err := hump.Meet(func(float64) float64 { return 800 }); err != nil || q < 2 {
		t.Errorf("a humped curve meets at %g, %v, want the stable point", q, err)
	}
}

func TestFanCurveRefused(t *testing.T) {
	t.Parallel()
	for name, pts := range map[string][]plant.FlowPoint{
		"none": nil, "two": points(1, 900, 2, 800), "two pressures at one airflow": points(1, 900, 1, 850, 2, 800, 3, 700),
		"rising": points(1, 700, 2, 800, 3, 900), "negative": points(-1, 900, 2, 800, 3, 700), "not a number": points(1, math.NaN(), 2, 800, 3, 700),
		"doubled points": points(1, 900, 1, 900, 2, 800, 2, 800),
	} {
		if _, err := resistance.NewFanCurve(pts); !errors.Is(err, resistance.ErrFanCurve) {
			t.Errorf("%s: %v, want ErrFanCurve", name, err)
		}
	}
}
