package digest

import (
	"cmp"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Job is a booked change-out that is not finished.
type Job struct {
	Bank  plant.BankID
	Seq   int64     // of the booking, or of the start of a job nobody booked
	Start time.Time // booked start
	Crew  []string
	By    string    // who booked
	Begun time.Time // zero: not begun
	Since time.Time // a change-out at or after this belongs to the job
	Sent  []Steps   // safe-work lists sent for this start
	Read  []Steps   // and read
}

// Steps is one list sent or read.
type Steps struct {
	When string
	By   string
	At   time.Time
}

// OpenJobs folds standing entries, in the order they were recorded, into the
// jobs that are still open.
func OpenJobs(entries []entry.Entry) []Job {
	standing := entry.Standing(entries)
	slices.SortFunc(standing, func(a, b entry.Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	open := map[plant.BankID]*Job{}
	for _, x := range standing {
		j := open[x.Place]
		switch b := x.Body.(type) {
		case entry.Booking:
			delete(open, x.Place)
			if !b.Cancelled {
				open[x.Place] = &Job{Bank: x.Place, Seq: x.Seq, Start: b.Start, Crew: b.Crew, By: x.By, Since: earlier(x.At, b.Start)}
			}
		case entry.JobStart:
			if j == nil {
				j = &Job{Bank: x.Place, Seq: x.Seq, Start: x.At, By: x.By, Since: x.At}
				open[x.Place] = j
			}
			if j.Begun.IsZero() {
				j.Begun = x.At
			}
		case entry.JobDone:
			delete(open, x.Place)
		case entry.Swap:
			// A change-out reported without "on site" before it fulfils the booking.
			if j != nil && j.Begun.IsZero() && !x.At.Before(j.Start.Add(-12*time.Hour)) {
				delete(open, x.Place)
			}
		case entry.StepsSent:
			if j != nil && b.Start.Equal(j.Start) {
				j.Sent = append(j.Sent, Steps{b.When, x.By, x.At})
			}
		case entry.StepsRead:
			if j != nil && b.Start.Equal(j.Start) {
				j.Read = append(j.Read, Steps{b.When, x.By, x.At})
			}
		}
	}
	out := make([]Job, 0, len(open))
	for _, j := range open {
		out = append(out, *j)
	}
	slices.SortFunc(out, func(a, b Job) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.Bank, b.Bank)) })
	return out
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
