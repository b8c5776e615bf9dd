// Package daytext prints dates as people say them: shortly, in the time zone of the
// site they speak of. It is pure.
package daytext

import (
	"time"
)

// Day prints a date as people say it: "18 Mar", with the year when it is more
// than nine months from now in either direction.
func Day(t, now time.Time, loc *time.Location) string {
	t = t.In(loc)
	if far(t, now) {
		return t.Format("2 Jan 2006")
	}
	return t.Format("2 Jan")
}

func far(t, now time.Time) bool {
	d := t.Sub(now)
	return d > 270*24*time.Hour || d < -270*24*time.Hour
}

// Span prints a range of dates as shortly as it can: "9–31 Mar", "28 Feb–9 Mar",
// "Dec 2026–Mar 2027". A zero end is open.
func Span(from, to, now time.Time, loc *time.Location) string {
	switch {
	case from.IsZero():
		return "later than we can see"
	case to.IsZero():
		return "after " + Day(from, now, loc)
	}
	a, b := from.In(loc), to.In(loc)
	switch {
	case a.Format(time.DateOnly) == b.Format(time.DateOnly):
		return Day(b, now, loc)
	case far(b, now) && b.Sub(a) > 60*24*time.Hour:
		if a.Format("Jan 2006") == b.Format("Jan 2006") {
			return a.Format("Jan 2006")
		}
		return a.Format("Jan 2006") + "–" + b.Format("Jan 2006")
	case a.Year() == b.Year() && a.Month() == b.Month():
		return a.Format("2") + "–" + Day(b, now, loc)
	case a.Year() == b.Year() || !far(a, now) && !far(b, now):
		return a.Format("2 Jan") + "–" + Day(b, now, loc)
	}
	return a.Format("2 Jan 2006") + "–" + b.Format("2 Jan 2006")
}

// Moment prints a date with its time of day: "Thu 26 Nov 09:00".
func Moment(t time.Time, loc *time.Location) string { return t.In(loc).Format("Mon 2 Jan 15:04") }
