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
	Events     *Events       // told of every new assessment; nil: nobody

	// Took, when set, is told how long each recompute took.
	Took func(d time.Duration)
	// Slow, when set, is called before each recompute: a test's hook.
	Slow func(ctx context.Context, bank string)
}

// mostTogether is how many banks are recomputed together: what they share is then
// read once and what they give is written once. For each group that is worked out
// others are read or written: under load they wait long for a commit, together.
const (
	mostTogether = 8
	inFlight     = 8
)

// Run works notices off until ctx is done.
func (r *Recomputer) Run(ctx context.Context) error {
	return r.Queue.ConsumeMany(ctx, queue.Consumer{
		Name: r.Name, Workers: inFlight * r.Parallel, Log: r.Log, ClaimAfter: r.ClaimAfter, MaxTries: r.MaxTries,
	}, mostTogether, r.patiently)
}

// patiently handles notices and waits for the end of an outage of the ledger, which
// is not their fault: their tries would be used up in seconds, and a parked bank
// stays as it is until something new is said of it.
func (r *Recomputer) patiently(ctx context.Context, ns []queue.Notice) []error {
	for {
		errs := r.handle(ctx, ns)
		out := func(err error) bool { return errors.Is(err, ledger.ErrUnavailable) }
		if !slices.ContainsFunc(errs, out) || !r.outlast(ctx) {
			return errs
		}
	}
}

// outlast waits until the ledger answers again. It reports false when there was
// no outage, or when ctx is done first.
func (r *Recomputer) outlast(ctx context.Context) bool {
	for pause, waited := outageMin, false; ; pause, waited = min(2*pause, outageMax), true {
		if err := r.Store.Ping(ctx); err == nil {
			return waited
		}
		select {
		case <-ctx.Done():
			return false
		case <-time.After(pause):
		}
	}
}

// Pauses between looks at a ledger that is out of reach.
const (
	outageMin = 50 * time.Millisecond
	outageMax = 2 * time.Second
)

// handle recomputes banks, renders the replies that waited for them and returns
// what went wrong with each. Doing it twice, or on two machines, gives the same.
func (r *Recomputer) handle(ctx context.Context, ns []queue.Notice) []error {
	banks, errs := make([]plant.BankID, len(ns)), make([]error, len(ns))
	for i, n := range ns {
		banks[i] = plant.BankID(n.Bank)
		if r.Slow != nil {
			r.Slow(ctx, n.Bank)
		}
	}
	began := time.Now()
	done := r.View.RecomputeTogether(ctx, banks, r.Now())
	took := time.Since(began) / time.Duration(max(len(ns), 1))
	var ready []plant.BankID
	for i, d := range done {
		if errs[i] = r.recomputed(ctx, banks[i], d, took); errs[i] == nil {
			ready = append(ready, banks[i])
		}
	}
	if len(ready) == 0 {
		return errs
	}
	if err := r.Render(ctx, ready, false); err != nil {
		for i := range errs {
			errs[i] = errors.Join(errs[i], err)
		}
	}
	return errs
}

// recomputed tells of a bank that was recomputed.
func (r *Recomputer) recomputed(ctx context.Context, bank plant.BankID, d view.Recomputed, took time.Duration) error {
	switch {
	case errors.Is(d.Err, view.ErrNoBank) && !errors.Is(d.Err, ledger.ErrUnavailable):
		r.Log.Warn("notice for a bank that is not in the register", "bank", string(bank))
		return nil
	case d.Err != nil:
		return d.Err
	}
	r.Log.Debug("recomputed", "bank", string(bank), "entry", d.Assessment.UpTo, "took", took)
	if r.Took != nil {
		r.Took(took)
	}
	return r.Events.Assessed(ctx, d.Assessment)
}

// Render fills in waiting replies whose banks have caught up (banks nil: any).
// With late, replies older than ReplyWait go out without their forecast, which
// follows in a post of its own.
func (r *Recomputer) Render(ctx context.Context, banks []plant.BankID, late bool) error {
	posts, err := r.Store.Waiting(ctx, banks)
	if err != nil {
		return err
	}
	woken := false
	for _, p := range posts {
		done, err := r.renderOne(ctx, p, late && r.Now().Sub(p.Created) >= r.ReplyWait)
		if err != nil {
			return err
		}
		woken = woken || done
	}
	if woken {
		wake(ctx, r.Queue, r.Log)
	}
	return nil
}

// renderOne renders one reply if its time has come. A recipe that cannot be read
// is parked, so that it keeps no other reply waiting.
func (r *Recomputer) renderOne(ctx context.Context, p ledger.OutboxPost, giveUp bool) (done bool, err error) {
	var recipe Recipe
	if err := json.Unmarshal(p.Recipe, &recipe); err != nil {
		r.Log.Error("reply cannot be rendered", "key", p.Key, "error", err)
		return false, r.Store.MarkFailed(ctx, p.Key, "recipe: "+err.Error(), r.Now(), true)
	}
	post, behind, err := r.render(ctx, p, recipe)
	switch {
	case err != nil:
		return false, err
	case behind && recipe.Follows && r.Now().Sub(p.Created) > followsWithin:
		return false, r.Store.DropPost(ctx, p.Key)
	case behind && (recipe.Follows || !giveUp):
		return false, nil
	case behind:
		if err := r.promise(ctx, p, recipe); err != nil {
			return false, err
		}
	}
	return true, r.Store.Render(ctx, p.Key, post)
}

// Recipe is a recipe of a reply; Follows marks the forecast that follows a reply
// which went without.
type Recipe struct {
	say.Recipe
	Follows bool `json:"follows,omitempty"`
}

// followsWithin is how long a forecast that was promised is worth sending.
const followsWithin = 24 * time.Hour

// promise puts the forecast that a late reply goes without into the outbox. It
// comes before the reply is let go: with the same key it is there once.
func (r *Recomputer) promise(ctx context.Context, p ledger.OutboxPost, recipe Recipe) error {
	recipe.Follows = true
	raw, err := json.Marshal(recipe)
	if err != nil {
		return err
	}
	_, err = r.Store.Commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{{
		Key: "follow:" + p.Key, Site: p.Site, State: ledger.PostWaiting, Post: channel.Post{To: p.Post.To},
		Recipe: raw, WaitsFor: p.WaitsFor, Created: r.Now(), // due at once by whichever clock
	}}})
	return err
}

// render makes the text of one waiting reply; behind says that a bank's
// projection does not cover its entries yet.
func (r *Recomputer) render(ctx context.Context, p ledger.OutboxPost, recipe Recipe) (post channel.Post, behind bool, err error) {
	entries, err := r.Store.Entries(ctx, ledger.Filter{Source: recipe.Source})
	if err != nil {
		return post, false, err
	}
	reg, err := r.View.Register(ctx)
	if err != nil {
		return post, false, err
	}
	known := map[plant.BankID]assess.Assessment{}
	for bank := range p.WaitsFor {
		a, have, err := r.View.Assessment(ctx, bank)
		if err != nil && !errors.Is(err, view.ErrUnreadable) {
			return post, false, err
		}
		if err != nil || !have || a.UpTo < newestOf(entries, bank) {
			behind = true
			continue
		}
		known[bank] = a
	}
	if recipe.Follows {
		post.Text = say.Follows(reg, known, r.Now())
	} else {
		post = say.Saved(say.SavedInput{
			Recipe: recipe.Recipe, Register: reg, Entries: entries, Assessments: known, Behind: behind, Now: r.Now(), Site: p.Site,
		})
	}
	post.To = p.Post.To
	return post, behind, nil
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
	var errs []error
	if err := r.notify(ctx, notices); err != nil {
		r.Log.Warn("queue out of reach; recomputing here", "lagging", len(lags), "error", err)
		errs = append(errs, r.handle(ctx, notices[:min(len(notices), hereAtOnce)])...)
	}
	errs = append(errs, r.Render(ctx, nil, true))
	return errors.Join(errs...)
}

// hereAtOnce bounds the banks that one sweep recomputes by itself.
const hereAtOnce = 100

// notifyAtOnce bounds the notices sent in one go.
const notifyAtOnce = 500

// notify queues banks that lag, with a bound on the wait for a queue that hangs.
func (r *Recomputer) notify(ctx context.Context, notices []queue.Notice) error {
	for chunk := range slices.Chunk(notices, notifyAtOnce) {
		short, cancel := context.WithTimeout(ctx, queueWait)
		err := r.Queue.Ensure(short, chunk...)
		cancel()
		if err != nil {
			return err
		}
	}
	return nil
}

// queueWait bounds every wait for the queue that something durable hangs on.
const queueWait = 2 * time.Second

// wake tells the deliverers that there is something to send; they look now and
// then by themselves.
func wake(ctx context.Context, q *queue.Queue, log *slog.Logger) {
	short, cancel := context.WithTimeout(ctx, queueWait)
	defer cancel()
	if err := q.Wake(short, OutboxTopic); err != nil {
		log.Debug("outbox not woken", "error", err)
	}
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
// present date.
func (r *Recomputer) RecomputeAll(ctx context.Context, place plant.BankID) error {
	if err := r.View.LearnPriors(ctx, r.Now()); err != nil {
		return err
	}
	return r.toToday(ctx, place)
}

// toToday brings every bank of a place to the present date.
func (r *Recomputer) toToday(ctx context.Context, place plant.BankID) error {
	reg, err := r.View.Register(ctx)
	if err != nil {
		return err
	}
	for chunk := range slices.Chunk(reg.Banks(place), mostTogether) {
		for _, d := range r.View.RecomputeTogether(ctx, chunk, r.Now()) {
			if d.Err != nil {
				return d.Err
			}
			if err := r.Events.Assessed(ctx, d.Assessment); err != nil {
				return err
			}
		}
	}
	return nil
}
