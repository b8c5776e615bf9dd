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
}

// allow takes a token of the key's bucket: the one that all processes share, or
// this process's own when that is out of reach. A limiter that fails must not
// open the gates.
func (s *shared) allow(ctx context.Context, key string) (ok bool, wait time.Duration) {
	var err error
	tried := s.try(ctx, "rate limit", func(ctx context.Context) error {
		ok, wait, err = s.queue.Allow(ctx, "hook:"+key, s.rate, s.burst)
		return err
	})
	if tried {
		return ok, wait
	}
	r := s.bucket(key).Reserve()
	if wait = r.Delay(); wait > 0 {
		r.Cancel()
		return false, wait
	}
	return r.OK(), 0
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

// notify queues the banks, or leaves them to the sweep.
func (s *shared) notify(ctx context.Context, notices []queue.Notice) {
	if len(notices) == 0 {
		return
	}
	// The entries are committed: a sender who leaves now must not delay them.
	s.try(context.WithoutCancel(ctx), "notice", func(ctx context.Context) error { return s.queue.Notify(ctx, notices...) })
}

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
	return &shared{queue: q, rate: perSecond, burst: burst, lost: lost, local: map[string]*rate.Limiter{}}
}
