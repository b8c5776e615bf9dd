package trial

import (
	"context"
	"sync"
	"time"
)

// clock runs so many times as fast as the real one, and never beyond a bound:
// where the installation cannot follow, simulated time waits for it. It is safe
// for concurrent use.
type clock struct {
	speed float64

	mu    sync.Mutex
	at    time.Time // simulated, at since
	since time.Time // real
	bound time.Time // simulated
}

// stopped is a clock that stands at a time until it is given a later bound.
func stopped(at time.Time, speed float64) *clock {
	return &clock{speed: speed, at: at, since: time.Now(), bound: at}
}

// Now is the simulated time.
func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now()
}

func (c *clock) now() time.Time {
	real := time.Now()
	at := c.at.Add(time.Duration(float64(real.Sub(c.since)) * c.speed))
	if at.After(c.bound) {
		at = c.bound
	}
	c.at, c.since = at, real
	return at
}

// upTo lets the clock run on to a bound.
func (c *clock) upTo(bound time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now()
	c.bound = bound
}

// until waits for a simulated time that lies within the bound.
func (c *clock) until(ctx context.Context, at time.Time) error {
	for {
		left := at.Sub(c.Now())
		if left <= 0 {
			return ctx.Err()
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Duration(float64(left)/c.speed) + time.Microsecond):
		}
	}
}
