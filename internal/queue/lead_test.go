package queue_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"clogwise/internal/queue"
)

// reign is one leader's time, as seen from inside.
type reign struct {
	holder string
	token  int64
	ctx    context.Context
}

// candidate strives for leadership in a process of its own until its
// connection is cut, which is how its death looks from outside.
func (b *bundle) candidate(holder string, reigns chan<- reign) (cut func()) {
	q := b.Twin()
	done := make(chan error, 1)
	go func() {
		done <- q.Lead(b.ctx, queue.Leadership{Name: "cron", Holder: holder, TTL: 400 * time.Millisecond},
			func(ctx context.Context, token int64) error {
				reigns <- reign{holder, token, ctx}
				<-ctx.Done()
				return ctx.Err()
			})
	}()
	cut = sync.OnceFunc(func() {
		closeQueue(b.t, q)
		wantError(b.t, receive(b.t, done, "the end of Lead"), queue.ErrClosed)
	})
	b.t.Cleanup(cut)
	return cut
}

func testLeadershipMoves(b *bundle) {
	reigns := make(chan reign, 10)
	cuts := map[string]func(){"north": b.candidate("north", reigns), "south": b.candidate("south", reigns)}
	first := receive(b.t, reigns, "a leader")
	if holder, err := b.Leader(b.ctx, "cron"); err != nil || holder != first.holder {
		b.t.Fatalf("Leader = %q, %v; want %q", holder, err, first.holder)
	}
	cuts[first.holder]()
	second := receive(b.t, reigns, "the next leader")
	if second.holder == first.holder || second.token <= first.token {
		b.t.Errorf("leaders %s (%d), then %s (%d): want another with a higher token", first.holder, first.token, second.holder, second.token)
	}
	if first.ctx.Err() == nil {
		b.t.Error("the first leader was not told before the second one started")
	}
}

func testFencing(b *bundle) {
	const ttl = 200 * time.Millisecond
	old, err := b.Acquire(b.ctx, "cron", "north", ttl)
	if err != nil || old == nil {
		b.t.Fatalf("Acquire = %v, %v", old, err)
	}
	if err := old.Renew(b.ctx); err != nil {
		b.t.Fatalf("Renew: %v", err)
	}
	other := b.twin()
	var lease *queue.Lease
	b.until("the lease to expire", func() bool {
		lease, err = other.Acquire(b.ctx, "cron", "south", time.Hour)
		return err == nil && lease != nil
	})
	if lease.Token <= old.Token {
		b.t.Errorf("token %d after %d", lease.Token, old.Token)
	}
	wantError(b.t, old.Renew(b.ctx), queue.ErrLeaseLost)
	wantError(b.t, old.Release(b.ctx), queue.ErrLeaseLost)
	if l, err := b.Acquire(b.ctx, "cron", "north", ttl); l != nil || err != nil {
		b.t.Errorf("Acquire of what another holds = %v, %v; want nil, nil", l, err)
	}
	if l, err := b.Acquire(b.ctx, "sweep", "north", ttl); l == nil || err != nil {
		b.t.Errorf("Acquire under another name = %v, %v", l, err)
	}

	again, err := other.Acquire(b.ctx, "cron", "south", time.Hour) // as after a lost answer
	if err != nil || again == nil || again.Token <= lease.Token {
		b.t.Fatalf("Acquire by the holder = %+v, %v; want a higher token than %d", again, err, lease.Token)
	}
	wantError(b.t, lease.Release(b.ctx), queue.ErrLeaseLost)

	if err := b.Client().FlushAll(b.ctx).Err(); err != nil {
		b.t.Fatalf("FLUSHALL: %v", err)
	}
	after, err := b.Acquire(b.ctx, "cron", "north", time.Hour)
	if err != nil || after == nil || after.Token <= again.Token {
		b.t.Fatalf("Acquire after a flush = %+v, %v; want a higher token than %d", after, err, again.Token)
	}
	if err := after.Release(b.ctx); err != nil {
		b.t.Errorf("Release: %v", err)
	}
	if holder, err := b.Leader(b.ctx, "cron"); err != nil || holder != "" {
		b.t.Errorf("Leader after release = %q, %v; want none", holder, err)
	}
}

func testLeadLost(b *bundle) {
	reigns := make(chan reign, 10)
	b.candidate("north", reigns)
	first := receive(b.t, reigns, "a leader")
	if err := b.Client().FlushAll(b.ctx).Err(); err != nil {
		b.t.Fatalf("FLUSHALL: %v", err)
	}
	receive(b.t, first.ctx.Done(), "the leader to be told")
	wantError(b.t, context.Cause(first.ctx), queue.ErrLeaseLost)
	if second := receive(b.t, reigns, "the next reign"); second.token <= first.token {
		b.t.Errorf("token %d after %d", second.token, first.token)
	}
}

func testLeadResult(b *bundle) {
	l := queue.Leadership{Name: "cron"}
	wantError(b.t, b.Lead(b.ctx, l, func(context.Context, int64) error { return errBroken }), errBroken)
	ctx, cancel := context.WithCancel(b.ctx)
	err := b.Lead(ctx, l, func(ctx context.Context, _ int64) error { // at once: the first gave it up
		cancel()
		<-ctx.Done()
		return ctx.Err()
	})
	if err != nil {
		b.t.Errorf("Lead, stopped = %v, want nil", err)
	}
	if holder, err := b.Leader(b.ctx, "cron"); err != nil || holder != "" {
		b.t.Errorf("Leader after both = %q, %v; want none", holder, err)
	}
}

func testOnce(b *bundle) {
	var first atomic.Int64
	var racers sync.WaitGroup
	start := make(chan struct{})
	for range 2 {
		q := b.twin()
		for range 8 {
			racers.Go(func() {
				<-start
				ok, err := q.Once(b.ctx, "digest/mill/2025-03-03T07:00", time.Hour)
				if err != nil {
					b.t.Errorf("Once: %v", err)
				}
				if ok {
					first.Add(1)
				}
			})
		}
	}
	close(start)
	racers.Wait()
	if first.Load() != 1 {
		b.t.Errorf("%d were first, want 1", first.Load())
	}
	const life = 150 * time.Millisecond
	if ok, err := b.Once(b.ctx, "short", life); !ok || err != nil {
		b.t.Fatalf("Once = %v, %v", ok, err)
	}
	b.until("the key to expire", func() bool {
		ok, err := b.Once(b.ctx, "short", life)
		return ok && err == nil
	})
}

func testAllow(b *bundle) {
	const burst = 3
	for i := range burst {
		if ok, wait, err := b.Allow(b.ctx, "key-1", 0.01, burst); !ok || wait != 0 || err != nil {
			b.t.Fatalf("Allow %d = %v, %v, %v; want a token", i, ok, wait, err)
		}
	}
	ok, wait, err := b.Allow(b.ctx, "key-1", 0.01, burst)
	// A token takes 1/0.01 = 100 s; some of that has passed.
	if ok || wait > 100*time.Second || wait < 100*time.Second-patience || err != nil {
		b.t.Errorf("Allow on an empty bucket = %v, %v, %v; want to wait up to 100 s", ok, wait, err)
	}
	if ok, _, err := b.twin().Allow(b.ctx, "key-1", 0.01, burst); ok || err != nil {
		b.t.Errorf("Allow in another process = %v, %v; want the same empty bucket", ok, err)
	}
	if ok, _, err := b.Allow(b.ctx, "key-2", 0.01, burst); !ok || err != nil {
		b.t.Errorf("Allow on another bucket = %v, %v", ok, err)
	}
	if ok, _, err := b.Allow(b.ctx, "fast", 20, 1); !ok || err != nil {
		b.t.Fatalf("Allow = %v, %v", ok, err)
	}
	b.until("the bucket to fill", func() bool {
		ok, _, err := b.Allow(b.ctx, "fast", 20, 1)
		return ok && err == nil
	})
}

func testQuestion(b *bundle) {
	const where = "team/channel/thread"
	if _, ok, err := b.Pending(b.ctx, where); ok || err != nil {
		b.t.Fatalf("Pending before a question = %v, %v", ok, err)
	}
	for _, text := range []string{"which bank?", "which unit?\x00\xff"} { // the later takes the place of the earlier
		if err := b.Ask(b.ctx, where, []byte(text), time.Hour); err != nil {
			b.t.Fatalf("Ask: %v", err)
		}
	}
	payload, ok, err := b.Pending(b.ctx, where)
	if string(payload) != "which unit?\x00\xff" || !ok || err != nil {
		b.t.Fatalf("Pending = %q, %v, %v", payload, ok, err)
	}
	if ok, err := b.AnsweredIf(b.ctx, where, []byte("which bank?")); ok || err != nil {
		b.t.Fatalf("an answer to the earlier question = %v, %v; want it to leave the later one", ok, err)
	}
	b.wantOneTaker(func(q *queue.Queue) (bool, error) {
		_, ok, err := q.Answered(b.ctx, where)
		return ok, err
	})
	if err := b.Ask(b.ctx, where, payload, time.Hour); err != nil {
		b.t.Fatalf("Ask: %v", err)
	}
	b.wantOneTaker(func(q *queue.Queue) (bool, error) { return q.AnsweredIf(b.ctx, where, payload) })
}

// wantOneTaker lets two processes press at the same time, several times each.
func (b *bundle) wantOneTaker(take func(*queue.Queue) (bool, error)) {
	b.t.Helper()
	var taken atomic.Int64
	var presses sync.WaitGroup
	start := make(chan struct{})
	for range 2 {
		q := b.twin()
		for range 4 {
			presses.Go(func() {
				<-start
				ok, err := take(q)
				if err != nil {
					b.t.Errorf("take: %v", err)
				}
				if ok {
					taken.Add(1)
				}
			})
		}
	}
	close(start)
	presses.Wait()
	if taken.Load() != 1 {
		b.t.Errorf("the question was taken %d times, want once", taken.Load())
	}
}

func testQuestionExpires(b *bundle) {
	if err := b.Ask(b.ctx, "thread", []byte("which bank?"), 150*time.Millisecond); err != nil {
		b.t.Fatalf("Ask: %v", err)
	}
	if _, ok, err := b.Pending(b.ctx, "thread"); !ok || err != nil {
		b.t.Fatalf("Pending = %v, %v; want the question", ok, err)
	}
	b.until("the question to expire", func() bool {
		_, ok, err := b.Pending(b.ctx, "thread")
		return !ok && err == nil
	})
}

func testWake(b *bundle) {
	ctx, cancel := context.WithCancel(b.ctx)
	defer cancel()
	heard, err := b.Listen(ctx, "outbox")
	if err != nil {
		b.t.Fatalf("Listen: %v", err)
	}
	receive(b.t, heard, "the signal once subscribed")
	other := b.twin()
	if err := other.Wake(b.ctx, "elsewhere"); err != nil {
		b.t.Fatalf("Wake: %v", err)
	}
	for range 3 {
		if err := other.Wake(b.ctx, "outbox"); err != nil {
			b.t.Fatalf("Wake: %v", err)
		}
		receive(b.t, heard, "the wake")
	}
	cancel()
	b.until("the channel to close", func() bool {
		select {
		case _, open := <-heard:
			return !open
		default:
			return false
		}
	})
}

func testBadArguments(b *bundle) {
	ctx := b.ctx
	handle := newRecorder().handle
	for name, err := range map[string]error{
		"no bank":          b.Notify(ctx, queue.Notice{UpTo: 1}),
		"negative N":       b.Notify(ctx, queue.Notice{Bank: bankA, UpTo: -1}),
		"N beyond 2^53":    b.Notify(ctx, queue.Notice{Bank: bankA, UpTo: 1 << 53}),
		"no handler":       b.Consume(ctx, quick("one"), nil),
		"negative workers": b.Consume(ctx, queue.Consumer{Workers: -1}, handle),
		"no conversation":  b.Ask(ctx, "", nil, time.Hour),
		"no life":          b.Ask(ctx, "thread", nil, 0),
		"no leadership":    b.Lead(ctx, queue.Leadership{}, nil),
		"once without key": second(b.Once(ctx, "", time.Hour)),
		"once for ever":    second(b.Once(ctx, "key", 0)),
		"no topic":         second(b.Listen(ctx, "")),
		"no burst":         third(b.Allow(ctx, "key", 1, 0)),
		"no rate":          third(b.Allow(ctx, "key", 0, 1)),
	} {
		if err == nil {
			b.t.Errorf("%s: no error", name)
		}
		if errors.Is(err, queue.ErrClosed) {
			b.t.Errorf("%s: %v", name, err)
		}
	}
	b.wantCounts(counts{})
}

func second[T any](_ T, err error) error        { return err }
func third[T, U any](_ T, _ U, err error) error { return err }
