package bot

import (
	"context"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// hint answers a slip (not understood, a stale button) to the person alone: the
// others in the channel need not read it, and it matters to nobody later.
func (e *Engine) hint(ctx context.Context, t *talk, text string) error {
	p := e.ready(t, ReplyKey(t.m), channel.Post{Text: text})
	if !t.m.Direct {
		p.Post.To.OnlyFor = t.m.User
	}
	return e.commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{p}})
}

// stranger answers somebody who speaks to the bot where no site is served and who
// is of no crew. What is not meant for the bot is passed over.
func (e *Engine) stranger(ctx context.Context, reg *plant.Register, m channel.Message) error {
	if m.Change != channel.New || !m.Direct && !m.Mention {
		return nil
	}
	t := talk{m: m}
	p := ledger.OutboxPost{Key: ReplyKey(m), State: ledger.PostReady, Created: e.Now(),
		Post: channel.Post{To: t.address(), Text: say.NoPage(sharedTongue(reg))}}
	if !m.Direct {
		p.Post.To.OnlyFor = m.User
	}
	return e.commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{p}})
}

// sharedTongue is the language that all sites have in common, for whoever is of none
// of them; else English.
func sharedTongue(reg *plant.Register) locale.Locale {
	sites := reg.Sites()
	if len(sites) == 0 {
		return locale.Locale{}
	}
	in := locale.Of(sites[0].Language)
	for _, s := range sites[1:] {
		if locale.Of(s.Language).Tag() != in.Tag() {
			return locale.Locale{}
		}
	}
	return in
}
