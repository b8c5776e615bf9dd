package trend

import (
	"cmp"
	"math"
	"slices"
	"time"

	"clogwise/internal/points"
)

// A Value is what a run-hour meter (h) or a run status (0 or 1) showed at a time.
type Value struct {
	At time.Time
	V  float64
}

// What counted hours are believed by (common practice, no source).
const (
	meterGap  = 36 * time.Hour // between the values around a midnight; a meter read once a day does
	statusGap = 2 * time.Hour  // how long a status is taken to hold until the next
	leastSeen = 0.8            // of a day, that a status must cover
	tooFast   = 1.02           // hours of a meter in one hour of the clock
)

// Metered is how many hours a run-hour meter counted in a stretch of time, its
// values in any order: the difference of what it showed at either end, on a
// straight line between the values around it. ok is false where those are missing
// or far apart, and where the meter went back (replaced, reset) or ran faster than
// the clock (another unit).
func Metered(meter []Value, from, to time.Time) (hours float64, ok bool) {
	all := inOrder(meter)
	a, known := shownAt(all, from)
	if !known {
		return 0, false
	}
	b, known := shownAt(all, to)
	if !known {
		return 0, false
	}
	last := a
	for _, v := range all {
		if v.At.After(from) && v.At.Before(to) {
			if v.V < last {
				return 0, false
			}
			last = v.V
		}
	}
	hours = b - a
	if b < last || hours < 0 || hours > tooFast*to.Sub(from).Hours() {
		return 0, false
	}
	return inDay(hours, from, to), true
}

// shownAt is what a meter showed at a time.
func shownAt(all []Value, t time.Time) (float64, bool) {
	i, exact := slices.BinarySearchFunc(all, t, func(v Value, t time.Time) int { return v.At.Compare(t) })
	if exact {
		return all[i].V, true
	}
	if i == 0 || i == len(all) {
		return 0, false
	}
	a, b := all[i-1], all[i]
	span := b.At.Sub(a.At)
	if span > meterGap || b.V < a.V || b.V-a.V > tooFast*span.Hours() {
		return 0, false
	}
	return a.V + (b.V-a.V)*float64(t.Sub(a.At))/float64(span), true
}

// Ran is how many hours a fan ran in a stretch of time by its run status, its
// values in any order. ok is false where they cover too little of it; what they do
// not cover is taken to have run like the rest.
func Ran(status []Value, from, to time.Time) (hours float64, ok bool) {
	all := inOrder(status)
	var on, seen time.Duration
	for i, v := range all {
		end := v.At.Add(statusGap)
		if i+1 == len(all) {
			end = v.At
		} else if next := all[i+1].At; next.Before(end) {
			end = next
		}
		begin := v.At
		if begin.Before(from) {
			begin = from
		}
		if end.After(to) {
			end = to
		}
		if d := end.Sub(begin); d > 0 {
			seen += d
			if v.V >= 0.5 {
				on += d
			}
		}
	}
	whole := to.Sub(from)
	if whole <= 0 || float64(seen) < leastSeen*float64(whole) {
		return 0, false
	}
	return inDay(float64(on)/float64(seen)*whole.Hours(), from, to), true
}

// Stands reports whether a fan stood at a time by the last run status before it, as
// systems record it that send a status only when it changes or once an hour. A
// status nearer than points.Near on either side speaks for itself. status is in
// order of time.
func Stands(status []Value, at time.Time) bool {
	i, _ := slices.BinarySearchFunc(status, at.Add(points.Near+1), func(v Value, t time.Time) int { return v.At.Compare(t) })
	if i == 0 {
		return false
	}
	last := status[i-1]
	gap := at.Sub(last.At)
	return gap > points.Near && gap <= statusGap && last.V < 0.5
}

// inDay rounds hours to a hundredth, so that a value a little closer to midnight
// does not alter a day, and keeps them in it.
func inDay(hours float64, from, to time.Time) float64 {
	return min(math.Round(hours*100)/100, to.Sub(from).Hours())
}

func inOrder(values []Value) []Value {
	return slices.SortedStableFunc(slices.Values(values), func(a, b Value) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.V, b.V)) })
}
