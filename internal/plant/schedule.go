package plant

import (
	"fmt"
	"strings"
	"time"
)

// Schedule is the hours a fan runs: for each weekday, and none or other hours
// on holidays. It turns dates into run hours and back.
type Schedule struct {
	Hours     map[string]float64 `yaml:"hours" json:"hours"`                           // "Mon-Fri": 14, "Sat": 6, "daily": 24; hours in the day
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

// week gives the hours of each weekday; no hours at all means round the clock.
func (s Schedule) week() [7]float64 {
	var w [7]float64
	if len(s.Hours) == 0 {
		return [7]float64{24, 24, 24, 24, 24, 24, 24}
	}
	for days, h := range s.Hours {
		set, err := ParseDays(days)
		if err != nil {
			continue // Validate reports it
		}
		for d, on := range set {
			if on {
				w[d] = min(max(h, 0), 24)
			}
		}
	}
	return w
}

// Runner counts run hours of a schedule in one time zone. The hours of a day
// are taken as spread evenly over that local day, so that a reading at any hour
// moves the count smoothly; a day of 23 or 25 hours runs its scheduled hours.
type Runner struct {
	week     [7]float64
	holidays map[string]float64
	loc      *time.Location
}

// Runner prepares the schedule for counting in loc.
func (s Schedule) Runner(loc *time.Location) Runner {
	r := Runner{week: s.week(), loc: loc}
	if len(s.Holidays) > 0 {
		r.holidays = make(map[string]float64, len(s.Holidays))
		for _, d := range s.Holidays {
			r.holidays[d] = s.OnHoliday
		}
	}
	return r
}

func (r Runner) day(midnight time.Time) float64 {
	if r.holidays != nil {
		if h, ok := r.holidays[midnight.Format(time.DateOnly)]; ok {
			return h
		}
	}
	return r.week[midnight.Weekday()]
}

func (r Runner) midnight(t time.Time) time.Time {
	y, m, d := t.In(r.loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, r.loc)
}

// nextMidnight steps by a day and a half, so that days of 23 and 25 hours and
// zones whose clocks change at midnight are met alike.
func (r Runner) nextMidnight(d time.Time) time.Time { return r.midnight(d.Add(36 * time.Hour)) }

// Hours counts the run hours from a to b; negative when b is before a. Its cost
// grows with the days between them.
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
		sum += r.day(d) * (to.Sub(from).Seconds() / next.Sub(d).Seconds())
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
		rate := r.day(d) / next.Sub(d).Seconds() // run hours a second
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
