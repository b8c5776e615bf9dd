package app_test

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/app"
	"clogwise/internal/config"
	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

var (
	chaosMessages = flag.Int("chaos.messages", 200, "messages of the chaos run; 2000 for the long one")
	chaosSeed     = flag.Uint64("chaos.seed", 1, "of the chaos run")
)

// chaos is a workspace in which things go wrong at random while people write.
type chaos struct {
	*testing.T
	fake  *fakeslack.Server
	cfg   config.Config
	rng   *rand.Rand
	app   *app.App
	stop  func()
	said  map[string]string // by timestamp: what was written
	count map[string]int    // of what went wrong
	calls int               // of chat.postMessage when it last was made to fail
}

func newChaos(t *testing.T) *chaos {
	t.Helper()
	cfg, err := config.Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	c := &chaos{T: t, rng: rand.New(rand.NewPCG(*chaosSeed, 0)), said: map[string]string{}, count: map[string]int{}}
	c.fake = fakeslack.Start(t, fakeslack.Options{ResendAfter: time.Second})
	cfg.Data, cfg.Ledger, cfg.HTTP.Listen = dir, filepath.Join(dir, "ledger.db"), ""
	cfg.Slack = config.Slack{BotToken: fakeslack.BotToken, AppToken: fakeslack.AppToken, APIURL: c.fake.APIURL(),
		People: []string{"Tove = " + toveID, "Maren = " + marenID}}
	cfg.Outbox.PerSecond = 0
	cfg.Worker.SweepEvery, cfg.Worker.ClaimAfter = time.Second, time.Second
	c.cfg = cfg
	c.start()
	p := demo.Portfolio()
	p.Sites = p.Sites[:1]
	p.Sites[0].Channel = room
	if err := c.app.Fill(t.Context(), p, nil, nil); err != nil {
		t.Fatal(err)
	}
	return c
}

func (c *chaos) start() {
	c.Helper()
	a, err := app.Open(context.WithoutCancel(c.Context()), c.cfg, app.Options{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		c.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(c.Context()))
	done := make(chan error, 1)
	go func() { done <- app.Run(ctx, a.Log, append(a.WorkerServices()[:2], a.SlackServices()...)...) }()
	c.app = a
	c.stop = func() {
		cancel()
		if err := <-done; err != nil {
			c.Error(err)
		}
		if err := a.Close(); err != nil {
			c.Error(err)
		}
	}
}

// mischief lets one thing go wrong.
func (c *chaos) mischief() {
	kinds := []struct {
		name string
		do   func()
	}{
		{"refresh", c.fake.Disconnect},
		{"socket cut", c.fake.DropSocket},
		{"acknowledgements lost", func() { c.fake.LoseAcks(1 + c.rng.IntN(3)) }},
		{"envelopes lost", func() { c.fake.LoseSends(1 + c.rng.IntN(3)) }},
		{"server error", func() { c.fake.Fail("chat.postMessage", fakeslack.Fault{Status: 503}) }},
		{"rate limit", func() { c.fake.Fail("chat.postMessage", fakeslack.Fault{Status: 429, RetryAfter: time.Second}) }},
		{"answer lost", func() { c.fake.Fail("chat.postMessage", fakeslack.Fault{CutAfter: true}) }},
		{"no socket", func() { c.fake.Fail("apps.connections.open", fakeslack.Fault{Status: 500}); c.fake.DropSocket() }},
		{"restart", func() { c.stop(); c.start() }},
	}
	k := kinds[c.rng.IntN(len(kinds))]
	if n := len(c.fake.Calls("chat.postMessage")); slices.Contains([]string{"server error", "rate limit", "answer lost"}, k.name) {
		if n <= c.calls {
			return // the one before has yet to strike: a row of them would be an outage of hours
		}
		c.calls = n
	}
	c.count[k.name]++
	k.do()
}

// TestChaos writes many readings while sockets break, acknowledgements are lost,
// the platform fails and the program starts anew: every message acknowledged is
// recorded once, and every reply is delivered.
func TestChaos(t *testing.T) {
	t.Parallel()
	messages := *chaosMessages
	if testing.Short() {
		messages = min(messages, 60)
	}
	c := newChaos(t)
	defer func() { c.stop() }()
	reg, err := c.app.View.Register(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	banks := reg.Banks("clinic")
	for i := range messages {
		bank := banks[c.rng.IntN(len(banks))]
		text := fmt.Sprintf("%s %d Pa", reg.Name(bank), 60+c.rng.IntN(60))
		c.said[c.fake.Say(room, toveID, text)] = text
		if c.rng.IntN(12) == 0 {
			c.mischief()
		}
		if i%10 == 9 {
			time.Sleep(20 * time.Millisecond) // a round takes its time
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Minute)
	defer cancel()
	from := time.Now()
	if err := c.fake.WaitIdle(ctx); err != nil {
		t.Fatal(err)
	}
	t.Logf("all acknowledged %s after the last was written", time.Since(from).Round(time.Millisecond))
	c.drained(ctx)
	t.Logf("%d messages, seed %d: %v", messages, *chaosSeed, c.count)
	c.recordedOnce(ctx, banks)
	c.answeredAll()
}

// drained waits until nothing is left to be said.
func (c *chaos) drained(ctx context.Context) {
	c.Helper()
	for {
		left := map[ledger.PostState]int{}
		for _, state := range []ledger.PostState{ledger.PostReady, ledger.PostWaiting} {
			posts, err := c.app.Store.Posts(context.WithoutCancel(ctx), state, 0)
			if err != nil {
				c.Fatal(err)
			}
			if len(posts) > 0 {
				left[state] = len(posts)
			}
		}
		if len(left) == 0 {
			return
		}
		select {
		case <-ctx.Done():
			c.Fatalf("never went out: %v", left)
		case <-time.After(100 * time.Millisecond):
		}
	}
}

func (c *chaos) recordedOnce(ctx context.Context, banks []plant.BankID) {
	c.Helper()
	all, err := c.app.Store.Entries(ctx, ledger.Filter{Kinds: []entry.Kind{entry.KindReading}})
	if err != nil {
		c.Fatal(err)
	}
	times := map[string]int{}
	for _, x := range all {
		if !slices.Contains(banks, x.Place) {
			c.Errorf("reading at %s", x.Place)
		}
		for ts := range c.said {
			if strings.HasPrefix(x.Source, "slack:"+fakeslack.Team+":"+room+":"+ts+":") {
				times[ts]++
			}
		}
	}
	for ts, text := range c.said {
		if times[ts] != 1 {
			c.Errorf("%q was recorded %d times", text, times[ts])
		}
	}
	if len(all) != len(c.said) {
		c.Errorf("%d readings of %d messages", len(all), len(c.said))
	}
}

// answeredAll checks that every message has a reply in its thread, a second one
// only where it says that it may be one. (Nothing waits so long here that replies
// are sent as one.) A forecast that follows late is no second reply.
func (c *chaos) answeredAll() {
	c.Helper()
	replies := map[string]int{}
	for _, p := range c.fake.Posts() {
		if strings.HasPrefix(p.Text, "The forecast that was still to come") {
			continue
		}
		if p.Thread != "" && !strings.Contains(p.Text, "may repeat an earlier post") {
			replies[p.Thread]++
		} else if p.Thread != "" && replies[p.Thread] == 0 {
			replies[p.Thread]++
		}
	}
	for ts, text := range c.said {
		if replies[ts] != 1 {
			c.Errorf("%q has %d replies", text, replies[ts])
		}
	}
}

// BenchmarkSlackReply is the time from a message typed in the fake workspace to
// its reply posted there, at 50 messages a second over four channels.
func BenchmarkSlackReply(b *testing.B) {
	const perSecond = 50
	fake := fakeslack.Start(b, fakeslack.Options{})
	cfg, err := config.Load("", nil)
	if err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	cfg.Data, cfg.Ledger, cfg.HTTP.Listen = dir, filepath.Join(dir, "ledger.db"), ""
	cfg.Slack = config.Slack{BotToken: fakeslack.BotToken, AppToken: fakeslack.AppToken, APIURL: fake.APIURL()}
	cfg.Outbox.PerSecond = 0
	p := demo.Portfolio()
	var crews []string
	for i, s := range p.Sites {
		p.Sites[i].Channel = roomID(s.ID)
		crews = append(crews, s.Crew[0])
		cfg.Slack.People = append(cfg.Slack.People, s.Crew[0]+" = "+personID(s.Crew[0]))
	}
	a, err := app.Open(b.Context(), cfg, app.Options{Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return present }})
	if err != nil {
		b.Fatal(err)
	}
	if err := a.Fill(b.Context(), p, demo.History(p, present, 1), nil); err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	done := make(chan error, 1)
	go func() { done <- app.Run(ctx, a.Log, append(a.WorkerServices()[:2], a.SlackServices()...)...) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			b.Error(err)
		}
		_ = a.Close()
	}()
	reg, err := a.View.Register(ctx)
	if err != nil {
		b.Fatal(err)
	}
	if err := fake.WaitConnected(ctx, 1); err != nil {
		b.Fatal(err)
	}
	said := map[string]time.Time{}
	tick := time.NewTicker(time.Second / perSecond)
	defer tick.Stop()
	for i := 0; b.Loop(); i++ {
		site := p.Sites[i%len(p.Sites)]
		banks := reg.Banks(plant.BankID(site.ID))
		bank := banks[i%len(banks)]
		<-tick.C
		from := time.Now()
		said[fake.Say(site.Channel, personID(crews[i%len(crews)]), fmt.Sprintf("%s %d Pa", reg.Name(bank), 70+i%20))] = from
	}
	var took []time.Duration
	for ts, from := range said {
		post, err := fake.WaitPost(ctx, func(p fakeslack.Post) bool { return p.Thread == ts })
		if err != nil {
			b.Fatal(err)
		}
		took = append(took, post.Arrived.Sub(from))
	}
	slices.Sort(took)
	for name, at := range map[string]int{"p50-ms": len(took) / 2, "p99-ms": len(took) * 99 / 100} {
		b.ReportMetric(float64(took[min(at, len(took)-1)].Microseconds())/1000, name)
	}
}
