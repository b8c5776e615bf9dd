package forecast_test

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/optimize"

	"clogwise/internal/forecast"
)

// The mean resistance is the integral of its quantiles, for limits at and off the
// prior's, and a quantile is where the least of the quantile loss lies.
func TestMeanResistanceAgainstItsQuantiles(t *testing.T) {
	t.Parallel()
	for _, limit := range []float64{150, 200, 300} {
		life := lived(14, 12, 0.5)
		life.LimitPa = limit
		post := forecast.Fit(forecast.ClassPrior("secondary"), life)
		for _, x := range []float64{0, 0.5 * life.NowX, life.NowX, 1.5 * life.NowX} {
			want := quad.Fixed(func(q float64) float64 { return post.ResistancePa(x, q) }, 0, 1, 400, nil, 0)
			if got := post.MeanPa(x); math.Abs(got/want-1) > 2e-3 {
				t.Errorf("limit %v, x = %.0f: mean %.3f Pa, by quadrature of the quantiles %.3f", limit, x, got, want)
			}
		}
		if got, want := post.NowPa(), post.MeanPa(life.NowX); got != want {
			t.Errorf("limit %v: now %v Pa, the mean there is %v", limit, got, want)
		}
		const q, grid = 0.8, 400
		x := 1.2 * life.NowX
		var drawn [grid]float64
		for i := range drawn {
			drawn[i] = post.ResistancePa(x, (float64(i)+0.5)/grid)
		}
		loss := func(v []float64) (sum float64) {
			for _, at := range drawn {
				sum += math.Max(q*(at-100*v[0]), (q-1)*(at-100*v[0]))
			}
			return sum
		}
		res, err := optimize.Minimize(optimize.Problem{Func: loss}, []float64{post.MeanPa(x) / 100}, nil, &optimize.NelderMead{})
		if err != nil {
			t.Fatal(err)
		}
		if got := post.ResistancePa(x, q); math.Abs(got/(100*res.X[0])-1) > 0.01 {
			t.Errorf("limit %v: quantile %.2f Pa, by gonum's minimiser %.2f", limit, got, 100*res.X[0])
		}
	}
}

// Readings of one moment have no order.
func TestOrderOfOneMomentLeavesNoTrace(t *testing.T) {
	t.Parallel()
	life := lived(15, 6, 0.6)
	for i, o := range life.Obs {
		o.Pa *= 1.03 + 0.01*float64(i)
		life.Obs = append(life.Obs, o)
	}
	prior := forecast.ClassPrior("secondary")
	want := figures(forecast.Fit(prior, life))
	slices.Reverse(life.Obs)
	if got := figures(forecast.Fit(prior, life)); !slices.Equal(got, want) {
		t.Errorf("reversed: %v, before %v", got, want)
	}
}

// What has been reached stays reached: the probability never falls along the axis,
// whatever the readings did and wherever the limit is.
func TestProbabilityNeverFalls(t *testing.T) {
	t.Parallel()
	for seed := range uint64(8) {
		life := lived(seed, 4+int(seed), 0.9)
		for i := len(life.Obs) / 2; i < len(life.Obs); i++ {
			life.Obs[i].Pa = 45 // torn, and nobody said so
		}
		for _, limit := range []float64{60, 90, 150, 200, 300} {
			life.LimitPa = limit
			post, last := forecast.Fit(forecast.ClassPrior("secondary"), life), 0.0
			for x := 10.0; x < 40000; x *= 1.02 {
				p := post.ProbBy(x)
				if p < last {
					t.Fatalf("seed %d, limit %v: %v at %.0f after %v", seed, limit, p, x, last)
				}
				last = p
			}
		}
	}
}
