// Package realised holds forecasts against what happened: what would have been
// said of a bank some time before its filters were changed, from what was known
// then, and when they were in fact changed.
package realised

import (
	"math"
	"slices"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Outcome is one forecast and the change-out it was about.
type Outcome struct {
	Bank     plant.BankID `json:"bank"`
	Made     time.Time    `json:"made"`     // as of when the forecast was made
	Forecast assess.Dates `json:"forecast"` // of the limit that governs
	Swapped  time.Time    `json:"swapped"`
}

// ErrorDays is how many days later than the median the filters were changed;
// negative: earlier. Crews that change early by habit show here as well.
func (o Outcome) ErrorDays() float64 { return o.Swapped.Sub(o.Forecast.Median).Hours() / 24 }

// Inside reports whether the change-out fell into the central 80 % range.
func (o Outcome) Inside() bool {
	return !o.Swapped.Before(o.Forecast.P10) && !o.Swapped.After(o.Forecast.P90)
}

// Of makes the forecast for a bank's last change-out, as of ahead before it, from
// the entries received by then alone. What the fleet teaches (prior, season) and
// the register are those of in: as they are now. ok is false where there was no
// change-out, or no reading of that life that long before it, or no date within
// twenty years.
func Of(in assess.Input, ahead time.Duration) (o Outcome, ok bool) {
	swap := assess.Bank(in).LastSwap
	if swap == nil {
		return Outcome{}, false
	}
	then := in
	then.Now, then.Carried, then.Beside = swap.At.Add(-ahead), nil, nil
	then.Entries = slices.DeleteFunc(slices.Clone(in.Entries), func(x entry.Entry) bool { return x.Received.After(then.Now) })
	a := assess.Bank(then)
	if a.LifeStart == nil || a.Readings == 0 || a.Dates.Median.IsZero() {
		return Outcome{}, false
	}
	return Outcome{Bank: in.Bank, Made: then.Now, Forecast: a.Dates, Swapped: swap.At}, true
}

// Summary is a fleet's outcomes in figures.
type Summary struct {
	Count         int     `json:"count"`
	MedianAbsDays float64 `json:"median_abs_error_days"`
	MeanDays      float64 `json:"mean_error_days"` // above zero: changed later than forecast
	InsideShare   float64 `json:"inside_80_share"` // 0 to 1
}

// Sum sums up; NaN nowhere, zeros where there is nothing.
func Sum(outcomes []Outcome) Summary {
	n := len(outcomes)
	if n == 0 {
		return Summary{}
	}
	abs := make([]float64, n)
	s := Summary{Count: n}
	for i, o := range outcomes {
		d := o.ErrorDays()
		abs[i] = math.Abs(d)
		s.MeanDays += d / float64(n)
		if o.Inside() {
			s.InsideShare += 1 / float64(n)
		}
	}
	slices.Sort(abs)
	s.MedianAbsDays = (abs[(n-1)/2] + abs[n/2]) / 2
	return s
}
