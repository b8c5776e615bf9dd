package slack

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"

	"github.com/slack-go/slack"

	"clogwise/internal/channel"
)

// maxBody bounds what is read of one request; the platform's are far smaller.
const maxBody = 1 << 20

// EventsHandler takes messages, presses and commands over HTTP (the Events API),
// the other way in for those who prefer a public address to a socket. All three
// request addresses of the app may point at it. It answers 200 once h has taken
// what came, 401 to what is not signed with the signing secret or older than
// five minutes, and 503 if h did not take it, so that the platform sends it
// again. It needs no Run.
func (e *Edge) EventsHandler(h channel.Handler) (http.Handler, error) {
	if e.cfg.SigningSecret == "" {
		return nil, errors.New("slack: the Events API needs the signing secret: copy it from the app's Basic Information page")
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		e.serveEvent(w, r, h)
	}), nil
}

func (e *Edge) serveEvent(w http.ResponseWriter, r *http.Request, h channel.Handler) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		http.Error(w, "only POST", http.StatusMethodNotAllowed)
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil {
		http.Error(w, "body too large or cut short", http.StatusRequestEntityTooLarge)
		return
	}
	if !e.signed(r.Header, body) {
		http.Error(w, "signature does not match or is too old", http.StatusUnauthorized)
		return
	}
	kind, payload, err := unwrap(r.Header.Get("Content-Type"), body)
	if err != nil {
		http.Error(w, "body not understood", http.StatusBadRequest)
		return
	}
	if challenge, ok := challengeIn(payload); ok {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, _ = io.WriteString(w, challenge) // the reader may have gone
		return
	}
	ctx := r.Context()
	me, err := e.whoami(ctx)
	if err != nil {
		e.log.Warn("slack: cannot tell who the bot is, event left for the platform to send again", "error", redacted(err))
		http.Error(w, "try again", http.StatusServiceUnavailable)
		return
	}
	in, err := decode(kind, payload, me)
	if err != nil {
		e.log.Warn("slack: payload not understood", "kind", kind)
	}
	if nth := r.Header.Get("X-Slack-Retry-Num"); nth != "" {
		// The same event id, so what was taken before is only acknowledged.
		e.log.Debug("slack: sent again", "event", in.onceKey(), "nth", nth, "reason", r.Header.Get("X-Slack-Retry-Reason"))
	}
	if in.empty() {
		return
	}
	answer, err := e.handleInTurn(ctx, h, in)
	switch {
	case err != nil:
		http.Error(w, "try again", http.StatusServiceUnavailable)
	case answer != nil:
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		_ = json.NewEncoder(w).Encode(answer) // the reader may have gone
	default:
		w.WriteHeader(http.StatusOK) // empty: replies go by the Web API
	}
}

// handleInTurn handles one thing in the order of its lane and waits for the outcome.
func (e *Edge) handleInTurn(ctx context.Context, h channel.Handler, in inbound) (answer any, err error) {
	type outcome struct {
		answer any
		err    error
	}
	done := make(chan outcome, 1)
	err = e.lanes.submit(ctx, in.lane(), func() {
		answer, err := e.handle(ctx, h, in)
		done <- outcome{answer, err}
	})
	if err != nil {
		return nil, err
	}
	select {
	case o := <-done:
		return o.answer, o.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (e *Edge) signed(header http.Header, body []byte) bool {
	verifier, err := slack.NewSecretsVerifier(header, e.cfg.SigningSecret)
	if err != nil {
		return false
	}
	_, err = verifier.Write(body)
	return err == nil && verifier.Ensure() == nil
}

// unwrap finds the payload in a request and names its kind as Socket Mode does.
func unwrap(contentType string, body []byte) (kind string, payload []byte, err error) {
	media, _, err := mime.ParseMediaType(contentType)
	if err != nil {
		return "", nil, err
	}
	if media != "application/x-www-form-urlencoded" {
		return "events_api", body, nil
	}
	form, err := url.ParseQuery(string(body))
	if err != nil {
		return "", nil, err
	}
	if form.Has("payload") {
		return "interactive", []byte(form.Get("payload")), nil
	}
	fields := make(map[string]string, len(form))
	for name := range form {
		fields[name] = form.Get(name)
	}
	payload, err = json.Marshal(fields)
	return "slash_commands", payload, err
}

// challengeIn answers the platform's check of a new request address.
func challengeIn(payload []byte) (string, bool) {
	var v struct {
		Type      string `json:"type"`
		Challenge string `json:"challenge"`
	}
	err := json.Unmarshal(payload, &v)
	return v.Challenge, err == nil && v.Type == "url_verification"
}
