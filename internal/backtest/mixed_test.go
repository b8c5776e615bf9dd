package backtest_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"clogwise/internal/backtest"
	"clogwise/internal/forecast/simulate"
)

// mixedDuties is a fleet in which lives differ fourfold between four groups
// that nobody names, with slow-starting curves like those of filter mats
// loaded with test dust (power about 3, clean resistance small).
func mixedDuties(seed uint64, n int) []backtest.Run {
	rnd := rand.New(rand.NewPCG(seed, 1))
	var runs []backtest.Run
	for i := range n {
		duty := []float64{1, 1.6, 2.5, 4}[i%4]
		l := simulate.Life{
			Curve: simulate.Curve{
				CleanPa: 15 * math.Exp(0.3*rnd.NormFloat64()), LimitPa: 400,
				Straight: 0.1 * rnd.Float64(), Power: 2.6 + 0.8*rnd.Float64(),
			},
			DoseX: 10000 * duty * math.Exp(0.07*rnd.NormFloat64()),
		}
		l.Dust = simulate.Steps(rnd, l.DoseX/8, 0.25, 4*l.DoseX)
		r := backtest.Run{ID: string(rune('a'+i%26)) + string(rune('a'+i/26))}
		for x := 0.0; x < 1.15*l.EndX(); x += l.DoseX / 100 {
			r.Dust = append(r.Dust, x)
			r.Pa = append(r.Pa, math.Max(0, l.Pa(x)+4*rnd.NormFloat64()))
		}
		runs = append(runs, r)
	}
	return runs
}

func TestMixedDutiesBeatTheFixedIntervalThreefold(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("learns 36 priors: some seconds")
	}
	rep, err := backtest.Evaluate(mixedDuties(7, 36), backtest.Options{Axis: backtest.ByDust, Seeds: 1},
		[]backtest.Method{backtest.Clogwise(), backtest.FixedInterval()})
	if err != nil {
		t.Fatal(err)
	}
	rep.Table(t.Output())
	ours, fixed := rep.Rows[0], rep.Rows[1]
	if ours.CRPS*3 > fixed.CRPS {
		t.Errorf("CRPS %.2f %% of life against %.2f %% of the fixed interval, want a third or less", ours.CRPS, fixed.CRPS)
	}
	if ours.Cover80 < 70 || ours.Cover80 > 90 {
		t.Errorf("80 %% range holds %.0f %% of the lives, want 70–90 %%", ours.Cover80)
	}
}
