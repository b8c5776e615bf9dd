package queue

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"
)

// holdings are the entries handed to a session and not finished.
type holdings struct {
	mu     sync.Mutex
	byID   map[string]*holding
	closed chan struct{}
}

// holding is one entry that is held.
type holding struct {
	run  *handling // nil while no handler runs
	lost bool      // passed to another consumer while it did
}

// handling is one call of the handler.
type handling struct {
	left   int // of its entries, not lost
	cancel context.CancelCauseFunc
}

func newHoldings() *holdings {
	return &holdings{byID: map[string]*holding{}, closed: make(chan struct{})}
}

// add reports false if the entry is held already.
func (h *holdings) add(id string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, held := h.byID[id]; held {
		return false
	}
	h.byID[id] = &holding{}
	return true
}

// watch notes that one call of the handler works the tries, and how to end it.
func (h *holdings) watch(tries []try, cancel context.CancelCauseFunc) {
	h.mu.Lock()
	defer h.mu.Unlock()
	run := &handling{left: len(tries), cancel: cancel}
	for _, t := range tries {
		h.byID[t.id] = &holding{run: run}
	}
}

func (h *holdings) remove(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.byID, id)
}

// isLost tells whether the entry passed to another consumer while its handler
// ran.
func (h *holdings) isLost(id string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	e := h.byID[id]
	return e != nil && e.lost
}

func (h *holdings) ids() []any {
	h.mu.Lock()
	defer h.mu.Unlock()
	ids := make([]any, 0, len(h.byID))
	for id := range h.byID {
		ids = append(ids, id)
	}
	return ids
}

// lose notes that the entry passed to another consumer and tells its handler,
// if one runs, once it works for nothing. It returns how many entries that
// handler goes on for, and whether this was news.
func (h *holdings) lose(id string) (left int, news bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	e := h.byID[id]
	if e == nil || e.run == nil || e.lost {
		return 0, false
	}
	e.lost = true
	if e.run.left--; e.run.left == 0 {
		e.run.cancel(ErrClaimed)
	}
	return e.run.left, true
}

func (h *holdings) close() { close(h.closed) }

// beat gives a sign of life for the held entries, three in each ClaimAfter,
// until the holdings are closed. It calls gone if the queue is closed: what
// the handlers do cannot be told to anybody then.
func (s *session) beat(gone func()) {
	tick := time.NewTicker(max(s.c.ClaimAfter/3, time.Millisecond))
	defer tick.Stop()
	for {
		select {
		case <-s.held.closed:
			return
		case <-tick.C:
		}
		for ids := range slices.Chunk(s.held.ids(), notifyStep) {
			lost, err := s.q.run(s.settle, beatScript, append([]any{s.c.Name}, ids...)...).StringSlice()
			if errors.Is(err, redis.ErrClosed) {
				gone()
				return
			}
			// Another error is an outage, which the feeder reports. Signs resume
			// when it is over.
			for _, id := range lost {
				if left, news := s.held.lose(id); news && left > 0 {
					s.c.Log.Debug("queue: one of several notices passed to another consumer", "entry", id, "left", left)
				}
			}
		}
	}
}
