package slack_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

const (
	plantRoom = "C0PLANT"
	ana       = "U0ANA"
)

// recorder is a handler that keeps what it is given.
type recorder struct {
	mu        sync.Mutex
	messages  []channel.Message
	presses   []channel.Press
	onMessage func(ctx context.Context, m channel.Message) error
	onPress   func(ctx context.Context, p channel.Press) error
}

func (r *recorder) HandleMessage(ctx context.Context, m channel.Message) error {
	if r.onMessage != nil {
		if err := r.onMessage(ctx, m); err != nil {
			return err
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.messages = append(r.messages, m)
	return nil
}

func (r *recorder) HandlePress(ctx context.Context, p channel.Press) error {
	if r.onPress != nil {
		if err := r.onPress(ctx, p); err != nil {
			return err
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.presses = append(r.presses, p)
	return nil
}

func (r *recorder) seen() []channel.Message {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]channel.Message(nil), r.messages...)
}

func (r *recorder) pressed() []channel.Press {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]channel.Press(nil), r.presses...)
}

// bench is one workspace with one edge running in it.
type bench struct {
	*fakeslack.Server
	edge *slack.Edge
	got  *recorder
	ctx  context.Context
}

func newEdge(tb testing.TB, fake *fakeslack.Server, alter ...func(*slack.Config)) *slack.Edge {
	tb.Helper()
	cfg := slack.Config{
		BotToken: fakeslack.BotToken, AppToken: fakeslack.AppToken,
		SigningSecret: fakeslack.Secret, APIURL: fake.APIURL(),
	}
	for _, a := range alter {
		a(&cfg)
	}
	edge, err := slack.New(cfg)
	if err != nil {
		tb.Fatal(err)
	}
	return edge
}

// start runs an edge in a fresh workspace until the test ends.
func start(tb testing.TB, o fakeslack.Options, got *recorder, alter ...func(*slack.Config)) *bench {
	tb.Helper()
	fake := fakeslack.Start(tb, o)
	fake.AddUser(fakeslack.User{ID: ana, Name: "ana.t", RealName: "Ana Tester", DisplayName: "Ana"})
	edge := newEdge(tb, fake, alter...)
	ctx, cancel := context.WithTimeout(tb.Context(), time.Minute)
	finished := make(chan error, 1)
	go func() { finished <- edge.Run(ctx, got) }()
	tb.Cleanup(func() {
		cancel()
		edge.Stop()
		if err := <-finished; err != nil {
			tb.Errorf("Run: %v", err)
		}
	})
	b := &bench{Server: fake, edge: edge, got: got, ctx: ctx}
	if err := fake.WaitConnected(ctx, 1); err != nil {
		tb.Fatal(err)
	}
	return b
}

// idle waits until everything said so far is acknowledged.
func (b *bench) idle(tb testing.TB) {
	tb.Helper()
	if err := b.WaitIdle(b.ctx); err != nil {
		tb.Fatal(err)
	}
}

func TestMessageIn(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	ts := b.Say(plantRoom, ana, "ahu3 bag > 145 pa")
	b.idle(t)
	got := b.got.seen()
	if len(got) != 1 {
		t.Fatalf("handled %d messages, want 1", len(got))
	}
	m := got[0]
	if m.ID != ts || m.Text != "ahu3 bag > 145 pa" || m.User != ana || m.UserName != "Ana" ||
		m.Channel != plantRoom || m.Team != fakeslack.Team || m.Direct || m.Mention || m.Thread != "" {
		t.Errorf("message %+v", m)
	}
}

func TestPostOut(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{})
	id, err := b.edge.Send(b.ctx, channel.Post{To: channel.Address{Channel: plantRoom}, Text: "a < b & c > d @channel <!here>"})
	if err != nil {
		t.Fatal(err)
	}
	b.idle(t)
	posts := b.Posts()
	if len(posts) != 1 || posts[0].TS != id || posts[0].Text != "a < b & c > d @channel <!here>" {
		t.Fatalf("posts %+v", posts)
	}
	if posts[0].Raw != "a &lt; b &amp; c &gt; d @channel &lt;!here&gt;" {
		t.Errorf("raw %q", posts[0].Raw)
	}
	if got := b.got.seen(); len(got) != 0 {
		t.Errorf("the bot's own post was handled: %+v", got)
	}
}
