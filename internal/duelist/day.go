package duelist

import (
	"fmt"
	"time"
)

// A day is a civil day, counted from 1970-01-01. Counting days instead of hours
// keeps changes of the clock out of every sum.
type day int

const secondsADay = 24 * 60 * 60

// dayOf is the civil day of t in loc.
func dayOf(t time.Time, loc *time.Location) day {
	y, m, d := t.In(loc).Date()
	return day(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / secondsADay)
}

// noon of the day in loc: an hour that no change of the clock skips or repeats.
func (d day) noon(loc *time.Location) time.Time {
	y, m, dd := d.utc().Date()
	return time.Date(y, m, dd, 12, 0, 0, 0, loc)
}

func (d day) utc() time.Time { return time.Unix(int64(d)*secondsADay, 0).UTC() }

func (d day) String() string { return d.utc().Format(time.DateOnly) }

// A Calendar says on which days a crew can come.
type Calendar struct {
	From   time.Time      // first day on which a visit can be held
	Loc    *time.Location // the site's time zone
	Work   [7]bool        // working days, indexed by time.Weekday
	Closed []string       // days off, "2026-12-25"
}

// maxAhead bounds how far ahead visits are planned, in days.
const maxAhead = 5 * 366

// workdays is a calendar ready for asking.
type workdays struct {
	loc    *time.Location
	from   day
	work   [7]bool
	closed map[string]bool
	booked map[day]bool // days on which a crew comes anyway
}

// open readies the calendar. A day booked for one of the jobs counts as a
// working day, whatever the calendar says.
func (c Calendar) open(jobs []Job) (workdays, error) {
	if c.Loc == nil || c.From.IsZero() {
		return workdays{}, fmt.Errorf("%w: it needs a first day and a time zone", ErrCalendar)
	}
	w := workdays{loc: c.Loc, from: dayOf(c.From, c.Loc), work: c.Work, closed: map[string]bool{}, booked: map[day]bool{}}
	for _, d := range c.Closed {
		w.closed[d] = true
	}
	for _, j := range jobs {
		if d, ok := w.bookedDay(j); ok {
			w.booked[d] = true
		}
	}
	return w, nil
}

// bookedDay is the day a job was booked for; a day gone by does not count.
func (w workdays) bookedDay(j Job) (day, bool) {
	if j.Booked.IsZero() {
		return 0, false
	}
	d := dayOf(j.Booked, w.loc)
	return d, d >= w.from && d <= w.from+maxAhead
}

func (w workdays) works(d day) bool {
	return w.booked[d] || w.work[d.utc().Weekday()] && !w.closed[d.String()]
}

// first is the first working day on or after d.
func (w workdays) first(d day) (day, error) {
	for n := range day(maxAhead) {
		if w.works(d + n) {
			return d + n, nil
		}
	}
	return 0, fmt.Errorf("%w: no working day within five years of %s", ErrCalendar, d)
}
