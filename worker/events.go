package worker

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/view"
)

// Events puts into the outbox what integrators are to be told. Nil tells nobody.
type Events struct {
	Store ledger.Store
	View  *view.View
	Queue *queue.Queue
	Now   func() time.Time
	Log   *slog.Logger

	mu        sync.Mutex
	endpoints []outgoing.Endpoint
	looked    time.Time       // when endpoints were read, by the real clock
	put       map[string]bool // keys that are in the outbox for certain; the ledger is not asked again
}

// Bounds of what Events keeps in memory.
const (
	endpointsFor = 10 * time.Second
	mostPut      = 100_000
)

// Assessed tells what a bank's new assessment gives cause to.
func (e *Events) Assessed(ctx context.Context, a assess.Assessment) error {
	if e == nil {
		return nil
	}
	endpoints, err := e.known(ctx)
	if err != nil || len(endpoints) == 0 {
		return err
	}
	posts, err := outgoing.Posts(outgoing.OfBank(a, e.Now()), endpoints, e.Now())
	if err != nil {
		return err
	}
	posts = e.fresh(posts)
	if len(posts) == 0 {
		return nil
	}
	if _, err := e.Store.Commit(ctx, ledger.Batch{Posts: posts}); err != nil {
		return err
	}
	e.remember(posts)
	wake(ctx, e.Queue, e.Log)
	return nil
}

// Orders are the posts about orders of a site that must be placed shortly.
func (e *Events) Orders(ctx context.Context, site plant.Site) ([]ledger.OutboxPost, error) {
	if e == nil {
		return nil, nil
	}
	endpoints, err := e.known(ctx)
	if err != nil || len(endpoints) == 0 {
		return nil, err
	}
	b, err := e.View.Board(ctx, site, e.Now())
	if err != nil {
		return nil, err
	}
	return outgoing.Posts(outgoing.OfOrders(site.ID, b.Orders, e.Now()), endpoints, e.Now())
}

func (e *Events) known(ctx context.Context) ([]outgoing.Endpoint, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if !e.looked.IsZero() && time.Since(e.looked) < endpointsFor {
		return e.endpoints, nil
	}
	keys, err := e.Store.Keys(ctx)
	if err != nil {
		return nil, err
	}
	e.endpoints, e.looked = outgoing.Endpoints(keys, e.Now()), time.Now()
	return e.endpoints, nil
}

func (e *Events) fresh(posts []ledger.OutboxPost) []ledger.OutboxPost {
	e.mu.Lock()
	defer e.mu.Unlock()
	var out []ledger.OutboxPost
	for _, p := range posts {
		if !e.put[p.Key] {
			out = append(out, p)
		}
	}
	return out
}

func (e *Events) remember(posts []ledger.OutboxPost) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.put == nil || len(e.put) > mostPut {
		e.put = map[string]bool{} // the ledger knows them all
	}
	for _, p := range posts {
		e.put[p.Key] = true
	}
}
