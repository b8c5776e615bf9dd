package worker_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
)

var errDown = fmt.Errorf("no answer: %w", channel.ErrAway)

// An hour without the platform loses nothing, and what waited comes as one when
// it is back; a list of steps that waited stands alone, and a fresh reply too.
func TestHourOfOutageLosesNothingAndFloodsNothing(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	var down atomic.Bool
	var tried atomic.Int32
	s := &platform{answer: func(context.Context, channel.Post) error {
		tried.Add(1)
		if down.Load() {
			return errDown
		}
		return nil
	}}
	o := r.outbox(s)
	o.MergeAfter = 10 * time.Minute
	o.Lease = 100 * time.Hour // the clock leaps while posts are in hand
	down.Store(true)
	const replies = 30
	during(t, o.Run, func() {
		r.say("steps:1", "clinic", "job")
		for i := range replies {
			r.say(fmt.Sprintf("re:%02d", i), "clinic", fmt.Sprintf("th%02d", i))
			r.clock.add(2 * time.Minute)
			seen := tried.Load()
			eventuallyOr(50*time.Millisecond, func() bool { return tried.Load() > seen })
		}
		if n := tried.Load(); n > 25 {
			t.Errorf("the platform was tried %d times in an hour", n)
		}
		down.Store(false)
		r.clock.add(6 * time.Minute) // more than the longest pause
		r.say("re:fresh", "clinic", "now")
		eventually(t, "all sent", func() bool {
			left, err := r.store.Posts(t.Context(), ledger.PostReady, 0)
			return err == nil && len(left) == 0
		})
	})
	got := s.texts()
	all := strings.Join(got, "\n")
	for i := range replies {
		if n := strings.Count(all, fmt.Sprintf("re:%02d", i)); n != 1 {
			t.Errorf("re:%02d was said %d times", i, n)
		}
	}
	if len(got) > 8 {
		t.Errorf("%d posts for %d replies, a list and a fresh reply: %q", len(got), replies, got)
	}
	for _, alone := range []string{"steps:1", "re:fresh"} {
		found := false
		for _, text := range got {
			found = found || text == alone
		}
		if !found {
			t.Errorf("%s does not stand alone in %q", alone, got)
		}
	}
	if parked, err := r.store.Posts(t.Context(), ledger.PostParked, 0); err != nil || len(parked) != 0 {
		t.Errorf("parked: %v %v", parked, err)
	}
}

func eventuallyOr(d time.Duration, ok func() bool) {
	for end := time.Now().Add(d); !ok() && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
}

// Attempts do not count against a post while the platform is away; after a week
// it is parked.
func TestOutagePostIsParkedAfterAWeek(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := &platform{answer: func(context.Context, channel.Post) error { return errDown }}
	o := r.outbox(s)
	r.say("re:1", "clinic", "th")
	for day := range 8 {
		for range 5 {
			_, err := o.Deliver(t.Context())
			must(t, err)
			r.clock.add(6 * time.Minute)
		}
		want := ledger.PostReady
		if day == 7 {
			want = ledger.PostParked
		}
		if p := r.post("re:1"); p.State != want {
			t.Fatalf("day %d: %s after %d attempts, want %s", day, p.State, p.Attempts, want)
		}
		r.clock.add(24 * time.Hour)
	}
}

// Replies that fail as one for a reason of their own go alone, so that the good
// ones arrive.
func TestMergedRepliesGoAloneAfterAFault(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := &platform{answer: func(_ context.Context, p channel.Post) error {
		if strings.Contains(p.Text, "re:bad") {
			return errors.New("odd answer")
		}
		return nil
	}}
	o := r.outbox(s)
	o.MergeAfter = time.Minute
	o.Lease = 100 * time.Hour
	for _, key := range []string{"re:1", "re:bad", "re:2"} {
		r.say(key, "clinic", key)
	}
	r.clock.add(time.Hour)
	during(t, o.Run, func() {
		eventually(t, "the bad one parked", func() bool {
			r.clock.add(time.Second)
			return r.post("re:bad").State == ledger.PostParked
		})
		eventually(t, "the good ones sent", func() bool {
			r.clock.add(time.Second)
			return r.post("re:1").State == ledger.PostSent && r.post("re:2").State == ledger.PostSent
		})
	})
}

func TestMergedRepliesSayHowLongTheyWaited(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := &platform{}
	o := r.outbox(s)
	o.MergeAfter = 10 * time.Minute
	r.say("re:1", "clinic", "same")
	must(t, commitPost(r, ledger.OutboxPost{Key: "re:q", State: ledger.PostReady, Created: r.clock.now(), NotBefore: r.clock.now(),
		Post: channel.Post{To: channel.Address{Platform: "test", Channel: "clinic", Thread: "q"}, Text: "Which bank?",
			Choices: []channel.Choice{{Label: "primary", Action: "answer", Value: "0"}}}}))
	r.say("re:2", "hall", "a")
	r.say("re:3", "hall", "b")
	r.clock.add(50 * time.Minute)
	_, err := o.Deliver(t.Context())
	must(t, err)
	got := strings.Join(s.texts(), "|")
	for _, want := range []string{"re:1|", "Which bank?", "2 replies at once: the chat was out of reach for up to 50 minutes.", "re:2\n\nre:3"} {
		if !strings.Contains(got+"|", want) {
			t.Errorf("%q lacks %q", got, want)
		}
	}
}

// What delivery adds to posts is in the language of the channel.
func TestMergedRepliesSpeakTheLanguageOfTheChannel(t *testing.T) {
	t.Parallel()
	for tag, want := range map[string]string{
		"de": "2 Antworten auf einmal: Der Chat war bis zu 3 Stunden nicht erreichbar. Alles wurde eingetragen, als es gesendet wurde.\n\nre:2\n\nre:3",
		"es": "2 respuestas de una vez: el chat estuvo fuera de alcance hasta 3 horas. Todo se registró cuando se envió.\n\nre:2\n\nre:3",
	} {
		r := newRig(t)
		s := &platform{}
		o := r.outbox(s)
		o.MergeAfter = 10 * time.Minute
		o.Tongue = func(_ context.Context, to channel.Address) locale.Locale {
			if to.Channel != "hall" {
				t.Errorf("asked for the language of %s", to.Channel)
			}
			return locale.Of(tag)
		}
		r.say("re:2", "hall", "a")
		r.say("re:3", "hall", "b")
		r.clock.add(3 * time.Hour)
		_, err := o.Deliver(t.Context())
		must(t, err)
		if got := s.texts(); len(got) != 1 || got[0] != want {
			t.Errorf("%s: %q, want %q", tag, got, want)
		}
	}
}
