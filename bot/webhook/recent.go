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

	renewing sync.Mutex // held while the ledger is asked

	mu  sync.Mutex
	now known
	at  time.Time // when now was asked for, by the real clock; zero: never
}

// stale is how many holds old what is known may be while one request asks anew
// for all: on a busy machine they would else all stand behind that one.
const stale = 20

// lately is what was known a moment ago.
func (r *recent) lately(ctx context.Context) (known, error) {
	now, age, ok := r.last()
	switch {
	case ok && age < r.hold:
		return now, nil
	case ok && age < stale*r.hold && !r.renewing.TryLock():
		return now, nil
	case !ok || age >= stale*r.hold:
		r.renewing.Lock()
	}
	defer r.renewing.Unlock()
	if now, age, ok := r.last(); ok && age < r.hold { // another was quicker
		return now, nil
	}
	return r.renew(ctx)
}

// fresh is as of now: for one who did not find what an edit may have added.
func (r *recent) fresh(ctx context.Context) (known, error) {
	r.renewing.Lock()
	defer r.renewing.Unlock()
	return r.renew(ctx)
}

func (r *recent) last() (now known, age time.Duration, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.now, time.Since(r.at), !r.at.IsZero()
}

// renew asks the ledger; renewing is held.
func (r *recent) renew(ctx context.Context) (known, error) {
	asked := time.Now()
	reg, of, err := r.read(ctx)
	if err != nil {
		return known{}, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.now, r.at = known{reg, of}, asked
	return r.now, nil
}
