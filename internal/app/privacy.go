package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/veil"
)

// forgetEvery is how often text that is past its time is looked for.
const forgetEvery = time.Hour

// Retention forgets the text of posts that is older than the setting allows:
// what the bot said, and the unclear messages that stand beside its questions.
func (a *App) Retention() Service {
	return Service{"retention", func(ctx context.Context) error {
		tick := time.NewTicker(forgetEvery)
		defer tick.Stop()
		for {
			n, err := a.Store.ForgetPosts(ctx, a.Now().Add(-a.Cfg.Retention.Posts), "")
			switch {
			case err != nil && ctx.Err() == nil:
				a.Log.Warn("old posts not forgotten; it will be tried again", "error", err)
			case n > 0:
				a.Log.Info("text of old posts forgotten", "posts", n)
			}
			select {
			case <-ctx.Done():
				return nil
			case <-tick.C:
			}
		}
	}}
}

// EraseName hides a person's name from everything that is shown from now on. The
// entries stay, under an alias that is the same for all of the person's. Text of
// posts that names the person is forgotten. It returns the alias.
func (a *App) EraseName(ctx context.Context, name, by string) (alias string, err error) {
	if name = strings.TrimSpace(name); name == "" {
		return "", fmt.Errorf("whose name? Write it as it is shown")
	}
	reg, err := a.View.Register(ctx)
	if err != nil {
		return "", err
	}
	for _, s := range reg.Sites() {
		if slices.ContainsFunc(slices.Concat(s.Crew, s.Supervisors), func(p string) bool { return strings.EqualFold(p, name) }) {
			return "", fmt.Errorf("%s is in the register of %s still; take the name out there first, or what is recorded next shows it again", name, s.Name)
		}
	}
	if _, err := a.Store.Commit(ctx, ledger.Batch{Entries: []entry.Entry{veil.Erasure(name, a.Now(), by)}}); err != nil {
		return "", err
	}
	if _, err := a.Store.ForgetPosts(ctx, a.Now().Add(time.Minute), name); err != nil {
		return "", err
	}
	// Forecasts keep who changed filters and why a date was put off: they are made
	// anew from entries without the name.
	if _, err := a.View.Rebuild(ctx, a.Now(), nil); err != nil {
		return "", err
	}
	return veil.Alias(veil.Hash(name)), nil
}

// EntriesOf lists what is kept of a person: entries they made, and those that
// name them.
func (a *App) EntriesOf(ctx context.Context, name string) ([]entry.Entry, error) {
	const atOnce = 5000
	var out []entry.Entry
	for after := int64(0); ; {
		batch, err := a.Store.Entries(ctx, ledger.Filter{AfterSeq: after, Limit: atOnce})
		if err != nil {
			return nil, err
		}
		for _, x := range batch {
			after = x.Seq
			if x.Kind != entry.KindRegister && veil.Names(x, name) {
				out = append(out, x)
			}
		}
		if len(batch) < atOnce {
			return out, nil
		}
	}
}
