package duelist_test

import (
	"math"
	"time"

	"clogwise/internal/duelist"
)

// The rules of Visits in the plainest words, for the tests' own searches.

// workdays are the civil days a plan of the jobs may use, as noons.
func workdays(jobs []duelist.Job, cal duelist.Calendar) []time.Time {
	last := cal.From.AddDate(0, 0, 14)
	for _, j := range jobs {
		for _, t := range []time.Time{j.Latest, j.Earliest, j.Booked} {
			if t.After(last) {
				last = t
			}
		}
	}
	last = last.AddDate(0, 0, 14)
	var out []time.Time
	y, m, d := cal.From.In(cal.Loc).Date()
	for t := time.Date(y, m, d, 12, 0, 0, 0, cal.Loc); !t.After(last); t = t.AddDate(0, 0, 1) {
		if works(t, cal) || bookedOn(jobs, t) {
			out = append(out, t)
		}
	}
	return out
}

func works(t time.Time, cal duelist.Calendar) bool {
	for _, c := range cal.Closed {
		if c == t.Format(time.DateOnly) {
			return false
		}
	}
	return cal.Work[t.Weekday()]
}

func bookedOn(jobs []duelist.Job, t time.Time) bool {
	for _, j := range jobs {
		if !j.Booked.IsZero() && j.Booked.In(t.Location()).Format(time.DateOnly) == t.Format(time.DateOnly) {
			return true
		}
	}
	return false
}

// allowed says which of the days a job may have, by the rules that Visits states.
func allowed(j duelist.Job, days []time.Time, cal duelist.Calendar) []bool {
	on := func(t time.Time) string { return t.In(cal.Loc).Format(time.DateOnly) }
	out := make([]bool, len(days))
	any := false
	for d, t := range days {
		s := on(t)
		if !j.Booked.IsZero() {
			out[d] = s == on(j.Booked)
		} else {
			out[d] = s <= on(j.Latest) && (j.Earliest.IsZero() || s >= on(j.Earliest))
		}
		any = any || out[d]
	}
	for d, t := range days {
		if !any && (j.Earliest.IsZero() || on(t) >= on(j.Earliest)) {
			out[d] = true
			break
		}
	}
	return out
}

// pence is a job's own cost on a day, in hundredths, straight from Job's words.
func pence(j duelist.Job, on time.Time, loc *time.Location) int64 {
	y, m, d := j.Best.In(loc).Date()
	best := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	y, m, d = on.Date()
	off := int64(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Sub(best) / (24 * time.Hour))
	rate := j.Late
	if off < 0 {
		off, rate = -off, j.Early
	}
	cents := func(x float64) int64 { return int64(math.Round(x * 100)) }
	return off*cents(amount(rate)) + off*off*cents(amount(j.Bend))
}
