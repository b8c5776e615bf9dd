// Package group puts the writes of many concurrent callers into few durable
// transactions: what arrives while one is being synced to disk goes together
// into the next. What a transaction is, is the store's business.
package group

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"clogwise/internal/ledger"
)

// maxJobs bounds the writes, and maxWeight their rows, that share a
// transaction: enough that the sync of the disk costs each little, few enough
// that the first does not wait long for the last.
const (
	maxJobs   = 512
	maxWeight = 10_000
)

// A Job is one caller's write. Whoever moves its state out of queued owns it:
// the writer by taking it, the caller by withdrawing.
type Job[P any] struct {
	Payload P
	Err     error // its outcome, set by the transaction

	weight int
	state  atomic.Int32
	done   chan struct{} // closed when the outcome is durable, or certain not to be
}

const (
	queued int32 = iota
	taken
	withdrawn
)

// Writer hands jobs to one goroutine, group by group.
type Writer[P any] struct {
	transact func([]*Job[P])
	release  func() error
	grace    time.Duration

	jobs   chan *Job[P]
	quit   chan struct{} // closed to stop
	gone   chan struct{} // closed when stopped
	once   sync.Once
	closed error
}

// Start starts a writer. transact writes a group and sets each job's Err; it is
// called from one goroutine only. release is called once, after the last group.
// grace is how long a caller whose context has ended still waits for a write
// that has begun.
func Start[P any](transact func([]*Job[P]), release func() error, grace time.Duration) *Writer[P] {
	w := &Writer[P]{
		transact: transact, release: release, grace: grace,
		jobs: make(chan *Job[P], maxJobs), quit: make(chan struct{}), gone: make(chan struct{}),
	}
	go w.run()
	return w
}

// Stop finishes the jobs already handed in. It may be called more than once.
func (w *Writer[P]) Stop() error {
	w.once.Do(func() { close(w.quit) })
	<-w.gone
	return w.closed
}

// Queued is the number of jobs not yet taken.
func (w *Writer[P]) Queued() int { return len(w.jobs) }

var errClosed = fmt.Errorf("%w: it has been closed", ledger.ErrUnavailable)

// Do hands a payload of so many rows to the writer and waits for its durable
// outcome.
//
// When ctx ends before the writer has taken the job, the job is withdrawn and
// will not be written. When it has been taken, its outcome is at most a disk
// sync away and is waited for, up to grace; only a medium slower than that
// leaves the caller with ErrUncertain.
func (w *Writer[P]) Do(ctx context.Context, what string, weight int, payload P) error {
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	}
	j := &Job[P]{Payload: payload, weight: weight, done: make(chan struct{})}
	select {
	case w.jobs <- j:
	case <-ctx.Done():
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	case <-w.quit:
		return errClosed
	}
	select {
	case <-j.done:
		return j.Err
	case <-w.gone: // it may have been handed in behind the last group
		return w.settle(j, errClosed)
	case <-ctx.Done():
		return w.settle(j, fmt.Errorf("%s: %w", what, context.Cause(ctx)))
	}
}

// settle withdraws a job whose caller gives up for reason, or finds out what
// became of it.
func (w *Writer[P]) settle(j *Job[P], reason error) error {
	if j.state.CompareAndSwap(queued, withdrawn) {
		return reason
	}
	grace := time.NewTimer(w.grace)
	defer grace.Stop()
	select {
	case <-j.done:
		return j.Err
	case <-grace.C:
		return fmt.Errorf("%w: %w", ledger.ErrUncertain, reason)
	}
}

func (w *Writer[P]) run() {
	defer close(w.gone)
	for {
		select {
		case j := <-w.jobs:
			w.write(j)
		case <-w.quit:
			for j := w.next(); j != nil; j = w.next() {
				w.write(j)
			}
			w.closed = w.release()
			return
		}
	}
}

// write writes the group that begins with first and tells each its outcome.
func (w *Writer[P]) write(first *Job[P]) {
	jobs := w.gather(first)
	if len(jobs) == 0 {
		return
	}
	w.transact(jobs)
	for _, j := range jobs {
		close(j.done)
	}
}

// gather takes first and whatever else is waiting, without waiting for more.
func (w *Writer[P]) gather(first *Job[P]) []*Job[P] {
	var jobs []*Job[P]
	weight := 0
	for j := first; j != nil; j = w.next() {
		if j.state.CompareAndSwap(queued, taken) {
			jobs = append(jobs, j)
			weight += j.weight
		}
		if len(jobs) == maxJobs || weight >= maxWeight {
			break
		}
	}
	return jobs
}

// next is the next job waiting, or nil. Before it gives up it lets those run
// who are about to hand one in: callers woken by the last commit. Larger groups
// are worth far more than the microsecond.
func (w *Writer[P]) next() *Job[P] {
	for range 2 {
		select {
		case j := <-w.jobs:
			return j
		default:
			runtime.Gosched()
		}
	}
	return nil
}
