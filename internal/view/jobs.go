package view

import (
	"context"
	"slices"
	"sync"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

var jobKinds = []entry.Kind{entry.KindBooking, entry.KindJobStart, entry.KindJobDone, entry.KindSwap, entry.KindStepsSent,
	entry.KindStepsRead, entry.KindRetract, entry.KindAmend}

// jobAge is how long after its start a job that nobody finished is forgotten.
const jobAge = 60 * 24 * time.Hour

// jobs is what has been read of the jobs so far.
type jobs struct {
	sync.Mutex
	seen    int64
	newest  time.Time     // arrival of the newest job entry
	entries []entry.Entry // that may still matter
	open    []digest.Job
}

// OpenJobs lists the bookings and begun jobs that stand, by start. It keeps what
// it has read and looks only at newer entries. The list is not to be altered.
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
	if n := len(fresh); n > 0 {
		v.jobs.seen = max(head, fresh[n-1].Seq)
		v.jobs.add(fresh)
	}
	return v.jobs.open, nil
}

// add folds fresh entries in and drops those that can matter no more: old ones
// of banks without an open job. Of a bank with one all are kept, since what took
// back or replaced an old booking must not be forgotten before the booking is.
func (j *jobs) add(fresh []entry.Entry) {
	j.entries = append(j.entries, fresh...)
	for _, x := range fresh {
		if x.Received.After(j.newest) {
			j.newest = x.Received
		}
	}
	cutoff := j.newest.Add(-jobAge)
	j.open = slices.DeleteFunc(digest.OpenJobs(j.entries), func(job digest.Job) bool { return job.Start.Before(cutoff) })
	busy := map[plant.BankID]bool{}
	for _, job := range j.open {
		busy[job.Bank] = true
	}
	j.entries = slices.DeleteFunc(j.entries, func(x entry.Entry) bool {
		return x.Received.Before(cutoff) && !busy[x.Place]
	})
}
