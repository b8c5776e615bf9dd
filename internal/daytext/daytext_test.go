package daytext_test

import (
	"testing"
	"time"

	"clogwise/internal/daytext"
)

func TestSpan(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 1, 9, 0, 0, 0, berlin)
	d := func(y int, m time.Month, day int) time.Time { return time.Date(y, m, day, 12, 0, 0, 0, berlin) }
	for _, tc := range []struct {
		name     string
		from, to time.Time
		want     string
	}{
		{"one month", d(2026, 3, 9), d(2026, 3, 31), "9–31 Mar"},
		{"two months", d(2026, 2, 28), d(2026, 3, 9), "28 Feb–9 Mar"},
		{"one day", d(2026, 3, 9), d(2026, 3, 9), "9 Mar"},
		{"just near enough for no year", time.Date(2026, 11, 20, 0, 0, 0, 0, berlin), d(2026, 11, 25), "20–25 Nov"},
		{"far and wide", d(2026, 12, 10), d(2027, 3, 4), "Dec 2026–Mar 2027"},
		{"far and narrow", d(2027, 3, 2), d(2027, 3, 14), "2–14 Mar 2027"},
		{"open end", d(2026, 3, 9), time.Time{}, "after 9 Mar"},
		{"nothing in sight", time.Time{}, time.Time{}, "later than we can see"},
		// 23:30 UTC on the 8th is the 9th in Berlin.
		{"in the site's own day", time.Date(2026, 3, 8, 23, 30, 0, 0, time.UTC), d(2026, 3, 12), "9–12 Mar"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := daytext.Span(tc.from, tc.to, now, berlin); got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}
