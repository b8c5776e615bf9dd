package assess

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
)

// The closed form of what a primary lets through against quadrature of the pace.
func TestLetIsTheIntegralOfThePace(t *testing.T) {
	t.Parallel()
	for _, beta := range []float64{-1.2, -0.3, 0, 1e-10, 0.4, 1.2} {
		pace := func(u float64) float64 { return math.Exp(beta * math.Min(u, effectOld)) }
		for _, u := range []float64{0, 0.2, 1, 2, 3.5} {
			want := quad.Fixed(pace, 0, math.Min(u, effectOld), 40, nil, 0) + math.Max(0, u-effectOld)*pace(effectOld)
			if got := let(beta, u); math.Abs(got-want) > 1e-9*(1+want) {
				t.Errorf("β %g, u %g: %.12g, by quadrature %.12g", beta, u, got, want)
			}
		}
	}
	a := primaryAges{changes: []float64{0, 100, 250}, life: 120}
	for _, c := range [][2]float64{{0, 100}, {30, 170}, {90, 400}} {
		whole := a.met(0.7, c[0], c[1])
		mid := (c[0] + c[1]) / 2
		if parts := a.met(0.7, c[0], mid) + a.met(0.7, mid, c[1]); math.Abs(parts/whole-1) > 1e-12 {
			t.Errorf("from %g to %g: %g in one, %g in two", c[0], c[1], whole, parts)
		}
		if plain := a.met(0, c[0], c[1]); math.Abs(plain-(c[1]-c[0])) > 1e-9 {
			t.Errorf("without an effect %g hours count as %g", c[1]-c[0], plain)
		}
	}
}
