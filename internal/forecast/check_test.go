package forecast_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"clogwise/internal/forecast"
)

func TestCRPSNormal(t *testing.T) {
	t.Parallel()
	tests := []struct {
		mean, sd, y, want float64
		source            string
	}{
		{0, 1, 0, 0.233694977, "stated formula"},
		{0, 1, 1, 0.602441358, "stated formula"},
		{0, 1, -3, 2.436574725, "R package scoringRules, test of crps_norm"},
		{100, 20, 110, 6.628070625, "stated formula"},
		{5, 0, 7, 2, "point forecast: absolute error"},
	}
	for _, tt := range tests {
		if got := forecast.CRPSNormal(tt.mean, tt.sd, tt.y); math.Abs(got-tt.want) > 1e-8 {
			t.Errorf("CRPS(N(%v, %v²), %v) = %.9f, want %.9f (%s)", tt.mean, tt.sd, tt.y, got, tt.want, tt.source)
		}
	}
}

// The closed form against the definition ∫ (F(x) − 1{x ≥ y})² dx by quadrature.
func TestCRPSNormalAgainstQuadrature(t *testing.T) {
	t.Parallel()
	for _, y := range []float64{-2.5, -0.3, 0.7, 3} {
		law := distuv.Normal{Mu: 0.4, Sigma: 1.3}
		below := quad.Fixed(func(x float64) float64 { return math.Pow(law.CDF(x), 2) }, -15, y, 400, nil, 0)
		above := quad.Fixed(func(x float64) float64 { return math.Pow(1-law.CDF(x), 2) }, y, 15, 400, nil, 0)
		if got, want := forecast.CRPSNormal(0.4, 1.3, y), below+above; math.Abs(got-want) > 1e-9 {
			t.Errorf("y = %v: %.12f, quadrature gives %.12f", y, got, want)
		}
	}
}

// Quantile and ProbBy are inverse, and the mean life is the integral of the
// survival function, for limits at and off the prior's.
func TestPosteriorAgainstQuadrature(t *testing.T) {
	t.Parallel()
	for _, limit := range []float64{180, 200, 230} {
		life := lived(12, 12, 0.5)
		life.LimitPa = limit
		post := forecast.Fit(forecast.ClassPrior("secondary"), life)
		for _, q := range []float64{0.01, 0.1, 0.37, 0.5, 0.9, 0.99} {
			if got := post.ProbBy(post.Quantile(q)); math.Abs(got-q) > 1e-9 {
				t.Errorf("limit %v: P(life ≤ quantile %v) = %.12f", limit, q, got)
			}
		}
		survival := func(lnX float64) float64 { return (1 - post.ProbBy(math.Exp(lnX))) * math.Exp(lnX) }
		got, want := post.MeanLife(), quad.Fixed(survival, math.Log(1), math.Log(1e6), 3000, nil, 0)
		if math.Abs(got/want-1) > 2e-3 {
			t.Errorf("limit %v: mean life %.1f, by quadrature %.1f", limit, got, want)
		}
	}
}

// The median of the band inverts: half of the curves are below it.
func TestBandIsOrdered(t *testing.T) {
	t.Parallel()
	life := lived(13, 10, 0.6)
	post := forecast.Fit(forecast.ClassPrior("secondary"), life)
	for x := 0.0; x < 6000; x += 200 {
		lo, mid, hi := post.ResistancePa(x, 0.1), post.ResistancePa(x, 0.5), post.ResistancePa(x, 0.9)
		if !(lo <= mid && mid <= hi) {
			t.Errorf("x = %v: band %v, %v, %v", x, lo, mid, hi)
		}
		if m := post.MeanPa(x); m < lo*0.9 || m > hi*1.3 {
			t.Errorf("x = %v: mean %v outside the band %v–%v", x, m, lo, hi)
		}
	}
}
