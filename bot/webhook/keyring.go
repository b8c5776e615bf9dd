package webhook

import (
	"context"
	"sync"
	"time"

	"clogwise/internal/ledger"
)

// Defaults of the keyring.
const (
	keysFor  = time.Second     // a revoked key is taken for so long at most
	keysWait = 3 * time.Second // for the ledger
)

// keyring keeps the keys for a moment, so that not every request asks the
// ledger. Out of date, it asks again or fails: keys that cannot be checked are
// not taken.
type keyring struct {
	load func(ctx context.Context) ([]ledger.Key, error)
	hold time.Duration

	mu   sync.Mutex
	keys []ledger.Key
	read time.Time // zero: never
}

// all lists the keys. The clock is the real one: a held-still domain clock must
// not keep a revoked key alive.
func (r *keyring) all(ctx context.Context) ([]ledger.Key, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.read.IsZero() && time.Since(r.read) < r.hold {
		return r.keys, nil
	}
	// What one request asks serves all: it must not fail because that one left.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), keysWait)
	defer cancel()
	asked := time.Now()
	keys, err := r.load(ctx)
	if err != nil {
		return nil, err
	}
	r.keys, r.read = keys, asked
	return keys, nil
}
