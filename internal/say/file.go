package say

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/daytext"
	"clogwise/internal/plant"
)

// FileSummary is what a file of readings holds, before it is recorded.
type FileSummary struct {
	Name        string
	Readings    int
	Swaps       int
	Banks       int
	Known       int // rows that are in the ledger already
	Barred      int // rows that are not the person's to record
	First, Last time.Time
	Faults      []string
	NoTable     bool // the file has no columns of readings
	TooMany     bool
}

// faultsShown bounds the faults that a summary lists.
const faultsShown = 3

func (f FileSummary) rows() string {
	s := count(f.Readings, "reading", "readings")
	if f.Swaps > 0 {
		s += ", " + count(f.Swaps, "change-out", "change-outs")
	}
	return s
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// FileFound says what recording a file would do. Nothing has been recorded yet.
func FileFound(f FileSummary, site plant.Site, now time.Time) string {
	if f.NoTable {
		return f.Name + ": no readings in it. Columns: time, ahu and bank, pa (or value and unit); fan_hz if known. Nothing recorded."
	}
	lines := []string{f.Name + ": " + f.rows() + "."}
	if f.Banks > 0 {
		loc := site.Location()
		span := daytext.Day(f.First, now, loc)
		if last := daytext.Day(f.Last, now, loc); last != span {
			span += " to " + last
		}
		lines[0] = fmt.Sprintf("%s: %s of %s, %s.", f.Name, f.rows(), count(f.Banks, "bank", "banks"), span)
	}
	if f.Known > 0 {
		lines = append(lines, fmt.Sprintf("%d of them are recorded already.", f.Known))
	}
	if f.Barred > 0 {
		lines = append(lines, count(f.Barred, "row is", "rows are")+" not yours to record, and left out.")
	}
	if n := len(f.Faults); n > 0 {
		lines = append(lines, count(n, "fault", "faults")+"; those rows are left out:")
		lines = append(lines, f.Faults[:min(n, faultsShown)]...)
		if n > faultsShown {
			lines = append(lines, fmt.Sprintf("… and %d more: clogwise import --readings lists all.", n-faultsShown))
		}
	}
	switch {
	case f.TooMany:
		lines = append(lines, "Too many rows for the channel: clogwise import --readings FILE --save takes them.")
	case f.Readings+f.Swaps > f.Known:
		lines = append(lines, "Nothing recorded yet: press Record.")
	default:
		lines = append(lines, "Nothing to record.")
	}
	return strings.Join(lines, "\n")
}

// FileRecorded answers the button under a summary.
func FileRecorded(f FileSummary) string {
	fresh := f.Readings + f.Swaps - f.Known
	if fresh <= 0 {
		return f.Name + " was recorded before; nothing new."
	}
	s := fmt.Sprintf("%s: %s recorded.", f.Name, count(fresh, "row", "rows"))
	if f.Known > 0 {
		s += fmt.Sprintf(" %d were there already.", f.Known)
	}
	return s + " Forecasts follow: due. Undo takes all of it back."
}

// FileTooLarge refuses a file by its size.
func FileTooLarge(name string, most int64) string {
	return fmt.Sprintf("%s is larger than %d MB. Split it, or use: clogwise import --readings FILE --save. Nothing recorded.", name, most>>20)
}

// TableOf goes with a table that was asked for.
func TableOf(name string) string { return name + ", as a table." }
