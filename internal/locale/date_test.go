package locale_test

import (
	"testing"
	"time"

	"clogwise/internal/locale"
)

// English, and the same days and ranges of days for every language.
func TestDaysAsPeopleSayThem(t *testing.T) {
	t.Parallel()
	english := locale.Of("en")
	loc := time.FixedZone("east", 2*3600)
	d := func(s string) time.Time {
		if s == "" {
			return time.Time{}
		}
		out, err := time.Parse("2006-01-02 15:04", s)
		if err != nil {
			t.Fatal(err)
		}
		return out // in UTC: two hours behind the site
	}
	now := d("2026-03-02 08:00")
	for _, tc := range []struct{ name, from, to, want string }{
		{"one month", "2026-03-09 10:00", "2026-03-31 10:00", "9–31 Mar"},
		{"two months", "2026-02-28 10:00", "2026-03-09 10:00", "28 Feb–9 Mar"},
		{"one day", "2026-03-09 04:00", "2026-03-09 20:00", "9 Mar"},
		{"the site's day, not UTC's", "2026-03-08 23:00", "2026-03-09 20:00", "9 Mar"},
		{"over the year's end, near", "2025-12-20 10:00", "2026-01-05 10:00", "20 Dec–5 Jan"},
		{"far and wide", "2026-12-20 10:00", "2027-03-05 10:00", "Dec 2026–Mar 2027"},
		{"far and narrow", "2027-12-20 10:00", "2028-01-05 10:00", "20 Dec 2027–5 Jan 2028"},
		{"open", "2026-03-09 10:00", "", "after 9 Mar"},
		{"out of sight", "", "2026-03-09 10:00", "later than we can see"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			if got := english.Span(d(tc.from), d(tc.to), now, loc); got != tc.want {
				t.Errorf("got %s, want %s", got, tc.want)
			}
		})
	}
	if got := english.Day(d("2027-03-18 23:30"), now, loc); got != "19 Mar 2027" {
		t.Error(got)
	}
	if got := english.Moment(d("2026-03-05 23:30"), loc); got != "Fri 6 Mar 01:30" {
		t.Error(got)
	}
}
