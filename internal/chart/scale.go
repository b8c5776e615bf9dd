package chart

import (
	"math"
	"time"

	"gonum.org/v1/plot/vg"
)

// A scale maps values from lo to hi onto pixels from a to b.
type scale struct {
	lo, hi float64
	a, b   vg.Length
}

func (s scale) at(v float64) vg.Length {
	return s.a + vg.Length((v-s.lo)/(s.hi-s.lo))*(s.b-s.a)
}

func seconds(t time.Time) float64 { return float64(t.Unix()) }

// History and outlook shown when the input does not say.
const (
	backMonths  = 13
	aheadMonths = 24
)

// span chooses the times drawn.
func (in Input) span() (from, to time.Time) {
	from, to = in.Now, in.Now
	widen := func(t time.Time) {
		if t.Before(from) {
			from = t
		}
		if t.After(to) {
			to = t
		}
	}
	for _, r := range in.Readings {
		widen(r.At)
	}
	for _, c := range in.Curve {
		widen(c.At)
	}
	for _, s := range in.Swaps {
		widen(s)
	}
	if in.Reach == nil && !in.CapAt.IsZero() { // the cap comes first
		widen(in.CapAt)
	}
	switch {
	case in.Reach != nil:
		widen(in.Reach.P10)
		widen(in.Reach.P90)
	case len(in.Forecast) > 0:
		widen(in.Forecast[len(in.Forecast)-1].At)
	}
	if least := in.Now.AddDate(0, -backMonths, 0); from.Before(least) {
		from = least
	}
	if most := in.Now.AddDate(0, aheadMonths, 0); to.After(most) {
		to = most
	}
	width := max(to.Sub(from), 14*24*time.Hour)
	from, to = from.Add(-width/40), to.Add(width/9)
	if to.Sub(from) < width {
		to = from.Add(width)
	}
	if !in.From.IsZero() {
		from = in.From
	}
	if !in.To.IsZero() {
		to = in.To
	}
	if !from.Before(to) { // one end given, beyond all data
		to = from.AddDate(0, 1, 0)
	}
	return from, to
}

// limitHeadroom is how far above the limit the picture goes at most: beyond
// twice the limit the height of a dot no longer matters, and the rest would be
// squeezed.
const limitHeadroom = 2.0

// topPa chooses the pressure at the top edge.
func (in Input) topPa() float64 {
	top := max(in.LimitPa*1.18, in.CleanPa*1.6)
	ceiling := math.Inf(1)
	if in.LimitPa > 0 {
		ceiling = in.LimitPa * limitHeadroom
	}
	for _, r := range in.Readings {
		if r.Pa <= ceiling {
			top = max(top, r.Pa*1.08)
		}
	}
	for _, c := range in.Curve {
		if c.Pa <= ceiling {
			top = max(top, c.Pa*1.08)
		}
	}
	if in.LimitPa == 0 {
		for _, b := range in.Forecast {
			top = max(top, b.High)
		}
	}
	if top <= 0 {
		return 250 // an empty picture still has a scale
	}
	return top
}

// ticks are round values from lo to hi, at most n of them.
func ticks(lo, hi float64, n int) (at []float64, step float64) {
	rough := (hi - lo) / float64(n)
	unit := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, m := range []float64{1, 2, 2.5, 5, 10} {
		if step = m * unit; step >= rough {
			break
		}
	}
	for k := math.Ceil(lo/step-1e-9) + 0; k*step <= hi*(1+1e-9); k++ { // + 0 makes a positive nought
		at = append(at, k*step)
	}
	return at, step
}

// dateTicks are at most n local midnights: every so many days, Mondays, or firsts
// of months. byMonth says that only the months need naming.
func dateTicks(from, to time.Time, loc *time.Location, n int) (at []time.Time, byMonth bool) {
	days := to.Sub(from).Hours() / 24
	for _, step := range []int{1, 2, 7, 14, 21} {
		if days/float64(step) <= float64(n) {
			return everyDays(from, to, loc, step), false
		}
	}
	for _, step := range []int{1, 2, 3, 6, 12, 24, 60, 120} {
		if days/30.4/float64(step) <= float64(n) {
			return everyMonths(from, to, loc, step), true
		}
	}
	return nil, true
}

func everyDays(from, to time.Time, loc *time.Location, step int) []time.Time {
	y, m, d := from.In(loc).Date()
	t := time.Date(y, m, d+1, 0, 0, 0, 0, loc)
	for step%7 == 0 && t.Weekday() != time.Monday {
		t = t.AddDate(0, 0, 1)
	}
	var out []time.Time
	for ; t.Before(to); t = t.AddDate(0, 0, step) {
		out = append(out, t)
	}
	return out
}

func everyMonths(from, to time.Time, loc *time.Location, step int) []time.Time {
	y, m, _ := from.In(loc).Date()
	month := (int(m)-1)/step*step + 1
	var out []time.Time
	for t := time.Date(y, time.Month(month), 1, 0, 0, 0, 0, loc); t.Before(to); t = t.AddDate(0, step, 0) {
		if !t.Before(from) {
			out = append(out, t)
		}
	}
	return out
}
