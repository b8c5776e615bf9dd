package app

import (
	"context"
	"errors"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/view"
	"clogwise/worker"
)

// Settle does by hand, and to the end, what the worker and the deliverer of one
// platform do in the background: a test that asks for nothing can see nothing.
func (a *App) Settle(ctx context.Context, platform string, s channel.Sender) error {
	out := &worker.Outbox{
		Store: a.Store, Platform: platform, Sender: byDetour{s, a.View}, Now: a.Now, Log: a.Log,
		Lease: time.Minute, MaxAttempts: 3,
	}
	for {
		lags, err := a.Store.Lagging(ctx, 0)
		if err != nil {
			return err
		}
		for _, l := range lags {
			if _, err := a.View.Recompute(ctx, l.Bank, a.Now()); err != nil && !errors.Is(err, view.ErrNoBank) {
				return err
			}
		}
		if err := a.recompute.Render(ctx, nil, false); err != nil {
			return err
		}
		n, err := out.Deliver(ctx)
		if err != nil || n == 0 && len(lags) == 0 {
			return err
		}
	}
}

// Slack is the chat edge of an app, for tests that drive it by hand.
func (a *App) Slack() interface {
	channel.Sender
	Run(ctx context.Context, h channel.Handler) error
} {
	return a.slack
}

// Sweep looks for banks that lag behind, as the worker does now and then.
func (a *App) Sweep(ctx context.Context) error { return a.recompute.Sweep(ctx) }
