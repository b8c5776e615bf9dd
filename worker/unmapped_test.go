package worker_test

import (
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/channel"
	"clogwise/internal/duelist"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
	"clogwise/worker"
)

// Supervisors are told once of a point that nobody has mapped, in the morning,
// at the site where its sender may write.
func TestUnmappedPointsAreToldOnce(t *testing.T) {
	r := newRig(t)
	posts := worker.Posts{View: r.view, Store: r.store, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs, s.Always = posts.Jobs(), nil
	r.clock.set(time.Date(2026, 3, 3, 7, 0, 0, 0, time.UTC))
	must(t, s.Fire(t.Context())) // counts from here
	v := 0.31
	for i, name := range []string{"N.A", "N.A", "N.B", "N.C", "N.D"} {
		_, err := r.store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{
			Source: fmt.Sprint("hook:", i), Kind: entry.KindSample, Place: entry.Aside(name), At: r.clock.now(), Received: r.clock.now().Add(time.Minute), By: "hall automation",
			Body: entry.Sample{Point: name, Value: &v, Unit: "inH2O", Sites: []string{"clinic"}},
		}}})
		must(t, err)
	}
	for day := 3; day < 6; day++ {
		r.clock.set(time.Date(2026, 3, day, 9, 0, 0, 0, time.UTC))
		must(t, s.Fire(t.Context()))
	}
	got := r.texts("cron:points:clinic")
	if len(got) != 1 || !strings.Contains(got[0], "4 points send values that nobody has mapped") || !strings.Contains(got[0], "N.A from hall automation: 2 values, last 0.31 inH2O") ||
		!strings.Contains(got[0], "and 1 more") || strings.Count(got[0], "\n") > 4 {
		t.Errorf("%q", got)
	}
}

// An event is put once however often a bank is assessed, and not at all while
// nobody wants events.
func TestEventsArePutOnce(t *testing.T) {
	r := newRig(t)
	start := r.clock.now().AddDate(0, -3, 0)
	a := assess.Assessment{Bank: "clinic/ahu-2/secondary", Condition: duelist.Overdue, LifeStart: &start}
	silent := &worker.Events{Store: r.store, View: r.view, Queue: r.queue, Now: r.clock.now, Log: slog.New(slog.DiscardHandler)}
	must(t, silent.Assessed(t.Context(), a))
	var none *worker.Events
	must(t, none.Assessed(t.Context(), a))
	must(t, r.store.PutKey(t.Context(), ledger.Key{ID: "k1", Name: "hall", Scheme: outgoing.Scheme, Secret: []byte("x"), Points: []string{"http://127.0.0.1:9/"}}))
	for range 2 { // two processes
		e := &worker.Events{Store: r.store, View: r.view, Queue: r.queue, Now: r.clock.now, Log: slog.New(slog.DiscardHandler)}
		for range 3 {
			must(t, e.Assessed(t.Context(), a))
		}
	}
	posts, err := r.store.Posts(t.Context(), "", 0)
	must(t, err)
	if len(posts) != 1 || posts[0].Post.To != (channel.Address{Platform: outgoing.Platform, Channel: "k1"}) || !strings.Contains(posts[0].Post.Text, `"condition":"overdue"`) {
		t.Errorf("%+v", posts)
	}
}
