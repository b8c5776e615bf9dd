package slack_test

import (
	"bytes"
	"context"
	"errors"
	"log"
	"log/slog"
	"os"
	"strings"
	"sync"
	"testing"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

// page is a log that several goroutines may write.
type page struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (p *page) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.Write(b)
}

func (p *page) String() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

func debugLog(p *page) func(*slack.Config) {
	return func(c *slack.Config) {
		c.Log = slog.New(slog.NewTextHandler(p, &slog.HandlerOptions{Level: slog.LevelDebug}))
	}
}

// Whatever goes wrong, neither what people typed nor what we post nor a token or
// ticket gets into a log, the standard logger's included.
func TestLogsKeepSecrets(t *testing.T) { // not parallel: it borrows the standard logger
	const typed, posted = "TYPEDWORDS", "POSTEDWORDS"
	var all page
	log.SetOutput(&all)
	defer log.SetOutput(os.Stderr)

	seen := map[string]int{}
	var mu sync.Mutex
	b := start(t, soon, &recorder{
		onMessage: func(_ context.Context, m channel.Message) error {
			mu.Lock()
			defer mu.Unlock()
			seen[m.ID]++
			switch seen[m.ID] {
			case 1:
				return errors.New("cannot save " + m.Text)
			case 2:
				panic(m.Text)
			}
			return nil
		},
		onPress: func(context.Context, channel.Press) error { return errors.New("cannot take " + typed) },
	}, debugLog(&all))

	ts := b.Say(plantRoom, ana, typed)
	b.idle(t)
	if err := b.Edit(plantRoom, ts, typed+" edited"); err != nil {
		t.Fatal(err)
	}
	b.Command(plantRoom, ana, "/clogwise", typed)
	b.Event(map[string]any{"type": "message", "text": []string{typed}, "ts": 5})
	b.Event(map[string]any{"type": "odd", "text": typed})
	b.Interact(map[string]any{"type": typed, "user": typed})
	post := channel.Post{To: room(""), Text: posted, Choices: []channel.Choice{{Label: posted, Action: "answer", Value: posted}}, Files: []channel.File{{Name: posted, Data: []byte(posted)}}}
	for _, fault := range []fakeslack.Fault{{Status: 500}, {Cut: true}, {Error: "invalid_blocks"}} {
		b.Fail("chat.postMessage", fault)
		if _, err := b.edge.Send(b.ctx, post); err == nil || strings.Contains(err.Error(), posted) || strings.Contains(err.Error(), "xoxb") {
			t.Errorf("error %v", err)
		}
	}
	b.Fail("upload", fakeslack.Fault{Cut: true})
	if _, err := b.edge.Send(b.ctx, post); err == nil || strings.Contains(err.Error(), posted) || strings.Contains(err.Error(), "/upload/") {
		t.Errorf("error %v", err)
	}
	if err := b.Press(b.Posts()[0], posted, ana); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(b.SendRaw(map[string]any{"type": typed}), b.SendRaw(typed)); err != nil {
		t.Fatal(err)
	}
	b.Fail("apps.connections.open", fakeslack.Fault{Cut: true})
	sockets := b.Sockets()
	b.DropSocket()
	if err := b.WaitConnected(b.ctx, sockets+1); err != nil {
		t.Fatal(err)
	}

	text := all.String()
	for _, secret := range []string{typed, posted, fakeslack.BotToken, fakeslack.AppToken, fakeslack.Secret, "ticket"} {
		if strings.Contains(text, secret) {
			t.Errorf("the log has %q:\n%s", secret, text)
		}
	}
	for _, expected := range []string{"handler error", "handler panicked", "connection failed", "payload not understood"} {
		if !strings.Contains(text, expected) {
			t.Errorf("the log lacks %q, so this test does not test it:\n%s", expected, text)
		}
	}
}

// The platform refreshes sockets every few hours: nobody is to be woken by it.
func TestRefreshIsNoAlarm(t *testing.T) {
	t.Parallel()
	var all page
	b := start(t, fakeslack.Options{}, &recorder{}, debugLog(&all))
	for n := range 3 {
		b.Disconnect()
		if err := b.WaitConnected(b.ctx, n+2); err != nil {
			t.Fatal(err)
		}
	}
	b.DropSocket()
	if err := b.WaitConnected(b.ctx, 5); err != nil {
		t.Fatal(err)
	}
	b.Say(plantRoom, ana, "145")
	b.idle(t)
	if text := all.String(); strings.Contains(text, "WARN") || strings.Contains(text, "ERROR") {
		t.Errorf("alarm:\n%s", text)
	}
}
