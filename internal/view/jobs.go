package view

import (
	"context"
	"slices"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
)

var jobKinds = []entry.Kind{entry.KindBooking, entry.KindJobStart, entry.KindJobDone, entry.KindSwap, entry.KindStepsSent,
	entry.KindStepsRead, entry.KindRetract, entry.KindAmend}

// jobAge is how long after its start a job that nobody finished is forgotten.
const jobAge = 60 * 24 * time.Hour

// OpenJobs lists the bookings and begun jobs that stand, by bank. It keeps what
// it has read and looks only at newer entries.
func (v *View) OpenJobs(ctx context.Context) ([]digest.Job, error) {
	v.jobs.Lock()
	defer v.jobs.Unlock()
	head, err := v.Store.Head(ctx)
	if err != nil {
		return nil, err
	}
	if head == v.jobs.seen {
		return v.jobs.open, nil
	}
	fresh, err := v.Store.Entries(ctx, ledger.Filter{Kinds: jobKinds, AfterSeq: v.jobs.seen})
	if err != nil {
		return nil, err
	}
	v.jobs.seen = head
	if len(fresh) == 0 {
		return v.jobs.open, nil
	}
	v.jobs.entries = append(v.jobs.entries, fresh...)
	newest := fresh[0].Received
	for _, x := range fresh {
		if x.Received.After(newest) {
			newest = x.Received
		}
	}
	v.jobs.entries = slices.DeleteFunc(v.jobs.entries, func(x entry.Entry) bool {
		b, booked := x.Body.(entry.Booking)
		return x.Received.Before(newest.Add(-jobAge)) && !(booked && b.Start.After(newest))
	})
	v.jobs.open = digest.OpenJobs(v.jobs.entries)
	return v.jobs.open, nil
}
