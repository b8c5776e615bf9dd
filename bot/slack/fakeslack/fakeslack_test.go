package fakeslack_test

import (
	"context"
	"errors"
	"net/http"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/slack-go/slack"

	"clogwise/bot/slack/fakeslack"
)

// client is the library's client, which must not be able to tell.
func client(s *fakeslack.Server) *slack.Client {
	return slack.New(fakeslack.BotToken, slack.OptionAPIURL(s.APIURL()), slack.OptionAppLevelToken(fakeslack.AppToken))
}

// envelope is a frame as the bot sees it.
type envelope struct {
	Type    string `json:"type"`
	ID      string `json:"envelope_id"`
	Attempt int    `json:"retry_attempt"`
	Reason  string `json:"reason"`
	Payload struct {
		EventID string `json:"event_id"`
		Event   struct {
			Type string `json:"type"`
			Text string `json:"text"`
			TS   string `json:"ts"`
		} `json:"event"`
	} `json:"payload"`
}

type wire struct {
	*testing.T
	conn *websocket.Conn
}

func dial(t *testing.T, s *fakeslack.Server) wire {
	t.Helper()
	_, address, err := client(s).StartSocketModeContext(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	conn, resp, err := websocket.DefaultDialer.DialContext(t.Context(), address, http.Header{"Origin": {"https://platform.example"}})
	if err != nil {
		t.Fatal(err)
	}
	_ = resp.Body.Close()
	t.Cleanup(func() { _ = conn.Close() })
	if _, resp, err := websocket.DefaultDialer.DialContext(t.Context(), address, nil); err == nil {
		t.Error("an address opened two sockets")
	} else if resp != nil {
		_ = resp.Body.Close()
	}
	w := wire{t, conn}
	if hello := w.read(); hello.Type != "hello" {
		t.Fatalf("first frame %+v, want hello", hello)
	}
	return w
}

func (w wire) read() (e envelope) {
	w.Helper()
	if err := w.conn.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		w.Fatal(err)
	}
	if err := w.conn.ReadJSON(&e); err != nil {
		w.Fatal(err)
	}
	return e
}

func (w wire) ack(e envelope) {
	w.Helper()
	if err := w.conn.WriteJSON(map[string]string{"envelope_id": e.ID}); err != nil {
		w.Fatal(err)
	}
}

func TestEnvelopesInOrderAndAgainUntilAcknowledged(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	s := fakeslack.Start(t, fakeslack.Options{ResendAfter: time.Hour, Clock: func() time.Time { return clock }})
	first := s.Say("C1", "U1", "a < b")
	second := s.Say("C1", "U1", "two")
	if first == second || first != "1772434800.000000" || second != "1772434800.000001" {
		t.Errorf("timestamps %s, %s", first, second)
	}

	w := dial(t, s)
	one, two := w.read(), w.read()
	if one.Payload.Event.Text != "a &lt; b" || one.Payload.Event.TS != first || two.Payload.Event.Text != "two" {
		t.Errorf("envelopes %+v, %+v", one, two)
	}
	w.ack(one)
	if err := s.WaitAcks(t.Context(), 1); err != nil {
		t.Fatal(err)
	}

	s.Disconnect()
	if bye := w.read(); bye.Type != "disconnect" || bye.Reason != "refresh_requested" {
		t.Errorf("frame %+v", bye)
	}
	w = dial(t, s)
	again := w.read()
	if again.Payload.EventID != two.Payload.EventID || again.ID == two.ID || again.Attempt != 1 {
		t.Errorf("resend %+v of %+v", again, two)
	}
	s.LoseAcks(1)
	w.ack(again)
	if err := s.WaitAcks(t.Context(), 2); err != nil {
		t.Fatal(err)
	}
	if s.Unacked() != 1 {
		t.Error("a lost acknowledgement counted")
	}
	w.ack(again)
	if err := s.WaitIdle(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func TestResendWithoutReconnect(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{ResendAfter: 10 * time.Millisecond})
	w := dial(t, s)
	s.Say("C1", "U1", "one")
	one, again := w.read(), w.read()
	if again.Payload.EventID != one.Payload.EventID || again.ID == one.ID || again.Attempt != 1 {
		t.Errorf("resend %+v of %+v", again, one)
	}
	w.ack(again)
	if err := s.WaitIdle(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.Command("C1", "U1", "/clogwise", "due")
	w.read()
	if err := s.WaitIdle(t.Context()); err != nil {
		t.Fatal(err)
	}
	if s.Failed() != 1 {
		t.Error("a command is not resent, it fails")
	}
}

func TestPings(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{PingEvery: time.Millisecond})
	w := dial(t, s)
	pings := 0
	w.conn.SetPingHandler(func(string) error {
		if pings++; pings == 3 {
			return errors.New("enough")
		}
		return nil
	})
	var e envelope
	if err := w.conn.ReadJSON(&e); err == nil || pings != 3 {
		t.Errorf("%d pings, %v", pings, err)
	}
}

func TestWebAPI(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{})
	api, ctx := client(s), t.Context()

	where, ts, err := api.PostMessageContext(ctx, "U1", slack.MsgOptionText("one", false))
	if err != nil || where != "D1" {
		t.Fatalf("posted in %q, %v", where, err)
	}
	if _, _, _, err := api.UpdateMessageContext(ctx, where, ts, slack.MsgOptionText("two", false)); err != nil {
		t.Fatal(err)
	}
	if p := s.Posts()[0]; p.Text != "two" || p.Updated != 1 {
		t.Errorf("post %+v", p)
	}
	var answer slack.SlackErrorResponse
	if _, _, _, err := api.UpdateMessageContext(ctx, where, "1.2", slack.MsgOptionText("two", false)); !errors.As(err, &answer) || answer.Err != "message_not_found" {
		t.Errorf("update of nothing: %v", err)
	}
	modal := slack.ModalViewRequest{Type: slack.VTModal, Title: slack.NewTextBlockObject(slack.PlainTextType, "Round", false, false)}
	if _, err := api.OpenViewContext(ctx, "trigger", modal); !errors.As(err, &answer) || answer.Err != "invalid_trigger_id" {
		t.Errorf("a form without a press: %v", err)
	}
	home := slack.HomeTabViewRequest{Type: slack.VTHomeTab, Blocks: slack.Blocks{BlockSet: []slack.Block{slack.NewHeaderBlock(modal.Title)}}}
	if _, err := api.PublishViewContext(ctx, slack.PublishViewContextRequest{UserID: "U1", View: home}); err != nil {
		t.Error(err)
	}
	if v, err := s.WaitHome(ctx, "U1", ""); err != nil || v.Text != "Round" {
		t.Errorf("home tab %+v, %v", v, err)
	}
	if _, err := api.GetUserInfoContext(ctx, "U9"); !errors.As(err, &answer) || answer.Err != "user_not_found" {
		t.Errorf("unknown person: %v", err)
	}
	if _, err := slack.New("xoxb-other", slack.OptionAPIURL(s.APIURL())).AuthTestContext(ctx); !errors.As(err, &answer) || answer.Err != "invalid_auth" {
		t.Errorf("another token: %v", err)
	}
	auth, err := api.AuthTestContext(ctx)
	if err != nil || auth.TeamID != fakeslack.Team || auth.Header.Get("X-OAuth-Scopes") != fakeslack.AllScopes {
		t.Errorf("auth.test %+v, %v", auth, err)
	}
	for _, c := range s.Calls("") {
		if c.Form.Has("token") {
			t.Errorf("%s kept a token", c.Method)
		}
	}
}

func TestFaults(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{})
	api, ctx := client(s), t.Context()
	post := func(ctx context.Context) error {
		_, _, err := api.PostMessageContext(ctx, "C1", slack.MsgOptionText("x", false))
		return err
	}

	s.Fail("chat.postMessage", fakeslack.Fault{Status: 429, RetryAfter: 1500 * time.Millisecond, Times: 2})
	for range 2 {
		if limit, ok := errors.AsType[*slack.RateLimitedError](post(ctx)); !ok || limit.RetryAfter != 2*time.Second {
			t.Errorf("rate limit %+v", limit)
		}
	}
	if err := post(ctx); err != nil {
		t.Errorf("after the limit: %v", err)
	}

	s.Fail("chat.postMessage", fakeslack.Fault{CutAfter: true})
	if post(ctx) == nil || len(s.Posts()) != 2 {
		t.Errorf("%d posts: the answer should be lost, not the post", len(s.Posts()))
	}

	s.Fail("chat.postMessage", fakeslack.Fault{Hold: make(chan struct{})})
	short, cancel := context.WithTimeout(ctx, 20*time.Millisecond)
	defer cancel()
	if err := post(short); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("slow answer: %v", err)
	}
}

func TestResponseURL(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{})
	w := dial(t, s)
	s.Command("C1", "U1", "/clogwise", "due")
	var frame struct {
		Payload struct {
			ResponseURL string `json:"response_url"`
		} `json:"payload"`
	}
	if err := w.conn.ReadJSON(&frame); err != nil {
		t.Fatal(err)
	}
	_, _, err := client(s).PostMessageContext(t.Context(), "C1", slack.MsgOptionText("nothing due", false),
		slack.MsgOptionResponseURL(frame.Payload.ResponseURL, slack.ResponseTypeEphemeral))
	if err != nil {
		t.Fatal(err)
	}
	if p := s.Posts()[0]; p.Text != "nothing due" || p.Via != "response_url" {
		t.Errorf("post %+v", p)
	}
}

func TestWaitEndsWithItsContext(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.WaitPost(ctx, func(fakeslack.Post) bool { return true }); !errors.Is(err, context.Canceled) {
		t.Errorf("WaitPost: %v", err)
	}
	s.Close()
	s.Close()
}

// Two processes of one app are connected: when the one that gets the events goes,
// the other gets what that one did not acknowledge.
func TestAnotherSocketTakesOver(t *testing.T) {
	t.Parallel()
	s := fakeslack.Start(t, fakeslack.Options{ResendAfter: time.Hour, PingEvery: -1})
	first, second := dial(t, s), dial(t, s)
	s.Say("C1", "U1", "ahu3 bag 145pa")
	lost := second.read()
	if err := second.conn.Close(); err != nil {
		t.Fatal(err)
	}
	again := first.read()
	if again.Attempt != 1 || again.ID == lost.ID {
		t.Errorf("attempt %d under %s after %s; want it sent again under a new envelope", again.Attempt, again.ID, lost.ID)
	}
	first.ack(again)
	if err := s.WaitIdle(t.Context()); err != nil {
		t.Error(err)
	}
}
