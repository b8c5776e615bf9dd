package webhook

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/time/rate"

	"clogwise/internal/queue"
)

// Bounds of what an answer waits for the queue.
const (
	sharedWait = 500 * time.Millisecond
	sharedRest = 2 * time.Second // after a failure it is left alone for so long
)

// shared is the queue as the intake uses it: never waited for long, and done
// without when it is out of reach. Then notices are left to the sweep, and each
// process limits rates by itself.
type shared struct {
	queue Queue
	rate  float64
	burst int
	lost  func(what string, err error) // told of each failure

	until atomic.Int64 // do not try before, ns since 1970

	mu    sync.Mutex
	local map[string]*rate.Limiter
	purse map[string]int // tokens taken from shared buckets and not yet used

	notes notes
}

// notes are notices on their way to the queue. While some are sent, those that
// come meanwhile are gathered, one a bank, and go together next.
type notes struct {
	mu      sync.Mutex
	waiting map[string]int64 // highest Seq by bank
	sending bool
	all     sync.WaitGroup
}

// takeFor is how much of a key's allowance is taken from the shared bucket at a
// time: of a sender at full speed, not every request then asks for its token.
const (
	takeFor  = 20 * time.Millisecond
	takeMost = 100
)

// allow takes a token of the key's bucket: the one that all processes share, or
// this process's own when that is out of reach. A limiter that fails must not
// open the gates.
func (s *shared) allow(ctx context.Context, key string) (ok bool, wait time.Duration) {
	if s.pay(key) {
		return true, 0
	}
	most := min(max(1, int(s.rate*takeFor.Seconds())), takeMost)
	got := 0
	tried := s.try(ctx, "rate limit", func(ctx context.Context) (err error) {
		got, wait, err = s.queue.Take(ctx, "hook:"+key, s.rate, s.burst, most)
		return err
	})
	if tried {
		s.save(key, got-1)
		return got > 0, wait
	}
	r := s.bucket(key).Reserve()
	if wait = r.Delay(); wait > 0 {
		r.Cancel()
		return false, wait
	}
	return r.OK(), 0
}

// pay uses a token taken before.
func (s *shared) pay(key string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.purse[key] < 1 {
		return false
	}
	s.purse[key]--
	return true
}

func (s *shared) save(key string, n int) {
	if n < 1 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.purse[key] = min(s.purse[key]+n, takeMost)
}

func (s *shared) bucket(key string) *rate.Limiter {
	s.mu.Lock()
	defer s.mu.Unlock()
	b, ok := s.local[key]
	if !ok {
		b = rate.NewLimiter(rate.Limit(s.rate), s.burst)
		s.local[key] = b
	}
	return b
}

// notify queues the banks, or leaves them to the sweep. Who comes while others'
// notices are sent leaves his to them.
func (s *shared) notify(ctx context.Context, notices []queue.Notice) {
	n := &s.notes
	n.mu.Lock()
	for _, x := range notices {
		n.waiting[x.Bank] = max(n.waiting[x.Bank], x.UpTo)
	}
	if n.sending || len(n.waiting) == 0 {
		n.mu.Unlock()
		return
	}
	n.sending = true
	batch := n.take()
	n.mu.Unlock()
	s.send(ctx, batch)
	n.all.Go(func() { s.sendOn(ctx) }) // nobody's answer waits for what others left
}

// sendOn sends what has been gathered until nothing is left.
func (s *shared) sendOn(ctx context.Context) {
	n := &s.notes
	for {
		n.mu.Lock()
		if len(n.waiting) == 0 {
			n.sending = false
			n.mu.Unlock()
			return
		}
		batch := n.take()
		n.mu.Unlock()
		s.send(ctx, batch)
	}
}

// take empties what is waiting; the lock is held.
func (n *notes) take() []queue.Notice {
	batch := make([]queue.Notice, 0, len(n.waiting))
	for bank, seq := range n.waiting {
		batch = append(batch, queue.Notice{Bank: bank, UpTo: seq})
	}
	clear(n.waiting)
	return batch
}

// send queues notices. Their entries are committed: a sender who leaves now must
// not delay them.
func (s *shared) send(ctx context.Context, batch []queue.Notice) {
	s.try(context.WithoutCancel(ctx), "notice", func(ctx context.Context) error { return s.queue.Notify(ctx, batch...) })
}

// wait waits until all that was gathered is sent.
func (s *shared) wait() { s.notes.all.Wait() }

// try reports whether do was tried and went well.
func (s *shared) try(ctx context.Context, what string, do func(ctx context.Context) error) bool {
	if time.Now().UnixNano() < s.until.Load() {
		return false
	}
	bounded, cancel := context.WithTimeout(ctx, sharedWait)
	defer cancel()
	err := do(bounded)
	if err == nil {
		return true
	}
	if ctx.Err() == nil { // not merely a sender who left
		s.until.Store(time.Now().Add(sharedRest).UnixNano())
		s.lost(what, err)
	}
	return false
}

func newShared(q Queue, perSecond float64, burst int, lost func(string, error)) *shared {
	return &shared{queue: q, rate: perSecond, burst: burst, lost: lost, local: map[string]*rate.Limiter{}, purse: map[string]int{}, notes: notes{waiting: map[string]int64{}}}
}
