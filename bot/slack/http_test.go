package slack_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

// startHTTP is start with the events coming over HTTP.
func startHTTP(t *testing.T, o fakeslack.Options, got *recorder) *bench {
	t.Helper()
	fake := fakeslack.Start(t, o)
	fake.AddUser(fakeslack.User{ID: ana, DisplayName: "Ana"})
	edge := newEdge(t, fake, func(c *slack.Config) { c.AppToken = "" })
	handler, err := edge.EventsHandler(got)
	if err != nil {
		t.Fatal(err)
	}
	web := httptest.NewServer(handler)
	t.Cleanup(web.Close)
	fake.SendEventsTo(web.URL)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return &bench{Server: fake, edge: edge, got: got, ctx: ctx}
}

func TestOverHTTP(t *testing.T) {
	t.Parallel()
	b := startHTTP(t, fakeslack.Options{}, &recorder{})
	ts := b.Say(plantRoom, ana, "ahu3 bag > 145", fakeslack.Mention())
	b.idle(t)
	if m := b.find(t, ts); m.Text != "ahu3 bag > 145" || !m.Mention || m.UserName != "Ana" || m.Team != fakeslack.Team {
		t.Errorf("message %+v", m)
	}
	if _, err := b.edge.Send(b.ctx, channel.Post{To: room(ts), Text: "?", Choices: []channel.Choice{{Label: "yes", Action: "answer", Value: "a&b"}}}); err != nil {
		t.Fatal(err)
	}
	if err := b.Press(b.Posts()[0], "yes", ana); err != nil {
		t.Fatal(err)
	}
	b.Command(plantRoom, ana, "/clogwise", "due & orders")
	b.Event(map[string]any{"type": "gauge_exploded"})
	b.idle(t)
	if got := b.got.pressed(); len(got) != 1 || got[0].Value != "a&b" || got[0].Thread != ts {
		t.Errorf("presses %+v", got)
	}
	if got := b.got.seen(); len(got) != 2 || got[1].Text != "due & orders" {
		t.Errorf("messages %+v", got)
	}
}

func TestOverHTTPComesAgainUntilHandled(t *testing.T) {
	t.Parallel()
	var tries atomic.Int32
	b := startHTTP(t, fakeslack.Options{ResendAfter: 50 * time.Millisecond}, &recorder{onMessage: func(context.Context, channel.Message) error {
		if tries.Add(1) == 1 {
			return errLedger
		}
		return nil
	}})
	b.LoseAcks(1)
	b.Say(plantRoom, ana, "145")
	b.idle(t)
	if n := tries.Load(); n != 2 {
		t.Errorf("handler called %d times, want 2: refused once, and a lost answer costs nothing", n)
	}
}

func TestOverHTTPWhileThePlatformIsDown(t *testing.T) {
	t.Parallel()
	b := startHTTP(t, fakeslack.Options{ResendAfter: 50 * time.Millisecond}, &recorder{})
	b.Fail("auth.test", fakeslack.Fault{Status: 503})
	ts := b.Say(plantRoom, ana, "145")
	b.idle(t)
	b.find(t, ts)
}

func TestHTTPRefuses(t *testing.T) {
	t.Parallel()
	fake := fakeslack.Start(t, fakeslack.Options{})
	got := &recorder{}
	handler, err := newEdge(t, fake).EventsHandler(got)
	if err != nil {
		t.Fatal(err)
	}
	const challenge = `{"type":"url_verification","token":"x","challenge":"abc123"}`
	const event = `{"type":"event_callback","event_id":"Ev1","event":{"type":"message","user":"U0ANA","text":"145","ts":"1700000000.000100","channel":"C0PLANT"}}`
	now := time.Now()
	for name, c := range map[string]struct {
		method, body, contentType string
		sign                      func(*http.Request, []byte)
		status                    int
		answer                    string
	}{
		"address check":      {body: challenge, status: 200, answer: "abc123"},
		"event":              {body: event, status: 200},
		"get":                {method: "GET", status: 405},
		"unsigned":           {body: event, status: 401, sign: func(*http.Request, []byte) {}},
		"signed for another": {body: event, status: 401, sign: func(r *http.Request, _ []byte) { fakeslack.Sign(r, []byte("other"), now) }},
		"old":                {body: event, status: 401, sign: func(r *http.Request, b []byte) { fakeslack.Sign(r, b, now.Add(-6*time.Minute)) }},
		"from the future":    {body: event, status: 401, sign: func(r *http.Request, b []byte) { fakeslack.Sign(r, b, now.Add(6*time.Minute)) }},
		"unsigned check":     {body: challenge, status: 401, sign: func(*http.Request, []byte) {}},
		"no content type":    {body: event, contentType: "-", status: 400},
		"broken form":        {body: "payload=%zz", contentType: "application/x-www-form-urlencoded", status: 400},
		"not JSON":           {body: "145 Pa", status: 200}, // it would read no better the next time
		"too large":          {body: strings.Repeat("x", 2<<20), status: 413},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			method := c.method
			if method == "" {
				method = http.MethodPost
			}
			req := httptest.NewRequestWithContext(t.Context(), method, "/slack/events", strings.NewReader(c.body))
			req.Header.Set("Content-Type", "application/json")
			if c.contentType == "-" {
				req.Header.Del("Content-Type")
			} else if c.contentType != "" {
				req.Header.Set("Content-Type", c.contentType)
			}
			if c.sign == nil {
				c.sign = func(r *http.Request, b []byte) { fakeslack.Sign(r, b, now) }
			}
			c.sign(req, []byte(c.body))
			w := httptest.NewRecorder()
			handler.ServeHTTP(w, req)
			if w.Code != c.status || c.answer != "" && w.Body.String() != c.answer {
				t.Errorf("%d %q, want %d %q", w.Code, w.Body, c.status, c.answer)
			}
		})
	}
	t.Cleanup(func() {
		if n := len(got.seen()); n != 1 {
			t.Errorf("%d messages handled, want the one that was in order", n)
		}
	})
}

func TestEventsHandlerNeedsASecret(t *testing.T) {
	t.Parallel()
	fake := fakeslack.Start(t, fakeslack.Options{})
	_, err := newEdge(t, fake, func(c *slack.Config) { c.SigningSecret = "" }).EventsHandler(&recorder{})
	if err == nil || !strings.Contains(err.Error(), "Basic Information") {
		t.Errorf("error %v", err)
	}
}

// A sender that goes away while its message waits for its turn does not block
// the lane or lose the message.
func TestHTTPSenderGoesAway(t *testing.T) {
	t.Parallel()
	fake := fakeslack.Start(t, fakeslack.Options{})
	entered, release := make(chan struct{}, 2), make(chan struct{})
	got := &recorder{onMessage: func(context.Context, channel.Message) error {
		entered <- struct{}{}
		<-release
		return nil
	}}
	handler, err := newEdge(t, fake).EventsHandler(got)
	if err != nil {
		t.Fatal(err)
	}
	post := func(ctx context.Context, ts string) int {
		body := []byte(`{"event_id":"Ev` + ts + `","event":{"type":"message","user":"U0ANA","text":"145","ts":"` + ts + `","channel":"C0PLANT"}}`)
		req := httptest.NewRequestWithContext(ctx, http.MethodPost, "/", io.NopCloser(bytes.NewReader(body)))
		req.Header.Set("Content-Type", "application/json")
		fakeslack.Sign(req, body, time.Now())
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, req)
		return w.Code
	}
	first := make(chan int, 1)
	go func() { first <- post(t.Context(), "1700000000.000100") }()
	<-entered
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if code := post(ctx, "1700000000.000200"); code != http.StatusServiceUnavailable {
		t.Errorf("answer %d to one who left", code)
	}
	close(release)
	if code := <-first; code != http.StatusOK {
		t.Errorf("answer %d to the first", code)
	}
	if code := post(t.Context(), "1700000000.000200"); code != http.StatusOK {
		t.Errorf("answer %d to the resend", code)
	}
	if n := len(got.seen()); n != 2 {
		t.Errorf("%d handled, want 2", n)
	}
}
