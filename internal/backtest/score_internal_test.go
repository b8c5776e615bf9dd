package backtest

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"clogwise/internal/forecast"
)

// The score over quantiles against the closed form of a normal forecast, which has
// published values of its own (see the tests of package forecast).
func TestQuantileScoreIsTheCRPS(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ mean, sd, y float64 }{{0, 1, 0}, {0, 1, 1}, {0, 1, -3}, {100, 20, 110}, {1, 0.1, 1.05}} {
		law := distuv.Normal{Mu: c.mean, Sigma: c.sd}
		got, want := quantileScore(law.Quantile, c.y), forecast.CRPSNormal(c.mean, c.sd, c.y)
		if math.Abs(got/want-1) > 0.01 { // of a hundred quantiles
			t.Errorf("N(%g, %g²) at %g: %.6g, want %.6g (closed form)", c.mean, c.sd, c.y, got, want)
		}
	}
}

// Every measure on forecasts whose scores are known by hand: one exact, one half a
// life too long, made at half of the life.
func TestScoresByHand(t *testing.T) {
	t.Parallel()
	var s scorer
	point := func(x float64) Forecast { return func(float64) float64 { return x } }
	s.add(point(100), 100, 50)
	s.add(point(150), 100, 50)
	got := s.row("by hand")
	want := Row{Method: "by hand", N: 2, MdAPE: 50, AbsErr: 25, CRPS: 25, Cover80: 50, Cover95: 50}
	if math.Abs(got.CRPS-want.CRPS) > 1e-9 {
		t.Errorf("CRPS %g, want %g: that of a point forecast is its error", got.CRPS, want.CRPS)
	}
	got.CRPS = want.CRPS
	if got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	s = scorer{}
	s.add(func(q float64) float64 { return 100 + 100*(q-0.5) }, 100, 50) // uniform from 50 to 150
	if w := s.row("").Width80; math.Abs(w-80) > 1e-9 {
		t.Errorf("80 %% range %g wide, want 80", w)
	}
	s.add(point(math.NaN()), 100, 50)
	if r := s.row(""); r.Failures != 1 || r.N != 2 {
		t.Errorf("a forecast without a figure: %+v", r)
	}
}
