package assess_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
)

// alike are the finished lives of a fleet whose filters load evenly from 70 to
// 200 Pa in some 4200 run hours: invented, a forecast that is sure of itself.
func alike() []forecast.FinishedLife {
	var out []forecast.FinishedLife
	for k := range 10 {
		l := forecast.FinishedLife{EndX: 4200 + 90*float64(k-5), ReachedLimit: true, LimitPa: 200, Group: fmt.Sprint(k / 3), CleanPa: 70}
		for i := range 24 {
			x := l.EndX * float64(i+1) / 25
			l.Obs = append(l.Obs, forecast.Observation{X: x, Pa: math.Round(70 + 130*x/l.EndX + 3*math.Sin(float64(7*i+k))), Weight: 0.5})
		}
		out = append(out, l)
	}
	return out
}

// Several readings that agree far above what was expected are no slips, each for
// itself: the resistance expected now follows them, and so do dates and condition.
// Invented data. The 15 % is asked of the median from the second on.
func TestAgreeingReadingsMoveTheForecast(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), alike())
	clean := 70.0
	for _, c := range []struct {
		name string
		days []int
		pa   func(i int) float64
		late int // days from the last reading by which the limit is most likely reached
		near bool
	}{
		{"a level of 180 Pa, weekly", []int{7, 14, 21}, func(int) float64 { return 180 }, 100, true},
		{"and slowly on", []int{7, 14, 21, 28, 35, 42, 49, 56, 63}, func(i int) float64 { return 178 + float64(i+i%2*2) }, 100, true},
		{"daily", []int{1, 2, 5}, func(int) float64 { return 186 }, 30, true},
		{"up at once, then 4 Pa a week", []int{7, 14, 21, 28, 35, 42, 49, 56, 63}, func(i int) float64 { return 110 + 4*float64(i) }, 150, false},
		{"up in the midst of a life", []int{14, 28, 42, 56, 70, 84, 85, 86, 87}, func(i int) float64 {
			if i < 6 {
				return 75 + 7*float64(i)
			}
			return 190
		}, 30, true},
	} {
		h := (&history{}).at(0, entry.Swap{Sure: true, CleanPa: &clean})
		for i, d := range c.days {
			h.at(d, entry.Reading{Pa: c.pa(i)})
			if i < 1 || c.near && c.days[0] == 14 && i < 7 {
				continue
			}
			now := began.AddDate(0, 0, d).Add(time.Hour)
			a := assess.Bank(assess.Input{Register: oneBank(""), Bank: axisBank, Entries: h.entries, Prior: prior, Now: now})
			if off := a.NowPa/c.pa(i) - 1; math.Abs(off) > 0.15 {
				t.Errorf("%s, reading %d: expected now %.0f Pa, read %.0f", c.name, i+1, a.NowPa, c.pa(i))
			}
			if late := now.AddDate(0, 0, c.late); a.Dates.Median.IsZero() || a.Dates.Median.After(late) {
				t.Errorf("%s, reading %d: most likely %v, want by %v", c.name, i+1, a.Dates.Median, late)
			}
			if a.Condition == duelist.Clean {
				t.Errorf("%s, reading %d: clean at %.0f Pa", c.name, i+1, c.pa(i))
			}
		}
	}
}

// One wild reading among sound ones still moves nothing much.
func TestOneWildReadingMovesLittle(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), alike())
	life := forecast.Life{CleanPa: 70, LimitPa: 200, NowX: 1400}
	for i := range 7 {
		x := 200 * float64(i+1)
		life.Obs = append(life.Obs, forecast.Observation{X: x, Pa: 70 + 130*x/4200, Weight: 0.5})
	}
	want := forecast.Fit(prior, life).Quantile(0.5)
	for _, at := range []int{0, 3, 6} {
		with := life
		with.Obs = append([]forecast.Observation(nil), life.Obs...)
		with.Obs[at].Pa = 180
		if got := forecast.Fit(prior, with).Quantile(0.5); math.Abs(got/want-1) > 0.1 {
			t.Errorf("reading %d wild: life %.0f h, without %.0f", at, got, want)
		}
	}
}

// A jump by half of what is left to the limit, or a quarter of what is read, moves the forecast at the second reading that
// agrees with it, after few readings and after many. Invented data, noise of 2 %; one in five
// may need a third.
func TestTheSecondAgreeingReadingMovesTheForecast(t *testing.T) {
	t.Parallel()
	prior := forecast.Learn(forecast.ClassPrior("secondary"), alike())
	clean := 70.0
	for _, before := range []int{1, 4, 8, 15} {
		for _, every := range []int{1, 7} {
			moved := 0
			for seed := range uint64(10) {
				rnd := rand.New(rand.NewPCG(seed, uint64(before)))
				h := (&history{}).at(0, entry.Swap{Sure: true, CleanPa: &clean})
				var days int
				var pa, jump float64
				for i := range before + 2 {
					days = every * (i + 1)
					pa = 70 + 130*float64(days)*24/4200
					if i == before {
						jump = max((200-pa)/2, 0.25*pa)
					}
					pa += jump
					h.at(days, entry.Reading{Pa: math.Round(pa * (1 + 0.02*rnd.NormFloat64()))})
				}
				now := began.AddDate(0, 0, days).Add(time.Hour)
				a := assess.Bank(assess.Input{Register: oneBank(""), Bank: axisBank, Entries: h.entries, Prior: prior, Now: now})
				if a.NowPa > pa-jump/2 {
					moved++
				}
			}
			if moved < 8 {
				t.Errorf("every %d days, %d readings before: %d of 10 moved", every, before, moved)
			}
		}
	}
}
