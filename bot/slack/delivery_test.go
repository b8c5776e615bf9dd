package slack_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"clogwise/bot/slack"
	"clogwise/bot/slack/fakeslack"
	"clogwise/internal/channel"
)

var errLedger = errors.New("ledger cannot commit")

// soon makes the workspace resend quickly.
var soon = fakeslack.Options{ResendAfter: 20 * time.Millisecond}

func TestAcknowledgedOnlyWhenHandled(t *testing.T) {
	t.Parallel()
	entered, release := make(chan struct{}), make(chan struct{})
	b := start(t, fakeslack.Options{}, &recorder{onMessage: func(context.Context, channel.Message) error {
		close(entered)
		<-release
		return nil
	}})
	b.Say(plantRoom, ana, "145")
	<-entered
	if acks := b.Acks(); len(acks) != 0 || b.Unacked() != 1 {
		t.Errorf("acknowledged before it was handled: %+v", acks)
	}
	close(release)
	b.idle(t)
	if acks := b.Acks(); len(acks) != 1 || len(acks[0].Payload) != 0 {
		t.Errorf("acknowledgements %+v, want one, empty", acks)
	}
}

func TestComesAgainUntilHandled(t *testing.T) {
	t.Parallel()
	for name, trouble := range map[string]func(ctx context.Context) error{
		"error":   func(context.Context) error { return errLedger },
		"timeout": func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() },
		"panic":   func(context.Context) error { panic("odd message") },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var tries atomic.Int32
			failTwice := func(ctx context.Context) error {
				if tries.Add(1) <= 2 {
					return trouble(ctx)
				}
				return nil
			}
			b := start(t, soon, &recorder{
				onMessage: func(ctx context.Context, _ channel.Message) error { return failTwice(ctx) },
			}, func(c *slack.Config) { c.HandleTimeout = 30 * time.Millisecond })
			ts := b.Say(plantRoom, ana, "145")
			b.idle(t)
			b.find(t, ts)
			if n := tries.Load(); n < 3 {
				t.Errorf("tried %d times, want at least 3", n)
			}
		})
	}
}

func TestLostAcknowledgementIsGivenAgain(t *testing.T) {
	t.Parallel()
	b := start(t, soon, &recorder{})
	b.LoseAcks(2)
	ts := b.Say(plantRoom, ana, "145")
	b.idle(t)
	if err := b.Edit(plantRoom, ts, "154"); err != nil {
		t.Fatal(err)
	}
	b.idle(t)
	if got := b.got.seen(); len(got) != 2 {
		t.Errorf("handled %d times, want once each: %+v", len(got), got)
	}
	if acks := b.Acks(); len(acks) < 4 || acks[0].EventID != acks[2].EventID {
		t.Errorf("acknowledgements %+v", acks)
	}
}

func TestFailedPressIsNotAcknowledged(t *testing.T) {
	t.Parallel()
	b := start(t, soon, &recorder{onPress: func(context.Context, channel.Press) error { return errLedger }})
	id, err := b.edge.Send(b.ctx, channel.Post{To: channel.Address{Channel: plantRoom}, Text: "?", Choices: []channel.Choice{{Label: "yes", Action: "answer"}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Press(b.Posts()[0], "yes", ana); err != nil {
		t.Fatal(err)
	}
	b.idle(t)
	if b.Failed() != 1 {
		t.Errorf("the person saw no error under post %s", id)
	}
}

func TestThreadsDoNotWaitForEachOther(t *testing.T) {
	t.Parallel()
	release := make(chan struct{})
	b := start(t, fakeslack.Options{}, &recorder{onMessage: func(_ context.Context, m channel.Message) error {
		if m.Text == "slow" {
			<-release
		}
		return nil
	}})
	b.Say(plantRoom, ana, "slow", fakeslack.InThread("1700000000.000100"))
	behind := b.Say(plantRoom, ana, "behind", fakeslack.InThread("1700000000.000100"))
	beside := b.Say(plantRoom, ana, "beside", fakeslack.InThread("1700000000.000200"))
	if err := b.WaitAcks(b.ctx, 1); err != nil {
		t.Fatal(err)
	}
	if got := b.got.seen(); len(got) != 1 || got[0].ID != beside {
		t.Errorf("handled %+v, want only the other thread", got)
	}
	close(release)
	b.idle(t)
	if got := b.got.seen(); got[len(got)-1].ID != behind {
		t.Errorf("order lost: %+v", got)
	}
}

func TestFullQueueHoldsBackWithoutLoss(t *testing.T) {
	t.Parallel()
	b := start(t, fakeslack.Options{}, &recorder{}, func(c *slack.Config) { c.Workers, c.Queue = 1, 2 })
	var want []string
	for i := range 200 {
		want = append(want, b.Say(plantRoom, ana, strconv.Itoa(i)))
	}
	b.idle(t)
	var got []string
	for _, m := range b.got.seen() {
		got = append(got, m.ID)
	}
	if !slices.Equal(got, want) {
		t.Errorf("handled %d messages, or out of order", len(got))
	}
}

func TestReconnects(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		options fakeslack.Options
		alter   func(*slack.Config)
		happen  func(*bench)
	}{
		"asked to refresh":  {happen: func(b *bench) { b.Disconnect() }},
		"socket dropped":    {happen: func(b *bench) { b.DropSocket() }},
		"platform is quiet": {options: fakeslack.Options{PingEvery: -1}, alter: func(c *slack.Config) { c.PingTimeout = 50 * time.Millisecond }, happen: func(*bench) {}},
		"no address at first": {happen: func(b *bench) {
			b.Fail("apps.connections.open", fakeslack.Fault{Status: 500})
			b.Fail("apps.connections.open", fakeslack.Fault{Error: "internal_error"})
			b.Fail("apps.connections.open", fakeslack.Fault{Cut: true})
			b.DropSocket()
		}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			alter := c.alter
			if alter == nil {
				alter = func(*slack.Config) {}
			}
			b := start(t, c.options, &recorder{}, alter)
			before := b.Say(plantRoom, ana, "before")
			b.idle(t)
			n := b.Sockets()
			c.happen(b)
			if err := b.WaitConnected(b.ctx, n+1); err != nil {
				t.Fatal(err)
			}
			after := b.Say(plantRoom, ana, "after")
			b.idle(t)
			b.find(t, before)
			b.find(t, after)
		})
	}
}

// Five hundred messages in eight threads while sockets drop and refresh,
// envelopes and acknowledgements get lost and the handler fails now and then:
// all are handled, and in every thread the first handling of each is in order
// as long as nothing but the network misbehaves.
func TestChaos(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		lose, fail bool
	}{
		"sockets drop and refresh, acknowledgements get lost": {},
		"envelopes get lost and the handler fails too":        {lose: true, fail: true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var mu sync.Mutex
			failures := rand.New(rand.NewPCG(7, 7))
			handler := &recorder{onMessage: func(context.Context, channel.Message) error {
				mu.Lock()
				defer mu.Unlock()
				if c.fail && failures.IntN(10) == 0 {
					return errLedger
				}
				return nil
			}}
			b := start(t, fakeslack.Options{ResendAfter: 25 * time.Millisecond}, handler)
			dice := rand.New(rand.NewPCG(1, 2))
			said := map[string][]string{}
			total := 500
			for i := range total {
				thread := "1700000000.00000" + strconv.Itoa(dice.IntN(8))
				said[thread] = append(said[thread], b.Say(plantRoom, ana, "reading "+strconv.Itoa(i), fakeslack.InThread(thread)))
				event := dice.IntN(40)
				if event < 2 {
					if err := b.WaitConnected(b.ctx, 1); err != nil {
						t.Fatal(err)
					}
				}
				switch event {
				case 0:
					b.DropSocket()
				case 1:
					b.Disconnect()
				case 2, 3:
					b.LoseAcks(1)
				case 4, 5:
					if c.lose {
						b.LoseSends(1 + dice.IntN(3))
					}
				}
			}
			b.idle(t)
			handled := map[string][]string{}
			once := map[string]bool{}
			for _, m := range b.got.seen() {
				if !once[m.ID] {
					once[m.ID] = true
					handled[m.Thread] = append(handled[m.Thread], m.ID)
				}
			}
			if len(once) != total {
				t.Errorf("%d of %d messages were handled", len(once), total)
			}
			for thread, ids := range said {
				if !c.lose && !c.fail && !slices.Equal(handled[thread], ids) {
					t.Errorf("thread %s out of order", thread)
				}
			}
			t.Logf("%d handlings of %d messages over %d sockets, %d acknowledgements", len(b.got.seen()), total, b.Sockets(), len(b.Acks()))
		})
	}
}

func TestRunEnds(t *testing.T) {
	t.Parallel()
	fake := fakeslack.Start(t, fakeslack.Options{})
	edge := newEdge(t, fake)
	edge.Stop() // before Run: nothing

	for round := range 2 {
		finished := make(chan error, 1)
		go func() { finished <- edge.Run(t.Context(), &recorder{}) }()
		if err := fake.WaitConnected(t.Context(), round+1); err != nil {
			t.Fatal(err)
		}
		if err := edge.Run(t.Context(), &recorder{}); !errors.Is(err, slack.ErrRunning) {
			t.Errorf("a second Run: %v, want ErrRunning", err)
		}
		edge.Stop()
		edge.Stop()
		if err := <-finished; err != nil {
			t.Errorf("Run after Stop: %v, want nil", err)
		}
	}

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := edge.Run(ctx, &recorder{}); err != nil {
		t.Errorf("Run with a context that is done: %v, want nil", err)
	}
}

// What waits for its turn or is in hand when the edge stops stays unacknowledged
// and is handled by the next run.
func TestStopLosesNothing(t *testing.T) {
	t.Parallel()
	var stopping atomic.Bool
	stopping.Store(true)
	entered := make(chan struct{}, 100)
	got := &recorder{onMessage: func(ctx context.Context, _ channel.Message) error {
		if stopping.Load() {
			entered <- struct{}{}
			<-ctx.Done()
			return ctx.Err()
		}
		return nil
	}}
	fake := fakeslack.Start(t, fakeslack.Options{})
	edge := newEdge(t, fake)
	finished := make(chan error, 1)
	go func() { finished <- edge.Run(t.Context(), got) }()
	for range 20 {
		fake.Say(plantRoom, ana, "145")
	}
	<-entered
	edge.Stop()
	if err := <-finished; err != nil {
		t.Fatal(err)
	}
	if n := fake.Unacked(); n != 20 {
		t.Errorf("%d unacknowledged after the stop, want 20", n)
	}
	stopping.Store(false)
	go func() { finished <- edge.Run(t.Context(), got) }()
	if err := fake.WaitIdle(t.Context()); err != nil {
		t.Fatal(err)
	}
	edge.Stop()
	if err := <-finished; err != nil {
		t.Fatal(err)
	}
	if n := len(got.seen()); n != 20 {
		t.Errorf("%d handled, want 20", n)
	}
}

func TestRunGivesUpWhenTryingIsUseless(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		alter func(*slack.Config)
		fail  map[string]string
		want  string // advice in the error
	}{
		"bot token refused":       {fail: map[string]string{"auth.test": "invalid_auth"}, want: "copy it again"},
		"app removed":             {fail: map[string]string{"auth.test": "account_inactive"}, want: "install it again"},
		"app token refused":       {fail: map[string]string{"apps.connections.open": "invalid_auth"}, want: "copy it again"},
		"app token without scope": {fail: map[string]string{"apps.connections.open": "missing_scope"}, want: "lacks a scope"},
		"wrong kind of token":     {fail: map[string]string{"apps.connections.open": "not_allowed_token_type"}, want: "xapp-"},
		"another workspace":       {alter: func(c *slack.Config) { c.Team = "T0OTHER" }, want: "T0OTHER"},
		"no app token":            {alter: func(c *slack.Config) { c.AppToken = "" }, want: "connections:write"},
		"wrong address":           {alter: func(c *slack.Config) { c.APIURL = strings.TrimSuffix(c.APIURL, "api/") + "nothing/" }, want: "404"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			fake := fakeslack.Start(t, fakeslack.Options{})
			for method, answer := range c.fail {
				fake.Fail(method, fakeslack.Fault{Error: answer, Times: 100})
			}
			var alter []func(*slack.Config)
			if c.alter != nil {
				alter = append(alter, c.alter)
			}
			err := newEdge(t, fake, alter...).Run(t.Context(), &recorder{})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("Run: %v, want an error with %q", err, c.want)
			}
		})
	}
}

func TestRunWaitsForThePlatform(t *testing.T) {
	t.Parallel()
	fake := fakeslack.Start(t, fakeslack.Options{})
	fake.Fail("auth.test", fakeslack.Fault{Status: 503})
	fake.Fail("auth.test", fakeslack.Fault{Cut: true})
	edge := newEdge(t, fake)
	finished := make(chan error, 1)
	go func() { finished <- edge.Run(t.Context(), &recorder{}) }()
	if err := fake.WaitConnected(t.Context(), 1); err != nil {
		t.Fatal(err)
	}
	edge.Stop()
	if err := <-finished; err != nil {
		t.Error(err)
	}
}

func TestNewRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		cfg  slack.Config
		want string
	}{
		"no bot token":        {slack.Config{}, "OAuth & Permissions"},
		"app token for bot":   {slack.Config{BotToken: "xapp-1"}, "xoxb-"},
		"bot token for app":   {slack.Config{BotToken: "xoxb-1", AppToken: "xoxb-1"}, "xapp-"},
		"address without end": {slack.Config{BotToken: "xoxb-1", APIURL: "http://127.0.0.1/api"}, "slash"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if _, err := slack.New(c.cfg); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("New: %v, want an error with %q", err, c.want)
			}
		})
	}
}

// Time from an envelope written to its acknowledgement read, one at a time.
func BenchmarkEnvelopeToAck(b *testing.B) {
	w := start(b, fakeslack.Options{}, &recorder{})
	w.Say(plantRoom, ana, "warm up")
	w.idle(b)
	took := make([]time.Duration, 0, b.N)
	b.ResetTimer()
	for range b.N {
		begun := time.Now()
		w.Say(plantRoom, ana, "ahu3 bag 145 Pa")
		w.idle(b)
		took = append(took, time.Since(begun))
	}
	b.StopTimer()
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-µs")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
}

// Envelopes acknowledged when they come all at once, over 50 threads.
func BenchmarkBurst(b *testing.B) {
	w := start(b, fakeslack.Options{}, &recorder{})
	for range b.N {
		for i := range 1000 {
			w.Say(plantRoom, ana, "ahu3 bag 145 Pa", fakeslack.InThread("1700000000.0000"+strconv.Itoa(10+i%50)))
		}
		w.idle(b)
	}
	b.ReportMetric(float64(b.N*1000)/b.Elapsed().Seconds(), "envelopes/s")
}
