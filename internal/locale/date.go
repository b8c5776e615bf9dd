package locale

import (
	"strings"
	"time"
)

// names of days and months, short, as calendars print them. Standing before or
// after a number they are understood without a full stop.
var names = map[string]struct {
	days   [7]string
	months [12]string
	day    string // how "2 " of a layout is written
}{
	"de": {
		days:   [7]string{"So", "Mo", "Di", "Mi", "Do", "Fr", "Sa"},
		months: [12]string{"Jan", "Feb", "Mär", "Apr", "Mai", "Jun", "Jul", "Aug", "Sep", "Okt", "Nov", "Dez"},
		day:    "2. ",
	},
	"es": {
		days:   [7]string{"dom", "lun", "mar", "mié", "jue", "vie", "sáb"},
		months: [12]string{"ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"},
		day:    "2 ",
	},
}

// Date prints t in its own time zone by a layout of package time made of "Mon", "2",
// "Jan", "2006" and the clock: "Mon 2 Jan" is "Do 26. Nov" in German.
func (l Locale) Date(t time.Time, layout string) string {
	n, ok := names[l.tag]
	if !ok {
		return t.Format(layout)
	}
	layout = strings.ReplaceAll(layout, "2 Jan", l.DayLayout())
	var b strings.Builder
	for layout != "" {
		at, name := nextName(layout)
		b.WriteString(t.Format(layout[:at]))
		switch name {
		case "Mon":
			b.WriteString(n.days[t.Weekday()])
		case "Jan":
			b.WriteString(n.months[t.Month()-1])
		}
		layout = layout[at+len(name):]
	}
	return b.String()
}

// DayLayout is the layout of a day with its month, as Date would print "2 Jan".
func (l Locale) DayLayout() string {
	if n, ok := names[l.tag]; ok {
		return n.day + "Jan"
	}
	return "2 Jan"
}

// nextName finds the next name of a day or month in a layout, and where.
func nextName(layout string) (int, string) {
	at, name := len(layout), ""
	for _, s := range [...]string{"Mon", "Jan"} {
		if i := strings.Index(layout, s); i >= 0 && i < at {
			at, name = i, s
		}
	}
	return at, name
}

// Day prints a date as people say it: "18 Mar", with the year when it is more
// than nine months from now in either direction.
func (l Locale) Day(t, now time.Time, loc *time.Location) string {
	if far(t, now) {
		return l.Date(t.In(loc), "2 Jan 2006")
	}
	return l.Date(t.In(loc), "2 Jan")
}

func far(t, now time.Time) bool {
	d := t.Sub(now)
	return d > 270*24*time.Hour || d < -270*24*time.Hour
}

// Span prints a range of dates as shortly as it can: "9–31 Mar", "28 Feb–9 Mar",
// "Dec 2026–Mar 2027". A zero end is open.
func (l Locale) Span(from, to, now time.Time, loc *time.Location) string {
	switch {
	case from.IsZero():
		return l.Text("later than we can see")
	case to.IsZero():
		return l.Text("after %s", l.Day(from, now, loc))
	}
	a, b := from.In(loc), to.In(loc)
	switch {
	case a.Format(time.DateOnly) == b.Format(time.DateOnly):
		return l.Day(b, now, loc)
	case far(b, now) && b.Sub(a) > 60*24*time.Hour:
		if a.Year() == b.Year() && a.Month() == b.Month() {
			return l.Date(a, "Jan 2006")
		}
		return l.Date(a, "Jan 2006") + "–" + l.Date(b, "Jan 2006")
	case a.Year() == b.Year() && a.Month() == b.Month():
		return l.firstDay(a) + "–" + l.Day(b, now, loc)
	case a.Year() == b.Year() || !far(a, now) && !far(b, now):
		return l.Date(a, "2 Jan") + "–" + l.Day(b, now, loc)
	}
	return l.Date(a, "2 Jan 2006") + "–" + l.Date(b, "2 Jan 2006")
}

// firstDay prints the day of a range within a month: "9" of "9–31 Mar".
func (l Locale) firstDay(t time.Time) string {
	if n, ok := names[l.tag]; ok {
		return strings.TrimSpace(t.Format(n.day))
	}
	return t.Format("2")
}

// Moment prints a date with its time of day: "Thu 26 Nov 09:00".
func (l Locale) Moment(t time.Time, loc *time.Location) string {
	return l.Date(t.In(loc), "Mon 2 Jan 15:04")
}
