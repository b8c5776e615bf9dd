package say

import (
	"strings"
	"time"

	"clogwise/internal/locale"
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
	Guessed     []GuessedColumn
	NoTable     bool // the file has no columns of readings
	TooMany     bool
}

// GuessedColumn is a column of another name and what it is taken for.
type GuessedColumn struct {
	Header string
	Column string
	Unit   string // where the header says it
	Sample string // its first value
}

// guesses say what columns of other names are taken for, for the person who is to
// press the button.
func (f FileSummary) guesses(in locale.Locale) []string {
	if len(f.Guessed) == 0 {
		return nil
	}
	out := []string{in.Count(len(f.Guessed), "%d column has another name and is guessed; record it only if that is right:",
		"%d columns have other names and are guessed; record it only if that is right:")}
	for _, g := range f.Guessed {
		as := g.Column
		if g.Unit != "" {
			as = in.Text("%s in %s", g.Column, g.Unit)
		}
		if g.Sample == "" {
			out = append(out, in.Text("“%s” is %s", g.Header, as))
			continue
		}
		out = append(out, in.Text("“%s” is %s (first: %s)", g.Header, as, g.Sample))
	}
	return out
}

// faultsShown bounds the faults that a summary lists.
const faultsShown = 3

func (f FileSummary) rows(in locale.Locale) string {
	s := in.Count(f.Readings, "%d reading", "%d readings")
	if f.Swaps > 0 {
		s += ", " + in.Count(f.Swaps, "%d change-out", "%d change-outs")
	}
	return s
}

// FileFound says what recording a file would do. Nothing has been recorded yet.
func FileFound(f FileSummary, site plant.Site, now time.Time) string {
	at := At(site, now)
	in := at.In
	if f.NoTable {
		return in.Text("%s: no readings in it. Columns: time, ahu and bank, pa (or value and unit); fan_hz if known. Nothing recorded.", f.Name)
	}
	lines := []string{f.Name + ": " + f.rows(in) + "."}
	if f.Banks > 0 {
		span := at.day(f.First)
		if last := at.day(f.Last); last != span {
			span = in.Text("%s to %s", span, last)
		}
		lines[0] = in.Text("%s: %s of %s, %s.", f.Name, f.rows(in), in.Count(f.Banks, "%d bank", "%d banks"), span)
	}
	lines = append(lines, f.guesses(in)...)
	if f.Known > 0 {
		lines = append(lines, in.Text("%d of them are recorded already.", f.Known))
	}
	if f.Barred > 0 {
		lines = append(lines, in.Count(f.Barred, "%d row is not yours to record, and left out.", "%d rows are not yours to record, and left out."))
	}
	if n := len(f.Faults); n > 0 {
		lines = append(lines, in.Count(n, "%d fault; those rows are left out:", "%d faults; those rows are left out:"))
		lines = append(lines, f.Faults[:min(n, faultsShown)]...)
		if n > faultsShown {
			lines = append(lines, in.Text("… and %d more: all are in the file with this.", n-faultsShown))
		}
	}
	switch {
	case f.TooMany:
		lines = append(lines, in.Text("Too many rows for the channel: clogwise import --readings FILE --save takes them."))
	case f.Readings+f.Swaps > f.Known:
		lines = append(lines, in.Text("Nothing recorded yet: press Record."))
	default:
		lines = append(lines, in.Text("Nothing to record."))
	}
	return strings.Join(lines, "\n")
}

// FaultList is a text of all faults, a line each, where the summary shows the first
// few alone; ok is false where it shows them all.
func (f FileSummary) FaultList() (text []byte, ok bool) {
	return []byte(strings.Join(f.Faults, "\n") + "\n"), len(f.Faults) > faultsShown
}

// FileRecorded answers the button under a summary.
func FileRecorded(in locale.Locale, f FileSummary) string {
	fresh := f.Readings + f.Swaps - f.Known
	if fresh <= 0 {
		return in.Text("%s was recorded before; nothing new.", f.Name)
	}
	s := in.Text("%s: %s recorded.", f.Name, in.Count(fresh, "%d row", "%d rows"))
	if f.Known > 0 {
		s += " " + in.Text("%d were there already.", f.Known)
	}
	return s + " " + in.Text("Forecasts follow: `due`. `Undo` takes all of it back.")
}

// FileTooLarge refuses a file by its size.
func FileTooLarge(in locale.Locale, name string, most int64) string {
	return in.Text("%s is larger than %d MB. Nothing recorded. Split it, by month or by AHU, and drop the parts here; or ask the supervisor to have it imported on the server.", name, most>>20)
}

// TableOf goes with a table that was asked for.
func TableOf(in locale.Locale, name string) string { return in.Text("%s, as a table.", name) }
