package forecast_test

import (
	"encoding/binary"
	"math"
	"testing"

	"clogwise/internal/forecast"
)

// Whatever is fed in, answers are ordered numbers and nothing panics.
func FuzzFit(f *testing.F) {
	f.Add([]byte("a few bytes to begin with, enough for two or three observations of a life"), 200.0, 80.0, 1000.0)
	f.Add([]byte{}, 0.0, 0.0, 0.0)
	f.Add([]byte{255, 255, 255, 255, 255, 255, 255, 255, 1, 2, 3, 4}, math.Inf(1), math.NaN(), -5.0)
	f.Fuzz(func(t *testing.T, raw []byte, limit, clean, now float64) {
		life := forecast.Life{LimitPa: limit, CleanPa: clean, NowX: now}
		for len(raw) >= 10 && len(life.Obs) < 60 {
			life.Obs = append(life.Obs, forecast.Observation{
				X:  math.Float64frombits(binary.LittleEndian.Uint64(raw)),
				Pa: float64(int16(binary.LittleEndian.Uint16(raw[8:]))) / 16, Weight: float64(raw[0]) / 255,
				StepPa: float64(raw[1] % 32), Censored: raw[2]%16 == 0,
			})
			raw = raw[10:]
		}
		for _, prior := range []forecast.Prior{forecast.ClassPrior("primary"), {}} {
			post := forecast.Fit(prior, life)
			last := 0.0
			for _, q := range quantiles {
				x := post.Quantile(q)
				if math.IsNaN(x) || x < last {
					t.Fatalf("quantile %v: %v after %v", q, x, last)
				}
				last = x
			}
			for _, v := range []float64{post.MeanPa(1000), post.CleanPa(), post.NowPa(), post.ProbBy(2000), post.ResistancePa(1000, 0.9), post.Remaining(0.5)} {
				if math.IsNaN(v) || v < 0 {
					t.Fatalf("figure %v from %+v", v, life)
				}
			}
		}
	})
}
