package worker_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/worker"
)

func notice(b plant.BankID, upTo int64) queue.Notice {
	return queue.Notice{Bank: string(b), UpTo: upTo}
}

// platform is a chat platform that answers as a test tells it.
type platform struct {
	mu     sync.Mutex
	sent   []string
	answer func(ctx context.Context, p channel.Post) error
}

func (s *platform) Send(ctx context.Context, p channel.Post) (string, error) {
	if s.answer != nil {
		if err := s.answer(ctx, p); err != nil {
			return "", err
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sent = append(s.sent, p.Text)
	return fmt.Sprint("id-", len(s.sent)), nil
}

func (s *platform) texts() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.sent)
}

func (r *rig) outbox(s channel.Sender) *worker.Outbox {
	return &worker.Outbox{Store: r.store, Platform: "test", Sender: s, Now: r.clock.now, Log: slog.New(slog.DiscardHandler),
		Lease: time.Minute, MaxAttempts: 3, Poll: 10 * time.Millisecond, Grace: 2 * time.Second}
}

func (r *rig) say(key, chan_, thread string) {
	r.t.Helper()
	must(r.t, commitPost(r, ledger.OutboxPost{Key: key, Site: "clinic", State: ledger.PostReady, Created: r.clock.now(), NotBefore: r.clock.now(),
		Post: channel.Post{To: channel.Address{Platform: "test", Channel: chan_, Thread: thread}, Text: key}}))
}

func TestPostsOfAThreadGoOutInOrder(t *testing.T) {
	r := newRig(t)
	s := &platform{}
	var want []string
	for i := range 20 {
		key := fmt.Sprintf("p%02d", i)
		r.say(key, "clinic", "th")
		want = append(want, key)
	}
	during(t, r.outbox(s).Run, func() {
		eventually(t, "all sent", func() bool { return len(s.texts()) == len(want) })
	})
	if got := s.texts(); !slices.Equal(got, want) {
		t.Errorf("sent %v", got)
	}
}

func TestSlowChannelHoldsUpNoOther(t *testing.T) {
	r := newRig(t)
	release := make(chan struct{})
	s := &platform{answer: func(_ context.Context, p channel.Post) error {
		if p.To.Channel == "slow" {
			<-release
		}
		return nil
	}}
	r.say("slow-1", "slow", "")
	for i := range 30 {
		r.say(fmt.Sprint("quick-", i), "quick", "")
	}
	during(t, r.outbox(s).Run, func() {
		eventually(t, "the other channel's posts sent", func() bool { return len(s.texts()) == 30 })
		close(release)
		eventually(t, "the slow one too", func() bool { return len(s.texts()) == 31 })
	})
}

func TestWhatBecomesOfFailedPosts(t *testing.T) {
	network := errors.New("connection reset")
	cases := []struct {
		name  string
		err   error
		after time.Duration // when it is due again
		state ledger.PostState
	}{
		{"asked to wait", &channel.RetryError{After: 42 * time.Second, Err: network}, 42 * time.Second, ledger.PostReady},
		{"refused", fmt.Errorf("no such channel: %w", channel.ErrRefused), 0, ledger.PostParked},
		{"network", network, time.Second, ledger.PostReady},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t)
			fail := true
			s := &platform{answer: func(context.Context, channel.Post) error {
				if fail {
					return c.err
				}
				return nil
			}}
			o := r.outbox(s)
			r.say("p", "clinic", "")
			deliver(t, o)
			p := r.post("p")
			if p.State != c.state || p.LastError == "" || p.Attempts != 1 {
				t.Fatalf("%s after %d attempts: %q", p.State, p.Attempts, p.LastError)
			}
			fail = false
			if c.state == ledger.PostParked {
				must(t, r.store.RetryPost(t.Context(), "p", r.clock.now()))
				deliver(t, o)
			} else {
				r.clock.add(c.after - time.Millisecond)
				deliver(t, o)
				if len(s.texts()) != 0 {
					t.Errorf("sent before %s were over", c.after)
				}
				r.clock.add(time.Millisecond)
				deliver(t, o)
			}
			if p := r.post("p"); p.State != ledger.PostSent || p.PostID != "id-1" || p.Uncertain {
				t.Errorf("at last: %+v", p)
			}
		})
	}
}

// No answer came: the post goes out again and says that it may be a repeat.
func TestUnseenPostSaysSoWhenSentAgain(t *testing.T) {
	r := newRig(t)
	lost := true
	s := &platform{answer: func(context.Context, channel.Post) error {
		if lost {
			return fmt.Errorf("connection reset: %w", channel.ErrUnseen)
		}
		return nil
	}}
	o := r.outbox(s)
	r.say("p", "clinic", "")
	deliver(t, o)
	if p := r.post("p"); p.State != ledger.PostReady || !p.Uncertain || !strings.Contains(p.LastError, "reset") {
		t.Fatalf("after a lost answer: %+v", p)
	}
	lost = false
	r.clock.add(time.Second)
	deliver(t, o)
	if texts := s.texts(); len(texts) != 1 || !strings.Contains(texts[0], "may repeat an earlier post") {
		t.Errorf("sent again: %q", texts)
	}
	if p := r.post("p"); p.State != ledger.PostSent || !p.Uncertain {
		t.Errorf("at last: %+v", p)
	}
}

func deliver(t *testing.T, o *worker.Outbox) {
	t.Helper()
	_, err := o.Deliver(t.Context())
	must(t, err)
}

func TestBackOffDoublesThenParks(t *testing.T) {
	r := newRig(t)
	s := &platform{answer: func(context.Context, channel.Post) error { return errors.New("no route") }}
	o := r.outbox(s)
	o.MaxAttempts = 12
	r.say("p", "clinic", "")
	var waits []time.Duration
	for range 12 {
		deliver(t, o)
		p := r.post("p")
		if p.State == ledger.PostParked {
			break
		}
		waits = append(waits, p.NotBefore.Sub(r.clock.now()))
		r.clock.set(p.NotBefore)
	}
	want := []time.Duration{1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300}
	for i := range want {
		want[i] *= time.Second
	}
	if !slices.Equal(waits, want) {
		t.Errorf("waited %v, want %v", waits, want)
	}
	if p := r.post("p"); p.State != ledger.PostParked || p.Attempts != 12 {
		t.Errorf("%s after %d attempts, want parked after 12", p.State, p.Attempts)
	}
}

// Being asked to wait is not the post's fault, however often.
func TestWaitingOnRequestNeverParks(t *testing.T) {
	r := newRig(t)
	s := &platform{answer: func(context.Context, channel.Post) error {
		return &channel.RetryError{After: time.Second, Err: errors.New("rate limit")}
	}}
	o := r.outbox(s)
	r.say("p", "clinic", "")
	for range 3 * o.MaxAttempts {
		deliver(t, o)
		r.clock.add(time.Second)
	}
	if p := r.post("p"); p.State != ledger.PostReady {
		t.Errorf("%s after %d attempts", p.State, p.Attempts)
	}
}

// A channel that was asked to wait is not tried with its other posts meanwhile.
func TestWholeChannelWaitsWhenAskedTo(t *testing.T) {
	r := newRig(t)
	tries := 0
	s := &platform{answer: func(context.Context, channel.Post) error {
		tries++
		return &channel.RetryError{After: time.Minute, Err: errors.New("rate limit")}
	}}
	for i := range 5 {
		r.say(fmt.Sprint("p", i), "clinic", "")
	}
	deliver(t, r.outbox(s))
	if tries != 1 {
		t.Errorf("%d tries, want 1", tries)
	}
	for i := range 5 {
		if p := r.post(fmt.Sprint("p", i)); p.NotBefore.Sub(r.clock.now()) != time.Minute {
			t.Errorf("%s is due in %s", p.Key, p.NotBefore.Sub(r.clock.now()))
		}
	}
}

// A crash between the sending and the record of it: the post goes out again and
// says so.
func TestCrashBetweenSendingAndRecordIsTold(t *testing.T) {
	r := newRig(t)
	r.say("p", "clinic", "")
	if _, err := r.store.Claim(t.Context(), "test", r.clock.now(), time.Minute, 1); err != nil {
		t.Fatal(err) // the process sends it and dies here
	}
	s := &platform{}
	o := r.outbox(s)
	deliver(t, o)
	if len(s.texts()) != 0 {
		t.Error("sent while another holds it")
	}
	r.clock.add(2 * time.Minute)
	deliver(t, o)
	if got := s.texts(); len(got) != 1 || !strings.Contains(got[0], "may repeat an earlier post") {
		t.Errorf("sent %q", got)
	}
}

// The record of a sending is tried again: a ledger that hiccups makes no repeats.
func TestRecordOfASendingIsTriedAgain(t *testing.T) {
	r := newRig(t)
	s := &platform{}
	down := sync.OnceFunc(func() {
		r.store.Down(true)
		time.AfterFunc(100*time.Millisecond, func() { r.store.Down(false) })
	})
	s.answer = func(context.Context, channel.Post) error { down(); return nil }
	r.say("p", "clinic", "")
	deliver(t, r.outbox(s))
	if p := r.post("p"); p.State != ledger.PostSent {
		t.Errorf("%s, %q", p.State, p.LastError)
	}
}

// Asked to stop, the outbox lets what is being sent arrive and gives back the
// rest, unmarked.
func TestGracefulStop(t *testing.T) {
	r := newRig(t)
	sending, release := make(chan struct{}), make(chan struct{})
	s := &platform{answer: func(ctx context.Context, p channel.Post) error {
		close(sending)
		<-release
		return ctx.Err()
	}}
	for i := range 3 {
		r.say(fmt.Sprint("p", i), "clinic", "")
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- r.outbox(s).Run(ctx) }()
	<-sending
	cancel()
	close(release)
	must(t, <-done)
	if p := r.post("p0"); p.State != ledger.PostSent {
		t.Errorf("what was being sent is %s", p.State)
	}
	again := &platform{}
	deliver(t, r.outbox(again))
	if got := again.texts(); !slices.Equal(got, []string{"p1", "p2"}) {
		t.Errorf("after the restart: %q", got)
	}
}

// A sender that hangs is cut off when the grace is over.
func TestHangingSenderIsCutOff(t *testing.T) {
	r := newRig(t)
	sending := make(chan struct{})
	s := &platform{answer: func(ctx context.Context, p channel.Post) error {
		close(sending)
		<-ctx.Done()
		return ctx.Err()
	}}
	o := r.outbox(s)
	o.Grace = 20 * time.Millisecond
	r.say("p", "clinic", "")
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- o.Run(ctx) }()
	<-sending
	cancel()
	must(t, <-done)
}

func TestClosedWakeUpDoesNotSpin(t *testing.T) {
	r := newRig(t)
	s := &platform{}
	o := r.outbox(s)
	gone := make(chan struct{})
	close(gone)
	o.Wake = func(context.Context) (<-chan struct{}, error) { return gone, nil }
	during(t, o.Run, func() {
		r.say("p", "clinic", "")
		eventually(t, "sent by polling", func() bool { return len(s.texts()) == 1 })
	})
}
