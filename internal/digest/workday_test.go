package digest_test

import (
	"testing"
	"time"

	"clogwise/internal/digest"
)

// Weekdays and clock changes by the calendar of 2026: clocks in London go on 29
// March and back on 25 October, in Chicago on 8 March and 1 November.
func TestNextWorkingDay(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, zone, days, from, want string }{
		{"midweek", london, "", "2026-11-24 10:00", "2026-11-25"},
		{"late in the evening", london, "", "2026-11-24 23:59", "2026-11-25"},
		{"first minute of a day", london, "", "2026-11-24 00:00", "2026-11-25"},
		{"over a weekend", london, "", "2026-11-27 15:00", "2026-11-30"},
		{"from a Saturday", london, "", "2026-11-28 09:00", "2026-11-30"},
		{"over holidays and a weekend", london, "", "2026-12-24 15:00", "2026-12-29"},
		{"Sunday to Thursday", london, "Sun-Thu", "2026-11-26 15:00", "2026-11-29"},
		{"daily", london, "daily", "2026-11-27 15:00", "2026-11-28"},
		{"unreadable days count as Mon-Fri", london, "sometimes", "2026-11-27 15:00", "2026-11-30"},
		{"clocks go on in London", london, "daily", "2026-03-28 15:00", "2026-03-29"},
		{"the day the clocks went on", london, "daily", "2026-03-29 00:30", "2026-03-30"},
		{"clocks go back in London", london, "daily", "2026-10-24 23:30", "2026-10-25"},
		{"the 25-hour day", london, "daily", "2026-10-25 23:30", "2026-10-26"},
		{"over a weekend with a change", london, "", "2026-10-23 15:00", "2026-10-26"},
		{"clocks go on in Chicago", chicago, "daily", "2026-03-07 23:30", "2026-03-08"},
		{"clocks go back in Chicago", chicago, "daily", "2026-11-01 23:30", "2026-11-02"},
		{"clocks go at midnight in Beirut", "Asia/Beirut", "daily", "2026-03-28 15:00", "2026-03-29"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := hall(tc.zone)
			s.WorkHours.Days = tc.days
			got := digest.NextWorkingDay(s, at(t, tc.zone, tc.from))
			if got.Format(time.DateOnly) != tc.want || got.Hour() != 12 {
				t.Errorf("got %s, want noon of %s", got, tc.want)
			}
		})
	}
}

// The moment given may be in any zone; the site's calendar counts.
func TestNextWorkingDayGoesByTheSitesCalendar(t *testing.T) {
	t.Parallel()
	utc := time.Date(2026, 11, 25, 3, 0, 0, 0, time.UTC) // still Tuesday evening in Chicago
	if got := digest.NextWorkingDay(hall(chicago), utc).Format(time.DateOnly); got != "2026-11-25" {
		t.Errorf("got %s", got)
	}
}
