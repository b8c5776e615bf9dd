package queue_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/redis/go-redis/v9"

	"clogwise/internal/queue"
)

const bankD = "mill/ahu-2/secondary"

// trio is queued before the consumer starts, so that one read brings it.
var trio = []queue.Notice{{Bank: bankA, UpTo: 1}, {Bank: bankB, UpTo: 2}, {Bank: bankC, UpTo: 3}}

// call is one call of a handler of many, which waits for its answer.
type call struct {
	ctx    context.Context
	ns     []queue.Notice
	answer chan []error
}

// many is a handler that shows each call and answers as it is told.
type many struct{ calls chan call }

func newMany() many { return many{calls: make(chan call, 1000)} }

func (m many) handle(ctx context.Context, ns []queue.Notice) []error {
	c := call{ctx: ctx, ns: slices.Clone(ns), answer: make(chan []error, 1)}
	m.calls <- c
	select {
	case errs := <-c.answer:
		return errs
	case <-time.After(patience): // the test has failed
		return nil
	}
}

// letAll answers all further calls well.
func (m many) letAll(ctx context.Context) {
	for {
		select {
		case c := <-m.calls:
			c.answer <- nil
		case <-ctx.Done():
			return
		}
	}
}

// each works the notices one after another.
func each(h queue.Handler) queue.ManyHandler {
	return func(ctx context.Context, ns []queue.Notice) []error {
		errs := make([]error, len(ns))
		for i, n := range ns {
			errs[i] = h(ctx, n)
		}
		return errs
	}
}

func (b *bundle) nextGroup(m many) call {
	b.t.Helper()
	return receive(b.t, m.calls, "a group")
}

func (b *bundle) wantGroup(m many, want ...queue.Notice) call {
	b.t.Helper()
	c := b.nextGroup(m)
	if !slices.Equal(c.ns, want) {
		b.t.Fatalf("group %+v, want %+v", c.ns, want)
	}
	return c
}

// entries are the stream's entries by bank.
func (b *bundle) entries() map[string]string {
	b.t.Helper()
	list, err := b.Client().XRange(b.ctx, b.Stream(), "-", "+").Result()
	if err != nil {
		b.t.Fatalf("XRANGE: %v", err)
	}
	ids := map[string]string{}
	for _, m := range list {
		ids[m.Values["bank"].(string)] = m.ID
	}
	return ids
}

func testTogether(b *bundle) {
	b.notify(trio...)
	b.notify(queue.Notice{Bank: bankD, UpTo: 4})
	m := newMany()
	b.consumeMany(b.Queue, quick("many"), 3, m.handle)
	b.wantGroup(m, trio...).answer <- nil
	b.wantGroup(m, queue.Notice{Bank: bankD, UpTo: 4}).answer <- make([]error, 1)
	b.untilCounts(counts{})
	b.notify(queue.Notice{Bank: bankA, UpTo: 5}) // reaches a consumer that waits, which waits for no others
	b.wantGroup(m, queue.Notice{Bank: bankA, UpTo: 5}).answer <- nil
	b.untilCounts(counts{})
}

func testTogetherOneFails(b *bundle) {
	b.notify(trio...)
	m := newMany()
	b.consumeMany(b.Queue, quick("many"), 8, m.handle)
	b.wantGroup(m, trio...).answer <- []error{nil, errBroken, nil}
	again := b.wantGroup(m, trio[1])
	b.wantCounts(counts{Working: 1}) // the others are done
	again.answer <- []error{errBroken}
	b.wantGroup(m, trio[1]).answer <- []error{errBroken}
	b.untilCounts(counts{Parked: 1})
	list, err := b.Parked(b.ctx)
	if err != nil || len(list) != 1 || list[0].Bank != bankB || list[0].Tries != 3 {
		b.t.Fatalf("Parked = %+v, %v; want %s after three tries", list, err, bankB)
	}
	if err := b.Retry(b.ctx, bankB); err != nil {
		b.t.Fatalf("Retry: %v", err)
	}
	b.wantGroup(m, trio[1]).answer <- []error{fmt.Errorf("no hope: %w", queue.ErrPark)}
	b.untilCounts(counts{Parked: 1})
}

func testTogetherDuringWork(b *bundle) {
	b.notify(trio...)
	m := newMany()
	b.consumeMany(b.Queue, quick("many"), 8, m.handle)
	first := b.wantGroup(m, trio...)
	late := []queue.Notice{{Bank: bankA, UpTo: 7}, trio[2]} // an equal N counts as well
	b.notify(late...)
	b.wantCounts(counts{Working: 3}) // not queued beside those that are worked
	first.answer <- nil
	b.wantGroup(m, late...).answer <- nil
	b.untilCounts(counts{})
}

func testTogetherPanic(b *bundle) {
	b.notify(trio...)
	m := newMany()
	b.consumeMany(b.Queue, quick("many"), 8, func(ctx context.Context, ns []queue.Notice) []error {
		errs := m.handle(ctx, ns)
		if slices.ContainsFunc(ns, func(n queue.Notice) bool { return n.Bank == bankB }) {
			panic("index out of range")
		}
		return errs
	})
	b.wantGroup(m, trio...).answer <- nil
	go m.letAll(b.ctx)
	b.untilCounts(counts{Parked: 1}) // the others did not fail again with it
	list, err := b.Parked(b.ctx)
	if err != nil || list[0].Bank != bankB || list[0].Tries != 3 || list[0].Error != "panic: index out of range" {
		b.t.Fatalf("Parked = %+v, %v", list, err)
	}
	b.notify(queue.Notice{Bank: bankD, UpTo: 1}) // the worker lives on
	b.untilCounts(counts{Parked: 1})
}

func testTogetherWrongNumber(b *bundle) {
	for _, answer := range [][]error{{}, {nil}, {nil, nil, nil, nil}} {
		b.notify(trio...)
		m := newMany()
		c := quick("many")
		c.MaxTries = 1
		stop := b.consumeMany(b.Queue, c, 8, m.handle)
		b.wantGroup(m, trio...).answer <- answer
		b.untilCounts(counts{Parked: 3})
		list, err := b.Parked(b.ctx)
		want := fmt.Sprintf("the handler returned %d errors for 3 notices", len(answer))
		if err != nil || list[0].Error != want {
			b.t.Fatalf("Parked = %+v, %v; want %q", list, err, want)
		}
		for _, p := range list {
			if err := b.Drop(b.ctx, p.Bank); err != nil {
				b.t.Fatalf("Drop: %v", err)
			}
		}
		stop()
	}
}

// testTogetherKiller: entries that a consumer was stopped with are tried one at
// a time.
func testTogetherKiller(b *bundle) {
	b.notify(trio...)
	for range 2 {
		if _, err := b.Snatch(b.ctx, "killed"); err != nil {
			b.t.Fatalf("Snatch: %v", err)
		}
	}
	m := newMany()
	b.consumeMany(b.Queue, quick("many"), 8, m.handle)
	for range trio { // the one that waits may come before or after
		group := b.nextGroup(m)
		if len(group.ns) != 1 {
			b.t.Errorf("group %+v, want one notice", group.ns)
		}
		group.answer <- nil
	}
	b.untilCounts(counts{})
}

// testTogetherClaim: another consumer takes one of a group, and later all.
func testTogetherClaim(b *bundle) {
	b.notify(trio...)
	m := newMany()
	log := make(records, 1000)
	c := quick("stalled")
	c.Log = slog.New(log)
	b.consumeMany(b.Queue, c, 8, m.handle)
	first := b.wantGroup(m, trio...)
	ids := b.entries()
	take := func(banks ...string) {
		for _, bank := range banks { // again and again, should the first one win it back
			err := b.Client().XClaimJustID(b.ctx, &redis.XClaimArgs{
				Stream: b.Stream(), Group: queue.Group, Consumer: "other", Messages: []string{ids[bank]},
			}).Err()
			if err != nil {
				b.t.Fatalf("XCLAIM: %v", err)
			}
		}
	}
	b.until("the loss to be noticed", func() bool { take(bankA); return log.has("one of several") })
	if err := first.ctx.Err(); err != nil {
		b.t.Fatalf("context = %v with two of three left, want it alive", err)
	}
	first.answer <- []error{errBroken, errBroken, nil}

	// A's error is dropped: it is the other's, which is dead, so it comes back.
	// B's is a failed try.
	for range 2 {
		next := b.nextGroup(m)
		if len(next.ns) != 1 || next.ns[0] != trio[0] && next.ns[0] != trio[1] {
			b.t.Fatalf("next group %+v, want %+v or %+v", next.ns, trio[0], trio[1])
		}
		next.answer <- nil
	}
	b.untilCounts(counts{})
	for _, want := range []string{
		"notice passed to another consumer bank=" + bankA,
		"try failed bank=" + bankB,
	} {
		if !log.has(want) {
			b.t.Errorf("not logged: %s", want)
		}
	}

	b.notify(trio...)
	last := b.wantGroup(m, trio...)
	ids = b.entries()
	b.until("the handler to be told that all are lost", func() bool { take(bankA, bankB, bankC); return last.ctx.Err() != nil })
	wantError(b.t, context.Cause(last.ctx), queue.ErrClaimed)
	last.answer <- []error{errBroken, errBroken, errBroken}
	go m.letAll(b.ctx)
	b.untilCounts(counts{})
}

// records keeps what is logged.
type records chan string

func (r records) Enabled(context.Context, slog.Level) bool { return true }
func (r records) WithAttrs([]slog.Attr) slog.Handler       { return r }
func (r records) WithGroup(string) slog.Handler            { return r }
func (r records) Handle(_ context.Context, rec slog.Record) error {
	var line strings.Builder
	line.WriteString(rec.Message)
	rec.Attrs(func(a slog.Attr) bool { fmt.Fprintf(&line, " %s=%v", a.Key, a.Value); return true })
	select {
	case r <- line.String():
	default:
	}
	return nil
}

// has tells whether a line with the text was logged.
func (r records) has(text string) (found bool) {
	for range len(r) {
		line := <-r
		found = found || strings.Contains(line, text)
		r <- line
	}
	return found
}

func testTogetherStop(b *bundle) {
	b.notify(trio...)
	b.notify(queue.Notice{Bank: bankD, UpTo: 4})
	m := newMany()
	c := quick("stopping")
	c.Grace, c.Batch = patience, 4
	ctx, cancel := context.WithCancel(b.ctx)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- b.ConsumeMany(ctx, c, 2, m.handle) }()
	first := b.wantGroup(m, trio[:2]...)
	b.wantCounts(counts{Working: 4})
	cancel()
	b.untilCounts(counts{Waiting: 2, Working: 2}) // the group not begun is given back
	if err := first.ctx.Err(); err != nil {
		b.t.Errorf("handler's context within the grace: %v, want it alive", err)
	}
	first.answer <- nil
	if err := receive(b.t, done, "the end of ConsumeMany"); err != nil {
		b.t.Fatalf("ConsumeMany = %v, want nil", err)
	}
	b.wantCounts(counts{Waiting: 2})
}

func testTogetherStopNoGrace(b *bundle) {
	b.notify(trio...)
	c := quick("hasty")
	c.Grace, c.MaxTries = -1, 1
	began := make(chan struct{}, 10)
	stop := b.consumeMany(b.Queue, c, 8, func(ctx context.Context, ns []queue.Notice) []error {
		began <- struct{}{}
		<-ctx.Done()
		return []error{ctx.Err(), nil, ctx.Err()} // B was finished
	})
	receive(b.t, began, "the try")
	stop()
	b.wantCounts(counts{Waiting: 2})
	m := newMany() // with a single try allowed: those cut short did not count
	c.Name = "next"
	b.consumeMany(b.Queue, c, 8, m.handle)
	b.wantGroup(m, trio[0], trio[2]).answer <- nil
	b.untilCounts(counts{})
}

// testTogetherFlush loses everything while a group is worked.
func testTogetherFlush(b *bundle) {
	b.notify(trio...)
	m := newMany()
	b.consumeMany(b.Queue, quick("many"), 8, m.handle)
	first := b.wantGroup(m, trio...)
	if err := b.Client().FlushAll(b.ctx).Err(); err != nil {
		b.t.Fatalf("FLUSHALL: %v", err)
	}
	time.Sleep(2 * time.Millisecond) // in another millisecond ids are others for sure
	again := queue.Notice{Bank: bankA, UpTo: 8}
	b.notify(again) // as the sweep would: the answer of the first try must not end it
	first.answer <- []error{nil, errBroken, nil}
	b.wantGroup(m, again).answer <- nil
	b.untilCounts(counts{})
}

func testTogetherCalls(b *bundle) {
	const banks = 600 // more than go into two script calls
	all := make([]queue.Notice, banks)
	for i := range all {
		all[i] = queue.Notice{Bank: fmt.Sprintf("mill/ahu-%d/primary", i), UpTo: int64(i)}
	}
	b.notify(all...)
	m := newMany()
	c := quick("many")
	c.ClaimAfter = 30 * time.Millisecond // signs for all are given in good time
	b.consumeMany(b.Queue, c, 1000, m.handle)
	first := b.wantGroup(m, all...)
	b.wantCounts(counts{Working: banks})
	first.answer <- nil
	b.untilCounts(counts{})
}

func testTogetherArguments(b *bundle) {
	var called atomic.Int64
	h := func(context.Context, []queue.Notice) []error { called.Add(1); return nil }
	for _, most := range []int{-1, 0, 5000} {
		if err := b.ConsumeMany(b.ctx, quick("many"), most, h); err == nil || errors.Is(err, queue.ErrClosed) {
			b.t.Errorf("ConsumeMany of %d: %v, want an error", most, err)
		}
	}
	if err := b.ConsumeMany(b.ctx, quick("many"), 1, nil); err == nil {
		b.t.Error("ConsumeMany without a handler: no error")
	}
	if called.Load() != 0 {
		b.t.Error("the handler was called")
	}
}
