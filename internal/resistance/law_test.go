package resistance_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

func points(qp ...float64) []plant.FlowPoint {
	var out []plant.FlowPoint
	for i := 0; i+1 < len(qp); i += 2 {
		out = append(out, plant.FlowPoint{FlowM3s: qp[i], Pa: qp[i+1]})
	}
	return out
}

func must(t *testing.T, l resistance.Law, err error) resistance.Law {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestLawThroughTwoPoints(t *testing.T) {
	t.Parallel()
	pts := points(0.472, 45, 0.944, 110)
	l, err := resistance.TwoTerm(pts)
	two := must(t, l, err)
	l, err = resistance.Power(pts)
	power := must(t, l, err)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"A", two.A, 74.152542}, {"B", two.B, 44.886527}, {"n", power.N, 1.289507},
		{"two-term at 75 %", two.Pa(0.75 * 0.944), 75.000}, {"power at 75 %", power.Pa(0.75 * 0.944), 75.907},
		{"two-term at 125 %", two.Pa(1.25 * 0.944), 150.000}, {"power at 125 %", power.Pa(1.25 * 0.944), 146.676},
		{"two-term at its point", two.Pa(0.472), 45}, {"power at its point", power.Pa(0.944), 110},
	} {
		within(t, c.what, c.got, c.want, 1e-5, computed)
	}
	if l, err = resistance.LawFrom(pts); err != nil || l != two {
		t.Errorf("LawFrom gives %+v, %v, want the two-term law", l, err)
	}
}

func TestPowerLawAtOtherFlows(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ n, half, threeQuarters, more float64 }{
		{resistance.DefaultExponent, 44.243, 71.287, 130.020}, {1.3, 40.613, 68.799, 133.654}, {1.5, 35.355, 64.952, 139.754},
	} {
		l := resistance.ClassDefault(c.n, "test").Through(plant.FlowPoint{FlowM3s: 3, Pa: 100})
		within(t, "50 %", l.Pa(1.5), c.half, 1e-5, computed)
		within(t, "75 %", l.Pa(2.25), c.threeQuarters, 1e-5, computed)
		within(t, "125 %", l.Pa(3.75), c.more, 1e-5, computed)
		within(t, "ratio", 100*l.Ratio(3, 1.5), c.half, 1e-5, computed)
	}
	within(t, "default exponent", resistance.SiteLaw(plant.Site{}).N, 1.176, 1e-3,
		"Modelica Buildings library, AirFilters.Data.Generic, after Li et al. (2022)")
	set := resistance.SiteLaw(plant.Site{FlowExponent: 1})
	within(t, "exponent as set", set.Ratio(3, 1.5), 0.5, 1e-12, "CCT 105:2023, article C16 §5: in proportion to airflow")
	if set.Basis != resistance.LawDefault || set.Source != "n = 1, set for the site" {
		t.Errorf("said as %q, %q", set.Basis, set.Source)
	}
}

// Points with scatter: least squares finds the law they were made from.
func TestLawFromManyPoints(t *testing.T) {
	t.Parallel()
	exact := points(0.5, 40+15, 0.75, 60+33.75, 1, 80+60, 1.25, 100+93.75) // 80 q + 60 q²
	l, err := resistance.LawFrom(exact)
	l = must(t, l, err)
	within(t, "A", l.A, 80, 1e-9, "made so")
	within(t, "B", l.B, 60, 1e-9, "made so")
	if l.Basis != resistance.LawItem || l.Source != "two-term fit through 4 points" {
		t.Errorf("basis %q, source %q", l.Basis, l.Source)
	}
	for i := range exact {
		exact[i].Pa *= 1 + 0.01*float64(i%2*2-1)
	}
	l, err = resistance.LawFrom(exact)
	l = must(t, l, err)
	within(t, "at 1.1 m³/s with 1 % scatter", l.Pa(1.1), 80*1.1+60*1.21, 0.01, "made so")
}

func TestLawFallsBackToPower(t *testing.T) {
	t.Parallel()
	// Exponent 0.95: a two-term fit would need a negative inertia term.
	l, err := resistance.LawFrom(points(1, 100, 2, 100*math.Pow(2, 0.95)))
	l = must(t, l, err)
	within(t, "exponent", l.Exponent(1.5), 0.95, 1e-9, "made so")
	// Purely laminar and purely inertial points stay two-term.
	for _, n := range []float64{1, 2} {
		l, err = resistance.LawFrom(points(1, 100, 2, 100*math.Pow(2, n), 3, 100*math.Pow(3, n)))
		l = must(t, l, err)
		within(t, "exponent", l.Exponent(1.5), n, 1e-9, "made so")
		within(t, "Pa", l.Pa(4), 100*math.Pow(4, n), 1e-9, "made so")
	}
}

func TestLawRefused(t *testing.T) {
	t.Parallel()
	for name, pts := range map[string][]plant.FlowPoint{
		"none": nil, "one": points(1, 100), "one airflow twice": points(1, 100, 1, 101),
		"zero airflow": points(0, 0, 1, 100), "negative": points(1, -5, 2, 10), "not a number": points(1, math.NaN(), 2, 10),
		"infinite": points(1, 100, math.Inf(1), 10), "falling": points(1, 100, 2, 90), "too steep": points(1, 10, 2, 90),
	} {
		t.Run(name, func(t *testing.T) {
			if l, err := resistance.LawFrom(pts); !errors.Is(err, resistance.ErrLaw) {
				t.Errorf("%+v, %v, want ErrLaw", l, err)
			}
		})
	}
}

func TestLawProperties(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		laws := []resistance.Law{
			{A: 200 * rng.Float64(), B: 200 * rng.Float64()},
			resistance.ClassDefault(1+rng.Float64(), "test").Through(plant.FlowPoint{FlowM3s: 1 + rng.Float64(), Pa: 50 + 100*rng.Float64()}),
		}
		q := 0.2 + 4*rng.Float64()
		k := 1 + rng.Float64()*20
		for _, l := range laws {
			if n := l.Exponent(q); n < 1 || n > 2 {
				t.Fatalf("exponent %g of %+v", n, l)
			}
			if !(l.Pa(q*1.01) > l.Pa(q)) {
				t.Fatalf("%+v does not rise at %g", l, q)
			}
			const step = 1e-6
			slope := math.Log(l.Pa(q*(1+step))/l.Pa(q*(1-step))) / (2 * step)
			within(t, "exponent against slope", l.Exponent(q), slope, 1e-6, "difference quotient")
			within(t, "ratio", l.Ratio(q, 2*q), l.Pa(2*q)/l.Pa(q), 1e-12, "definition")
			within(t, "flow inverts Pa", l.Flow(l.Pa(q)), q, 1e-10, "definition")
			within(t, "k filters side by side", l.Parallel(k).Pa(k*q), l.Pa(q), 1e-12, "each takes its share")
			within(t, "through a point", l.Through(plant.FlowPoint{FlowM3s: q, Pa: 77}).Pa(q), 77, 1e-12, "definition")
			if again := l.Ratio(q, 3*q) * l.Ratio(3*q, q); math.Abs(again-1) > 1e-12 {
				t.Fatalf("there and back: %g", again)
			}
		}
	}
	shape := resistance.DefaultLaw()
	if !math.IsNaN(shape.Pa(1)) || !math.IsNaN(shape.Flow(1)) {
		t.Error("a law without a point knows no pressure")
	}
	if n := (resistance.Law{A: 10, B: 5}).Exponent(0); n != 1 {
		t.Errorf("exponent at rest %g, want 1", n)
	}
}
