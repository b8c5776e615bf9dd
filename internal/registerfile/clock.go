package registerfile

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// localForms are times without offset. Dates with slashes are left out: nobody
// knows whether day or month comes first.
var localForms = [...]string{
	"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04",
	"02.01.2006 15:04:05", "02.01.2006 15:04", "2006/01/02 15:04:05", "2006/01/02 15:04",
}

// dayForms are days alone, taken as noon.
var dayForms = [...]string{time.DateOnly, "02.01.2006", "2006/01/02"}

// parseTime reads a time: RFC 3339, or site time in one of the local forms, or a
// spreadsheet's day count.
func parseTime(cell string, loc *time.Location) (time.Time, error) {
	if cell == "" {
		return time.Time{}, fmt.Errorf("missing; write a time such as 2026-03-01 14:30")
	}
	if t, err := time.Parse(time.RFC3339, cell); err == nil {
		return t, nil
	}
	for _, form := range localForms {
		if t, err := time.Parse(form, cell); err == nil {
			return onClock(t, loc)
		}
	}
	for _, form := range dayForms {
		if t, err := time.Parse(form, cell); err == nil {
			return onClock(t.Add(12*time.Hour), loc)
		}
	}
	if t, ok := dayCount(cell); ok {
		return onClock(t, loc)
	}
	if strings.Count(cell, "/") == 2 {
		return time.Time{}, fmt.Errorf("%q: day or month first? write it as 2026-03-01 14:30", clip(cell))
	}
	return time.Time{}, fmt.Errorf("%q is not a time; write it as 2026-03-01 14:30, or with offset as 2026-03-01T14:30:00+01:00", clip(cell))
}

// dayCount reads the number by which spreadsheets keep a date (1900 system),
// from 1990 to 2099.
func dayCount(cell string) (time.Time, bool) {
	x, err := strconv.ParseFloat(cell, 64)
	if err != nil || !(x >= 32874 && x < 73051) {
		return time.Time{}, false
	}
	t, err := excelize.ExcelDateToTime(x, false)
	return t.Round(time.Second), err == nil
}

// onClock is the moment at which the clocks in loc show t's date and time: the
// first of two, and an error when they skip it.
func onClock(t time.Time, loc *time.Location) (time.Time, error) {
	y, m, d := t.Date()
	at := time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), loc)
	if !sameClock(at, t) {
		return time.Time{}, fmt.Errorf("%s did not exist in %s: the clocks went forward; check the time", t.Format("2006-01-02 15:04"), loc)
	}
	for _, shift := range []time.Duration{30 * time.Minute, time.Hour} {
		if earlier := at.Add(-shift); sameClock(earlier, t) {
			return earlier, nil
		}
	}
	return at, nil
}

func sameClock(a, b time.Time) bool {
	const form = "2006-01-02 15:04:05"
	return a.Format(form) == b.Format(form)
}
