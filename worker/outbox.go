package worker

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
)

// Outbox delivers what is to be said on one platform.
type Outbox struct {
	Store       ledger.Store
	Platform    string
	Sender      channel.Sender
	Wake        func(ctx context.Context) (<-chan struct{}, error) // nil: poll only
	Now         func() time.Time                                   // real clock: leases are between processes
	Log         *slog.Logger
	Lease       time.Duration
	MaxAttempts int
	Poll        time.Duration
}

// claimAtOnce bounds how many posts one process holds: what it cannot send
// before its lease ends, another may send again.
const claimAtOnce = 16

// Run delivers until ctx is done.
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
	for {
		for {
			n, err := o.Deliver(ctx)
			if err != nil && ctx.Err() == nil {
				o.Log.Warn("outbox not read", "platform", o.Platform, "error", err)
			}
			if n == 0 || ctx.Err() != nil {
				break
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-woken:
		case <-tick.C:
		}
	}
}

// Deliver sends what is due and returns how many posts it tried.
func (o *Outbox) Deliver(ctx context.Context) (int, error) {
	posts, err := o.Store.Claim(ctx, o.Platform, o.Now(), o.Lease, claimAtOnce)
	if err != nil {
		return 0, err
	}
	for _, p := range posts {
		if err := o.deliver(ctx, p); err != nil {
			return len(posts), err
		}
	}
	return len(posts), nil
}

// uncertainNote is added when a crash fell between an earlier sending and the
// record of it.
const uncertainNote = "(This may repeat an earlier post: it could not be seen whether that one arrived.)"

func (o *Outbox) deliver(ctx context.Context, p ledger.OutboxPost) error {
	post := p.Post
	if p.Uncertain {
		post.Text += "\n" + uncertainNote
	}
	id, err := o.Sender.Send(ctx, post)
	if err == nil {
		// The post is out: record that even while shutting down.
		return o.Store.MarkSent(context.WithoutCancel(ctx), p.Key, id, o.Now())
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	next, park := o.again(p, err)
	o.Log.Warn("post not sent", "key", p.Key, "attempt", p.Attempts+1, "parked", park, "error", err)
	return o.Store.MarkFailed(ctx, p.Key, err.Error(), next, park)
}

// again decides when a failed post is tried next, or that it is parked.
func (o *Outbox) again(p ledger.OutboxPost, err error) (next time.Time, park bool) {
	var retry *channel.RetryError
	switch {
	case errors.Is(err, channel.ErrRefused):
		return o.Now(), true
	case errors.As(err, &retry):
		return o.Now().Add(retry.After), false // asked to wait: not the post's fault
	case p.Attempts+1 >= o.MaxAttempts:
		return o.Now(), true
	}
	return o.Now().Add(backOff(p.Attempts)), false
}

// backOff doubles from one second to five minutes.
func backOff(attempts int) time.Duration {
	return min(time.Second<<min(attempts, 9), 5*time.Minute)
}
