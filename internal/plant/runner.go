package plant

import (
	"iter"
	"math"
	"time"
)

// Runner counts run hours of a schedule in one time zone. The hours of a day
// are taken as spread evenly over that local day, so that a reading at any hour
// moves the count smoothly. A day of 23 or 25 hours runs its scheduled hours,
// and a fan that runs round the clock runs all 23 or 25.
type Runner struct {
	schedule Schedule
	week     [7]float64
	holidays map[int64]float64 // by day number
	loc      *time.Location

	counted map[int64]float64 // hours by day number, in place of all the above
	last    int64             // day number of the last counted
	ahead   *[7]float64       // weekdays after it; nil: the schedule's
}

// Counted is the runner with the hours that were counted on some days, by their
// date (2006-01-02), in place of the schedule's.
func (r Runner) Counted(hours map[string]float64) Runner {
	if len(hours) == 0 {
		return r
	}
	r.counted, r.last, r.ahead = make(map[int64]float64, len(hours)), math.MinInt64, nil
	for date, h := range hours {
		if t, err := time.Parse(time.DateOnly, date); err == nil {
			n := dayNumber(t)
			r.counted[n], r.last = h, max(r.last, n)
		}
	}
	return r
}

// What a row of counted days must hold to be taken for what follows (common
// practice, no source).
const (
	lookBack  = 8 * 7 // days
	leastDays = 14
	leastOf   = 2 // of one weekday
)

// Ahead is the runner for which, after the last counted day, each weekday runs as
// it did on the mean of the last eight weeks, of the days that were counted after
// since; holidays stay the schedule's. With less than two weeks counted nothing
// changes.
func (r Runner) Ahead(since time.Time) Runner {
	if r.counted == nil {
		return r
	}
	first := max(r.dayOf(since).number+1, r.last-lookBack+1)
	var sum, n [7]float64
	all := 0
	for d := first; d <= r.last; d++ {
		h, ok := r.counted[d]
		if _, holiday := r.holidays[d]; !ok || holiday {
			continue
		}
		day := weekdayOf(d)
		sum[day], n[day], all = sum[day]+h, n[day]+1, all+1
	}
	if all < leastDays {
		return r
	}
	week := r.week
	for day := range week {
		if n[day] >= leastOf {
			week[day] = sum[day] / n[day]
		}
	}
	r.ahead = &week
	return r
}

func weekdayOf(number int64) int64 {
	const thursday = 4 // 1 January 1970
	return ((number+thursday)%7 + 7) % 7
}

// Runner prepares the schedule for counting in loc.
func (s Schedule) Runner(loc *time.Location) Runner {
	r := Runner{schedule: s, week: s.week(), loc: loc}
	if len(s.Holidays) > 0 {
		r.holidays = make(map[int64]float64, len(s.Holidays))
		for _, h := range s.Holidays {
			if t, err := time.Parse(time.DateOnly, h); err == nil { // Validate reports others
				r.holidays[dayNumber(t)] = inDay(s.OnHoliday)
			}
		}
	}
	return r
}

// localDay is one calendar day of a time zone.
type localDay struct {
	from, to int64 // its first second and that of the next day, Unix time
	number   int64 // days since 1 January 1970
	steady   int64 // Unix time up to which the offset of the zone stays as it is around to
}

const daySeconds = 24 * 60 * 60

// dayNumber counts the calendar day of t from 1 January 1970.
func dayNumber(t time.Time) int64 {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / daySeconds
}

// dayOf is the local day of t.
func (r Runner) dayOf(t time.Time) localDay {
	if d, ok := plainDay(t.In(r.loc)); ok {
		return d
	}
	return r.calendarDay(t)
}

// plainDay is the local day of t where no clock is changed within a day of it, and
// false elsewhere. It asks the zone twice, where calendarDay asks ten times.
func plainDay(t time.Time) (localDay, bool) {
	_, offset := t.Zone()
	local := t.Unix() + int64(offset)
	number := local / daySeconds
	if local%daySeconds < 0 {
		number-- // towards the past, before 1970 too
	}
	d := localDay{from: number*daySeconds - int64(offset), number: number, steady: 1<<63 - 1}
	d.to = d.from + daySeconds
	start, end := t.ZoneBounds()
	if !end.IsZero() {
		d.steady = end.Unix()
	}
	return d, (start.IsZero() || start.Unix() < d.from-daySeconds) && d.to < d.steady-daySeconds
}

// calendarDay is the local day of t, whatever the clocks do on it.
func (r Runner) calendarDay(t time.Time) localDay {
	from := r.midnight(t)
	to := r.nextMidnight(from)
	d := localDay{from: from.Unix(), to: to.Unix(), number: dayNumber(t.In(r.loc))}
	switch start, end := to.ZoneBounds(); {
	case start.Equal(to): // the next day begins with a change of clocks
	case end.IsZero():
		d.steady = 1<<63 - 1
	default:
		d.steady = end.Unix()
	}
	return d
}

// next is the day after d. Days far from a change of clocks are 24 hours long,
// which saves asking the zone.
func (r Runner) next(d localDay) localDay {
	if d.to < d.steady-2*daySeconds {
		return localDay{from: d.to, to: d.to + daySeconds, number: d.number + 1, steady: d.steady}
	}
	return r.dayOf(time.Unix(d.to, 0))
}

// hours gives the run hours of a day.
func (r Runner) hours(d localDay) float64 {
	length := float64(d.to-d.from) / 3600
	if r.counted != nil {
		if h, ok := r.counted[d.number]; ok {
			return min(h, length)
		}
	}
	h := r.week[weekdayOf(d.number)]
	if r.ahead != nil && d.number > r.last {
		h = r.ahead[weekdayOf(d.number)]
	}
	if r.holidays != nil {
		if o, ok := r.holidays[d.number]; ok {
			h = o
		}
	}
	if h >= 24 {
		return length
	}
	return min(h, length)
}

// since is the seconds from a Unix time to t.
func since(unix int64, t time.Time) float64 {
	return float64(t.Unix()-unix) + float64(t.Nanosecond())/1e9
}

// midnight is the first moment of the local day of t. Where clocks skip
// midnight that is 01:00; where they show it twice it is the first.
func (r Runner) midnight(t time.Time) time.Time {
	y, m, d := t.In(r.loc).Date()
	first := time.Date(y, m, d, 0, 0, 0, 0, r.loc)
	if first.Day() != d { // skipped, and resolved to the evening before
		_, change := first.ZoneBounds()
		return change.In(r.loc)
	}
	if change, _ := first.ZoneBounds(); !change.IsZero() {
		_, after := first.Zone()
		_, before := change.Add(-1).In(r.loc).Zone()
		if earlier := first.Add(time.Duration(after-before) * time.Second); earlier.Before(change) && earlier.Day() == d {
			return earlier
		}
	}
	return first
}

// nextMidnight steps by a day and a half, so that days of 23 and 25 hours and
// zones whose clocks change at midnight are met alike.
func (r Runner) nextMidnight(d time.Time) time.Time { return r.midnight(d.Add(36 * time.Hour)) }

// Hours counts the run hours from a to b; negative when b is before a. Its cost
// grows with the days between them: for a row of readings add up the hours from
// each to the next.
func (r Runner) Hours(a, b time.Time) float64 {
	if b.Before(a) {
		return -r.Hours(b, a)
	}
	sum := 0.0
	for d := r.dayOf(a); since(d.from, b) > 0; d = r.next(d) {
		length := float64(d.to - d.from)
		from := max(0, since(d.from, a))
		to := min(length, since(d.from, b))
		sum += r.hours(d) * ((to - from) / length)
	}
	return sum
}

// maxAhead bounds the search of After in days: a fan that never runs never gets
// there.
const maxAhead = 366 * 20

// After is the moment at which hours more run hours have passed since t. It
// looks at most twenty years ahead and is the zero time when that is not enough.
func (r Runner) After(t time.Time, hours float64) time.Time {
	if !(hours > 0) {
		return t
	}
	d := r.dayOf(t)
	from := since(d.from, t)
	for range maxAhead {
		length := float64(d.to - d.from)
		rate := r.hours(d) / length // run hours a second
		if have := rate * (length - from); have < hours || rate == 0 {
			hours -= have
			d, from = r.next(d), 0
			continue
		}
		return time.Unix(d.from, 0).In(t.Location()).Add(time.Duration((from + hours/rate) * float64(time.Second)))
	}
	return time.Time{}
}

// PerWeek is the run hours of an ordinary week.
func (r Runner) PerWeek() float64 {
	sum, week := 0.0, r.week
	if r.ahead != nil {
		week = *r.ahead
	}
	for _, h := range week {
		sum += h
	}
	return sum
}

// A Run is a stretch of time in which the fan runs without a break.
type Run struct{ From, To time.Time }

// Runs yields the stretches in which the fan is taken to run between a and b, at
// least one for each running day: from Schedule.From, or centred on 13:00 where
// that is not stated, for the hours of the day, past midnight if need be. It is
// what prices by the hour are weighed with; Hours does not depend on it.
func (r Runner) Runs(a, b time.Time) iter.Seq[Run] {
	return func(yield func(Run) bool) {
		// A run of the day before may reach into the first day.
		for d := r.dayOf(r.midnight(a).Add(-time.Hour)); since(d.from, b) > 0; d = r.next(d) {
			run, ok := r.runOf(d)
			if !ok || !run.To.After(a) || !run.From.Before(b) {
				continue
			}
			if run.From.Before(a) {
				run.From = a
			}
			if run.To.After(b) {
				run.To = b
			}
			if !yield(run) {
				return
			}
		}
	}
}

// runOf is the run of a local day.
func (r Runner) runOf(d localDay) (Run, bool) {
	hours := r.hours(d)
	from, to := time.Unix(d.from, 0).In(r.loc), time.Unix(d.to, 0).In(r.loc)
	switch {
	case !(hours > 0):
		return Run{}, false
	case hours >= to.Sub(from).Hours():
		return Run{from, to}, true
	}
	minute := r.schedule.start(hours)
	y, m, day := from.Date()
	from = time.Date(y, m, day, 0, 0, int(minute*60), 0, r.loc)
	return Run{from, from.Add(time.Duration(hours * float64(time.Hour)))}, true
}

// StartStated reports whether the schedule says at which hour the fan starts, or
// need not because it runs round the clock.
func (r Runner) StartStated() bool {
	if _, err := ParseClock(r.schedule.From); err == nil {
		return true
	}
	for _, h := range r.week {
		if h > 0 && h < 24 {
			return false
		}
	}
	return true
}
