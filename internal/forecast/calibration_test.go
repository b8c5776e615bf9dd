package forecast_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"clogwise/internal/forecast"
	"clogwise/internal/forecast/simulate"
)

// world draws lives from a law that is not the model's own.
type world struct {
	name  string
	draw  func(*rand.Rand) simulate.Life
	gauge simulate.Gauge
}

func worlds() []world {
	gauge := simulate.Gauge{Noise: 0.04, StepPa: 5}
	curve := func(rnd *rand.Rand) simulate.Curve { return simulate.Draw(rnd, 70, 200) }
	return []world{
		{"Weibull lives", func(rnd *rand.Rand) simulate.Life {
			// Weibull of shape 5: SD about 23 % of the mean.
			return simulate.Life{Curve: curve(rnd), Dust: simulate.Even, DoseX: 3000 * math.Pow(rnd.ExpFloat64(), 0.2)}
		}, gauge},
		{"step changes of dust", func(rnd *rand.Rand) simulate.Life {
			l := simulate.Life{Curve: curve(rnd), DoseX: 3000 * math.Exp(0.15*rnd.NormFloat64())}
			l.Dust = simulate.Steps(rnd, 500, 0.4, 20000)
			return l
		}, gauge},
		{"varying airflow", func(rnd *rand.Rand) simulate.Life {
			return simulate.Life{Curve: curve(rnd), Dust: simulate.Even, DoseX: 3000 * math.Exp(0.3*rnd.NormFloat64())}
		}, simulate.Gauge{Noise: 0.05, StepPa: 2, Flow: 0.3}},
		{"seasons", func(rnd *rand.Rand) simulate.Life {
			l := simulate.Life{Curve: curve(rnd), DoseX: 3000 * math.Exp(0.15*rnd.NormFloat64())}
			l.Dust = simulate.Seasons(4380, 0.5, rnd.Float64())
			return l
		}, gauge},
	}
}

// covers counts how often the central ranges hold the true life when their
// width in ln L is stretched by k about the median: k = 1 is the forecast
// itself, k = √2 and √½ are variances twice and half as large.
func covers(w world, seed uint64, stretch []float64) (in80, in95 []float64) {
	rnd := rand.New(rand.NewPCG(seed, 4))
	var history []forecast.FinishedLife
	for range 40 {
		history = append(history, w.gauge.Finished(rnd, w.draw(rnd), 20, ""))
	}
	prior := forecast.Learn(forecast.ClassPrior("secondary"), history)
	in80, in95 = make([]float64, len(stretch)), make([]float64, len(stretch))
	n := 0.0
	for range 100 {
		l := w.draw(rnd)
		end := l.EndX()
		for _, cut := range []float64{0.4, 0.6, 0.8} {
			obs := w.gauge.Readings(rnd, l, cut*end/12, cut*end)
			post := forecast.Fit(prior, forecast.Life{Obs: obs, LimitPa: 200, NowX: cut * end})
			mid := post.Quantile(0.5)
			within := func(lo, hi, k float64) bool {
				return end >= mid*math.Pow(post.Quantile(lo)/mid, k) && end <= mid*math.Pow(post.Quantile(hi)/mid, k)
			}
			n++
			for i, k := range stretch {
				if within(0.1, 0.9, k) {
					in80[i]++
				}
				if within(0.025, 0.975, k) {
					in95[i]++
				}
			}
		}
	}
	for i := range stretch {
		in80[i] *= 100 / n
		in95[i] *= 100 / n
	}
	return in80, in95
}

func TestRangesHoldOnForeignFleets(t *testing.T) {
	t.Parallel()
	// A variance twice or half the right one would hold 93 % or 63 % instead of
	// 80 %: the band lies between.
	const low80, high80, low95, high95 = 71.0, 90.0, 89.0, 99.6
	pooled, pooled95 := make([]float64, 3), make([]float64, 3)
	for _, w := range worlds() {
		in80, in95 := covers(w, 21, []float64{1, math.Sqrt2, math.Sqrt2 / 2})
		t.Logf("%-22s 80 %% range holds %.0f %%, 95 %% range %.0f %%; variance ×2: %.0f and %.0f; ÷2: %.0f and %.0f",
			w.name, in80[0], in95[0], in80[1], in95[1], in80[2], in95[2])
		if in80[0] < low80 || in80[0] > high80 {
			t.Errorf("%s: 80 %% range holds %.1f %%, want %v–%v", w.name, in80[0], low80, high80)
		}
		if in95[0] < low95 || in95[0] > high95 {
			t.Errorf("%s: 95 %% range holds %.1f %%, want %v–%v", w.name, in95[0], low95, high95)
		}
		for i := range pooled {
			pooled[i] += in80[i] / 4
			pooled95[i] += in95[i] / 4
		}
	}
	for _, c := range []struct {
		of        string
		in        []float64
		low, high float64
	}{{"80 %", pooled, 75, 86}, {"95 %", pooled95, 90, 98}} {
		t.Logf("pooled %s: %.1f; variance ×2: %.1f; ÷2: %.1f", c.of, c.in[0], c.in[1], c.in[2])
		for i, wrong := range []bool{false, true, true} {
			if in := c.in[i] >= c.low && c.in[i] <= c.high; in == wrong {
				t.Errorf("pooled %s range holds %.1f %% (case %d), band %v–%v: the right variance must be within and the wrong ones outside",
					c.of, c.in[i], i, c.low, c.high)
			}
		}
	}
}
