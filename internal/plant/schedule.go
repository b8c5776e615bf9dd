package plant

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
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
