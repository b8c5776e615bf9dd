// Package ical writes calendars that calendar programs subscribe to (RFC 5545,
// with the names of RFC 7986). It is pure.
package ical

import (
	"cmp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// A Calendar is a feed of events.
type Calendar struct {
	Name string
	// Language of the texts, an RFC 5646 tag; empty: English.
	Language string
	Now      time.Time     // when it is made
	Every    time.Duration // how often programs should look again; whole minutes
	Events   []Event
}

// An Event is one entry of a calendar. Times are written in UTC, so that no time
// zone has to be described.
type Event struct {
	UID      string // the same for good, whatever else changes
	Summary  string
	Notes    string // lines
	Place    string
	Start    time.Time
	End      time.Time // of a timed event
	AllDay   bool      // of the day of Start, in Start's zone
	Modified time.Time // zero: not known
	Busy     bool      // takes the time of whoever subscribes
	Category string
}

// maxLine is the length at which a line is folded, in bytes without its end
// (RFC 5545, 3.1).
const maxLine = 75

// String is the calendar as it is sent: text/calendar in UTF-8.
func (c Calendar) String() string {
	w := &writer{}
	w.line("BEGIN", "VCALENDAR")
	w.line("VERSION", "2.0")
	w.line("PRODID", "-//clogwise//change-outs//"+strings.ToUpper(cmp.Or(c.Language, "en")))
	w.line("CALSCALE", "GREGORIAN")
	w.line("METHOD", "PUBLISH")
	w.text("NAME", c.Name)
	w.text("X-WR-CALNAME", c.Name) // what most programs read instead
	if c.Every > 0 {
		w.line("REFRESH-INTERVAL;VALUE=DURATION", minutes(c.Every))
	}
	for _, e := range c.Events {
		w.event(e, c.Now)
	}
	w.line("END", "VCALENDAR")
	return w.String()
}

func minutes(d time.Duration) string {
	return "PT" + strconv.Itoa(max(1, int(d/time.Minute))) + "M"
}

type writer struct{ strings.Builder }

func (w *writer) event(e Event, now time.Time) {
	w.line("BEGIN", "VEVENT")
	w.text("UID", e.UID)
	w.line("DTSTAMP", utc(now))
	if e.AllDay {
		w.line("DTSTART;VALUE=DATE", e.Start.Format("20060102"))
		w.line("DTEND;VALUE=DATE", e.Start.AddDate(0, 0, 1).Format("20060102")) // the day after, which is not part of it
	} else {
		w.line("DTSTART", utc(e.Start))
		w.line("DTEND", utc(e.End))
	}
	w.text("SUMMARY", e.Summary)
	if e.Notes != "" {
		w.text("DESCRIPTION", e.Notes)
	}
	if e.Place != "" {
		w.text("LOCATION", e.Place)
	}
	if e.Category != "" {
		w.text("CATEGORIES", e.Category)
	}
	if !e.Modified.IsZero() {
		w.line("LAST-MODIFIED", utc(e.Modified))
	}
	if !e.Busy {
		w.line("TRANSP", "TRANSPARENT")
	}
	w.line("END", "VEVENT")
}

func utc(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

// escaped is text as RFC 5545, 3.3.11 writes it. Characters that cannot be part
// of a line are left out.
func escaped(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f {
			return -1
		}
		return r
	}, s)
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}

func (w *writer) text(name, value string) { w.line(name, escaped(value)) }

// line writes a content line, folded where it is too long and never within a
// character.
func (w *writer) line(name, value string) {
	s := name + ":" + value
	room := maxLine
	for len(s) > room {
		cut := room
		for !utf8.RuneStart(s[cut]) {
			cut--
		}
		w.WriteString(s[:cut])
		w.WriteString("\r\n ")
		s, room = s[cut:], maxLine-1 // the blank counts
	}
	w.WriteString(s)
	w.WriteString("\r\n")
}
