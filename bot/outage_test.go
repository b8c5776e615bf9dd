package bot_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"clogwise/bot"
	"clogwise/internal/ledger"
	"clogwise/internal/queue"
)

func TestLedgerDownSaysNothing(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"AHU-1 pre 80 Pa", "AHU-1 80 Pa", "due", "undo", "AHU-1 belt squealing", "book AHU-2 bag 6 Mar 09:00"} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			m := r.message(maren, text)
			for _, fail := range []func(bool){r.store.Down, func(on bool) { r.store.FailCommits(map[bool]int{true: 1}[on]) }} {
				fail(true)
				if err := r.engine.HandleMessage(t.Context(), m); err == nil {
					t.Error("no error")
				} else if !errors.Is(err, ledger.ErrUnavailable) {
					t.Errorf("error %v does not wrap ErrUnavailable", err)
				}
				fail(false)
				posts, err := r.store.Posts(t.Context(), "", 0)
				must(t, err)
				if len(posts) != 0 || len(r.standing()) != 0 {
					t.Errorf("half said: %d posts, %q", len(posts), r.standing())
				}
			}
			r.hear(m)
			if r.reply(m) == "" {
				t.Error("not answered once the ledger is back")
			}
		})
	}
}

// A commit whose outcome is unknown is an error to the edge; the resend finds it.
func TestUncertainCommitIsTakenOnce(t *testing.T) {
	t.Parallel()
	for _, written := range []bool{true, false} {
		r := newRig(t)
		m := r.message(tove, "AHU-1 pre 80 Pa")
		r.store.UncertainCommits(1, written)
		if err := r.engine.HandleMessage(t.Context(), m); err == nil {
			t.Error("no error")
		}
		r.hear(m)
		wantText(t, r.reply(m), "80 Pa")
		r.wantStanding("reading clinic/ahu-1/primary 80 Pa hz=?")
	}
}

func TestQueueDownRecordsAndFollowsUp(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	must(t, r.queue.Close())
	m := r.message(tove, "AHU-1 pre 80 Pa")
	must(t, r.engine.HandleMessage(t.Context(), m))
	r.now = r.now.Add(4 * time.Second)
	must(t, r.worker.Render(t.Context(), nil, true))
	if p, err := r.store.Post(t.Context(), bot.ReplyKey(m)); err != nil || p.State != ledger.PostWaiting {
		t.Errorf("reply is %s before its time (%v)", p.State, err)
	}
	r.now = r.now.Add(time.Second)
	must(t, r.worker.Render(t.Context(), nil, true))
	wantText(t, r.reply(m), "80 Pa", "Recorded, forecast to follow", "undo")
	must(t, r.worker.Sweep(t.Context())) // without the queue it recomputes by itself
	posts, err := r.store.Posts(t.Context(), ledger.PostReady, 0)
	must(t, err)
	if len(posts) != 2 || !strings.Contains(posts[1].Post.Text, "AHU-1 primary: Reaches 150 Pa") || posts[1].Post.To.Thread != m.ID {
		t.Errorf("the forecast did not follow: %+v", posts)
	}
	must(t, r.worker.Sweep(t.Context()))
	if again, _ := r.store.Posts(t.Context(), "", 0); len(again) != 2 {
		t.Errorf("%d posts after another sweep", len(again))
	}
}

func TestQuestionWithoutTheQueueTellsWholeMessages(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	must(t, r.queue.Close())
	m, reply := r.says(tove, "AHU-3 62 Pa")
	wantText(t, reply, "Which bank", "Type: ", "Nothing saved")
	wantText(t, r.press(tove, m, "primary"), "62 Pa") // buttons need no queue
}

// stuck is a queue that hangs until its caller gives up.
type stuck struct{ calls int }

func (s *stuck) hang(ctx context.Context) error {
	s.calls++
	<-ctx.Done()
	return ctx.Err()
}
func (s *stuck) Ask(ctx context.Context, _ string, _ []byte, _ time.Duration) error {
	return s.hang(ctx)
}
func (s *stuck) Pending(ctx context.Context, _ string) ([]byte, bool, error) {
	return nil, false, s.hang(ctx)
}
func (s *stuck) AnsweredIf(ctx context.Context, _ string, _ []byte) (bool, error) {
	return false, s.hang(ctx)
}
func (s *stuck) Notify(ctx context.Context, _ ...queue.Notice) error { return s.hang(ctx) }
func (s *stuck) Wake(ctx context.Context, _ string) error            { return s.hang(ctx) }

// A queue that hangs holds a message up once, not at every step.
func TestHangingQueueIsWaitedForOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := &stuck{}
	r.engine.Memory = s
	m := r.message(tove, "AHU-1 pre 80 Pa")
	must(t, r.engine.HandleMessage(t.Context(), m))
	if s.calls > 2 { // once, and once more where the machine is so slow that the rest is over
		t.Errorf("the queue was tried %d times for one message", s.calls)
	}
	r.catchUp()
	wantText(t, r.reply(m), "80 Pa")
}

func TestCancelledMessageIsNotRecorded(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := r.engine.HandleMessage(ctx, r.message(tove, "AHU-1 pre 80 Pa")); err == nil {
		t.Error("no error")
	}
	r.wantStanding()
}
