// Package bot holds the conversation: what people type becomes entries, answers
// or one short question back. It knows no chat platform; the edges below it do.
package bot

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/safework"
	"clogwise/internal/say"
	"clogwise/internal/view"
)

// Engine is the conversation. It implements channel.Handler.
type Engine struct {
	Store   ledger.Store
	Memory  Memory
	View    *view.View
	Now     func() time.Time
	Log     *slog.Logger
	Expires time.Duration // of a question waiting for an answer
	HereFor time.Duration // how long "it" means the place last talked about
	Steps   safework.Catalogue

	awayUntil atomic.Int64 // Unix nanoseconds until which Memory is not asked

	mu      sync.Mutex
	indexed *plant.Register // what index was made from
	index   *phrase.Index
}

// OutboxTopic wakes whoever delivers posts.
const OutboxTopic = "outbox"

// HandleMessage takes one message to its end: when it returns nil, what it said
// is in the ledger, together with the reply still to be sent.
func (e *Engine) HandleMessage(ctx context.Context, m channel.Message) error {
	t, err := e.talk(ctx, m)
	if err != nil {
		return err
	}
	if t == nil {
		reg, err := e.View.Register(ctx)
		if err != nil {
			return err
		}
		return e.stranger(ctx, reg, m)
	}
	if m.Change != channel.Edited { // an edit shows itself as a resend by changing nothing
		if done, err := e.replied(ctx, m); err != nil || done {
			return err
		}
	}
	switch m.Change {
	case channel.Deleted:
		return e.deleted(ctx, t)
	case channel.Edited:
		return e.edited(ctx, t)
	}
	if q, ok := e.waiting(ctx, m); ok {
		if i := phrase.Complete(m.Text, q.asking()); i >= 0 {
			if q.stale(e.Now()) && vague[bare(m.Text)] {
				return e.again(ctx, t, q, ReplyKey(m), say.AskedBefore(t.in(), q.Message.Text, q.Text))
			}
			return e.answered(ctx, t, q, i)
		}
		if q.Since == 0 && assent[bare(m.Text)] && !q.stale(e.Now()) {
			return e.again(ctx, t, q, ReplyKey(m), say.NameOne(t.in(), q.Text))
		}
		e.passedOver(ctx, m, q)
	}
	if handled, err := e.confirmed(ctx, t); handled {
		return err
	}
	if handled, err := e.asked(ctx, t); handled {
		return err
	}
	meaning, err := e.understand(ctx, t, m)
	if err != nil {
		return err
	}
	return e.act(ctx, t, meaning, m)
}

// replied reports whether a message was taken to its end before: it was sent to
// us again.
func (e *Engine) replied(ctx context.Context, m channel.Message) (bool, error) {
	_, err := e.Store.Post(ctx, ReplyKey(m))
	if errors.Is(err, ledger.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// act does what a meaning says. Origin is the message that is recorded: the one
// in hand, or an earlier one that it completes.
func (e *Engine) act(ctx context.Context, t *talk, meaning phrase.Meaning, origin channel.Message) error {
	if ended, text, ok := t.bareDone(meaning); ok && t.changed == nil {
		return e.ended(ctx, t, ended, origin, text)
	}
	switch meaning.Outcome {
	case phrase.Chatter:
		if p, ok, err := e.doneAlready(ctx, t); err != nil || ok {
			if err != nil {
				return err
			}
			return e.reply(ctx, t, p)
		}
		if wrongWords[bare(t.m.Text)] && origin.Key() == t.m.Key() {
			if a, ask, err := e.saidWrong(ctx, t); err != nil || ask {
				if err != nil {
					return err
				}
				return e.ask(ctx, t, a, origin)
			}
		}
		if t.m.Direct || t.m.Mention {
			return e.hint(ctx, t, t.own(say.NotUnderstood(t.in())))
		}
		return nil
	case phrase.Ask:
		return e.ask(ctx, t, *meaning.Ask, origin)
	case phrase.Refused:
		return e.refuse(ctx, t, meaning, origin)
	case phrase.Question:
		switch q := *meaning.Query; q.Kind {
		case phrase.QueryUndo:
			return e.undo(ctx, t, q)
		case phrase.QueryStepsRead:
			return e.stepsReadTyped(ctx, t, q)
		case phrase.QueryConfirm:
			return e.confirm(ctx, t, q)
		case phrase.QueryNotChanged:
			return e.notChanged(ctx, t, q.Places[0], origin)
		case phrase.QueryPairs:
			return e.pairs(ctx, t, q.Places)
		}
		return e.answer(ctx, t, *meaning.Query)
	}
	if a, ask := t.doneEarly(meaning); ask {
		return e.ask(ctx, t, a, origin)
	}
	if a, ask := t.farOff(meaning); ask {
		return e.ask(ctx, t, a, origin)
	}
	a, ask, err := e.whichReading(ctx, t, meaning, nil)
	if err != nil {
		return err
	}
	if ask {
		return e.ask(ctx, t, a, origin)
	}
	return e.ended(ctx, t, meaning, origin, cmp.Or(t.text, origin.Text))
}

// ended records a meaning, once it is clear which filters an end of work is about.
func (e *Engine) ended(ctx context.Context, t *talk, meaning phrase.Meaning, origin channel.Message, text string) error {
	a, ask, err := e.whichChanged(ctx, t, meaning, text)
	if err != nil {
		return err
	}
	if ask {
		return e.ask(ctx, t, a, origin)
	}
	if a, ask, err = e.unlikely(ctx, t, meaning, text); err != nil {
		return err
	}
	if ask {
		return e.ask(ctx, t, a, origin)
	}
	return e.record(ctx, t, meaning, origin)
}

// doneEarly asks when a bare "done" would close a job that nobody has begun and
// that is booked for later: it may be meant for another.
func (t *talk) doneEarly(meaning phrase.Meaning) (phrase.Asking, bool) {
	if len(meaning.About) > 0 || len(meaning.Items) != 1 {
		return phrase.Asking{}, false
	}
	it := meaning.Items[0]
	if _, done := it.Body.(entry.JobDone); !done {
		return phrase.Asking{}, false
	}
	for _, j := range t.jobs {
		if j.Bank != it.Place || !j.Begun.IsZero() || !j.Start.After(it.At) {
			continue
		}
		name, at := t.reg.Name(j.Bank), say.At(t.siteOf(j.Bank), t.scope.Now)
		return phrase.Asking{
			Code: "done-early", Text: say.DoneEarly(at, name, j.Start),
			Choices: []phrase.Choice{{Keys: []string{"yes", "y", "ja", "si", "ok", name}, Label: at.In.Text("yes, done"), Means: name + " job done, changed: " + name}},
		}, true
	}
	return phrase.Asking{}, false
}

// refuse says why not, records what else the message reported, and tells the
// supervisors where somebody could be hurt.
func (e *Engine) refuse(ctx context.Context, t *talk, meaning phrase.Meaning, origin channel.Message) error {
	if len(meaning.Items) > 0 {
		return e.record(ctx, t, meaning, origin)
	}
	b := ledger.Batch{Posts: []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), channel.Post{Text: meaning.Reply})}}
	b.Posts = append(b.Posts, e.safetyAlerts(t, meaning)...)
	return e.commit(ctx, b)
}

// reply puts a ready post into the outbox, in the message's thread, under the
// message's own once-only key: a resent message is answered once.
func (e *Engine) reply(ctx context.Context, t *talk, p channel.Post) error {
	return e.commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), p)}})
}

// ReplyKey is the outbox key of the reply to a message.
func ReplyKey(m channel.Message) string {
	key := "re:" + m.Key()
	if m.Change == channel.Edited {
		key += ":" + digestOf(m.Text)
	}
	if m.Change == channel.Deleted {
		key += ":deleted"
	}
	return key
}

func (e *Engine) ready(t *talk, key string, p channel.Post) ledger.OutboxPost {
	p.To = t.address()
	return ledger.OutboxPost{Key: key, Site: t.sites[0].ID, State: ledger.PostReady, Post: p, Created: e.Now()}
}

func (e *Engine) commit(ctx context.Context, b ledger.Batch) error {
	_, err := e.commitResults(ctx, b)
	return err
}

// commitResults commits and then tells the worker and the deliverer; their
// being out of reach loses nothing, since sweeps find what was left.
func (e *Engine) commitResults(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	res, err := e.Store.Commit(ctx, b)
	if err != nil {
		return nil, err
	}
	e.notify(ctx, noticesOf(b, res))
	if len(b.Posts) > 0 {
		e.wake(ctx)
	}
	return res, nil
}

// noticesOf lists the banks that a batch puts out of date.
func noticesOf(b ledger.Batch, res []ledger.Result) []queue.Notice {
	newest := map[plant.BankID]int64{}
	last := int64(0)
	for i, r := range res {
		if p := b.Entries[i].Place; p.Whole() {
			newest[p] = max(newest[p], r.Seq)
		}
		last = max(last, r.Seq)
	}
	for _, p := range b.Touch {
		newest[p] = max(newest[p], last)
	}
	var out []queue.Notice
	for _, p := range sortedBanks(newest) {
		out = append(out, queue.Notice{Bank: string(p), UpTo: newest[p]})
	}
	return out
}
