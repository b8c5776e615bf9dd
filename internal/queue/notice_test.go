package queue_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"

	"github.com/redis/go-redis/v9"

	"clogwise/internal/queue"
)

// Banks of an invented site.
const (
	bankA = "mill/ahu-1/primary"
	bankB = "mill/ahu-1/secondary"
	bankC = "mill/ahu-2/primary"
)

var errBroken = errors.New("broken on purpose")

func testOrder(b *bundle) {
	want := []queue.Notice{{Bank: bankB, UpTo: 7}, {Bank: bankA, UpTo: 3}, {Bank: bankC, UpTo: 0}}
	for _, n := range want {
		b.notify(n)
	}
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.wantNext(r, want...)
	late := queue.Notice{Bank: bankA, UpTo: 8} // reaches a consumer that waits
	b.notify(late)
	b.wantNext(r, late)
	b.untilCounts(counts{})
}

func testCollapse(b *bundle) {
	b.notify(queue.Notice{Bank: bankA, UpTo: 5})
	b.notify(queue.Notice{Bank: bankA, UpTo: 9}, queue.Notice{Bank: bankB, UpTo: 1}, queue.Notice{Bank: bankA, UpTo: 7})
	b.wantCounts(counts{Waiting: 2})
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 9}, queue.Notice{Bank: bankB, UpTo: 1})
	b.untilCounts(counts{})
}

func testMany(b *bundle) {
	const banks = 700 // more than go into one script call
	all := make([]queue.Notice, banks)
	for i := range all {
		all[i] = queue.Notice{Bank: fmt.Sprintf("mill/ahu-%d/primary", i), UpTo: int64(i)}
	}
	b.notify(all...)
	b.wantCounts(counts{Waiting: banks})
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.wantNext(r, all...)
}

func testDuringWork(b *bundle) {
	for _, again := range []int64{2, 1} { // an equal N counts as well: what it stands for may have changed
		began, proceed := make(chan queue.Notice), make(chan struct{})
		stop := b.consume(b.Queue, quick("one"), func(_ context.Context, n queue.Notice) error {
			began <- n
			<-proceed
			return nil
		})
		b.notify(queue.Notice{Bank: bankA, UpTo: 1})
		receive(b.t, began, "the first try")
		b.notify(queue.Notice{Bank: bankA, UpTo: again})
		b.wantCounts(counts{Working: 1}) // not queued beside the one that is worked
		proceed <- struct{}{}
		if got := receive(b.t, began, "the second try"); got.UpTo != again {
			b.t.Fatalf("second try = %+v, want UpTo %d", got, again)
		}
		proceed <- struct{}{}
		b.untilCounts(counts{})
		stop()
	}
}

func testOneAtATime(b *bundle) {
	const notices = 200
	var working, most, last atomic.Int64
	finished := make(chan struct{}, notices)
	handle := func(_ context.Context, n queue.Notice) error {
		most.Store(max(most.Load(), working.Add(1)))
		time.Sleep(50 * time.Microsecond) // the work
		last.Store(n.UpTo)
		working.Add(-1)
		finished <- struct{}{}
		return nil
	}
	for _, name := range []string{"one", "two"} {
		c := quick(name)
		c.Workers, c.ClaimAfter = 3, patience
		b.consume(b.twin(), c, handle)
	}
	for i := range notices {
		b.notify(queue.Notice{Bank: bankA, UpTo: int64(i + 1)})
	}
	b.untilCounts(counts{})
	if most.Load() != 1 {
		b.t.Errorf("the bank was worked by %d at a time, want 1", most.Load())
	}
	if last.Load() != notices {
		b.t.Errorf("last N worked = %d, want %d", last.Load(), notices)
	}
	if n := len(finished); n > notices {
		b.t.Errorf("worked %d times for %d notices", n, notices)
	}
}

func testClaim(b *bundle) {
	b.notify(queue.Notice{Bank: bankA, UpTo: 4})
	if bank, err := b.Snatch(b.ctx, "killed"); err != nil || bank != bankA {
		b.t.Fatalf("Snatch = %q, %v", bank, err)
	}
	b.wantCounts(counts{Working: 1})
	b.notify(queue.Notice{Bank: bankA, UpTo: 6}) // the next one gets this too
	r := newRecorder()
	b.consume(b.twin(), quick("heir"), r.handle)
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 6})
	b.untilCounts(counts{})
}

func testSlow(b *bundle) {
	began, proceed := make(chan string, 10), make(chan struct{})
	for _, name := range []string{"one", "two"} {
		b.consume(b.twin(), quick(name), func(ctx context.Context, _ queue.Notice) error {
			began <- name
			select {
			case <-proceed:
				return nil
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		})
	}
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	receive(b.t, began, "the try")
	// Work far longer than ClaimAfter; there is no signal for what must not happen.
	time.Sleep(4 * quick("").ClaimAfter)
	close(proceed)
	b.untilCounts(counts{})
	if len(began) != 0 {
		b.t.Errorf("a slow but living consumer lost its notice")
	}
}

func testClaimedCancels(b *bundle) {
	began, causes := make(chan struct{}, 1), make(chan error, 2)
	c := quick("stalled")
	c.Grace = -1
	b.consume(b.Queue, c, func(ctx context.Context, _ queue.Notice) error {
		began <- struct{}{}
		<-ctx.Done()
		causes <- context.Cause(ctx)
		return ctx.Err()
	})
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	receive(b.t, began, "the try")
	// Another consumer takes it, as after a stall, and again should the first
	// one win it back before it noticed.
	b.until("the handler to be told", func() bool {
		_, _, err := b.Client().XAutoClaim(b.ctx, &redis.XAutoClaimArgs{
			Stream: b.Stream(), Group: queue.Group, Consumer: "other", Start: "0-0",
		}).Result()
		if err != nil {
			b.t.Fatalf("XAUTOCLAIM: %v", err)
		}
		return len(causes) > 0
	})
	wantError(b.t, <-causes, queue.ErrClaimed)
	// "other" is dead, so the notice comes back, as one more try.
	receive(b.t, began, "the next try")
}

func testPark(b *bundle) {
	var broken atomic.Bool
	broken.Store(true)
	r := newRecorder()
	b.consume(b.Queue, quick("one"), func(ctx context.Context, n queue.Notice) error {
		_ = r.handle(ctx, n)
		if broken.Load() {
			return fmt.Errorf("bank %s: %w", n.Bank, errBroken)
		}
		return nil
	})
	n := queue.Notice{Bank: bankA, UpTo: 4}
	b.notify(n)
	b.wantNext(r, n, n, n)
	b.untilCounts(counts{Parked: 1})
	list, err := b.Parked(b.ctx)
	if err != nil || len(list) != 1 {
		b.t.Fatalf("Parked = %v, %v", list, err)
	}
	got := list[0]
	if got.Bank != bankA || got.UpTo != 4 || got.Tries != 3 || got.Error != "bank "+bankA+": broken on purpose" {
		b.t.Errorf("Parked = %+v", got)
	}
	if age := time.Since(got.At); age < -time.Second || age > patience {
		b.t.Errorf("parked at %v, now %v", got.At, time.Now())
	}

	if err := b.Retry(b.ctx, bankA); err != nil { // still broken: all tries anew
		b.t.Fatalf("Retry: %v", err)
	}
	b.wantNext(r, n, n, n)
	b.untilCounts(counts{Parked: 1})

	broken.Store(false)
	if err := b.Retry(b.ctx, bankA); err != nil {
		b.t.Fatalf("Retry: %v", err)
	}
	b.wantNext(r, n)
	b.untilCounts(counts{})
	wantError(b.t, b.Retry(b.ctx, bankA), queue.ErrNotParked)

	broken.Store(true)
	b.notify(n)
	b.wantNext(r, n, n, n)
	b.untilCounts(counts{Parked: 1})
	if err := b.Drop(b.ctx, bankA); err != nil {
		b.t.Fatalf("Drop: %v", err)
	}
	b.wantCounts(counts{})
	wantError(b.t, b.Drop(b.ctx, bankA), queue.ErrNotParked)
}

func testParkAtOnce(b *bundle) {
	long := strings.Repeat("ä", 3000) + "\xff"
	b.consume(b.Queue, quick("one"), func(context.Context, queue.Notice) error {
		return fmt.Errorf("%w: %s", queue.ErrPark, long)
	})
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	b.untilCounts(counts{Parked: 1})
	list, err := b.Parked(b.ctx)
	if err != nil || len(list) != 1 || list[0].Tries != 1 {
		b.t.Fatalf("Parked = %+v, %v; want one after one try", list, err)
	}
	if n := len(list[0].Error); n < 1000 || n > 2100 {
		b.t.Errorf("error kept in %d bytes, want it cut to about 2000", n)
	}
}

func testParkedNotices(b *bundle) {
	r := newRecorder()
	b.consume(b.Queue, quick("one"), func(ctx context.Context, n queue.Notice) error {
		_ = r.handle(ctx, n)
		if n.UpTo < 10 {
			return queue.ErrPark
		}
		return nil
	})
	b.notify(queue.Notice{Bank: bankA, UpTo: 4})
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 4})
	b.untilCounts(counts{Parked: 1})

	b.notify(queue.Notice{Bank: bankA, UpTo: 4}) // a sweep's: nothing new
	b.wantCounts(counts{Parked: 1})

	b.notify(queue.Notice{Bank: bankA, UpTo: 12}) // new entries may have mended it
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 12})
	b.untilCounts(counts{})
}

func testKiller(b *bundle) {
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	c := quick("survivor")
	if _, err := b.Snatch(b.ctx, "killed"); err != nil {
		b.t.Fatalf("Snatch: %v", err)
	}
	c.MaxTries = 1
	r := newRecorder()
	b.consume(b.Queue, c, r.handle)
	b.untilCounts(counts{Parked: 1})
	if len(r.seen) != 0 {
		b.t.Errorf("the notice was tried again beyond MaxTries")
	}
	list, err := b.Parked(b.ctx)
	if err != nil || len(list) != 1 || list[0].Tries != 1 || !strings.Contains(list[0].Error, "worker stopped") {
		b.t.Errorf("Parked = %+v, %v", list, err)
	}
}

func testPanic(b *bundle) {
	r := newRecorder()
	b.consume(b.Queue, quick("one"), func(ctx context.Context, n queue.Notice) error {
		_ = r.handle(ctx, n)
		if n.Bank == bankA {
			panic("index out of range")
		}
		return nil
	})
	n := queue.Notice{Bank: bankA, UpTo: 1}
	b.notify(n)
	b.wantNext(r, n, n, n)
	b.untilCounts(counts{Parked: 1})
	list, err := b.Parked(b.ctx)
	if err != nil || len(list) != 1 || list[0].Error != "panic: index out of range" {
		b.t.Fatalf("Parked = %+v, %v", list, err)
	}
	after := queue.Notice{Bank: bankB, UpTo: 2} // the worker lives on
	b.notify(after)
	b.wantNext(r, after)
}

func testStop(b *bundle) {
	began, proceed, ended := make(chan struct{}, 10), make(chan struct{}), make(chan error, 10)
	ctx, cancel := context.WithCancel(b.ctx)
	defer cancel()
	done := make(chan error, 1)
	c := quick("stopping")
	c.Grace = patience
	go func() {
		done <- b.Consume(ctx, c, func(ctx context.Context, _ queue.Notice) error {
			began <- struct{}{}
			<-proceed
			ended <- ctx.Err()
			return nil
		})
	}()
	b.notify(queue.Notice{Bank: bankA, UpTo: 1}, queue.Notice{Bank: bankB, UpTo: 1})
	receive(b.t, began, "the try")
	b.until("both to be taken", func() bool { return b.counts().Working == 2 })
	cancel()
	b.untilCounts(counts{Waiting: 1, Working: 1}) // the one not begun is given back
	close(proceed)
	if err := receive(b.t, done, "the end of Consume"); err != nil {
		b.t.Fatalf("Consume = %v, want nil", err)
	}
	if err := receive(b.t, ended, "the handler's end"); err != nil {
		b.t.Errorf("handler's context within the grace: %v, want it alive", err)
	}
	b.wantCounts(counts{Waiting: 1})
	left, err := b.Client().XInfoConsumers(b.ctx, b.Stream(), queue.Group).Result()
	if err != nil || len(left) != 0 {
		b.t.Errorf("consumers left behind: %+v, %v", left, err)
	}
}

func testStopNoGrace(b *bundle) {
	began := make(chan struct{}, 10)
	c := quick("hasty")
	c.Grace, c.MaxTries = -1, 1
	stop := b.consume(b.Queue, c, func(ctx context.Context, _ queue.Notice) error {
		began <- struct{}{}
		<-ctx.Done()
		return ctx.Err()
	})
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	receive(b.t, began, "the try")
	stop()
	b.wantCounts(counts{Waiting: 1})
	r := newRecorder() // with a single try allowed: the one cut short did not count
	c.Name = "next"
	b.consume(b.Queue, c, r.handle)
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 1})
	b.untilCounts(counts{})
}

// testFlush loses everything while one notice is worked and one waits.
func testFlush(b *bundle) {
	r := newRecorder()
	proceed := make(chan struct{})
	b.consume(b.Queue, quick("one"), func(ctx context.Context, n queue.Notice) error {
		_ = r.handle(ctx, n)
		<-proceed
		return nil
	})
	b.notify(queue.Notice{Bank: bankA, UpTo: 1}, queue.Notice{Bank: bankB, UpTo: 1})
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 1})
	if err := b.Client().FlushAll(b.ctx).Err(); err != nil {
		b.t.Fatalf("FLUSHALL: %v", err)
	}
	close(proceed)
	b.notify(queue.Notice{Bank: bankC, UpTo: 3}) // as the sweep would
	b.wantNext(r, queue.Notice{Bank: bankC, UpTo: 3})
	b.untilCounts(counts{})
}

func testGroupDestroyed(b *bundle) {
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 1})
	b.untilCounts(counts{})
	if err := b.Client().XGroupDestroy(b.ctx, b.Stream(), queue.Group).Err(); err != nil {
		b.t.Fatalf("XGROUP DESTROY: %v", err)
	}
	b.notify(queue.Notice{Bank: bankB, UpTo: 1})
	b.wantNext(r, queue.Notice{Bank: bankB, UpTo: 1})
	b.untilCounts(counts{})
}

func testEntryDeleted(b *bundle) {
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	if err := b.Client().Del(b.ctx, b.Stream()).Err(); err != nil {
		b.t.Fatalf("DEL: %v", err)
	}
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 1})
	b.untilCounts(counts{})
}

// testOneEntryDeleted deletes the entry of one of two banks: what believes that it is
// still there leaves it, what looks finds out.
func testOneEntryDeleted(b *bundle) {
	b.notify(queue.Notice{Bank: bankA, UpTo: 1}, queue.Notice{Bank: bankB, UpTo: 1})
	there, err := b.Client().XRange(b.ctx, b.Stream(), "-", "+").Result()
	if err != nil || len(there) != 2 {
		b.t.Fatalf("stream: %v, %v", there, err)
	}
	if err := b.Client().XDel(b.ctx, b.Stream(), there[0].ID).Err(); err != nil {
		b.t.Fatalf("XDEL: %v", err)
	}
	b.notify(queue.Notice{Bank: bankA, UpTo: 2})
	b.wantCounts(counts{Waiting: 1})
	for range 2 { // the second finds it there
		if err := b.Queue.Ensure(b.ctx, queue.Notice{Bank: bankA, UpTo: 1}, queue.Notice{Bank: bankB, UpTo: 1}); err != nil {
			b.t.Fatalf("Ensure: %v", err)
		}
		b.wantCounts(counts{Waiting: 2})
	}
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.wantNext(r, queue.Notice{Bank: bankB, UpTo: 1})
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 2})
	b.untilCounts(counts{})
}

func testForeignEntry(b *bundle) {
	err := b.Client().XAdd(b.ctx, &redis.XAddArgs{Stream: b.Stream(), Values: []string{"hello", "world"}}).Err()
	if err != nil {
		b.t.Fatalf("XADD: %v", err)
	}
	r := newRecorder()
	b.consume(b.Queue, quick("one"), r.handle)
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	b.wantNext(r, queue.Notice{Bank: bankA, UpTo: 1})
	b.untilCounts(counts{})
}

func testClose(b *bundle) {
	q := b.Twin()
	began, done := make(chan struct{}, 1), make(chan error, 1)
	go func() {
		done <- q.Consume(b.ctx, quick("one"), func(ctx context.Context, _ queue.Notice) error {
			began <- struct{}{}
			<-ctx.Done()
			return ctx.Err()
		})
	}()
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	receive(b.t, began, "the try")
	closeQueue(b.t, q)
	wantError(b.t, receive(b.t, done, "the end of Consume"), queue.ErrClosed)
	wantError(b.t, q.Notify(b.ctx, queue.Notice{Bank: bankA}), queue.ErrClosed)
	closeQueue(b.t, q) // twice is harmless
}

func testDepth(b *bundle) {
	if d := b.depth(); d != (queue.Depth{}) {
		b.t.Fatalf("depth of an empty queue = %+v", d)
	}
	b.notify(queue.Notice{Bank: bankA, UpTo: 1})
	b.until("the notice to age", func() bool { return b.depth().OldestAge > 0 })
	b.notify(queue.Notice{Bank: bankB, UpTo: 1})
	if _, err := b.Snatch(b.ctx, "one"); err != nil {
		b.t.Fatalf("Snatch: %v", err)
	}
	b.wantCounts(counts{Waiting: 1, Working: 1})

	c := quick("failing")
	c.RetryMin, c.RetryMax, c.ClaimAfter = time.Hour, time.Hour, patience
	b.consume(b.Queue, c, func(context.Context, queue.Notice) error { return errBroken })
	b.untilCounts(counts{Working: 1, Retrying: 1})
	b.notify(queue.Notice{Bank: bankB, UpTo: 2}) // rests on
	b.wantCounts(counts{Working: 1, Retrying: 1})
}
