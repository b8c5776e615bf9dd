package slack

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"

	"clogwise/internal/channel"
)

// errPanicked stands for a panic in the handler. What was panicked with is not
// kept: it may quote the message.
var errPanicked = errors.New("slack: handler panicked")

// handle gives one inbound thing to the handler and remembers success, so that a
// resend is acknowledged at once. The memory is short and per process: what
// records once for good is the ledger's source key.
func (e *Edge) handle(ctx context.Context, h channel.Handler, in inbound) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	key := in.onceKey()
	if e.done.has(key) {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, e.cfg.HandleTimeout)
	defer cancel()
	if err := e.call(ctx, h, in); err != nil {
		// The error's own text is not logged: it may quote the message.
		e.log.Warn("slack: not handled, left for the platform to send again", "event", key, "cause", cause(ctx, err))
		return err
	}
	e.done.add(key)
	return nil
}

func (e *Edge) call(ctx context.Context, h channel.Handler, in inbound) (err error) {
	defer func() {
		if r := recover(); r != nil {
			e.log.Error("slack: handler panicked", "type", fmt.Sprintf("%T", r), "stack", string(debug.Stack()))
			err = errPanicked
		}
	}()
	name, is, err := e.person(ctx, in.user())
	if err != nil {
		return err
	}
	if in.press != nil {
		p := *in.press
		p.UserName, p.Is = name, is
		return h.HandlePress(ctx, p)
	}
	m := *in.message
	if m.At.IsZero() {
		m.At = e.cfg.Now().UTC() // a slash command carries no time
	}
	m.UserName, m.Is = name, is
	m.Text = plain(m.Text, in.bot, e.names.limited(ctx, maxNamesPerMessage))
	return h.HandleMessage(ctx, m)
}

// person is what somebody is called, and who of the register that is.
func (e *Edge) person(ctx context.Context, user string) (name string, is []string, err error) {
	if is, err = e.who.is(ctx, user); err != nil {
		return "", nil, err
	}
	if name = e.who.named(user, is); name == "" {
		name = e.names.of(ctx, user)
	}
	return name, is, nil
}

// cause names what kept a message from being handled, without its text.
func cause(ctx context.Context, err error) string {
	switch {
	case errors.Is(err, errPanicked):
		return "panic"
	case errors.Is(err, context.DeadlineExceeded) || errors.Is(ctx.Err(), context.DeadlineExceeded):
		return "timeout"
	case errors.Is(err, context.Canceled):
		return "stopping"
	}
	return "handler error"
}
