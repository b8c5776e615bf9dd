package queue

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"
)

// holdings are the entries handed to a session and not finished, with the
// cancel function of the handler where one runs.
type holdings struct {
	mu     sync.Mutex
	byID   map[string]context.CancelCauseFunc
	closed chan struct{}
}

func newHoldings() *holdings {
	return &holdings{byID: map[string]context.CancelCauseFunc{}, closed: make(chan struct{})}
}

// add reports false if the entry is held already.
func (h *holdings) add(id string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, held := h.byID[id]; held {
		return false
	}
	h.byID[id] = nil
	return true
}

func (h *holdings) watch(id string, cancel context.CancelCauseFunc) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.byID[id] = cancel
}

func (h *holdings) remove(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.byID, id)
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

// lose tells the entry's handler, if one runs, that it works for nothing.
func (h *holdings) lose(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if cancel := h.byID[id]; cancel != nil {
		cancel(ErrClaimed)
	}
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
		ids := s.held.ids()
		if len(ids) == 0 {
			continue
		}
		lost, err := s.q.run(s.settle, beatScript, append([]any{s.c.Name}, ids...)...).StringSlice()
		if errors.Is(err, redis.ErrClosed) {
			gone()
			return
		}
		// Another error is an outage, which the feeder reports. Signs resume
		// when it is over.
		for _, id := range lost {
			s.held.lose(id)
		}
	}
}
