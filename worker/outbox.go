package worker

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
)

// Outbox delivers what is to be said on one platform: to each channel one post
// after the other, to several channels at a time.
type Outbox struct {
	Store       ledger.Store
	Platform    string
	Sender      channel.Sender
	Wake        func(ctx context.Context) (<-chan struct{}, error) // nil: poll only
	Now         func() time.Time                                   // leases are between processes: clocks must agree
	Log         *slog.Logger
	Lease       time.Duration
	MaxAttempts int           // of a post that fails by its own fault
	GiveUpAfter time.Duration // of one that fails with the platform; 0: defaultGiveUp
	MergeAfter  time.Duration // replies this old go out as one; 0: never
	PerSecond   float64       // posts to one channel in the long run; 0: as fast as they come
	Burst       int           // and at once
	Poll        time.Duration
	// Tongue is the language of an address, for what is added to posts; nil: English.
	Tongue func(ctx context.Context, to channel.Address) locale.Locale
	Grace  time.Duration // for what is being sent when asked to stop; 0: defaultGrace
}

const (
	// claimAtOnce bounds how many posts one process holds: what it cannot send
	// before its lease ends, another may send again.
	claimAtOnce = 32
	// defaultGiveUp outlasts a long weekend.
	defaultGiveUp = 7 * 24 * time.Hour
	// defaultGrace lets a post that is being sent arrive.
	defaultGrace = 10 * time.Second
)

// Run delivers until ctx is done; then it lets the posts that are being sent
// arrive and gives the others back.
func (o *Outbox) Run(ctx context.Context) error {
	var woken <-chan struct{}
	if o.Wake != nil {
		ch, err := o.Wake(ctx)
		if err != nil {
			o.Log.Debug("no wake-up for the outbox; polling", "error", err)
		}
		woken = ch
	}
	tick := time.NewTicker(o.Poll)
	defer tick.Stop()
	d := newDelivery(o, ctx)
	defer d.wait()
	for {
		n, err := d.claim(ctx)
		if err != nil && ctx.Err() == nil {
			o.Log.Warn("outbox not read", "platform", o.Platform, "error", err)
		}
		if n > 0 {
			continue
		}
		select {
		case <-ctx.Done():
			return nil
		case <-d.freed:
		case _, open := <-woken:
			if !open {
				woken = nil // the queue is gone; the ticker goes on
			}
		case <-tick.C:
		}
	}
}

// Deliver sends what is due and returns how many posts it tried.
func (o *Outbox) Deliver(ctx context.Context) (int, error) {
	d := newDelivery(o, ctx)
	n, err := d.claim(ctx)
	d.wait()
	return n, err
}

// delivery is the posts that one process holds.
type delivery struct {
	*Outbox
	stop    context.Context // done: begin no more
	sending context.Context // outlives stop by the grace
	end     func()
	freed   chan struct{} // a place became free

	mu    sync.Mutex
	held  int
	lanes map[string][]held  // by channel: posts waiting behind the one being sent
	shut  map[string]circuit // channels that take nothing for now
	paces map[string]*pace   // channels that were posted to lately
	alone map[string]bool    // channels where posts sent as one failed for no reason of the platform's
	done  sync.WaitGroup
}

// circuit is a channel behind which the platform does not answer: one post after
// the other would only run into the same wall.
type circuit struct {
	fails int
	until time.Time
}

// held is a post with the end of its lease.
type held struct {
	ledger.OutboxPost
	until time.Time
}

func newDelivery(o *Outbox, ctx context.Context) *delivery {
	d := &delivery{Outbox: o, stop: ctx, lanes: map[string][]held{}, shut: map[string]circuit{}, paces: map[string]*pace{}, alone: map[string]bool{}, freed: make(chan struct{}, 1)}
	sending, cancel := context.WithCancel(context.WithoutCancel(ctx))
	grace := o.Grace
	if grace == 0 {
		grace = defaultGrace
	}
	forget := context.AfterFunc(ctx, func() { time.AfterFunc(grace, cancel) })
	d.sending, d.end = sending, func() { forget(); cancel() }
	return d
}

// wait waits for every lane to run empty.
func (d *delivery) wait() {
	d.done.Wait()
	d.end()
}

// claim takes as many posts as there is room for and hands them to the lanes of
// their channels. It returns how many it took.
func (d *delivery) claim(ctx context.Context) (int, error) {
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	d.mu.Lock()
	room := claimAtOnce - d.held
	d.mu.Unlock()
	if room <= 0 {
		return 0, nil
	}
	until := d.Now().Add(d.Lease)
	posts, err := d.Store.Claim(ctx, d.Platform, d.Now(), d.Lease, room)
	if err != nil {
		return 0, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.held += len(posts)
	for _, p := range posts {
		lane := p.Post.To.Channel
		queue, running := d.lanes[lane]
		queue = append(queue, held{p, until})
		slices.SortStableFunc(queue, func(a, b held) int { return a.Created.Compare(b.Created) })
		d.lanes[lane] = queue
		if !running {
			d.done.Go(func() { d.run(lane) })
		}
	}
	return len(posts), nil
}

// run sends the posts of one channel in order until there is none left.
func (d *delivery) run(lane string) {
	for {
		d.mu.Lock()
		queue := d.lanes[lane]
		if len(queue) == 0 {
			delete(d.lanes, lane)
			d.mu.Unlock()
			return
		}
		n := 1
		if !d.alone[lane] {
			n = d.together(queue)
		}
		posts := queue[:n]
		d.lanes[lane] = queue[n:]
		until := d.shut[lane].until
		if !d.Now().Before(until) {
			until = d.paced(lane)
		}
		d.mu.Unlock()

		d.take(lane, posts, until)

		d.mu.Lock()
		d.held -= n
		d.mu.Unlock()
		select {
		case d.freed <- struct{}{}:
		default:
		}
	}
}

// take sends posts as one, or gives them back where they must not be sent now.
func (d *delivery) take(lane string, posts []held, notBefore time.Time) {
	now := d.Now()
	switch {
	case d.stop.Err() != nil:
		d.giveBack(posts, "stopped before it was sent", now)
	case now.Before(notBefore):
		d.giveBack(posts, "the channel was asked to wait", notBefore)
	case now.After(posts[0].until.Add(-d.Lease / 4)):
		d.giveBack(posts, "held too long behind slow posts", now)
	default:
		d.deliver(lane, posts)
	}
}

func (d *delivery) giveBack(posts []held, why string, next time.Time) {
	for _, p := range posts {
		d.record(func(ctx context.Context) error { return d.Store.MarkFailed(ctx, p.Key, why, next, false) })
	}
}

// uncertainNote is added when a crash fell between an earlier sending and the
// record of it, or when no answer to that one came.
var uncertainNote = locale.Mark("(This may repeat an earlier post: it could not be seen whether that one arrived.)")

func (o *Outbox) tongue(ctx context.Context, to channel.Address) locale.Locale {
	if o.Tongue == nil {
		return locale.Locale{}
	}
	return o.Tongue(ctx, to)
}

// deliver sends posts as one within their lease and records what came of them.
func (d *delivery) deliver(lane string, posts []held) {
	ctx, cancel := context.WithTimeout(d.sending, posts[0].until.Sub(d.Now()))
	defer cancel()
	id, err := d.Sender.Send(ctx, merged(posts, d.tongue(ctx, posts[0].Post.To), d.Now()))
	if err == nil {
		d.open(lane)
		for _, p := range posts {
			d.record(func(ctx context.Context) error { return d.Store.MarkSent(ctx, p.Key, id, d.Now()) })
		}
		return
	}
	wait := d.close(lane, len(posts), err)
	for _, p := range posts {
		next, park := d.again(p.OutboxPost, err, wait)
		d.Log.Warn("post not sent", "key", p.Key, "attempt", p.Attempts, "parked", park, "error", err)
		if errors.Is(err, channel.ErrUnseen) {
			d.record(func(ctx context.Context) error { return d.Store.MarkUncertain(ctx, p.Key) })
		}
		d.record(func(ctx context.Context) error { return d.Store.MarkFailed(ctx, p.Key, err.Error(), next, park) })
	}
}

// open lets posts through to a channel again.
func (d *delivery) open(lane string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.shut, lane)
	delete(d.alone, lane)
}

// close keeps posts from a channel for a while after a failure that is not the
// post's own, and returns how long that is: the platform's own word, or back-off.
// Posts that failed as one for another reason go alone the next time.
func (d *delivery) close(lane string, posts int, err error) (wait time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	retry, asked := errors.AsType[*channel.RetryError](err)
	switch c := d.shut[lane]; {
	case asked:
		c.until = d.Now().Add(min(max(retry.After, minRetry), ledger.LongRetry))
		d.shut[lane] = c
	case errors.Is(err, channel.ErrAway):
		c.fails++
		c.until = d.Now().Add(backOff(c.fails))
		d.shut[lane] = c
	default:
		d.alone[lane] = posts > 1
		return 0
	}
	return d.shut[lane].until.Sub(d.Now())
}

// record writes down what became of a post, even while stopping. It tries again
// for a moment: a post that was sent and not recorded is sent twice.
func (d *delivery) record(write func(context.Context) error) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(d.stop), recordFor)
	defer cancel()
	var err error
	for pause := 20 * time.Millisecond; ; pause *= 2 {
		if err = write(ctx); err == nil || errors.Is(err, ledger.ErrNotFound) || errors.Is(err, ledger.ErrPostState) {
			return
		}
		select {
		case <-ctx.Done():
			d.Log.Error("not recorded what became of a post; it may be sent again", "error", err)
			return
		case <-time.After(pause):
		}
	}
}

// recordFor bounds how long the record of a sending is tried.
const recordFor = 5 * time.Second

// again decides when a failed post is tried next, or that it is parked. Wait is
// how long its channel is closed.
func (o *Outbox) again(p ledger.OutboxPost, err error, wait time.Duration) (next time.Time, park bool) {
	_, asked := errors.AsType[*channel.RetryError](err)
	tried := p.Attempts >= o.MaxAttempts
	switch {
	case errors.Is(err, channel.ErrRefused):
		return o.Now(), true
	case asked: // to wait: not the post's fault
		return o.Now().Add(wait), false
	case errors.Is(err, channel.ErrAway):
		return o.Now().Add(wait), tried && o.Now().Sub(p.Created) >= cmp.Or(o.GiveUpAfter, defaultGiveUp)
	}
	return o.Now().Add(backOff(p.Attempts)), tried
}

// minRetry keeps a platform that asks for no wait at all from being hammered.
const minRetry = 100 * time.Millisecond

// backOff doubles from one second after the first attempt to five minutes.
func backOff(attempts int) time.Duration {
	return min(time.Second<<min(max(attempts-1, 0), 9), 5*time.Minute)
}
