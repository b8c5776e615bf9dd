package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"clogwise/bot/webhook"
	"clogwise/bot/webhook/outbound"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
)

// outbound sends events. What is signed carries the real time, whatever the
// domain clock: receivers turn away what is not of now.
func (a *App) outbound() *outbound.Sender {
	return &outbound.Sender{Keys: a.Store.Keys, Now: time.Now}
}

// AddEndpoint has events sent to an address and returns the secret they are
// signed with, which is not shown again.
func (a *App) AddEndpoint(ctx context.Context, name, address string, kinds, sites []string) (ledger.Key, string, error) {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return ledger.Key{}, "", err
	}
	for _, s := range sites {
		if _, ok := reg.Site(s); !ok {
			return ledger.Key{}, "", fmt.Errorf("no site %q in the register", s)
		}
	}
	k, secret, err := webhook.NewKey(name, outgoing.Scheme, sites, nil, a.Now())
	if err != nil {
		return ledger.Key{}, "", err
	}
	if k, err = outgoing.Pack(k, address, kinds); err != nil {
		return ledger.Key{}, "", err
	}
	return k, secret, a.Store.PutKey(ctx, k)
}

// SentEvents are the events in the outbox, newest first, at most so many; of one
// endpoint, or of all when id is empty.
func (a *App) SentEvents(ctx context.Context, id string, most int) ([]ledger.OutboxPost, error) {
	all, err := a.Store.Posts(ctx, "", 0)
	if err != nil {
		return nil, err
	}
	var out []ledger.OutboxPost
	for _, p := range slices.Backward(all) {
		if p.Post.To.Platform == outgoing.Platform && (id == "" || p.Post.To.Channel == id) && len(out) < most {
			out = append(out, p)
		}
	}
	return out, nil
}

// ReplayEvents sends again what was put for an endpoint since a moment, under
// the same ids: a receiver that has one knows it. Parked ones are tried again.
func (a *App) ReplayEvents(ctx context.Context, id string, since time.Time) (int, error) {
	known, err := a.Endpoints(ctx)
	if err != nil {
		return 0, err
	}
	if !slices.ContainsFunc(known, func(e outgoing.Endpoint) bool { return e.ID == id }) {
		return 0, fmt.Errorf("no endpoint %s; clogwise events list shows them", id)
	}
	all, err := a.SentEvents(ctx, id, 1<<31)
	if err != nil {
		return 0, err
	}
	n := 0
	var again ledger.Batch
	done := map[string]bool{}
	for _, p := range slices.Backward(all) {
		if p.Created.Before(since) || p.State == ledger.PostDropped {
			continue
		}
		_, x, err := outgoing.Read(p.Post)
		switch {
		case err != nil || done[x.ID]:
		case p.State == ledger.PostParked:
			if err := a.Store.RetryPost(ctx, p.Key, a.Now()); err != nil {
				return n, err
			}
			n++
		case p.State == ledger.PostSent:
			line, _, _ := strings.Cut(p.Post.Text, "\n")
			p.Post.Text = line
			again.Posts = append(again.Posts, ledger.OutboxPost{
				Key:  fmt.Sprintf("%sagain:%d:%s:%s", outgoing.KeyPrefix, a.Now().UnixNano(), id, x.ID),
				Site: p.Site, State: ledger.PostReady, Post: p.Post, Created: a.Now(),
			})
			n++
		}
		done[x.ID] = true
	}
	if len(again.Posts) == 0 {
		return n, nil
	}
	_, err = a.Store.Commit(ctx, again)
	return n, err
}

// Endpoints are those that events go to.
func (a *App) Endpoints(ctx context.Context) ([]outgoing.Endpoint, error) {
	keys, err := a.Store.Keys(ctx)
	return outgoing.Endpoints(keys, a.Now()), err
}

// RotateEndpoint gives an endpoint a new secret; the old one signs too until
// overlap has passed.
func (a *App) RotateEndpoint(ctx context.Context, id string, overlap time.Duration) (fresh ledger.Key, secret string, ends time.Time, err error) {
	k, err := a.endpointKey(ctx, id)
	if err != nil {
		return fresh, "", ends, err
	}
	old, fresh, secret, err := a.RotateKey(ctx, k.ID, overlap)
	if err == nil {
		ends = *old.Expires
	}
	return fresh, secret, ends, err
}

// RemoveEndpoint ends every key of an endpoint.
func (a *App) RemoveEndpoint(ctx context.Context, id string) error {
	if _, err := a.endpointKey(ctx, id); err != nil {
		return err
	}
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return err
	}
	for _, k := range keys {
		if first, _, _ := strings.Cut(k.ID, "."); k.Scheme == outgoing.Scheme && first == id {
			if err := a.RevokeKey(ctx, k.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// endpointKey is the key of an endpoint that can be rotated: its newest.
func (a *App) endpointKey(ctx context.Context, id string) (ledger.Key, error) {
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return ledger.Key{}, err
	}
	for _, k := range slices.Backward(keys) {
		if first, _, _ := strings.Cut(k.ID, "."); k.Scheme == outgoing.Scheme && first == id && k.Revoked == nil && k.Expires == nil {
			return k, nil
		}
	}
	return ledger.Key{}, fmt.Errorf("no endpoint %s; clogwise events list shows them", id)
}
