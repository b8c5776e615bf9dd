package bot

import (
	"context"
	"errors"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/say"
)

// compare answers which of two items costs less in a bank.
func (e *Engine) compare(ctx context.Context, t *talk, q phrase.Query) (channel.Post, error) {
	banks := t.banksAsked(q)
	if len(banks) != 1 || len(q.Items) < 2 {
		return channel.Post{Text: say.CompareHow(t.in())}, nil
	}
	c, err := e.View.Compare(ctx, banks[0], q.Items, e.Now())
	if errors.Is(err, ledger.ErrUnavailable) {
		return channel.Post{}, err
	}
	if err != nil {
		return channel.Post{Text: say.NoComparison(t.in(), err)}, nil
	}
	return channel.Post{Text: say.Compare(banks[0], c, t.reg)}, nil
}
