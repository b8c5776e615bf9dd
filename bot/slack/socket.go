package slack

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log"
	"sync"
	"time"

	"github.com/slack-go/slack"
	"github.com/slack-go/slack/socketmode"

	"clogwise/internal/channel"
)

const (
	// maxBackoff bounds the wait between attempts to connect. The library's own
	// grows to five minutes, after which the platform has given up resending.
	maxBackoff = 30 * time.Second
	// ackTimeout bounds the wait for room in the library's queue of
	// acknowledgements while no socket is open to write them to.
	ackTimeout = 2 * time.Second
)

// errStartOver asks for a fresh client, with its back-off reset.
var errStartOver = errors.New("slack: start over")

// Run takes messages and presses over Socket Mode and hands them to h until ctx
// is done or Stop is called; it then returns nil. It reconnects by itself. An
// error means that trying on is useless: a token refused, another workspace.
// After it has returned Run may be called again.
func (e *Edge) Run(ctx context.Context, h channel.Handler) error {
	if e.cfg.AppToken == "" {
		return errors.New("slack: Socket Mode needs an app token (xapp-…): make an App-Level Token with connections:write under Basic Information")
	}
	ctx, end, err := e.begin(ctx)
	if err != nil {
		return err
	}
	defer end()

	for wait := 100 * time.Millisecond; ; wait = min(2*wait, maxBackoff) {
		err := e.serve(ctx, h)
		switch {
		case ctx.Err() != nil:
			return nil
		case isFatal(err):
			return explain(err)
		case errors.Is(err, errStartOver):
			wait = maxBackoff
		}
		e.log.Warn("slack: not connected", "error", redacted(err), "retry_in", wait)
		if !sleep(ctx, wait) {
			return nil
		}
	}
}

// serve runs one client of the library until it gives up.
func (e *Edge) serve(ctx context.Context, h channel.Handler) error {
	me, err := e.whoami(ctx)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	client := socketmode.New(e.api,
		socketmode.OptionPingInterval(e.cfg.PingTimeout),
		socketmode.OptionLog(log.New(io.Discard, "", 0)),
	)
	s := &session{edge: e, client: client, handler: h, me: me}
	defer s.jobs.Wait()
	defer cancel() // jobs that wait for their turn see it and leave

	finished := make(chan error, 1)
	go func() { finished <- client.RunContext(ctx) }()
	for {
		select {
		case evt := <-client.Events:
			if err := s.take(ctx, evt); err != nil {
				cancel()
				<-finished
				return err
			}
		case err := <-finished:
			return err
		}
	}
}

// session is what goes on over one client of the library.
type session struct {
	edge    *Edge
	client  *socketmode.Client
	handler channel.Handler
	me      identity
	jobs    sync.WaitGroup
}

// take deals with one event of the library. An error ends the session.
func (s *session) take(ctx context.Context, evt socketmode.Event) error {
	log := s.edge.log
	switch evt.Type {
	case socketmode.EventTypeEventsAPI, socketmode.EventTypeInteractive, socketmode.EventTypeSlashCommand:
		s.accept(ctx, *evt.Request)
	case socketmode.EventTypeErrorBadMessage:
		// Events that the library does not know end here, unacknowledged.
		var req socketmode.Request
		bad, ok := evt.Data.(*socketmode.ErrorBadMessage)
		if !ok || json.Unmarshal(bad.Message, &req) != nil || req.EnvelopeID == "" {
			log.Warn("slack: frame not understood")
			return nil
		}
		s.accept(ctx, req)
	case socketmode.EventTypeHello:
		log.Info("slack: connected", "team", s.me.Team, "bot", s.me.User)
	case socketmode.EventTypeConnectionError:
		trouble, ok := evt.Data.(*slack.ConnectionErrorEvent)
		if !ok || ctx.Err() != nil {
			return nil
		}
		if isFatal(trouble.ErrorObj) {
			return trouble.ErrorObj
		}
		log.Warn("slack: connection failed", "attempt", trouble.Attempt, "error", redacted(trouble.ErrorObj), "retry_in", trouble.Backoff)
		if _, limited := errors.AsType[*slack.RateLimitedError](trouble.ErrorObj); trouble.Backoff > maxBackoff && !limited {
			return errStartOver
		}
	case socketmode.EventTypeErrorWriteFailed:
		log.Debug("slack: acknowledgement not written, the event will come again")
	default:
		// connecting, connected, incoming_error: the platform closes and
		// refreshes sockets as a matter of course.
		log.Debug("slack: socket", "event", string(evt.Type))
	}
	return nil
}

// accept hands an envelope's content to a worker, in order within its thread,
// and acknowledges when it has been handled.
func (s *session) accept(ctx context.Context, req socketmode.Request) {
	in, err := decode(req.Type, req.Payload, s.me)
	if err != nil {
		// It will not read better the next time.
		s.edge.log.Warn("slack: payload not understood", "envelope", req.EnvelopeID, "kind", req.Type)
	}
	s.jobs.Add(1)
	job := func() {
		defer s.jobs.Done()
		// What is not for the handler is acknowledged from here as well: an
		// acknowledgement may have to wait, and the reader of the socket must not.
		if in.empty() {
			s.ack(ctx, req.EnvelopeID, nil)
		} else if answer, err := s.edge.handle(ctx, s.handler, in); err == nil {
			s.ack(ctx, req.EnvelopeID, answer)
		}
	}
	if s.edge.lanes.submit(ctx, in.lane(), job) != nil {
		s.jobs.Done()
	}
}

// ack answers empty but for faults in a form: replies go by the Web API, whose
// answer says whether they arrived. A lost acknowledgement only makes the event
// come again.
func (s *session) ack(ctx context.Context, envelope string, answer any) {
	ctx, cancel := context.WithTimeout(ctx, ackTimeout)
	defer cancel()
	if err := s.client.AckCtx(ctx, envelope, answer); err != nil {
		s.edge.log.Debug("slack: acknowledgement not sent, the event will come again", "envelope", envelope)
	}
}

// sleep waits, and reports false if ctx ended first.
func sleep(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
