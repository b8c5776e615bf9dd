package bot

import (
	"context"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// question is a question waiting for an answer. Each choice is a whole message
// by itself, said in place of Message. It is kept twice: in the Memory for an
// answer that is typed, and beside the post in the outbox for one that is
// pressed, which works after a restart and is too long for a button's value.
type question struct {
	Message channel.Message `json:"message"` // that was unclear
	Code    string          `json:"code"`
	Text    string          `json:"text"`
	Choices []phrase.Choice `json:"choices"`

	Here plant.BankID `json:"here,omitempty"` // what the talk was about when it was asked

	Asked   time.Time  `json:"asked,omitzero"`
	Since   int        `json:"since,omitempty"`   // messages of the person since that did not answer it
	Earlier []question `json:"earlier,omitempty"` // of the same person that wait still, oldest first

	raw []byte // as kept in the Memory
}

func (q question) asking() phrase.Asking {
	return phrase.Asking{Code: q.Code, Text: q.Text, Choices: q.Choices}
}

// ask asks back about an origin that was unclear.
func (e *Engine) ask(ctx context.Context, t *talk, a phrase.Asking, origin channel.Message) error {
	q := question{Message: origin, Code: a.Code, Text: a.Text, Choices: a.Choices, Here: t.scope.Here, Asked: e.Now()}
	raw, err := json.Marshal(q)
	if err != nil {
		return err
	}
	text := a.Text
	if len(a.Choices) > 0 {
		if err := e.keepQuestion(ctx, append(conversations(t.m), conversations(origin)...), q); err != nil {
			e.Log.Warn("question not kept", "error", err)
			text = say.AskWithoutMemory(t.in(), a) // the choices are whole messages: the person can type one
		}
	}
	p := e.ready(t, ReplyKey(t.m), channel.Post{Text: say.NothingSaved(t.in(), text)})
	p.Recipe = raw
	for i, c := range a.Choices {
		p.Post.Choices = append(p.Post.Choices, channel.Choice{Label: c.Label, Action: "answer", Value: answerValue(p.Key, i), Keys: c.Keys})
	}
	return e.commit(ctx, ledger.Batch{Posts: []ledger.OutboxPost{p}})
}

// waiting is the question that waits in the talk of a message.
func (e *Engine) waiting(ctx context.Context, m channel.Message) (question, bool) {
	raw, ok := e.kept(ctx, conversation(m))
	if !ok {
		return question{}, false
	}
	q := question{raw: raw}
	if json.Unmarshal(raw, &q) != nil {
		return question{}, false
	}
	return q, true
}

// answered acts on the choice as if it had been typed in place of the message
// that was unclear. The recorded lines carry that message's once-only key, so
// that answering twice records once. The question is settled after that: when
// nothing could be recorded, the same answer comes again and finds it.
func (e *Engine) answered(ctx context.Context, t *talk, q question, i int) error {
	if err := e.actOn(ctx, t, q, q.Choices[i].Means); err != nil {
		return err
	}
	e.drop(ctx, append(conversations(q.Message), conversation(t.m)), q.same)
	return e.stillOpen(ctx, t, q.Message)
}

// settle forgets the question that a message led to, if it waits still.
func (e *Engine) settle(ctx context.Context, m channel.Message) {
	e.drop(ctx, conversations(m), func(q question) bool { return q.Message.Key() == m.Key() })
}

// actOn reads text as the completed form of an earlier message, which keeps its
// time, key and place; the reply answers the message that completed it.
func (e *Engine) actOn(ctx context.Context, t *talk, q question, text string) error {
	origin := q.Message
	t.text = text
	t.scope.Here = q.Here // and not what the talk has come to since
	if said, ok := strings.CutSuffix(text, sureTail); ok {
		t.sure, text = true, said
	}
	t.scope.Now = e.timeOf(origin)
	if origin.Change == channel.Edited {
		return e.replace(ctx, t, text, origin)
	}
	if meaning, ok := t.endOfWork(text); ok {
		return e.act(ctx, t, meaning, origin)
	}
	return e.act(ctx, t, phrase.Understand(text, t.scope), origin)
}

// answerValue is what a button carries: the post it is under, and which choice.
func answerValue(postKey string, choice int) string { return strconv.Itoa(choice) + "@" + postKey }

// choiceOf finds the question and the choice of a button; ok is false when it
// means nothing any more.
func (e *Engine) choiceOf(ctx context.Context, value string) (q question, i int, ok bool, err error) {
	n, key, cut := strings.Cut(value, "@")
	i, convErr := strconv.Atoi(n)
	if !cut || convErr != nil {
		return q, 0, false, nil
	}
	post, err := e.Store.Post(ctx, key)
	if errors.Is(err, ledger.ErrNotFound) {
		return q, 0, false, nil
	}
	if err != nil {
		return q, 0, false, err
	}
	if json.Unmarshal(post.Recipe, &q) != nil || i < 0 || i >= len(q.Choices) {
		return q, 0, false, nil
	}
	return q, i, true, nil
}

// HandlePress takes a pressed button.
func (e *Engine) HandlePress(ctx context.Context, p channel.Press) error {
	m := pressed(p)
	t, err := e.talk(ctx, m)
	if err != nil || t == nil {
		return err
	}
	if done, err := e.replied(ctx, m); err != nil || done {
		return err
	}
	switch p.Action {
	case "answer":
		return e.pressedAnswer(ctx, t, p.Value)
	case "undo":
		return e.takeBack(ctx, t, p.Value)
	case "confirm":
		if seq, err := strconv.ParseInt(p.Value, 10, 64); err == nil {
			return e.confirmSwap(ctx, t, seq)
		}
	case "steps-read":
		return e.stepsRead(ctx, t, p.Value)
	case actionImport:
		return e.imported(ctx, t, p.Value)
	case channel.ActionForm:
		return e.formBarred(ctx, t, p.Value)
	}
	return e.hint(ctx, t, say.StaleButton(t.in()))
}

func (e *Engine) pressedAnswer(ctx context.Context, t *talk, value string) error {
	q, i, ok, err := e.choiceOf(ctx, value)
	if err != nil {
		return err
	}
	if !ok {
		return e.hint(ctx, t, say.StaleButton(t.in()))
	}
	if q.Message.Change != channel.Edited {
		taken, err := e.alreadyTaken(ctx, q.Message)
		if err != nil {
			return err
		}
		if taken {
			return e.hint(ctx, t, say.AlreadyAnswered(t.in()))
		}
	}
	if err := e.actOn(ctx, t, q, q.Choices[i].Means); err != nil {
		return err
	}
	e.drop(ctx, append(conversations(q.Message), conversation(t.m)), q.same)
	return e.stillOpen(ctx, t, q.Message)
}

// alreadyTaken reports whether a message has led to entries before.
func (e *Engine) alreadyTaken(ctx context.Context, origin channel.Message) (bool, error) {
	made, err := e.Store.Entries(ctx, ledger.Filter{Source: origin.Key() + ":", Limit: 1})
	return len(made) > 0, err
}
