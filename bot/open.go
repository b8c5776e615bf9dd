package bot

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/say"
)

const (
	// longAgo and manySince are after how long, and how many messages of the person
	// since, a word that fits any question no longer answers one without showing it
	// again: by then "1" may be meant for something else.
	longAgo   = 30 * time.Minute
	manySince = 8

	mostOpen = 9 // questions of one person that are kept open beside the newest
)

// vague are answers that fit any question.
var vague = wordSet(`1 2 3 4 5 6 7 8 9 a b c ok okay yes y yep yeah right correct sure no none both all first second third one two three
	ja stimmt genau nein keine beide alle eins zwei drei si sí vale correcto ninguno ambos todos uno dos tres`)

// assent is what agrees without a choice being named.
var assent = wordSet(`ok okay yes y yep yeah right correct sure fine ja stimmt genau passt si sí vale correcto claro`)

// same reports whether two are the same question.
func (q question) same(o question) bool {
	return q.Message.Key() == o.Message.Key() && q.Code == o.Code && q.Text == o.Text
}

// asksAgain reports whether a question is one about the end of the same work, asked
// anew because somebody said "done" again: one answer settles it.
func (q question) asksAgain(o question) bool {
	return q.Text == o.Text && q.Code == o.Code && len(q.Choices) > 0 &&
		!slices.ContainsFunc(append(slices.Clone(q.Choices), o.Choices...), func(c phrase.Choice) bool { return !changedTail.MatchString(c.Means) })
}

// stale reports whether a question lies so far back that an answer may be meant
// for something else.
func (q question) stale(now time.Time) bool {
	return q.Since > manySince || !q.Asked.IsZero() && now.Sub(q.Asked) > longAgo
}

// queued is a question as it waits in a conversation, before those that wait there
// already.
func (e *Engine) queued(ctx context.Context, conv string, q question) question {
	raw, ok := e.kept(ctx, conv)
	var before question
	if !ok || json.Unmarshal(raw, &before) != nil {
		return q
	}
	open := append(before.Earlier, before.alone())
	q.Earlier = slices.DeleteFunc(open, func(o question) bool {
		return o.Message.Key() == q.Message.Key() || q.asksAgain(o) || e.Now().Sub(o.Asked) > e.Expires
	})
	if n := len(q.Earlier); n > mostOpen {
		q.Earlier = q.Earlier[n-mostOpen:]
	}
	return q
}

// alone is a question without those that wait beside it.
func (q question) alone() question {
	q.Earlier, q.raw = nil, nil
	return q
}

// keepQuestion keeps a question in conversations, before those that wait there.
func (e *Engine) keepQuestion(ctx context.Context, convs []string, q question) error {
	for _, conv := range convs {
		raw, err := json.Marshal(e.queued(ctx, conv, q))
		if err != nil {
			return err
		}
		if err := e.keep(ctx, "", []string{conv}, raw, e.Expires); err != nil {
			return err
		}
	}
	return nil
}

// drop takes a question out of conversations; the newest of those that waited
// beside it takes its place.
func (e *Engine) drop(ctx context.Context, convs []string, gone func(question) bool) {
	for _, conv := range convs {
		raw, ok := e.kept(ctx, conv)
		var q question
		if !ok || json.Unmarshal(raw, &q) != nil {
			continue
		}
		open := append(slices.Clone(q.Earlier), q.alone())
		left := slices.DeleteFunc(slices.Clone(open), gone)
		switch {
		case len(left) == len(open):
		case len(left) == 0:
			e.forget(ctx, []string{conv}, raw)
		default:
			next := left[len(left)-1]
			next.Earlier = left[:len(left)-1]
			next.Since = 0
			if put, err := json.Marshal(next); err == nil {
				if err := e.keep(ctx, "", []string{conv}, put, e.Expires); err != nil {
					e.Log.Debug("open question not kept", "error", err)
				}
			}
		}
	}
}

// passedOver counts a message that did not answer the question that waits.
func (e *Engine) passedOver(ctx context.Context, m channel.Message, q question) {
	q.Since++
	raw, err := json.Marshal(q)
	if err == nil {
		err = e.keep(ctx, "", []string{conversation(m)}, raw, e.Expires)
	}
	if err != nil {
		e.Log.Debug("message not counted", "error", err)
	}
}

// stillOpen repeats the next question that waits for the person, so that "ok"
// answers that. Answered is the message whose question was just settled.
func (e *Engine) stillOpen(ctx context.Context, t *talk, answered channel.Message) error {
	next, ok := e.waiting(ctx, t.m)
	if !ok || next.Message.Key() == answered.Key() {
		return nil
	}
	return e.again(ctx, t, next, "open:"+t.m.Key(), say.StillOpen(t.in(), 1+len(next.Earlier), next.Text))
}

// again shows a question once more, with its buttons; an answer typed next is its.
func (e *Engine) again(ctx context.Context, t *talk, q question, key, text string) error {
	raw, err := json.Marshal(q.alone())
	if err != nil {
		return err
	}
	q.Asked, q.Since = e.Now(), 0
	convs := conversations(t.m)
	if put, err := json.Marshal(q); err == nil {
		if err := e.keep(ctx, "", convs, put, e.Expires); err != nil {
			e.Log.Warn("question not kept", "error", err)
		}
	}
	p := e.ready(t, key, channel.Post{Text: text})
	p.Recipe = raw
	for i, c := range q.Choices {
		p.Post.Choices = append(p.Post.Choices, channel.Choice{Label: c.Label, Action: "answer", Value: answerValue(p.Key, i), Keys: c.Keys})
	}
	return e.commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{p}})
}

// dropAsked lets "undo" right after a question take that question back, and no
// older entry; handled is false when nothing was just asked.
func (e *Engine) dropAsked(ctx context.Context, t *talk) (handled bool, err error) {
	q, ok := e.waiting(ctx, t.m)
	if !ok || q.Since > 1 || q.stale(e.Now()) {
		return false, nil
	}
	e.drop(ctx, append(conversations(q.Message), conversation(t.m)), q.same)
	if err := e.reply(ctx, t, channel.Post{Text: say.QuestionDropped(t.in(), q.Message.Text)}); err != nil {
		return true, err
	}
	return true, e.stillOpen(ctx, t, q.Message)
}
