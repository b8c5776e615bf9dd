package phrase_test

import (
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
)

// The clock changes are those of the IANA zone data: London forward on
// 2026-03-29 at 01:00 and back on 2026-10-25 at 02:00; New York forward on
// 2026-03-08 at 02:00 and back on 2026-11-01 at 02:00.
func TestReadingTimes(t *testing.T) {
	t.Parallel()
	utc := func(s string) time.Time {
		at, err := time.Parse("2006-01-02 15:04", s)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	cases := []struct {
		name, scope, now, text, want, note string
	}{
		{"London winter", "north", "2026-01-12 12:00", "AHU-3 bag 205 pa 09:30", "2026-01-12 09:30", ""},
		{"London summer", "north", "2026-07-13 12:00", "AHU-3 bag 205 pa 09:30", "2026-07-13 08:30", ""},
		{"New York winter", "clinic", "2026-01-12 20:00", "RTU-7 0.6 iwc 09:30", "2026-01-12 14:30", ""},
		{"New York, the day is still yesterday there", "clinic", "2026-01-13 03:00", "RTU-7 0.6 iwc 9pm", "2026-01-13 02:00", ""},
		{"forward: skipped hour moves on", "north", "2026-03-29 12:00", "AHU-3 bag 205 pa 01:30", "2026-03-29 01:30", "dst-gap"},
		{"forward in New York", "clinic", "2026-03-08 20:00", "RTU-7 0.6 iwc 2:30am", "2026-03-08 07:30", "dst-gap"},
		{"forward: hour after is plain", "north", "2026-03-29 12:00", "AHU-3 bag 205 pa 02:30", "2026-03-29 01:30", ""},
		{"back: both passed, the later", "north", "2026-10-25 12:00", "AHU-3 bag 205 pa 01:30", "2026-10-25 01:30", "dst-overlap"},
		{"back: only the first passed", "north", "2026-10-25 00:45", "AHU-3 bag 205 pa 01:30", "2026-10-25 00:30", "dst-overlap"},
		{"back in New York", "clinic", "2026-11-01 20:00", "RTU-7 0.6 iwc 1:15am", "2026-11-01 06:15", "dst-overlap"},
		{"noon on the day of the change", "north", "2026-03-29 18:00", "AHU-3 bag 205 pa 12:00", "2026-03-29 11:00", ""},
		{"yesterday over the change", "north", "2026-03-30 09:00", "AHU-3 bag 205 pa yesterday 00:30", "2026-03-29 00:30", ""},
		{"midnight turn: yesterday is the day before there", "clinic", "2026-03-10 01:00", "RTU-7 0.6 iwc yesterday 10pm", "2026-03-09 02:00", ""},
		{"weekday, the last one gone by", "north", "2026-03-11 12:00", "AHU-3 bag 205 pa Thu 10:00", "2026-03-05 10:00", ""},
		{"weekday, today", "north", "2026-03-11 12:00", "AHU-3 bag 205 pa Wednesday 10:00", "2026-03-11 10:00", ""},
		{"date at the turn of the year", "north", "2026-01-05 12:00", "AHU-3 bag 205 pa 30 Dec 10:00", "2025-12-30 10:00", ""},
		{"leap day", "north", "2028-03-01 12:00", "AHU-3 bag 205 pa 29 Feb 10:00", "2028-02-29 10:00", ""},
		{"a little ahead of the server's clock", "north", "2026-03-09 10:15", "AHU-3 bag 205 pa 10:19", "2026-03-09 10:15", ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			sc := scopeNamed(c.scope)
			sc.Now = utc(c.now)
			m := phrase.Understand(c.text, sc)
			if m.Outcome != phrase.Entry || len(m.Items) != 1 {
				t.Fatalf("means %s", summary(m))
			}
			if got := m.Items[0].At; !got.Equal(utc(c.want)) {
				t.Errorf("at %v, want %v", got.UTC(), utc(c.want))
			}
			note := ""
			for _, n := range m.Notes {
				if n.Code == "dst-gap" || n.Code == "dst-overlap" {
					note = n.Code
				}
			}
			if note != c.note {
				t.Errorf("note %q, want %q", note, c.note)
			}
		})
	}
}

func TestNeverInTheFuture(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"AHU-3 bag 205 pa 10:30", "AHU-3 bag 205 pa tomorrow", "AHU-3 bag 205 pa 10 Mar", "AHU-3 bag 205 pa next Monday",
		"AHU-3 bag 205 pa 2027-01-01", "AHU-2 pre changed 11:00, 24 off, 62 pa", "AHU-3 fan off tomorrow",
	} {
		m := phrase.Understand(text, scopeNamed("north"))
		if m.Outcome != phrase.Ask || m.Ask.Code != phrase.AskFuture {
			t.Errorf("%q means %s", text, summary(m))
		}
	}
}

// Bookings look ahead, in the time of the site.
func TestBookingTimes(t *testing.T) {
	t.Parallel()
	cases := []struct{ scope, text, want string }{
		{"north", "book AHU-6 bag tomorrow 9am", "2026-03-10 09:00 GMT"},
		{"north", "book AHU-6 bag 30 Mar 9am", "2026-03-30 09:00 BST"},
		{"north", "book AHU-6 bag today 14:00", "2026-03-09 14:00 GMT"},
		{"north", "book AHU-6 bag 14:00", "2026-03-09 14:00 GMT"},
		{"north", "book AHU-6 bag Mon 9am", "2026-03-16 09:00 GMT"},
		{"north", "book AHU-6 bag Mon 11am", "2026-03-09 11:00 GMT"},
		{"north", "book AHU-6 bag in 3 days 9am", "2026-03-12 09:00 GMT"},
		{"north", "book AHU-6 bag 5 Jan 9am", ""}, // ten months ahead: asked
		{"north", "book AHU-6 bag 29 Mar 01:30", "2026-03-29 02:30 BST"},
		{"clinic", "book RTU-7 tomorrow 9am", "2026-03-10 09:00 EDT"},
		{"berlin", "AHU-9 Taschen am 12. März 9 Uhr einplanen", "2026-03-12 09:00 CET"},
		{"berlin", "reservar AHU-9 bolsas 12 de marzo 9:00", "2026-03-12 09:00 CET"},
	}
	for _, c := range cases {
		t.Run(c.text, func(t *testing.T) {
			t.Parallel()
			m := phrase.Understand(c.text, scopeNamed(c.scope))
			if c.want == "" {
				if m.Outcome != phrase.Ask || m.Ask.Code != phrase.AskWhen {
					t.Errorf("means %s", summary(m))
				}
				return
			}
			if m.Outcome != phrase.Entry {
				t.Fatalf("means %s", summary(m))
			}
			if got := m.Items[0].Body.(entry.Booking).Start.Format("2006-01-02 15:04 MST"); got != c.want {
				t.Errorf("starts %s, want %s", got, c.want)
			}
		})
	}
}
