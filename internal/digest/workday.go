package digest

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/plant"
)

// NextWorkingDay is the first working day of a site after the day of t: noon in
// the site's time zone, so that no change of clocks moves it to another date. A
// site without any working day within a year gets the day after.
func NextWorkingDay(site plant.Site, t time.Time) time.Time { return workingDay(site, t, 1) }

// lastWorkingDay is the last working day before the day of t, likewise.
func lastWorkingDay(site plant.Site, t time.Time) time.Time { return workingDay(site, t, -1) }

// WorksOn reports whether a crew works at a site on the day of t.
func WorksOn(site plant.Site, t time.Time) bool {
	day := t.In(site.Location())
	return workWeek(site)[day.Weekday()] && !slices.Contains(site.Schedule.Holidays, day.Format(time.DateOnly))
}

// workWeek are the site's working days, indexed by time.Weekday.
func workWeek(site plant.Site) [7]bool {
	days, err := plant.ParseDays(workDays(site))
	if err != nil {
		return [7]bool{false, true, true, true, true, true, false}
	}
	return days
}

func workingDay(site plant.Site, t time.Time, step int) time.Time {
	loc := site.Location()
	y, m, d := t.In(loc).Date()
	for i := 1; i <= 366; i++ {
		day := time.Date(y, m, d+i*step, 12, 0, 0, 0, loc)
		if WorksOn(site, day) {
			return day
		}
	}
	return time.Date(y, m, d+step, 12, 0, 0, 0, loc)
}

func workDays(s plant.Site) string {
	if s.WorkHours.Days == "" {
		return "Mon-Fri"
	}
	return s.WorkHours.Days
}

// roundFor is when the round that reminds of a start has gone: on the working
// day before, at the time of day of the site's reminders.
func roundFor(site plant.Site, start time.Time) time.Time {
	y, m, d := lastWorkingDay(site, start).Date()
	hour, minute := reminderClock(site.ReminderAt)
	return time.Date(y, m, d, hour, minute, 0, 0, site.Location())
}

// reminderClock reads the time of day of a five-field cron plan; 15:00 where it
// names no single one.
func reminderClock(spec string) (hour, minute int) {
	f := strings.Fields(spec)
	if len(f) == 5 {
		m, errM := strconv.Atoi(f[0])
		h, errH := strconv.Atoi(f[1])
		if errM == nil && errH == nil {
			return h, m
		}
	}
	return 15, 0
}

// byEndOf reports whether t is on the day of day, or earlier, by the site's
// calendar.
func byEndOf(t, day time.Time, loc *time.Location) bool {
	return t.In(loc).Format(time.DateOnly) <= day.In(loc).Format(time.DateOnly)
}
