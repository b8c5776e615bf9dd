package forecast_test

import (
	"fmt"
	"testing"

	"clogwise/internal/forecast"
)

func BenchmarkFit(b *testing.B) {
	for _, n := range []int{0, 10, 100, 1000, 10000} {
		life := forecast.Life{Obs: cake(2400, n), CleanPa: 80, LimitPa: 200, NowX: 2400}
		prior := forecast.ClassPrior("secondary")
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				forecast.Fit(prior, life)
			}
		})
	}
}

// The forecast's part of a bank's recompute: fit, and the figures a reply needs.
func BenchmarkRecompute(b *testing.B) {
	for _, n := range []int{10, 100, 365, 1000, 10000} {
		life := forecast.Life{Obs: cake(2400, n), CleanPa: 80, LimitPa: 200, NowX: 2400}
		prior := forecast.ClassPrior("secondary")
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				post := forecast.Fit(prior, life)
				for _, q := range quantiles {
					post.Remaining(q)
				}
				for k := range 8 {
					post.ResistancePa(float64(k)*400, 0.5)
				}
			}
		})
	}
}

// A life whose resistance jumped, early and late, under a prior of several duties: the
// dearest kind.
func BenchmarkLeap(b *testing.B) {
	var lives []forecast.FinishedLife
	for i, l := range history(1, 60) {
		duty := []float64{1, 1.6, 2.5, 4}[i%4]
		l.EndX *= duty
		for k := range l.Obs {
			l.Obs[k].X *= duty
		}
		lives = append(lives, l)
	}
	prior := forecast.Learn(forecast.ClassPrior("secondary"), lives)
	for _, after := range []int{3, 25} {
		obs := cake(2400, 30)
		for i := range obs {
			if i >= after {
				obs[i].Pa += 40
			}
		}
		life := forecast.Life{Obs: obs, CleanPa: 80, LimitPa: 250, NowX: 2400}
		b.Run(fmt.Sprintf("after %d of 30", after), func(b *testing.B) {
			for b.Loop() {
				forecast.Fit(prior, life)
			}
		})
	}
}

func BenchmarkTrackerAdd(b *testing.B) {
	for _, n := range []int{10, 100, 1000} {
		obs := cake(2400, n)
		tracker := forecast.NewTracker(forecast.ClassPrior("secondary"), forecast.Life{Obs: obs, LimitPa: 200})
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				if i%100 == 0 { // do not let the life grow while it is measured
					tracker = forecast.NewTracker(forecast.ClassPrior("secondary"), forecast.Life{Obs: obs, LimitPa: 200})
				}
				tracker.Add(obs[i%n])
				tracker.Posterior()
			}
		})
	}
}

func BenchmarkLearn(b *testing.B) {
	for _, n := range []int{30, 300, 1000} {
		lives := history(1, n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				forecast.Learn(forecast.ClassPrior("secondary"), lives)
			}
		})
	}
}
