package forecast_test

import (
	"math"
	"testing"

	"clogwise/internal/forecast"
)

// cake is a life of 3000 h loading straight from 80 Pa to 200 Pa.
func cake(upTo float64, n int) []forecast.Observation {
	var obs []forecast.Observation
	for i := range n {
		x := upTo * float64(i+1) / float64(n)
		obs = append(obs, forecast.Observation{X: x, Pa: 80 + 120*x/3000, Weight: 1, StepPa: 1})
	}
	return obs
}

func TestFitFindsAStraightLife(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("secondary")
	post := forecast.Fit(prior, forecast.Life{Obs: cake(2400, 30), CleanPa: 80, LimitPa: 200, NowX: 2400})
	lo, mid, hi := post.Quantile(0.1), post.Quantile(0.5), post.Quantile(0.9)
	if math.Abs(mid-3000) > 250 || lo > 3000 || hi < 2900 {
		t.Errorf("life %.0f (%.0f–%.0f), want about 3000 within the range", mid, lo, hi)
	}
	if got := post.NowPa(); math.Abs(got-176) > 6 {
		t.Errorf("now %.1f Pa, want about 176", got)
	}
}

func TestWithoutReadingsThePriorAnswers(t *testing.T) {
	t.Parallel()
	prior := forecast.ClassPrior("primary")
	post := forecast.Fit(prior, forecast.Life{LimitPa: 150})
	for _, q := range []float64{0.1, 0.5, 0.9} {
		if got, want := post.Quantile(q), prior.LifeQuantile(q); math.Abs(got/want-1) > 0.02 {
			t.Errorf("quantile %v: %.0f, prior says %.0f", q, got, want)
		}
	}
}
