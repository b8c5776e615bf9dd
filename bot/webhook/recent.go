package webhook

import (
	"context"
	"sync"
	"time"

	"clogwise/internal/plant"
	"clogwise/internal/points"
)

// plantFor is how long a register is taken as read: every request would else
// ask the ledger whether it was edited.
const plantFor = 50 * time.Millisecond

// known is what items are understood by.
type known struct {
	*plant.Register
	points points.Map
}

// recent keeps the register and the map of points for a moment.
type recent struct {
	read func(ctx context.Context) (*plant.Register, points.Map, error)
	hold time.Duration

	mu  sync.Mutex
	now known
	at  time.Time
}

// lately is at most so old. The clock is the real one, as of keys.
func (r *recent) lately(ctx context.Context) (known, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.now.Register != nil && time.Since(r.at) < r.hold {
		return r.now, nil
	}
	return r.renew(ctx)
}

// fresh is as of now: for one who did not find what an edit may have added.
func (r *recent) fresh(ctx context.Context) (known, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.renew(ctx)
}

func (r *recent) renew(ctx context.Context) (known, error) {
	asked := time.Now()
	reg, of, err := r.read(ctx)
	if err != nil {
		return known{}, err
	}
	r.now, r.at = known{reg, of}, asked
	return r.now, nil
}
