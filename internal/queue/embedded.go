package queue

import (
	"crypto/rand"
	"fmt"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"
)

// clockStep is how often the embedded server is told the time: the lateness
// with which its keys expire.
const clockStep = 50 * time.Millisecond

// OpenEmbedded starts a Redis-protocol server inside this process and opens
// it. Nothing needs to be installed and nothing survives the process: the
// sweep queues again what was pending. The server listens on the loopback
// interface with a random password, so other users of the machine stay out.
// [Options.URL] and the passwords are ignored.
func OpenEmbedded(o Options) (*Queue, error) {
	prefix, err := o.prefix()
	if err != nil {
		return nil, err
	}
	password := rand.Text()
	server := miniredis.NewMiniRedis()
	server.RequireAuth(password)
	if err := server.Start(); err != nil {
		return nil, fmt.Errorf("queue: start embedded server: %w", err)
	}
	opt, err := Options{URL: "redis://" + server.Addr(), Password: password}.universal()
	if err != nil {
		server.Close()
		return nil, err
	}
	q := newQueue(redis.NewUniversalClient(opt), prefix, "embedded")
	stopClock := advance(server)
	q.stop = func() {
		stopClock()
		server.Close()
	}
	return q, nil
}

// advance makes the server's keys expire by the clock, which they do not do by
// themselves. The returned function stops that and waits; it may be called
// more than once.
func advance(server *miniredis.Miniredis) (stop func()) {
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(clockStep)
		defer tick.Stop()
		last := time.Now()
		for {
			select {
			case <-quit:
				return
			case <-tick.C:
				now := time.Now()
				server.FastForward(now.Sub(last))
				last = now
			}
		}
	}()
	return func() {
		select {
		case <-done:
		case quit <- struct{}{}:
			<-done
		}
	}
}
