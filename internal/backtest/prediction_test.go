package backtest_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"clogwise/internal/backtest"
)

// The baselines draw their ranges from the covariance of a fit. On the data set
// Norris (NIST StRD) a prediction, its standard error and its 95 % range follow
// from the certified fit (computed: ŷ = B₀ + B₁x, s²(1 + 1/n + (x−x̄)²/Sxx)).
func TestPredictionOnNorris(t *testing.T) {
	t.Parallel()
	var x, y []float64
	for _, r := range rows(t, "norris.txt") {
		y, x = append(y, r[0]), append(x, r[1])
	}
	fit, err := backtest.LeastSquares(backtest.Vandermonde(x, 1), y)
	if err != nil {
		t.Fatal(err)
	}
	at := 500.0
	v := fit.S*fit.S + fit.Cov.At(0, 0) + 2*at*fit.Cov.At(0, 1) + at*at*fit.Cov.At(1, 1)
	se := math.Sqrt(v)
	t975 := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(len(x) - 2)}.Quantile(0.975)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"prediction", fit.Beta[0] + fit.Beta[1]*at, 500.796085936},
		{"standard error", se, 0.897673422},
		{"half of the 95 % range", t975 * se, 1.824291882},
		{"inverse", (500 - fit.Beta[0]) / fit.Beta[1], 499.205595673},
	} {
		if math.Abs(c.got/c.want-1) > 1e-9 {
			t.Errorf("%s: %.12g, want %.12g (computed from the certified fit)", c.what, c.got, c.want)
		}
	}
}

// Quantiles of Student's t that ranges above rest on.
func TestStudentQuantiles(t *testing.T) {
	t.Parallel()
	const source = "NIST/SEMATECH e-Handbook, section 1.3.6.7.2, more digits computed"
	for nu, want := range map[float64][3]float64{
		1: {6.313752, 12.70620, 63.65674}, 2: {2.919986, 4.302653, 9.924843}, 5: {2.015048, 2.570582, 4.032143},
		10: {1.812461, 2.228139, 3.169273}, 20: {1.724718, 2.085963, 2.845340}, 30: {1.697261, 2.042272, 2.749996},
		120: {1.657651, 1.979930, 2.617421},
	} {
		for i, p := range [...]float64{0.95, 0.975, 0.995} {
			if got := (distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}).Quantile(p); math.Abs(got/want[i]-1) > 1e-6 {
				t.Errorf("t of %g with %g degrees of freedom: %.7g, want %.7g (%s)", p, nu, got, want[i], source)
			}
		}
	}
}
