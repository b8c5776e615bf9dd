package queue_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"time"

	"clogwise/internal/queue"
	"clogwise/internal/queue/redistest"
)

// When the master of a Sentinel group is killed under load its replica takes over.
func TestSentinelFailover(t *testing.T) {
	if testing.Short() {
		t.Skip("five servers and an election: left out by -short")
	}
	t.Parallel()
	g := redistest.StartGroup(t)
	failOver(t, g.URL(), g.Master.Kill)
}

// So does the replica of the master that holds the notices of a cluster. Scripts
// over several keys run there: their keys go together.
func TestClusterFailover(t *testing.T) {
	if testing.Short() {
		t.Skip("four servers and an election: left out by -short")
	}
	t.Parallel()
	c := redistest.StartCluster(t, queue.DefaultPrefix+":{notices}:stream")
	failOver(t, c.URL(), c.Owner.Kill)
}

// failOverIn bounds an election and what follows on a busy machine.
const failOverIn = 3 * time.Minute

// failOver notifies of banks, kills the master amid it, and sweeps as a worker
// does: what is not done is queued again. In the end everything is done, and
// leadership can be had.
func failOver(t *testing.T, url string, kill func()) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), failOverIn)
	defer cancel()
	q, err := queue.Open(queue.Options{URL: url})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeQueue(t, q) })

	var mu sync.Mutex
	done := map[string]int64{}
	half := make(chan struct{})
	var once sync.Once
	consuming, stop := context.WithCancel(ctx)
	ended := make(chan error, 2)
	handle := func(_ context.Context, n queue.Notice) error {
		mu.Lock()
		defer mu.Unlock()
		done[n.Bank] = max(done[n.Bank], n.UpTo)
		if len(done) == banksHurt/2 {
			once.Do(func() { close(half) })
		}
		return nil
	}
	c := queue.Consumer{Name: "w", Workers: 1, Log: slog.New(slog.DiscardHandler), ClaimAfter: time.Second, MaxTries: 100}
	go func() { ended <- q.Consume(consuming, c, handle) }()
	many := c
	many.Name = "many"
	go func() { ended <- q.ConsumeMany(consuming, many, 8, each(handle)) }()

	lost := 0
	for i := range banksHurt {
		if i == banksHurt*3/4 {
			select {
			case <-half:
			case <-ctx.Done():
				t.Fatal("half of the notices were not done before the kill")
			}
			kill()
		}
		if err := notify(ctx, q, bankNo(i), int64(i+1)); err != nil {
			lost++ // the intake goes on: the ledger has the entry
		}
	}
	left := func() (out []queue.Notice) {
		mu.Lock()
		defer mu.Unlock()
		for i := range banksHurt {
			if done[bankNo(i)] < int64(i+1) {
				out = append(out, queue.Notice{Bank: bankNo(i), UpTo: int64(i + 1)})
			}
		}
		return out
	}
	began := time.Now()
	for behind := left(); len(behind) > 0; behind = left() {
		_ = q.Notify(ctx, behind...) // out of reach until another leads
		select {
		case <-time.After(100 * time.Millisecond):
		case <-ctx.Done():
			t.Fatalf("%d banks are not done after %s", len(behind), failOverIn)
		}
	}
	t.Logf("%d of %d notices were not taken at the kill; all done %s after", lost, banksHurt, time.Since(began).Round(100*time.Millisecond))
	if lost == 0 {
		t.Error("no notice failed, so nothing was killed under load")
	}

	led := errors.New("led")
	if err := q.Lead(ctx, queue.Leadership{Name: "cron", TTL: 2 * time.Second}, func(context.Context, int64) error { return led }); !errors.Is(err, led) {
		t.Errorf("leadership after the failover: %v", err)
	}
	stop()
	for range cap(ended) {
		if err := <-ended; err != nil && !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}
}

const banksHurt = 200

func bankNo(i int) string { return fmt.Sprintf("site/ahu-%d/primary", i) }

// notify gives up soon, as an intake does.
func notify(ctx context.Context, q *queue.Queue, bank string, n int64) error {
	short, cancel := context.WithTimeout(ctx, 200*time.Millisecond)
	defer cancel()
	return q.Notify(short, queue.Notice{Bank: bank, UpTo: n})
}
