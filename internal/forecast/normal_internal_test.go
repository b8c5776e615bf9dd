package forecast

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

func TestNormal(t *testing.T) {
	t.Parallel()
	const source = "quantiles of the standard normal law, NIST/SEMATECH e-Handbook, section 1.3.6.7.1, more digits computed"
	for _, c := range []struct{ z, p float64 }{
		{1.281552, 0.90}, {1.644854, 0.95}, {1.959964, 0.975}, {2.326348, 0.99}, {2.575829, 0.995}, {0, 0.5}, {-1.959964, 0.025},
	} {
		if got := normalCDF(c.z); math.Abs(got-c.p) > 1e-7 {
			t.Errorf("Φ(%g) = %.8f, want %g (%s)", c.z, got, c.p, source)
		}
		if p, _ := upperTail(c.z); math.Abs(p-(1-c.p)) > 1e-7 {
			t.Errorf("1 − Φ(%g) = %.8f, want %g (%s)", c.z, p, 1-c.p, source)
		}
	}
	for z := -6.0; z <= 12; z += 0.25 {
		p, hazard := upperTail(z)
		want := quad.Fixed(distuv.UnitNormal.Prob, z, max(z, 0)+8, 200, nil, 0)
		tol := 1e-9
		if z > 8 { // the series
			tol = 2e-2
		}
		if math.Abs(p/want-1) > tol {
			t.Errorf("tail beyond %g: %g, by quadrature %g", z, p, want)
		}
		if want = distuv.UnitNormal.Prob(z) / want; math.Abs(hazard/want-1) > tol/10 {
			t.Errorf("hazard at %g: %g, by quadrature %g", z, hazard, want)
		}
	}
}

// The family of curves holds the published forms of loading: straight in dust for
// cake, Δp₀·e^(βm) for depth filtration (b times the clean resistance at the
// limit; the open building-simulation library Buildings takes b = 2), and two
// limbs one after the other (Thomas et al., Chem. Eng. Sci. 56 (2001) 3549).
func TestFamilyHoldsPublishedForms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		pa   func(u float64) float64 // as a share of the limit, 1 at u = 1
		tol  float64                 // of the limit
	}{
		{"cake", func(u float64) float64 { return 0.4 + 0.6*u }, 1e-9},
		{"depth, 1.1 times clean", func(u float64) float64 { return math.Pow(1.1, u-1) }, 1e-4}, // the same library before
		{"depth, twice clean", func(u float64) float64 { return math.Exp2(u - 1) }, 2e-3},
		{"depth, four times clean", func(u float64) float64 { return math.Pow(4, u-1) }, 2e-3},
		{"depth, eight times clean", func(u float64) float64 { return math.Pow(8, u-1) }, 3e-3},
		{"depth to half way, then cake", func(u float64) float64 {
			d := func(u float64) float64 { return 0.3 * math.Exp(2.2*u) }
			slope := 2.2 * d(0.4)
			y := d(math.Min(u, 0.4)) + slope*math.Max(0, u-0.4)
			return y / (d(0.4) + slope*0.6)
		}, 0.02},
	} {
		const n = 60
		x, y := mat.NewDense(n, terms, nil), mat.NewVecDense(n, nil)
		for i := range n {
			u := float64(i) / n
			for k, p := range powers(u) {
				x.Set(i, k, p-1)
			}
			y.SetVec(i, c.pa(u)-1)
		}
		var beta mat.VecDense
		if err := beta.SolveVec(x, y); err != nil {
			t.Fatal(err)
		}
		var curve shape
		copy(curve[:], beta.RawVector().Data)
		for u := 0.0; u <= 1; u += 0.02 {
			if off := curve.at(u) - c.pa(u); math.Abs(off) > c.tol {
				t.Errorf("%s: %.4f of the limit off at %.2f of the life", c.name, off, u)
				break
			}
		}
	}
}
