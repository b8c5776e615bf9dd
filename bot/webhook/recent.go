package webhook

import (
	"context"
	"sync"
	"time"

	"clogwise/internal/plant"
)

// plantFor is how long a register is taken as read: every request would else
// ask the ledger whether it was edited.
const plantFor = 50 * time.Millisecond

// recent keeps the register for a moment.
type recent struct {
	read func(ctx context.Context) (*plant.Register, error)
	hold time.Duration

	mu  sync.Mutex
	reg *plant.Register
	at  time.Time
}

// register is at most so old. The clock is the real one, as of keys.
func (r *recent) register(ctx context.Context) (*plant.Register, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.reg != nil && time.Since(r.at) < r.hold {
		return r.reg, nil
	}
	return r.renew(ctx)
}

// fresh is as of now: for one who did not find what an edit may have added.
func (r *recent) fresh(ctx context.Context) (*plant.Register, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.renew(ctx)
}

func (r *recent) renew(ctx context.Context) (*plant.Register, error) {
	asked := time.Now()
	reg, err := r.read(ctx)
	if err != nil {
		return nil, err
	}
	r.reg, r.at = reg, asked
	return reg, nil
}
