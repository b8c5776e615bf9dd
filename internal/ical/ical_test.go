package ical_test

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"clogwise/internal/ical"
)

var now = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// The form of each line is that of RFC 5545, sections 3.1 to 3.8.
func TestCalendar(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("ahead", 14*3600)
	got := ical.Calendar{Name: "North, roof; plant", Now: now, Every: time.Hour, Events: []ical.Event{
		{UID: "due-1", Summary: `AHU-1 \ bag`, Notes: "150 Pa (0.60 in wc)\nlimit 200 Pa", Start: time.Date(2026, 3, 18, 1, 0, 0, 0, zone), AllDay: true},
		{UID: "booking-7", Summary: "x", Place: "North", Category: "booked", Busy: true, Start: now.In(zone), End: now.Add(90 * time.Minute), Modified: now.Add(-time.Hour)},
	}}.String()
	want := strings.ReplaceAll(`BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//clogwise//change-outs//EN
CALSCALE:GREGORIAN
METHOD:PUBLISH
NAME:North\, roof\; plant
X-WR-CALNAME:North\, roof\; plant
REFRESH-INTERVAL;VALUE=DURATION:PT60M
BEGIN:VEVENT
UID:due-1
DTSTAMP:20260302T120000Z
DTSTART;VALUE=DATE:20260318
DTEND;VALUE=DATE:20260319
SUMMARY:AHU-1 \\ bag
DESCRIPTION:150 Pa (0.60 in wc)\nlimit 200 Pa
TRANSP:TRANSPARENT
END:VEVENT
BEGIN:VEVENT
UID:booking-7
DTSTAMP:20260302T120000Z
DTSTART:20260302T120000Z
DTEND:20260302T133000Z
SUMMARY:x
LOCATION:North
CATEGORIES:booked
LAST-MODIFIED:20260302T110000Z
END:VEVENT
END:VCALENDAR
`, "\n", "\r\n")
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// Lines are folded at 75 octets, never within a character, and come back whole.
func FuzzFolding(f *testing.F) {
	f.Add(strings.Repeat("ä", 200))
	f.Add(strings.Repeat("x", 74) + "€")
	f.Add("a\r\nBEGIN:VEVENT\x00\xff,;\\")
	f.Fuzz(func(t *testing.T, s string) {
		raw := ical.Calendar{Name: s, Now: now}.String()
		body, ok := strings.CutSuffix(raw, "\r\n")
		if !ok || !utf8.ValidString(raw) {
			t.Fatalf("%q", raw)
		}
		for _, l := range strings.Split(body, "\r\n") {
			if len(l) > 75 || strings.ContainsAny(l, "\r\n\x00") || !utf8.ValidString(l) {
				t.Errorf("line %q of %d bytes", l, len(l))
			}
		}
		if n := strings.Count(strings.ReplaceAll(raw, "\r\n ", ""), "\r\n"); n != 8 {
			t.Errorf("%d lines, want 8: the text has broken out of its own", n)
		}
	})
}
