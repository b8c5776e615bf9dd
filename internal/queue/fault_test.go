package queue_test

import (
	"context"
	"fmt"
	"slices"
	"sync/atomic"
	"testing"

	"clogwise/internal/queue"
	"clogwise/internal/queue/redistest"
)

func TestServerRestart(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		persist bool
	}{
		{"with persistence nothing is lost", true},
		{"without persistence it carries on", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			server := redistest.Start(t, redistest.Options{Persist: c.persist})
			b := openReal(t, server)
			r := newRecorder()
			proceed := make(chan struct{})
			b.consume(b.Queue, quick("one"), func(ctx context.Context, n queue.Notice) error {
				_ = r.handle(ctx, n)
				<-proceed
				return nil
			})
			worked, waiting := queue.Notice{Bank: bankA, UpTo: 1}, queue.Notice{Bank: bankB, UpTo: 2}
			b.notify(worked, waiting)
			b.wantNext(r, worked)

			server.Kill()
			if err := b.Ping(b.ctx); err == nil {
				t.Error("Ping of a killed server: no error")
			}
			if err := b.Notify(b.ctx, waiting); err == nil {
				t.Error("Notify on a killed server: no error")
			}
			close(proceed) // the work ends while nobody can be told
			server.Restart()

			if c.persist {
				b.wantNext(r, waiting)
			}
			b.until("the server to take notices", func() bool {
				return b.Notify(b.ctx, queue.Notice{Bank: bankC, UpTo: 3}) == nil
			})
			for b.next(r).Bank != bankC { // a claim after the outage may repeat the others
			}
			b.untilCounts(counts{})
		})
	}
}

// TestServerRestartTogether kills the server while a group is worked, and ends
// the work while nobody can be told.
func TestServerRestartTogether(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		persist bool
	}{
		{"with persistence nothing is lost", true},
		{"without persistence it carries on", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			server := redistest.Start(t, redistest.Options{Persist: c.persist})
			b := openReal(t, server)
			b.notify(trio...)
			m := newMany()
			b.consumeMany(b.Queue, quick("many"), 8, m.handle)
			first := b.wantGroup(m, trio...)
			server.Kill()
			first.answer <- nil
			server.Restart()
			b.until("the server to take notices", func() bool {
				return b.Notify(b.ctx, queue.Notice{Bank: bankD, UpTo: 9}) == nil
			})
			for seen := false; !seen; { // a claim after the outage may repeat the others
				again := b.nextGroup(m)
				seen = slices.Contains(again.ns, queue.Notice{Bank: bankD, UpTo: 9})
				again.answer <- nil
			}
			go m.letAll(b.ctx)
			b.untilCounts(counts{})
		})
	}
}

// TestKillsUnderLoad kills the server again and again while notices come in and
// two consumers work them, and repeats notices that were not taken, as the
// sweep does. Every bank must be worked up to its last N.
func TestKillsUnderLoad(t *testing.T) {
	t.Parallel()
	const (
		banks = 40
		kills = 4
	)
	server := redistest.Start(t, redistest.Options{Persist: true})
	b := openReal(t, server)
	var worked [banks]atomic.Int64
	handle := func(_ context.Context, n queue.Notice) error {
		var i int
		if _, err := fmt.Sscanf(n.Bank, "bank-%d", &i); err != nil {
			return err
		}
		for at := worked[i].Load(); at < n.UpTo && !worked[i].CompareAndSwap(at, n.UpTo); at = worked[i].Load() {
		}
		return nil
	}
	c := quick("one")
	c.Workers = 2
	b.consume(b.twin(), c, handle)
	c.Name = "many"
	b.consumeMany(b.twin(), c, 8, each(handle))
	var last [banks]int64
	n := int64(0)
	load := func() {
		for range 3 * banks {
			n++
			i := int(n*7) % banks
			notice := queue.Notice{Bank: fmt.Sprintf("bank-%d", i), UpTo: n}
			last[i] = n
			b.until("a notice to be taken", func() bool { return b.Notify(b.ctx, notice) == nil })
		}
	}
	load()
	for range kills {
		server.Kill()
		server.Restart()
		load()
	}
	b.until("every bank to be worked up to its last N", func() bool {
		for i := range worked {
			if worked[i].Load() != last[i] {
				return false
			}
		}
		return true
	})
	b.untilCounts(counts{})
}

// TestHungServer stops the server without a word: a leader must step down
// before its lease ends for the others, and take over again afterwards.
func TestHungServer(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t, redistest.Options{})
	b := openReal(t, server)
	reigns := make(chan reign, 10)
	b.candidate("north", reigns)
	first := receive(t, reigns, "a leader")
	server.Pause()
	receive(t, first.ctx.Done(), "the leader to step down")
	wantError(t, context.Cause(first.ctx), queue.ErrLeaseLost)
	server.Resume()
	receive(t, reigns, "the next reign")
}

// TestListenAgain loses the connection of a listener, which must look again
// since it may have missed a wake.
func TestListenAgain(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t, redistest.Options{})
	b := openReal(t, server)
	heard, err := b.Listen(b.ctx, "outbox")
	if err != nil {
		t.Fatalf("Listen: %v", err)
	}
	receive(t, heard, "the signal once subscribed")
	server.Kill()
	server.Restart()
	receive(t, heard, "a signal once the connection is back")
}

// TestOpenWithoutServer opens a queue before its server is there.
func TestOpenWithoutServer(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t, redistest.Options{})
	server.Kill()
	b := openReal(t, server)
	if err := b.Ping(b.ctx); err == nil {
		t.Fatal("Ping without a server: no error")
	}
	r := newRecorder()
	b.consume(b.Queue, quick("early"), r.handle)
	server.Restart()
	n := queue.Notice{Bank: bankA, UpTo: 1}
	b.until("the server to take notices", func() bool { return b.Notify(b.ctx, n) == nil })
	b.wantNext(r, n)
}
