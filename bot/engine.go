// Package bot holds the conversation: what people type becomes entries, answers
// or one short question back. It knows no chat platform; the edges below it do.
package bot

import (
	"context"
	"encoding/json"
	"log/slog"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/safework"
	"clogwise/internal/say"
	"clogwise/internal/view"
)

// Memory keeps what is lost without harm: questions waiting for an answer and
// the place a talk is about. Notices tell the worker what changed.
type Memory interface {
	Ask(ctx context.Context, conversation string, payload []byte, ttl time.Duration) error
	Pending(ctx context.Context, conversation string) ([]byte, bool, error)
	AnsweredIf(ctx context.Context, conversation string, payload []byte) (bool, error)
	Notify(ctx context.Context, notices ...queue.Notice) error
	Wake(ctx context.Context, topic string) error
}

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
}

// OutboxTopic wakes whoever delivers posts.
const OutboxTopic = "outbox"

// HandleMessage takes one message to its end: when it returns nil, what it said
// is in the ledger, together with the reply still to be sent.
func (e *Engine) HandleMessage(ctx context.Context, m channel.Message) error {
	t, err := e.talk(ctx, m)
	if err != nil || t == nil {
		return err
	}
	switch m.Change {
	case channel.Deleted:
		return e.deleted(ctx, t)
	case channel.Edited:
		return e.edited(ctx, t)
	}
	if asked, ok := e.waiting(ctx, t); ok {
		if i := phrase.Complete(m.Text, asked.Asking); i >= 0 {
			return e.answered(ctx, t, asked, i)
		}
	}
	return e.act(ctx, t, phrase.Understand(m.Text, t.scope))
}

// talk is one message with what it is understood against.
type talk struct {
	m     channel.Message
	reg   *plant.Register
	sites []plant.Site // the channel serves
	who   string       // name to record
	jobs  []digest.Job // open at those sites
	scope phrase.Scope
}

// talk finds whom and what a message is about; nil when the channel is none of
// ours.
func (e *Engine) talk(ctx context.Context, m channel.Message) (*talk, error) {
	reg, err := e.View.Register(ctx)
	if err != nil {
		return nil, err
	}
	t := &talk{m: m, reg: reg, who: m.UserName}
	if t.who == "" {
		t.who = m.User
	}
	for _, s := range reg.Sites() {
		if sameChannel(s.Channel, m) || m.Direct && (isOneOf(s.Crew, m) || isOneOf(s.Supervisors, m)) {
			t.sites = append(t.sites, s)
		}
	}
	if len(t.sites) == 0 {
		return nil, nil
	}
	jobs, err := e.View.OpenJobs(ctx)
	if err != nil {
		return nil, err
	}
	now := e.Now()
	at := m.At
	if at.IsZero() || at.After(now) {
		at = now
	}
	t.scope = phrase.Scope{
		Register: reg, Now: at, By: t.who,
		Last: func(id plant.BankID) (float64, time.Time, bool) {
			a, ok, err := e.View.Assessment(ctx, id)
			if err != nil || !ok || a.Last == nil {
				return 0, time.Time{}, false
			}
			return a.Last.Pa, a.Last.At, true
		},
		Here: e.here(ctx, m),
	}
	for _, s := range t.sites {
		t.scope.Sites = append(t.scope.Sites, s.ID)
		for _, j := range jobs {
			if j.Bank.Site() == s.ID {
				t.jobs = append(t.jobs, j)
				t.scope.Booked = append(t.scope.Booked, j.Bank)
			}
		}
	}
	if m.Direct {
		t.scope.HomeSite = t.sites[0].ID
	}
	return t, nil
}

// act does what a meaning says.
func (e *Engine) act(ctx context.Context, t *talk, meaning phrase.Meaning) error {
	switch meaning.Outcome {
	case phrase.Chatter:
		if t.m.Direct || t.m.Mention {
			return e.reply(ctx, t, channel.Post{Text: say.NotUnderstood()})
		}
		return nil
	case phrase.Ask:
		return e.ask(ctx, t, *meaning.Ask)
	case phrase.Refused:
		return e.refuse(ctx, t, meaning)
	case phrase.Question:
		if meaning.Query.Kind == phrase.QueryUndo {
			return e.undo(ctx, t, meaning.Query.Seq)
		}
		return e.answer(ctx, t, *meaning.Query)
	}
	return e.record(ctx, t, meaning)
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
	return ledger.OutboxPost{Key: key, Site: t.sites[0].ID, State: ledger.PostReady, Post: p, Created: e.Now(), NotBefore: e.Now()}
}

// address is where replies to the message go: its own thread.
func (t *talk) address() channel.Address {
	thread := t.m.Thread
	if thread == "" {
		thread = t.m.ID
	}
	return channel.Address{Platform: t.m.Platform, Channel: t.m.Channel, Thread: thread}
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
	newest := map[plant.BankID]int64{}
	for i, r := range res {
		if p := b.Entries[i].Place; p.Whole() {
			newest[p] = max(newest[p], r.Seq)
		}
		for _, p := range b.Touch {
			newest[p] = max(newest[p], r.Seq)
		}
	}
	var notices []queue.Notice
	for _, p := range sortedBanks(newest) {
		notices = append(notices, queue.Notice{Bank: string(p), UpTo: newest[p]})
	}
	if len(notices) > 0 {
		if err := e.Memory.Notify(ctx, notices...); err != nil {
			e.Log.Warn("notice not queued; the sweep will find it", "error", err)
		}
	}
	if len(b.Posts) > 0 {
		if err := e.Memory.Wake(ctx, OutboxTopic); err != nil {
			e.Log.Debug("outbox not woken", "error", err)
		}
	}
	return res, nil
}

// question is a question waiting for an answer, with the message it came from.
type question struct {
	Message channel.Message
	Asking  phrase.Asking
}

// conversation names the talk of one person in one channel or thread.
func conversation(m channel.Message) string {
	return m.Platform + ":" + m.Team + ":" + m.Channel + ":" + m.Thread + ":" + m.User
}

// asking is a pending question as it is kept: choices only, since each choice
// is a whole message by itself.
type asking struct {
	Message channel.Message `json:"message"`
	Code    string          `json:"code"`
	Text    string          `json:"text"`
	Choices []phrase.Choice `json:"choices"`
}

func (e *Engine) ask(ctx context.Context, t *talk, a phrase.Asking) error {
	raw, err := json.Marshal(asking{t.m, a.Code, a.Text, a.Choices})
	if err != nil {
		return err
	}
	text := a.Text
	for _, conv := range []string{conversation(t.m), conversation(inOwnThread(t.m))} {
		if err := e.Memory.Ask(ctx, conv, raw, e.Expires); err != nil {
			e.Log.Warn("question not kept", "error", err)
			text = say.AskWithoutMemory(a) // the choices are whole messages: the person can type one
			break
		}
	}
	p := channel.Post{Text: say.NothingSaved(text)}
	for _, c := range a.Choices {
		p.Choices = append(p.Choices, channel.Choice{Label: c.Label, Action: "answer", Value: answerValue(t.m, c.Means), Keys: c.Keys})
	}
	return e.reply(ctx, t, p)
}

// inOwnThread is the message as seen by an answer typed in the thread under it.
func inOwnThread(m channel.Message) channel.Message {
	if m.Thread == "" {
		m.Thread = m.ID
	}
	return m
}

func (e *Engine) waiting(ctx context.Context, t *talk) (question, bool) {
	raw, ok, err := e.Memory.Pending(ctx, conversation(t.m))
	if err != nil || !ok {
		return question{}, false
	}
	var a asking
	if json.Unmarshal(raw, &a) != nil {
		return question{}, false
	}
	return question{a.Message, phrase.Asking{Code: a.Code, Text: a.Text, Choices: a.Choices}}, true
}

// answered acts on the choice as if it had been typed in place of the message
// that was unclear. The recorded lines carry that message's once-only key, so
// that answering twice records once.
func (e *Engine) answered(ctx context.Context, t *talk, q question, i int) error {
	e.settle(ctx, q.Message)
	return e.actOn(ctx, t, q.Message, q.Asking.Choices[i].Means)
}

// settle forgets the question a message led to.
func (e *Engine) settle(ctx context.Context, m channel.Message) {
	for _, conv := range []string{conversation(m), conversation(inOwnThread(m))} {
		raw, ok, err := e.Memory.Pending(ctx, conv)
		if err != nil || !ok {
			continue
		}
		if _, err := e.Memory.AnsweredIf(ctx, conv, raw); err != nil {
			e.Log.Debug("question not settled", "error", err)
		}
	}
}

// actOn reads text as the completed form of an earlier message, which keeps its
// time and key; the reply answers the message that completed it.
func (e *Engine) actOn(ctx context.Context, t *talk, origin channel.Message, text string) error {
	t.scope.Now = origin.At
	if t.scope.Now.IsZero() || t.scope.Now.After(e.Now()) {
		t.scope.Now = e.Now()
	}
	done := *t
	done.m.ID = t.m.ID
	meaning := phrase.Understand(text, t.scope)
	if meaning.Outcome == phrase.Entry {
		return e.recordAs(ctx, &done, meaning, origin.Key())
	}
	return e.act(ctx, &done, meaning)
}

func (e *Engine) here(ctx context.Context, m channel.Message) plant.BankID {
	raw, ok, err := e.Memory.Pending(ctx, "here:"+conversation(m))
	if err != nil || !ok {
		return ""
	}
	return plant.BankID(raw)
}

func (e *Engine) nowHere(ctx context.Context, m channel.Message, place plant.BankID) {
	for _, conv := range []string{conversation(m), conversation(inOwnThread(m))} {
		if err := e.Memory.Ask(ctx, "here:"+conv, []byte(place), e.HereFor); err != nil {
			e.Log.Debug("place of the talk not kept", "error", err)
		}
	}
}

// refuse says why not and tells the supervisors where somebody could be hurt.
func (e *Engine) refuse(ctx context.Context, t *talk, meaning phrase.Meaning) error {
	b := ledger.Batch{Posts: []ledger.OutboxPost{e.ready(t, ReplyKey(t.m), channel.Post{Text: meaning.Reply})}}
	if say.IsSafety(meaning.Code) {
		for _, s := range t.sites {
			for _, sup := range s.Supervisors {
				p := e.ready(t, "alert:"+t.m.Key()+":"+sup, channel.Post{Text: say.SafetyAlert(t.who, meaning.Code)})
				p.Post.To = channel.Address{Platform: t.m.Platform, Channel: sup}
				b.Posts = append(b.Posts, p)
			}
		}
	}
	return e.commit(ctx, b)
}

// HandlePress takes a pressed button.
func (e *Engine) HandlePress(ctx context.Context, p channel.Press) error {
	m := channel.Message{Platform: p.Platform, Team: p.Team, Channel: p.Channel, Thread: p.Thread, ID: p.ID,
		User: p.User, UserName: p.UserName, At: p.At}
	t, err := e.talk(ctx, m)
	if err != nil || t == nil {
		return err
	}
	switch p.Action {
	case "answer":
		origin, means, ok := parseAnswerValue(p.Value, m)
		if !ok {
			return e.reply(ctx, t, channel.Post{Text: say.StaleButton()})
		}
		taken, err := e.alreadyTaken(ctx, origin)
		if err != nil {
			return err
		}
		if taken {
			return e.reply(ctx, t, channel.Post{Text: say.AlreadyAnswered()})
		}
		e.settle(ctx, origin)
		return e.actOn(ctx, t, origin, means)
	case "undo":
		return e.takeBack(ctx, t, p.Value)
	case "steps-read":
		return e.stepsRead(ctx, t, p.Value)
	}
	return e.reply(ctx, t, channel.Post{Text: say.StaleButton()})
}
