package bot

import (
	"context"
	"errors"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
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

const (
	memoryWait = time.Second     // a message is not held up longer by a Memory that hangs
	memoryRest = 2 * time.Second // and after a failure it is left alone for a while
)

var errAway = errors.New("queue was out of reach a moment ago")

// withMemory does something with the Memory, for a short while at most. A failure rests
// it for all messages, so that none waits more than once.
func (e *Engine) withMemory(ctx context.Context, do func(context.Context) error) error {
	if time.Now().UnixNano() < e.awayUntil.Load() {
		return errAway
	}
	short, cancel := context.WithTimeout(ctx, memoryWait)
	defer cancel()
	err := do(short)
	if err != nil && ctx.Err() == nil {
		e.awayUntil.Store(time.Now().Add(memoryRest).UnixNano())
	}
	return err
}

// notify tells the worker which banks have new entries.
func (e *Engine) notify(ctx context.Context, notices []queue.Notice) {
	if len(notices) == 0 {
		return
	}
	if err := e.withMemory(ctx, func(ctx context.Context) error { return e.Memory.Notify(ctx, notices...) }); err != nil {
		e.Log.Warn("notice not queued; the sweep will find it", "error", err)
	}
}

// wake tells the deliverer that there is something to send.
func (e *Engine) wake(ctx context.Context) {
	if err := e.withMemory(ctx, func(ctx context.Context) error { return e.Memory.Wake(ctx, OutboxTopic) }); err != nil {
		e.Log.Debug("outbox not woken", "error", err)
	}
}

// keep keeps a value in every one of the conversations.
func (e *Engine) keep(ctx context.Context, prefix string, conversations []string, value []byte, ttl time.Duration) error {
	return e.withMemory(ctx, func(ctx context.Context) error {
		for _, c := range conversations {
			if err := e.Memory.Ask(ctx, prefix+c, value, ttl); err != nil {
				return err
			}
		}
		return nil
	})
}

// kept is what was kept in a conversation; nothing when it is out of reach.
func (e *Engine) kept(ctx context.Context, conversation string) (value []byte, ok bool) {
	err := e.withMemory(ctx, func(ctx context.Context) (err error) {
		value, ok, err = e.Memory.Pending(ctx, conversation)
		return err
	})
	if err != nil {
		e.Log.Debug("talk not remembered", "error", err)
		return nil, false
	}
	return value, ok
}

// forget takes a value out of the conversations if it is still the one there.
func (e *Engine) forget(ctx context.Context, conversations []string, value []byte) {
	err := e.withMemory(ctx, func(ctx context.Context) error {
		for _, c := range conversations {
			if _, err := e.Memory.AnsweredIf(ctx, c, value); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		e.Log.Debug("question not settled", "error", err)
	}
}

const herePrefix = "here:"

// here is the place the talk was about last.
func (e *Engine) here(ctx context.Context, m channel.Message) plant.BankID {
	place, _ := e.kept(ctx, herePrefix+conversation(m))
	return plant.BankID(place)
}

func (e *Engine) nowHere(ctx context.Context, m channel.Message, place plant.BankID) {
	if err := e.keep(ctx, herePrefix, conversations(m), []byte(place), e.HereFor); err != nil {
		e.Log.Debug("place of the talk not kept", "error", err)
	}
}
