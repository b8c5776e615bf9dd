package worker_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"clogwise/internal/channel"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/register"
	"clogwise/internal/say"
	"clogwise/internal/view"
	"clogwise/worker"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var start = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

// clock is a clock that a test sets.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = t
}

type rig struct {
	t      testing.TB
	clock  *clock
	store  *ledgertest.Faulty
	queue  *queue.Queue
	view   *view.View
	worker *worker.Recomputer
}

func newRig(t testing.TB) *rig {
	t.Helper()
	real, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "ledger.db"), sqlite.Options{})
	must(t, err)
	q, err := queue.OpenEmbedded(queue.Options{})
	must(t, err)
	r := &rig{t: t, clock: &clock{t: start}, store: ledgertest.NewFaulty(real), queue: q}
	t.Cleanup(func() {
		_ = q.Close() // may be closed by the test already
		must(t, r.store.Close())
	})
	var b ledger.Batch
	for i, e := range register.Diff(nil, demo.Portfolio()) {
		place := plant.BankID(e.ID)
		if e.Object == register.ObjectItem {
			place = ""
		}
		b.Entries = append(b.Entries, entry.Entry{Source: fmt.Sprintf("register:%04d", i), Kind: e.Kind(), Place: place,
			At: start.AddDate(-1, 0, 0), Received: start.AddDate(-1, 0, 0), Body: e})
	}
	_, err = r.store.Commit(t.Context(), b)
	must(t, err)
	r.view = view.New(r.store)
	r.worker = &worker.Recomputer{
		Store: r.store, View: r.view, Queue: q, Now: r.clock.now, Log: slog.New(slog.DiscardHandler),
		Parallel: 4, ClaimAfter: 5 * time.Second, MaxTries: 3, SweepEvery: time.Hour, ReplyWait: 5 * time.Second,
	}
	return r
}

// read records readings under one message with the reply that waits for them.
func (r *rig) read(key string, pa float64, banks ...plant.BankID) ledger.OutboxPost {
	r.t.Helper()
	head, err := r.store.Head(r.t.Context())
	must(r.t, err)
	raw, err := json.Marshal(say.Recipe{Source: key + ":", Undo: key})
	must(r.t, err)
	p := ledger.OutboxPost{Key: "re:" + key, Site: "clinic", State: ledger.PostWaiting, Recipe: raw, WaitsFor: map[plant.BankID]int64{},
		Post:    channel.Post{To: channel.Address{Platform: "test", Channel: "clinic", Thread: key}},
		Created: r.clock.now(), NotBefore: r.clock.now()}
	var b ledger.Batch
	for i, bank := range banks {
		p.WaitsFor[bank] = head + 1
		b.Entries = append(b.Entries, entry.Entry{Source: fmt.Sprintf("%s:%03d", key, i), Kind: entry.KindReading, Place: bank,
			At: r.clock.now(), Received: r.clock.now(), By: "Tove", Body: entry.Reading{Pa: pa, Unit: "Pa"}})
	}
	b.Posts = []ledger.OutboxPost{p}
	_, err = r.store.Commit(r.t.Context(), b)
	must(r.t, err)
	return p
}

func (r *rig) notify(banks ...plant.BankID) {
	r.t.Helper()
	head, err := r.store.Head(r.t.Context())
	must(r.t, err)
	for _, b := range banks {
		must(r.t, r.queue.Notify(r.t.Context(), queue.Notice{Bank: string(b), UpTo: head}))
	}
}

func (r *rig) post(key string) ledger.OutboxPost {
	r.t.Helper()
	p, err := r.store.Post(r.t.Context(), key)
	must(r.t, err)
	return p
}

// during runs a service while a test does something, and waits for its end.
func during(t testing.TB, run func(context.Context) error, do func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- run(ctx) }()
	do()
	cancel()
	if err := <-done; err != nil && !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v", err)
	}
}

// eventually waits for something that another goroutine does.
func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for range 4000 {
		if ok() {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatalf("never: %s", what)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
