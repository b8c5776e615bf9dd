package queue

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"
)

// Handler works one notice. It must be idempotent: after a stall or an outage
// a notice may be handled twice, at worst at the same time. Its context ends
// when the notice passed to another consumer (cause [ErrClaimed]) or when the
// grace after the end of [Queue.Consume]'s context is over. An error or a
// panic counts as a failed try.
type Handler func(context.Context, Notice) error

// ManyHandler works notices of different banks together and returns an error
// for each, in order; a nil slice means that all went well. What is said of
// [Handler] holds, with two differences: a panic, or errors of another number
// than the notices, counts as a failed try of each of them; and the context
// ends with [ErrClaimed] only when all of them passed to other consumers. What
// comes out of those that did is dropped, and the others go on.
type ManyHandler func(ctx context.Context, ns []Notice) []error

const (
	// mostTogether bounds what [Queue.ConsumeMany] takes together: 16 calls.
	mostTogether = 16 * notifyStep

	outageMin = 100 * time.Millisecond // back-off while the server is away
	outageMax = 2 * time.Second

	// settleTime is how long a stopping consumer tries to tell the server how
	// its last notices ended, after the grace of the handlers.
	settleTime = 2 * time.Second

	// consumers that went away without a word are dropped from the group's
	// list after forgetAfter; it is looked through every forgetEvery.
	forgetAfter = time.Hour
	forgetEvery = 10 * time.Minute
)

// Consume hands notices to the handler until ctx is done, then waits for the
// handlers that run, gives back what was not begun, and returns nil. An outage
// of the server, a flush or a restart without persistence do not end it: it
// goes on trying and carries on. It returns an error only when the consumer
// cannot start as asked, or [ErrClosed] when the queue was closed under it.
//
// Handlers that ignore their context are waited for without limit.
func (q *Queue) Consume(ctx context.Context, c Consumer, handle Handler) error {
	if handle == nil {
		return errNoHandler
	}
	return q.ConsumeMany(ctx, c, 1, func(ctx context.Context, ns []Notice) []error {
		return []error{handle(ctx, ns[0])}
	})
}

// ConsumeMany is [Queue.Consume] for a handler that works up to most notices
// together, 1 ≤ most ≤ 4096. They are begun and finished together too, so that
// many of them take few calls of the server. Nothing waits for others to come:
// what one read of the stream brought is handed on as it is, the first most of
// it to one worker, the next to another.
//
// A notice that failed before, or that another consumer was stopped with, is
// worked alone: if it makes the handler panic, it takes no other along to be
// parked.
func (q *Queue) ConsumeMany(ctx context.Context, c Consumer, most int, handle ManyHandler) error {
	if handle == nil {
		return errNoHandler
	}
	if most < 1 || most > mostTogether {
		return fmt.Errorf("queue: consume: %d notices together, want 1 to %d", most, mostTogether)
	}
	c, err := c.withDefaults(most)
	if err != nil {
		return err
	}
	s := &session{q: q, c: c, most: most, handle: handle, held: newHoldings(), jobs: make(chan []entry)}
	return s.run(ctx)
}

var errNoHandler = errors.New("queue: consume: no handler")

// session is one run of Consume.
type session struct {
	q      *Queue
	c      Consumer
	most   int // entries worked together
	handle ManyHandler
	held   *holdings
	jobs   chan []entry // in groups

	work   context.Context // of handlers; outlives Consume's by the grace
	settle context.Context // of what is told to the server; a little longer
}

// entry is one entry of the stream, handed to this consumer.
type entry struct {
	id   string
	bank string
	upTo string // as of queueing; the hash may know a higher one

	alone bool // not to be worked together with others
}

func (s *session) run(ctx context.Context) error {
	var endWork, endSettle context.CancelFunc
	s.work, endWork = context.WithCancel(context.WithoutCancel(ctx))
	s.settle, endSettle = context.WithCancel(context.WithoutCancel(ctx))
	defer endSettle()
	defer endWork()

	var workers, beater sync.WaitGroup
	for range s.c.Workers {
		workers.Go(s.worker)
	}
	beater.Go(func() { s.beat(endWork) })

	err := s.feed(ctx)

	close(s.jobs)
	soft := time.AfterFunc(s.c.Grace, endWork)
	hard := time.AfterFunc(s.c.Grace+settleTime, endSettle)
	defer soft.Stop()
	defer hard.Stop()
	workers.Wait()
	s.held.close()
	beater.Wait()
	if err == nil {
		s.leave()
	}
	return err
}

// feed takes entries from the server and hands them to the workers, until ctx
// is done (nil) or the queue is closed.
func (s *session) feed(ctx context.Context) error {
	f := feeder{session: s}
	failures := 0
	for ctx.Err() == nil {
		batch, err := f.next(ctx)
		switch {
		case errors.Is(err, redis.ErrClosed):
			return ErrClosed
		case ctx.Err() != nil:
			s.giveBack(batch)
			return nil
		case err != nil:
			failures++
			s.outage(err, failures)
			sleep(ctx, rest(failures, outageMin, outageMax))
			continue
		case failures > 0:
			s.c.Log.Info("queue: server is back", "failures", failures)
			failures = 0
		}
		for len(batch) > 0 {
			n := together(batch, s.most)
			select {
			case s.jobs <- batch[:n:n]:
				batch = batch[n:]
			case <-ctx.Done():
				s.giveBack(batch)
				return nil
			}
		}
	}
	return nil
}

// together is how many of the first entries of a batch, which is not empty,
// make a group.
func together(batch []entry, most int) int {
	if batch[0].alone {
		return 1
	}
	n := 1
	for n < min(most, len(batch)) && !batch[n].alone {
		n++
	}
	return n
}

// outage logs the first failure of a row, and then ever more seldom.
func (s *session) outage(err error, failures int) {
	if failures&(failures-1) == 0 {
		s.c.Log.Warn("queue: server does not answer as expected; trying on", "failures", failures, "error", err)
	}
}

// giveBack returns entries that were not begun.
func (s *session) giveBack(batch []entry) {
	for _, e := range batch {
		s.release(e, false)
		s.held.remove(e.id)
	}
}

// leave removes this consumer's name from the group.
func (s *session) leave() {
	if err := s.q.run(s.settle, leaveScript, s.c.Name).Err(); err != nil && !noGroup(err) {
		s.c.Log.Debug("queue: consumer left without a word", "error", err)
	}
}

// sleep waits for d or until ctx is done.
func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
