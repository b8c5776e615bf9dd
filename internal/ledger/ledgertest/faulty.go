package ledgertest

import (
	"context"
	"fmt"
	"sync"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Faulty is a real store with a failure switch. Its zero switches let everything
// through.
type Faulty struct {
	store ledger.Store

	mu        sync.Mutex
	down      bool
	fail      int           // commits still to fail
	uncertain int           // commits still to be uncertain
	written   bool          // uncertain commits are written
	delay     time.Duration // of every commit
	commits   int           // asked for
}

var _ ledger.Store = (*Faulty)(nil)

// NewFaulty puts a switch before a store.
func NewFaulty(s ledger.Store) *Faulty { return &Faulty{store: s} }

// FailCommits makes the next n commits fail with ErrUnavailable, nothing written.
func (f *Faulty) FailCommits(n int) { f.set(func() { f.fail = n }) }

// UncertainCommits makes the next n commits end in ErrUncertain, written or not.
func (f *Faulty) UncertainCommits(n int, written bool) {
	f.set(func() { f.uncertain, f.written = n, written })
}

// SlowCommits makes every commit wait first, or until its ctx ends. Zero ends it.
func (f *Faulty) SlowCommits(d time.Duration) { f.set(func() { f.delay = d }) }

// Down makes every method fail with ErrUnavailable, until it is up again. Close
// still closes.
func (f *Faulty) Down(down bool) { f.set(func() { f.down = down }) }

// Commits is the number of commits asked for so far.
func (f *Faulty) Commits() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.commits
}

func (f *Faulty) set(change func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change()
}

var errSwitched = fmt.Errorf("%w: switched off by the test", ledger.ErrUnavailable)

// out is the error of a store that is down.
func (f *Faulty) out() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.down {
		return errSwitched
	}
	return nil
}

// verdict is what is to happen to one commit.
type verdict struct {
	delay time.Duration
	err   error // fail with it …
	write bool  // … having written
}

func (f *Faulty) judge() verdict {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.commits++
	v := verdict{delay: f.delay}
	switch {
	case f.down:
		v.err = errSwitched
	case f.fail > 0:
		f.fail--
		v.err = errSwitched
	case f.uncertain > 0:
		f.uncertain--
		v.err, v.write = fmt.Errorf("%w: made so by the test", ledger.ErrUncertain), f.written
	}
	return v
}

// Commit implements ledger.Store.
func (f *Faulty) Commit(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	v := f.judge()
	if v.delay > 0 {
		select {
		case <-time.After(v.delay):
		case <-ctx.Done():
			return nil, fmt.Errorf("commit: %w", context.Cause(ctx))
		}
	}
	if v.err != nil && !v.write {
		return nil, v.err
	}
	res, err := f.store.Commit(ctx, b)
	if err == nil && v.err != nil {
		return nil, v.err
	}
	return res, err
}

// Entries implements ledger.Store.
func (f *Faulty) Entries(ctx context.Context, q ledger.Filter) ([]entry.Entry, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Entries(ctx, q)
}

// Entry implements ledger.Store.
func (f *Faulty) Entry(ctx context.Context, seq int64) (entry.Entry, error) {
	if err := f.out(); err != nil {
		return entry.Entry{}, err
	}
	return f.store.Entry(ctx, seq)
}

// Head implements ledger.Store.
func (f *Faulty) Head(ctx context.Context) (int64, error) {
	if err := f.out(); err != nil {
		return 0, err
	}
	return f.store.Head(ctx)
}

// Counts implements ledger.Store.
func (f *Faulty) Counts(ctx context.Context) (map[entry.Kind]int64, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Counts(ctx)
}

// PutProjection implements ledger.Store.
func (f *Faulty) PutProjection(ctx context.Context, p ledger.Projection) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.PutProjection(ctx, p)
}

// PutProjections implements ledger.Store.
func (f *Faulty) PutProjections(ctx context.Context, ps []ledger.Projection) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.PutProjections(ctx, ps)
}

// ProjectionsOf implements ledger.Store.
func (f *Faulty) ProjectionsOf(ctx context.Context, banks []plant.BankID) ([]ledger.Projection, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.ProjectionsOf(ctx, banks)
}

// Projection implements ledger.Store.
func (f *Faulty) Projection(ctx context.Context, bank plant.BankID) (ledger.Projection, error) {
	if err := f.out(); err != nil {
		return ledger.Projection{}, err
	}
	return f.store.Projection(ctx, bank)
}

// Projections implements ledger.Store.
func (f *Faulty) Projections(ctx context.Context, place plant.BankID) ([]ledger.Projection, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Projections(ctx, place)
}

// DropProjections implements ledger.Store.
func (f *Faulty) DropProjections(ctx context.Context) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.DropProjections(ctx)
}

// Lagging implements ledger.Store.
func (f *Faulty) Lagging(ctx context.Context, limit int) ([]ledger.Lag, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Lagging(ctx, limit)
}

// Waiting implements ledger.Store.
func (f *Faulty) Waiting(ctx context.Context, banks []plant.BankID) ([]ledger.OutboxPost, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Waiting(ctx, banks)
}

// Render implements ledger.Store.
func (f *Faulty) Render(ctx context.Context, key string, p channel.Post) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.Render(ctx, key, p)
}

// Claim implements ledger.Store.
func (f *Faulty) Claim(ctx context.Context, platform string, now time.Time, lease time.Duration, limit int) ([]ledger.OutboxPost, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Claim(ctx, platform, now, lease, limit)
}

// MarkSent implements ledger.Store.
func (f *Faulty) MarkSent(ctx context.Context, key, postID string, at time.Time) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.MarkSent(ctx, key, postID, at)
}

// MarkFailed implements ledger.Store.
func (f *Faulty) MarkFailed(ctx context.Context, key, reason string, next time.Time, park bool) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.MarkFailed(ctx, key, reason, next, park)
}

// MarkUncertain implements ledger.Store.
func (f *Faulty) MarkUncertain(ctx context.Context, key string) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.MarkUncertain(ctx, key)
}

// Post implements ledger.Store.
func (f *Faulty) Post(ctx context.Context, key string) (ledger.OutboxPost, error) {
	if err := f.out(); err != nil {
		return ledger.OutboxPost{}, err
	}
	return f.store.Post(ctx, key)
}

// PostBySent implements ledger.Store.
func (f *Faulty) PostBySent(ctx context.Context, platform, channel, postID string) (ledger.OutboxPost, error) {
	if err := f.out(); err != nil {
		return ledger.OutboxPost{}, err
	}
	return f.store.PostBySent(ctx, platform, channel, postID)
}

// Posts implements ledger.Store.
func (f *Faulty) Posts(ctx context.Context, state ledger.PostState, limit int) ([]ledger.OutboxPost, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Posts(ctx, state, limit)
}

// RetryPost implements ledger.Store.
func (f *Faulty) RetryPost(ctx context.Context, key string, now time.Time) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.RetryPost(ctx, key, now)
}

// DropPost implements ledger.Store.
func (f *Faulty) DropPost(ctx context.Context, key string) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.DropPost(ctx, key)
}

// ForgetSamples implements ledger.Store.
func (f *Faulty) ForgetSamples(ctx context.Context, place plant.BankID, point string, before time.Time) (int64, error) {
	if err := f.out(); err != nil {
		return 0, err
	}
	return f.store.ForgetSamples(ctx, place, point, before)
}

// LastFiring implements ledger.Store.
func (f *Faulty) LastFiring(ctx context.Context, job, site string) (ledger.Firing, error) {
	if err := f.out(); err != nil {
		return ledger.Firing{}, err
	}
	return f.store.LastFiring(ctx, job, site)
}

// PutKey implements ledger.Store.
func (f *Faulty) PutKey(ctx context.Context, k ledger.Key) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.PutKey(ctx, k)
}

// Keys implements ledger.Store.
func (f *Faulty) Keys(ctx context.Context) ([]ledger.Key, error) {
	if err := f.out(); err != nil {
		return nil, err
	}
	return f.store.Keys(ctx)
}

// Backup implements ledger.Store.
func (f *Faulty) Backup(ctx context.Context, path string) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.Backup(ctx, path)
}

// Check implements ledger.Store.
func (f *Faulty) Check(ctx context.Context) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.Check(ctx)
}

// Ping implements ledger.Store.
func (f *Faulty) Ping(ctx context.Context) error {
	if err := f.out(); err != nil {
		return err
	}
	return f.store.Ping(ctx)
}

// Close implements ledger.Store.
func (f *Faulty) Close() error { return f.store.Close() }
