package plant

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Schedule is the hours a fan runs: for each weekday, and none or other hours
// on holidays. It turns dates into run hours and back.
type Schedule struct {
	Hours     map[string]float64 `yaml:"hours" json:"hours"`                           // "Mon-Fri": 14, "Sat": 6, "daily": 24; hours in the day, fewer days rule over more
	From      string             `yaml:"from,omitempty" json:"from,omitempty"`         // "06:00": when the fan starts; empty = hours centred on 13:00
	Holidays  []string           `yaml:"holidays,omitempty" json:"holidays,omitempty"` // "2026-12-25": the fan runs HolidayHours
	OnHoliday float64            `yaml:"holiday_hours,omitempty" json:"holiday_hours,omitempty"`
}

var dayNames = [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// ParseDays reads "daily", "Mon-Fri", "Sat,Sun" into a set indexed by time.Weekday.
func ParseDays(s string) ([7]bool, error) {
	var out [7]bool
	if t := strings.ToLower(strings.TrimSpace(s)); t == "" || t == "daily" {
		return [7]bool{true, true, true, true, true, true, true}, nil
	}
	for _, part := range strings.Split(s, ",") {
		from, to, isRange := strings.Cut(part, "-")
		a, err := weekday(from)
		if err != nil {
			return out, err
		}
		b := a
		if isRange {
			if b, err = weekday(to); err != nil {
				return out, err
			}
		}
		for d := a; ; d = (d + 1) % 7 {
			out[d] = true
			if d == b {
				break
			}
		}
	}
	return out, nil
}

func weekday(s string) (int, error) {
	t := strings.ToLower(strings.TrimSpace(s))
	for i, n := range dayNames {
		if len(t) >= 3 && strings.HasPrefix(t, n) {
			return i, nil
		}
	}
	return 0, fmt.Errorf("%q is not a weekday (write Mon, Tue, … or daily)", s)
}

// ParseClock reads a time of day such as "06:00", "22:30" or "24:00" into minutes
// since midnight.
func ParseClock(s string) (int, error) {
	h, m, ok := strings.Cut(strings.TrimSpace(s), ":")
	hours, errH := strconv.Atoi(h)
	minutes, errM := strconv.Atoi(m)
	if !ok || errH != nil || errM != nil || len(m) != 2 || hours < 0 || minutes < 0 || minutes > 59 || hours*60+minutes > dayMinutes {
		return 0, fmt.Errorf("%q is not a time of day (write 06:00 to 24:00)", s)
	}
	return hours*60 + minutes, nil
}

const dayMinutes = 24 * 60

// week gives the hours of each weekday; no hours at all means round the clock.
// Where a day is named twice, the entry with fewer days rules.
func (s Schedule) week() [7]float64 {
	var w [7]float64
	if len(s.Hours) == 0 {
		return [7]float64{24, 24, 24, 24, 24, 24, 24}
	}
	for _, l := range s.lines() {
		for d, on := range l.days {
			if on {
				w[d] = l.hours
			}
		}
	}
	return w
}

// scheduleLine is one entry of Schedule.Hours.
type scheduleLine struct {
	name  string
	days  [7]bool
	count int
	hours float64
}

// lines lists the entries from the widest to the narrowest, in an order that
// does not hang on the map's.
func (s Schedule) lines() []scheduleLine {
	out := make([]scheduleLine, 0, len(s.Hours))
	for name, h := range s.Hours {
		set, err := ParseDays(name)
		if err != nil {
			continue // Validate reports it
		}
		l := scheduleLine{name: name, days: set, hours: inDay(h)}
		for _, on := range set {
			if on {
				l.count++
			}
		}
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b scheduleLine) int {
		return cmp.Or(cmp.Compare(b.count, a.count), cmp.Compare(a.name, b.name))
	})
	return out
}

func inDay(h float64) float64 {
	if !(h > 0) { // NaN too
		return 0
	}
	return min(h, 24)
}

// start is the minute of the day at which a run of hours begins.
func (s Schedule) start(hours float64) float64 {
	if m, err := ParseClock(s.From); err == nil && hours < 24 {
		return float64(m)
	}
	return min(middleOfDay, dayMinutes-hours*30) - hours*30
}

// middleOfDay is the minute a run without a stated start is centred on: 13:00, so
// that 12 hours are 07:00 to 19:00. From 22 hours on it ends at midnight.
const middleOfDay = 13 * 60

// Runner counts run hours of a schedule in one time zone. The hours of a day
// are taken as spread evenly over that local day, so that a reading at any hour
// moves the count smoothly. A day of 23 or 25 hours runs its scheduled hours,
// and a fan that runs round the clock runs all 23 or 25.
type Runner struct {
	schedule Schedule
	week     [7]float64
	holidays map[date]float64
	loc      *time.Location
}

// date is a calendar day.
type date struct {
	y int
	m time.Month
	d int
}

// Runner prepares the schedule for counting in loc.
func (s Schedule) Runner(loc *time.Location) Runner {
	r := Runner{schedule: s, week: s.week(), loc: loc}
	if len(s.Holidays) > 0 {
		r.holidays = make(map[date]float64, len(s.Holidays))
		for _, h := range s.Holidays {
			if t, err := time.Parse(time.DateOnly, h); err == nil { // Validate reports others
				y, m, d := t.Date()
				r.holidays[date{y, m, d}] = inDay(s.OnHoliday)
			}
		}
	}
	return r
}

// day gives the run hours of the local day from midnight to next.
func (r Runner) day(midnight, next time.Time) float64 {
	h := r.week[midnight.Weekday()]
	if r.holidays != nil {
		y, m, d := midnight.Date()
		if o, ok := r.holidays[date{y, m, d}]; ok {
			h = o
		}
	}
	length := next.Sub(midnight).Hours()
	if h >= 24 {
		return length
	}
	return min(h, length)
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
	for d := r.midnight(a); d.Before(b); {
		next := r.nextMidnight(d)
		from, to := d, next
		if a.After(from) {
			from = a
		}
		if b.Before(to) {
			to = b
		}
		sum += r.day(d, next) * (to.Sub(from).Seconds() / next.Sub(d).Seconds())
		d = next
	}
	return sum
}

// maxAhead bounds the search of After: a fan that never runs never gets there.
const maxAhead = 366 * 20

// After is the moment at which hours more run hours have passed since t. It
// looks at most twenty years ahead and is the zero time when that is not enough.
func (r Runner) After(t time.Time, hours float64) time.Time {
	if !(hours > 0) {
		return t
	}
	d := r.midnight(t)
	from := t
	for range maxAhead {
		next := r.nextMidnight(d)
		rate := r.day(d, next) / next.Sub(d).Seconds() // run hours a second
		have := rate * next.Sub(from).Seconds()
		if have >= hours && rate > 0 {
			return from.Add(time.Duration(hours / rate * float64(time.Second)))
		}
		hours -= have
		d, from = next, next
	}
	return time.Time{}
}

// PerWeek is the run hours of an ordinary week.
func (r Runner) PerWeek() float64 {
	sum := 0.0
	for _, h := range r.week {
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
		for d := r.midnight(r.midnight(a).Add(-time.Hour)); d.Before(b); d = r.nextMidnight(d) {
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

// runOf is the run of the local day that begins at midnight.
func (r Runner) runOf(midnight time.Time) (Run, bool) {
	next := r.nextMidnight(midnight)
	hours := r.day(midnight, next)
	if !(hours > 0) {
		return Run{}, false
	}
	if hours >= next.Sub(midnight).Hours() {
		return Run{midnight, next}, true
	}
	y, m, d := midnight.Date()
	minute := r.schedule.start(hours)
	from := time.Date(y, m, d, 0, int(minute), int((minute-float64(int(minute)))*60), 0, r.loc)
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
