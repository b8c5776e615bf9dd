package phrase

import (
	"time"

	"clogwise/internal/plant"
)

// moment is a day and a time of day put together from the marks of a group.
type moment struct {
	when
	until bool   // "till Friday": an end, not the time of what is said
	spans []edit // where it stands in the text, so that it can be taken out
}

// momentOf joins the first day and the first time of day among ms.
func momentOf(ms []*mark) (moment, bool) {
	var out moment
	found, exact := false, false
	for i, m := range ms {
		if m.kind != mWhen || m.when.day == daySpan && m.when.n > 0 && m.when.unit < time.Hour {
			continue
		}
		w := m.when
		if i > 0 && w.day != dayNone && likeWord(ms[i-1].text) { // "same as Tuesday"
			continue
		}
		if w.day != dayNone && out.day == dayNone {
			clock, hour, minute, vague := out.clock, out.hour, out.min, out.vague
			out.when = w
			if clock && (!w.clock || w.vague) {
				out.clock, out.hour, out.min, out.vague = clock, hour, minute, vague
			}
			found = true
			out.until = i > 0 && ms[i-1].is(cTo)
			out.spans = append(out.spans, spanAt(ms, i))
			exact = exact || w.clock && !w.vague
			continue
		}
		if w.day == dayNone && w.clock && !exact {
			out.clock, out.hour, out.min, out.vague = true, w.hour, w.min, w.vague
			exact, found = true, true
			out.spans = append(out.spans, spanAt(ms, i))
		}
	}
	return out, found
}

// likeWord reports whether a word compares with the day after it.
func likeWord(w string) bool {
	return w == "as" || w == "same as" || w == "same as last" || w == "wie" || w == "gleich wie"
}

// spanAt is the span of a time with the little word before it.
func spanAt(ms []*mark, i int) edit {
	from := ms[i].from
	if i > 0 && (ms[i-1].is(cAt) || ms[i-1].punct("@")) {
		from = ms[i-1].from
	}
	return edit{from: from, to: ms[i].to}
}

// local reads an ambiguous date the way it is written at the site.
func (p *parser) local(m moment, place plant.BankID) moment {
	if s, _ := p.reg.Site(place.Site()); m.slash && s.Jurisdiction == "US" {
		m.month, m.date = time.Month(m.date), int(m.month)
	}
	return m
}

// Slack that clocks of phones and servers are allowed, so that "14:30" typed at
// 14:28 is now and not the future.
const clockSlack = 5 * time.Minute

// past makes an instant at or before now. Without a day it is today; without a
// time of day it is noon, or now on the same day. note tells of a clock change;
// ok is false when the moment has yet to come.
func (m moment) past(now time.Time, loc *time.Location) (t time.Time, note string, ok bool) {
	local := now.In(loc)
	if m.day == daySpan {
		if m.n > 0 { // "in 4 days" is no time of a reading
			return now, "", true
		}
		return now.Add(time.Duration(m.n) * m.unit), "", true
	}
	y, mon, d := m.calendarDay(local, false)
	today := y == local.Year() && mon == local.Month() && d == local.Day()
	switch {
	case m.day == dayWeek, m.day == dayWeeks:
		return now, "", true
	case !m.clock && today:
		return now, "", true
	case !m.clock:
		t, note = clockTime(y, mon, d, 12, 0, loc, now)
	default:
		t, note = clockTime(y, mon, d, m.hour, m.min, loc, now)
	}
	if m.vague && today && t.After(now) {
		return now, "", true
	}
	if t.After(now) && !t.After(now.Add(clockSlack)) {
		return now, note, true
	}
	return t, note, !t.After(now)
}

// unsaidYear bounds how far back a date without a year is looked for: beyond it
// the date is one that has yet to come.
const unsaidYear = 200 * 24 * time.Hour

// calendarDay finds the calendar day, looking back or ahead from local.
func (m moment) calendarDay(local time.Time, ahead bool) (int, time.Month, int) {
	y, mon, d := local.Date()
	day := func(n int) (int, time.Month, int) {
		return time.Date(y, mon, d+n, 12, 0, 0, 0, time.UTC).Date()
	}
	switch m.day {
	case dayOffset:
		return day(m.n)
	case dayWeekday:
		gap := (m.n - int(local.Weekday()) + 7) % 7
		switch {
		case gap == 0 && m.future:
			gap = 7
		case ahead && gap == 0 && (!m.clock || beforeClock(m, local)):
			gap = 7
		case !ahead && !m.future:
			gap -= 7
			if gap == -7 && !m.last {
				gap = 0
			}
		}
		return day(gap)
	case dayDate:
		year := m.year
		if year == 0 {
			year = y
			t := time.Date(year, m.month, m.date, 12, 0, 0, 0, time.UTC)
			today := time.Date(y, mon, d, 12, 0, 0, 0, time.UTC)
			switch {
			case ahead && t.Before(today):
				year++
			case !ahead && t.After(today) && today.Sub(t.AddDate(-1, 0, 0)) < unsaidYear:
				year--
			}
		}
		return year, m.month, m.date
	case dayWeek:
		t := isoMonday(y, m.n)
		if t.AddDate(0, 0, 6).Before(time.Date(y, mon, d, 0, 0, 0, 0, time.UTC)) {
			t = isoMonday(y+1, m.n)
		}
		return t.Date()
	case dayWeeks:
		gap := (int(time.Monday)-int(local.Weekday())-7)%7 + 7*m.n
		return day(gap)
	}
	return y, mon, d
}

func beforeClock(m moment, local time.Time) bool {
	return m.hour*60+m.min <= local.Hour()*60+local.Minute()
}

// isoMonday is the Monday of ISO 8601 week n of year y: week 1 holds 4 January.
func isoMonday(y, n int) time.Time {
	jan4 := time.Date(y, time.January, 4, 0, 0, 0, 0, time.UTC)
	return jan4.AddDate(0, 0, -(int(jan4.Weekday())+6)%7+7*(n-1))
}

// ahead makes an instant after now. hour and minute fill in for a time of day
// that was not said; assumed says so.
func (m moment) ahead(now time.Time, loc *time.Location, hour, minute int) (t time.Time, assumed bool) {
	local := now.In(loc)
	if m.day == daySpan {
		if m.unit < 24*time.Hour {
			return now.Add(time.Duration(m.n) * m.unit), false
		}
		local = local.AddDate(0, 0, int(time.Duration(m.n)*m.unit/(24*time.Hour)))
	}
	y, mon, d := m.calendarDay(local, true)
	h, mi := hour, minute
	if m.clock {
		h, mi = m.hour, m.min
	}
	t, _ = clockTime(y, mon, d, h, mi, loc, time.Time{})
	if m.day == dayNone && !t.After(now) { // "at 7am" typed at noon: the next 7am
		t, _ = clockTime(y, mon, d+1, h, mi, loc, time.Time{})
	}
	return t, !m.clock
}

// clockTime is the instant of a wall-clock time. A time that the clocks jump
// over is moved on by the jump; of a time that comes twice the later one is
// taken that is not after limit (a zero limit takes the earlier). The note says
// which happened: "dst-gap", "dst-overlap" or none.
func clockTime(y int, mon time.Month, d, hour, minute int, loc *time.Location, limit time.Time) (time.Time, string) {
	wall := time.Date(y, mon, d, hour, minute, 0, 0, time.UTC)
	_, before := wall.Add(-26 * time.Hour).In(loc).Zone()
	_, after := wall.Add(26 * time.Hour).In(loc).Zone()
	a := wall.Add(-time.Duration(before) * time.Second).In(loc)
	b := wall.Add(-time.Duration(after) * time.Second).In(loc)
	fits := func(t time.Time) bool { return t.Hour() == wall.Hour() && t.Minute() == wall.Minute() }
	switch {
	case before == after:
		return a, ""
	case fits(a) && fits(b):
		early, late := a, b
		if late.Before(early) {
			early, late = late, early
		}
		if !limit.IsZero() && !late.After(limit) {
			return late, "dst-overlap"
		}
		return early, "dst-overlap"
	case fits(a):
		return a, ""
	case fits(b):
		return b, ""
	}
	return a, "dst-gap" // the offset before the jump shows the time moved on by it
}
