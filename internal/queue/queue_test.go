package queue_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/logging"
	"go.uber.org/goleak"

	"clogwise/internal/queue"
	"clogwise/internal/queue/redistest"
)

func TestMain(m *testing.M) {
	redis.SetLogger(&logging.VoidLogger{}) // the outages here are meant
	// A pool that lost its server looks for it once a second, and ends within one of
	// being closed.
	goleak.VerifyTestMain(m, goleak.IgnoreAnyFunction("github.com/redis/go-redis/v9/internal/pool.(*ConnPool).tryDial"))
}

// patience bounds every wait. It is far above what any of them takes, since
// the machine may be busy.
const patience = 30 * time.Second

// bundle is one queue of its own on a server, with the means to watch it.
type bundle struct {
	*queue.Queue
	t   *testing.T
	ctx context.Context
}

func newBundle(t *testing.T, q *queue.Queue) *bundle {
	// Not the test's own context: consumers are stopped in the cleanup.
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	t.Cleanup(cancel)
	return &bundle{Queue: q, t: t, ctx: ctx}
}

// twin is another process on the same server.
func (b *bundle) twin() *queue.Queue {
	q := b.Twin()
	b.t.Cleanup(func() { closeQueue(b.t, q) })
	return q
}

func closeQueue(t *testing.T, q *queue.Queue) {
	if err := q.Close(); err != nil {
		t.Errorf("Close: %v", err)
	}
}

// quick is a consumer with times fit for tests.
func quick(name string) queue.Consumer {
	return queue.Consumer{
		Name: name, Workers: 1, ClaimAfter: 300 * time.Millisecond, MaxTries: 3,
		RetryMin: time.Millisecond, RetryMax: 5 * time.Millisecond,
	}
}

// consume starts a consumer and returns the function that stops it and waits;
// the end of the test does so too.
func (b *bundle) consume(q *queue.Queue, c queue.Consumer, h queue.Handler) (stop func()) {
	b.t.Helper()
	return b.run(c.Name, func(ctx context.Context) error { return q.Consume(ctx, c, h) })
}

// consumeMany is consume for a handler of several notices.
func (b *bundle) consumeMany(q *queue.Queue, c queue.Consumer, most int, h queue.ManyHandler) (stop func()) {
	b.t.Helper()
	return b.run(c.Name, func(ctx context.Context) error { return q.ConsumeMany(ctx, c, most, h) })
}

func (b *bundle) run(name string, consume func(context.Context) error) (stop func()) {
	b.t.Helper()
	ctx, cancel := context.WithCancel(b.ctx)
	done := make(chan error, 1)
	go func() { done <- consume(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			b.t.Errorf("consumer %s ended with %v, want nil after a stop", name, err)
		}
	})
	b.t.Cleanup(stop)
	return stop
}

func (b *bundle) notify(notices ...queue.Notice) {
	b.t.Helper()
	if err := b.Notify(b.ctx, notices...); err != nil {
		b.t.Fatalf("Notify: %v", err)
	}
}

func (b *bundle) depth() queue.Depth {
	b.t.Helper()
	d, err := b.Depth(b.ctx)
	if err != nil {
		b.t.Fatalf("Depth: %v", err)
	}
	return d
}

// counts is a depth without its age, which no test can foresee.
type counts struct{ Waiting, Working, Retrying, Parked int64 }

func (b *bundle) counts() counts {
	b.t.Helper()
	d := b.depth()
	return counts{d.Waiting, d.Working, d.Retrying, d.Parked}
}

// until waits for a condition that gives no signal.
func (b *bundle) until(what string, ok func() bool) {
	b.t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	late := time.After(patience)
	for !ok() {
		select {
		case <-tick.C:
		case <-late:
			b.t.Fatalf("waited %v for: %s", patience, what)
		}
	}
}

func (b *bundle) untilCounts(want counts) {
	b.t.Helper()
	var got counts
	defer func() {
		if got != want {
			b.t.Logf("last counts %+v", got)
		}
	}()
	b.until("the depth to become as wanted", func() bool { got = b.counts(); return got == want })
}

// recorder is a handler that keeps what it saw and signals it.
type recorder struct {
	seen chan queue.Notice
}

func newRecorder() recorder { return recorder{seen: make(chan queue.Notice, 10_000)} }

func (r recorder) handle(_ context.Context, n queue.Notice) error {
	r.seen <- n
	return nil
}

// next returns the next notice seen.
func (b *bundle) next(r recorder) queue.Notice {
	b.t.Helper()
	return receive(b.t, r.seen, "a notice")
}

func receive[T any](t *testing.T, c <-chan T, what string) T {
	t.Helper()
	select {
	case v := <-c:
		return v
	case <-time.After(patience):
		t.Fatalf("waited %v for %s", patience, what)
		panic("unreachable")
	}
}

func (b *bundle) wantNext(r recorder, want ...queue.Notice) {
	b.t.Helper()
	for i, w := range want {
		if got := b.next(r); got != w {
			b.t.Fatalf("notice %d = %+v, want %+v", i, got, w)
		}
	}
}

func (b *bundle) wantCounts(want counts) {
	b.t.Helper()
	if got := b.counts(); got != want {
		b.t.Fatalf("depth = %+v, want %+v", got, want)
	}
}

func wantError(t *testing.T, got, want error) {
	t.Helper()
	if !errors.Is(got, want) {
		t.Fatalf("error = %v, want %v", got, want)
	}
}

// conformance is what holds on every kind of server.
var conformance = []struct {
	name string
	run  func(*bundle)
}{
	{"delivery in order", testOrder},
	{"collapse to the highest", testCollapse},
	{"many notices in one call", testMany},
	{"notice during work is not lost", testDuringWork},
	{"one bank is worked by one at a time", testOneAtATime},
	{"claim from a killed consumer", testClaim},
	{"slow handler is not claimed", testSlow},
	{"claimed notice cancels its handler", testClaimedCancels},
	{"park, retry, drop", testPark},
	{"park at once", testParkAtOnce},
	{"parked bank and later notices", testParkedNotices},
	{"killer notice is parked", testKiller},
	{"panic", testPanic},
	{"stop gives back and finishes", testStop},
	{"stop without grace releases", testStopNoGrace},
	{"flush in mid-run", testFlush},
	{"group destroyed in mid-run", testGroupDestroyed},
	{"entry deleted by hand", testEntryDeleted},
	{"one of two entries deleted by hand", testOneEntryDeleted},
	{"entry that is no notice", testForeignEntry},
	{"close ends consumers", testClose},
	{"depth and age", testDepth},
	{"many: a group is worked together", testTogether},
	{"many: one fails and the others are done", testTogetherOneFails},
	{"many: notice during work is not lost", testTogetherDuringWork},
	{"many: panic", testTogetherPanic},
	{"many: wrong number of errors", testTogetherWrongNumber},
	{"many: killer is alone on its next try", testTogetherKiller},
	{"many: claim of one of a group", testTogetherClaim},
	{"many: stop gives back and finishes", testTogetherStop},
	{"many: stop without grace releases", testTogetherStopNoGrace},
	{"many: flush in mid-group", testTogetherFlush},
	{"many: more than one script call", testTogetherCalls},
	{"leadership moves", testLeadershipMoves},
	{"old leader is fenced off", testFencing},
	{"leader is told when it lost", testLeadLost},
	{"leader's result", testLeadResult},
	{"once", testOnce},
	{"rate limit", testAllow},
	{"question", testQuestion},
	{"question expires", testQuestionExpires},
	{"wake", testWake},
	{"bad arguments", testBadArguments},
	{"many: bad arguments", testTogetherArguments},
}

func TestEmbedded(t *testing.T) {
	t.Parallel()
	for _, c := range conformance {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			q, err := queue.OpenEmbedded(queue.Options{})
			if err != nil {
				t.Fatalf("OpenEmbedded: %v", err)
			}
			t.Cleanup(func() { closeQueue(t, q) })
			c.run(newBundle(t, q))
		})
	}
}

func TestRedis(t *testing.T) {
	t.Parallel()
	for _, c := range conformance {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			server := redistest.Start(t, redistest.Options{})
			c.run(openReal(t, server))
		})
	}
}

// TestCluster runs what differs on a cluster: scripts over several keys, and
// commands that must find the right node.
func TestCluster(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t, redistest.Options{Cluster: true})
	for _, c := range []struct {
		name string
		run  func(*bundle)
	}{
		{"delivery in order", testOrder},
		{"collapse to the highest", testCollapse},
		{"notice during work is not lost", testDuringWork},
		{"claim from a killed consumer", testClaim},
		{"park, retry, drop", testPark},
		{"stop gives back and finishes", testStop},
		{"many: one fails and the others are done", testTogetherOneFails},
		{"many: notice during work is not lost", testTogetherDuringWork},
		{"many: killer is alone on its next try", testTogetherKiller},
		{"many: more than one script call", testTogetherCalls},
		{"depth and age", testDepth},
		{"leadership moves", testLeadershipMoves},
		{"once", testOnce},
		{"rate limit", testAllow},
		{"question", testQuestion},
		{"wake", testWake},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			q, err := queue.Open(queue.Options{URL: "redis+cluster://" + server.Addr, Prefix: t.Name()})
			if err != nil {
				t.Fatalf("Open: %v", err)
			}
			t.Cleanup(func() { closeQueue(t, q) })
			c.run(newBundle(t, q))
		})
	}
}

func openReal(t *testing.T, server *redistest.Server) *bundle {
	t.Helper()
	q, err := queue.Open(queue.Options{URL: server.URL()})
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() { closeQueue(t, q) })
	return newBundle(t, q)
}
