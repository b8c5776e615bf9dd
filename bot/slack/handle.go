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
// records once for good is the ledger's source key. The answer, if any, goes with
// the acknowledgement: a form that is handed in shows what is wrong with it.
func (e *Edge) handle(ctx context.Context, h channel.Handler, in inbound) (answer any, err error) {
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	key := in.onceKey()
	if e.done.has(key) {
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, e.cfg.HandleTimeout)
	defer cancel()
	if answer, err = e.call(ctx, h, in); err != nil {
		// The error's own text is not logged: it may quote the message.
		e.log.Warn("slack: not handled, left for the platform to send again", "event", key, "cause", cause(ctx, err))
		return nil, err
	}
	if answer == nil {
		e.done.add(key)
	}
	return answer, nil
}

func (e *Edge) call(ctx context.Context, h channel.Handler, in inbound) (answer any, err error) {
	defer func() {
		if r := recover(); r != nil {
			e.log.Error("slack: handler panicked", "type", fmt.Sprintf("%T", r), "stack", string(debug.Stack()))
			err = errPanicked
		}
	}()
	name, is, err := e.person(ctx, in.user())
	if err != nil {
		return nil, err
	}
	forms, _ := h.(channel.FormHandler)
	switch {
	case in.press != nil:
		p := *in.press
		p.UserName, p.Is = name, is
		return nil, e.pressed(ctx, h, forms, p, in.trigger)
	case in.submit != nil && forms != nil:
		s := *in.submit
		s.From.UserName, s.From.Is, s.From.At = name, is, e.cfg.Now().UTC()
		return e.submitted(ctx, forms, s)
	case in.home != nil && forms != nil:
		m := *in.home
		m.UserName, m.Is, m.At = name, is, e.cfg.Now().UTC()
		return nil, e.showPage(ctx, forms, m)
	case in.message != nil:
		m := *in.message
		if m.At.IsZero() {
			m.At = e.cfg.Now().UTC() // a slash command carries no time
		}
		m.UserName, m.Is, m.Files = name, is, e.dropped(in.files)
		m.Text = plain(m.Text, in.bot, e.names.limited(ctx, maxNamesPerMessage))
		return nil, e.said(ctx, h, forms, m, in.trigger)
	}
	return nil, nil
}

// said hands a message over. A command that asks for a form gets it at once.
func (e *Edge) said(ctx context.Context, h channel.Handler, forms channel.FormHandler, m channel.Message, trigger string) error {
	if trigger != "" && forms != nil {
		f, err := forms.FormFor(ctx, m)
		if err != nil {
			return err
		}
		if f != nil {
			return e.showForm(ctx, trigger, *f, formOrigin{Channel: m.Channel})
		}
	}
	return h.HandleMessage(ctx, m)
}

func (e *Edge) pressed(ctx context.Context, h channel.Handler, forms channel.FormHandler, p channel.Press, trigger string) error {
	if p.Action == channel.ActionForm && trigger != "" && forms != nil {
		f, err := forms.OpenForm(ctx, p)
		if err != nil {
			return err
		}
		if f != nil {
			return e.showForm(ctx, trigger, *f, formOrigin{Channel: p.Channel, Thread: p.Thread})
		}
	}
	return h.HandlePress(ctx, p)
}

func (e *Edge) submitted(ctx context.Context, forms channel.FormHandler, s channel.Submission) (answer any, err error) {
	faults, err := forms.SubmitForm(ctx, s)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return fieldFaults(faults), nil
	}
	if s.From.Channel == s.From.User { // from the home tab, which says what stands now
		if err := e.showPage(ctx, forms, s.From); err != nil {
			e.log.Debug("slack: home tab not refreshed", "error", err)
		}
	}
	return nil, nil
}

func (e *Edge) showPage(ctx context.Context, forms channel.FormHandler, m channel.Message) error {
	p, err := forms.Page(ctx, m)
	if err != nil {
		return err
	}
	return e.publish(ctx, m.User, *p)
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
