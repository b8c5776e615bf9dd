package app

import (
	"context"
	"fmt"
	"net"

	"clogwise/bot/webhook"
	"clogwise/internal/ledger"
)

// Webhook is the intake for integrators, listening, when this process plays the
// bot's role and an address is configured. The address is the one it listens on.
func (a *App) Webhook(ctx context.Context) ([]Service, string, error) {
	if !a.Cfg.Has("bot") || a.Cfg.HTTP.Listen == "" {
		return nil, "", nil
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", a.Cfg.HTTP.Listen)
	if err != nil {
		return nil, "", fmt.Errorf("http.listen: %w; give another address", err)
	}
	srv := &webhook.Server{
		Store: a.Store, View: a.View, Queue: a.Queue, Now: a.Now, Log: a.Log,
		MaxBody: a.Cfg.HTTP.MaxBodyBytes, Rate: a.Cfg.HTTP.RatePerSec, Burst: a.Cfg.HTTP.Burst,
	}
	return []Service{{"webhook", func(ctx context.Context) error { return srv.Serve(ctx, l) }}}, l.Addr().String(), nil
}

// NewKey makes a key for an integrator and returns its secret, which is not
// shown again.
func (a *App) NewKey(ctx context.Context, name, scheme string, sites, points []string) (ledger.Key, string, error) {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return ledger.Key{}, "", err
	}
	for _, s := range sites {
		if _, ok := reg.Site(s); !ok {
			return ledger.Key{}, "", fmt.Errorf("no site %q in the register", s)
		}
	}
	k, secret, err := webhook.NewKey(name, scheme, sites, points, a.Now())
	if err != nil {
		return ledger.Key{}, "", err
	}
	return k, secret, a.Store.PutKey(ctx, k)
}

// RevokeKey ends a key at once.
func (a *App) RevokeKey(ctx context.Context, id string) error {
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return err
	}
	for _, k := range keys {
		if k.ID == id {
			now := a.Now().UTC()
			k.Revoked = &now
			return a.Store.PutKey(ctx, k)
		}
	}
	return fmt.Errorf("no key %s; clogwise key list shows them", id)
}
