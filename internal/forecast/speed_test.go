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
