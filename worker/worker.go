// Package worker does what nobody waits for by hand: it recomputes banks whose
// entries changed, fills in the replies that waited for that, fires scheduled
// posts and delivers the outbox.
package worker

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"slices"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/say"
	"clogwise/internal/view"
)

// OutboxTopic wakes whoever delivers posts.
const OutboxTopic = "outbox"

// Recomputer brings projections up to date.
type Recomputer struct {
	Store ledger.Store
	View  *view.View
	Queue *queue.Queue
	Now   func() time.Time
	Log   *slog.Logger

	Name       string // of this consumer, unique among workers
	Parallel   int
	ClaimAfter time.Duration
	MaxTries   int
	SweepEvery time.Duration
	ReplyWait  time.Duration // a reply goes without its forecast after so long

	// Slow, when set, is called before each recompute: a test's hook.
	Slow func(ctx context.Context, bank string)
}

// Run works notices off until ctx is done.
func (r *Recomputer) Run(ctx context.Context) error {
	return r.Queue.Consume(ctx, queue.Consumer{
		Name: r.Name, Workers: r.Parallel, Log: r.Log, ClaimAfter: r.ClaimAfter, MaxTries: r.MaxTries,
	}, r.handle)
}

// handle recomputes one bank and renders the replies that waited for it. It
// holds no state: doing it twice, or on two machines, gives the same.
func (r *Recomputer) handle(ctx context.Context, n queue.Notice) error {
	if r.Slow != nil {
		r.Slow(ctx, n.Bank)
	}
	bank := plant.BankID(n.Bank)
	_, err := r.View.Recompute(ctx, bank, r.Now())
	if errors.Is(err, view.ErrNoBank) {
		r.Log.Warn("notice for a bank that is not in the register", "bank", n.Bank)
		return nil
	}
	if err != nil {
		return err
	}
	return r.Render(ctx, []plant.BankID{bank}, false)
}

// Render fills in waiting replies whose banks have caught up (banks nil: any).
// With late, replies older than ReplyWait go out without their forecast.
func (r *Recomputer) Render(ctx context.Context, banks []plant.BankID, late bool) error {
	posts, err := r.Store.Waiting(ctx, banks)
	if err != nil {
		return err
	}
	woken := false
	for _, p := range posts {
		giveUp := late && r.Now().Sub(p.Created) >= r.ReplyWait
		post, ok, err := r.render(ctx, p, giveUp)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		if err := r.Store.Render(ctx, p.Key, post); err != nil {
			return err
		}
		woken = true
	}
	if woken {
		if err := r.Queue.Wake(ctx, OutboxTopic); err != nil {
			r.Log.Debug("outbox not woken", "error", err)
		}
	}
	return nil
}

// render makes the text of one waiting reply; ok is false while a bank's
// projection is still behind its entries.
func (r *Recomputer) render(ctx context.Context, p ledger.OutboxPost, giveUp bool) (post channel.Post, ok bool, err error) {
	var recipe say.Recipe
	if err := json.Unmarshal(p.Recipe, &recipe); err != nil {
		return post, false, err
	}
	entries, err := r.Store.Entries(ctx, ledger.Filter{Source: recipe.Source})
	if err != nil {
		return post, false, err
	}
	reg, err := r.View.Register(ctx)
	if err != nil {
		return post, false, err
	}
	behind := false
	known := map[plant.BankID]assess.Assessment{}
	for bank := range p.WaitsFor {
		a, have, err := r.View.Assessment(ctx, bank)
		if err != nil {
			return post, false, err
		}
		if !have || a.UpTo < newestOf(entries, bank) {
			behind = true
			continue
		}
		known[bank] = a
	}
	if behind && !giveUp {
		return post, false, nil
	}
	post = say.Saved(say.SavedInput{
		Recipe: recipe, Register: reg, Entries: entries, Assessments: known, Behind: behind, Now: r.Now(), Site: p.Site,
	})
	post.To = p.Post.To
	return post, true, nil
}

// newestOf is the newest entry of the message at the bank itself or above it.
func newestOf(entries []entry.Entry, bank plant.BankID) int64 {
	var seq int64
	for _, x := range entries {
		if x.Place == bank || x.Place == bank.AHU() || string(x.Place) == bank.Site() {
			seq = max(seq, x.Seq)
		}
	}
	return seq
}

// Sweep finds banks whose projection is behind the ledger, queues them again,
// and sends the replies that waited too long. When the queue is out of reach it
// recomputes a few banks itself, so that nothing stands still.
func (r *Recomputer) Sweep(ctx context.Context) error {
	lags, err := r.Store.Lagging(ctx, 10_000)
	if err != nil {
		return err
	}
	notices := make([]queue.Notice, 0, len(lags))
	for _, l := range lags {
		notices = append(notices, queue.Notice{Bank: string(l.Bank), UpTo: l.Head})
	}
	var queueErr error
	if len(notices) > 0 {
		queueErr = r.Queue.Notify(ctx, notices...)
	}
	if queueErr != nil {
		r.Log.Warn("queue out of reach; recomputing here", "lagging", len(lags), "error", queueErr)
		for _, n := range notices[:min(len(notices), 100)] {
			if err := r.handle(ctx, n); err != nil {
				return err
			}
		}
	}
	return r.Render(ctx, nil, true)
}

// RunSweep sweeps at once and then every SweepEvery, and looks for replies that
// waited too long more often.
func (r *Recomputer) RunSweep(ctx context.Context) error {
	sweep := time.NewTicker(r.SweepEvery)
	defer sweep.Stop()
	late := time.NewTicker(max(r.ReplyWait/2, 50*time.Millisecond))
	defer late.Stop()
	for {
		if err := r.Sweep(ctx); err != nil && ctx.Err() == nil {
			r.Log.Warn("sweep failed; it will be tried again", "error", err)
		}
	wait:
		for {
			select {
			case <-ctx.Done():
				return nil
			case <-late.C:
				if err := r.Render(ctx, nil, true); err != nil && ctx.Err() == nil {
					r.Log.Warn("late replies not rendered", "error", err)
				}
			case <-sweep.C:
				break wait
			}
		}
	}
}

// RecomputeAll learns the fleet's priors and brings every bank of a place to the
// present date: the nightly job.
func (r *Recomputer) RecomputeAll(ctx context.Context, place plant.BankID) error {
	if err := r.View.LearnPriors(ctx, r.Now()); err != nil {
		return err
	}
	reg, err := r.View.Register(ctx)
	if err != nil {
		return err
	}
	for chunk := range slices.Chunk(reg.Banks(place), 256) {
		for _, id := range chunk {
			if _, err := r.View.Recompute(ctx, id, r.Now()); err != nil {
				return err
			}
		}
	}
	return nil
}
