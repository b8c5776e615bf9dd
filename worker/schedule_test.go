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

	"clogwise/configs"
	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/safework"
	"clogwise/worker"
)

// Clock changes are those of the IANA time zone database: London 29 Mar and 25
// Oct 2026, Berlin the same days, Chicago 8 Mar and 1 Nov 2026, São Paulo 4 Nov
// 2018 at midnight, Cairo 24 Apr 2026 at midnight.
func TestMissedOverClockChanges(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name, zone, spec string
		last, now        string // UTC
		want             string // UTC; empty: nothing due
	}{
		{"ordinary day", "Europe/London", "0 7 * * 1", "2026-03-01T12:00", "2026-03-02T07:00", "2026-03-02T07:00"},
		{"not yet", "Europe/London", "0 7 * * 1", "2026-03-01T12:00", "2026-03-02T06:59", ""},
		{"summer time", "Europe/London", "0 7 * * 1", "2026-07-01T12:00", "2026-07-06T06:00", "2026-07-06T06:00"},
		{"only the newest of several", "Europe/London", "0 7 * * *", "2026-03-01T12:00", "2026-03-04T12:00", "2026-03-04T07:00"},

		{"London spring, before the jump", "Europe/London", "30 1 * * *", "2026-03-28T12:00", "2026-03-29T00:59", ""},
		{"London spring, at the jump", "Europe/London", "30 1 * * *", "2026-03-28T12:00", "2026-03-29T01:00", "2026-03-29T01:00"},
		{"London spring, once", "Europe/London", "30 1 * * *", "2026-03-29T01:00", "2026-03-29T23:00", ""},
		{"London autumn, first time", "Europe/London", "30 1 * * *", "2026-10-24T12:00", "2026-10-25T00:30", "2026-10-25T00:30"},
		{"London autumn, once", "Europe/London", "30 1 * * *", "2026-10-25T00:30", "2026-10-25T02:30", ""},
		{"Berlin spring", "Europe/Berlin", "30 2 * * *", "2026-03-28T12:00", "2026-03-29T01:00", "2026-03-29T01:00"},
		{"Berlin spring, not before", "Europe/Berlin", "30 2 * * *", "2026-03-28T12:00", "2026-03-29T00:59", ""},
		{"Berlin autumn, first time", "Europe/Berlin", "30 2 * * *", "2026-10-24T12:00", "2026-10-25T00:30", "2026-10-25T00:30"},
		{"Berlin autumn, once", "Europe/Berlin", "30 2 * * *", "2026-10-25T00:30", "2026-10-25T12:00", ""},
		{"Chicago spring, not before", "America/Chicago", "30 2 * * *", "2026-03-07T12:00", "2026-03-08T07:59", ""},
		{"Chicago spring, at the jump", "America/Chicago", "30 2 * * *", "2026-03-07T12:00", "2026-03-08T08:00", "2026-03-08T08:00"},
		{"Chicago autumn, first time", "America/Chicago", "30 1 * * *", "2026-10-31T12:00", "2026-11-01T06:30", "2026-11-01T06:30"},
		{"Chicago autumn, once", "America/Chicago", "30 1 * * *", "2026-11-01T06:30", "2026-11-01T20:00", ""},
		{"São Paulo, midnight left out", "America/Sao_Paulo", "0 0 * * *", "2018-11-03T12:00", "2018-11-04T03:00", "2018-11-04T03:00"},
		{"São Paulo, not on the eve", "America/Sao_Paulo", "0 0 * * *", "2018-11-03T12:00", "2018-11-04T02:59", ""},
		{"Cairo, midnight left out", "Africa/Cairo", "0 0 * * *", "2026-04-23T12:00", "2026-04-23T22:00", "2026-04-23T22:00"},
		{"Cairo, not before", "Africa/Cairo", "0 0 * * *", "2026-04-23T12:00", "2026-04-23T21:59", ""},
		{"a year away", "Europe/London", "0 7 * * 1", "2025-03-03T07:00", "2026-03-04T12:00", "2026-03-02T07:00"},
		{"never", "Europe/London", "0 0 30 2 *", "2025-03-03T07:00", "2026-03-04T12:00", ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			loc, err := time.LoadLocation(c.zone)
			must(t, err)
			when, next, ok, err := worker.Missed(c.spec, loc, utc(t, c.last), utc(t, c.now))
			must(t, err)
			got := ""
			if ok {
				got = when.UTC().Format("2006-01-02T15:04")
			}
			if got != c.want {
				t.Errorf("due at %q, want %q", got, c.want)
			}
			if next.IsZero() {
				if c.name != "never" {
					t.Error("no next time")
				}
				return
			}
			before, _, ok, err := worker.Missed(c.spec, loc, utc(t, c.now), next.Add(-time.Second))
			must(t, err)
			if ok {
				t.Errorf("next at %v, though it falls due at %v", next, before)
			}
			if at, _, _, err := worker.Missed(c.spec, loc, utc(t, c.now), next); err != nil || !at.Equal(next) {
				t.Errorf("next at %v, then due at %v, %v", next, at, err)
			}
		})
	}
	if _, _, _, err := worker.Missed("at seven", time.UTC, start, start); err == nil {
		t.Error("a schedule that is none was taken")
	}
}

func utc(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse("2006-01-02T15:04", s)
	must(t, err)
	return at
}

// scheduler fires one job of a test at 07:00 on Mondays.
func (r *rig) scheduler(do func(plant.Site, worker.Firing) (ledger.Batch, error)) *worker.Scheduler {
	return &worker.Scheduler{
		Store: r.store, View: r.view, Queue: r.queue, Now: r.clock.now, Log: slog.New(slog.DiscardHandler),
		CatchUp: 72 * time.Hour, Tick: 10 * time.Millisecond, Lead: 400 * time.Millisecond,
		Jobs: []worker.Job{{Name: "digest", Spec: func(plant.Site) string { return "0 7 * * 1" },
			Do: func(_ context.Context, s plant.Site, f worker.Firing) (ledger.Batch, error) { return do(s, f) }}},
	}
}

// Between two firings the ledger is not asked at each look at the clock; an edited
// schedule, or a clock that was set back, makes it be asked anew.
func TestQuietTimesAskNothing(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	c := &counted{Store: r.store, reads: map[plant.BankID]int{}}
	var f firings
	s := r.scheduler(f.note)
	s.Store = c
	spec := "0 7 * * 1"
	s.Jobs[0].Spec = func(plant.Site) string { return spec }
	look := func(at time.Time, asked bool, fired int) {
		t.Helper()
		c.firings = 0
		r.clock.set(at)
		must(t, s.Fire(t.Context()))
		if (c.firings > 0) != asked || len(f.all) != fired {
			t.Errorf("%v: ledger asked %d times, %d fired; want asked %v, %d", at, c.firings, len(f.all), asked, fired)
		}
	}
	monday := time.Date(2026, 3, 9, 7, 0, 0, 0, time.UTC)
	look(start, true, 0) // counts from here
	look(start.Add(time.Minute), true, 0)
	look(start.Add(2*time.Minute), false, 0)
	look(start.Add(time.Hour), false, 0)
	look(start.Add(30*time.Second), true, 0) // set back
	look(monday.Add(-2*time.Hour), false, 0)
	look(monday, true, 1)
	look(monday.Add(time.Minute), true, 1)
	look(monday.Add(time.Hour), false, 1)
	spec = "30 8 * * 1"
	look(monday.Add(61*time.Minute), true, 1)
	look(monday.Add(90*time.Minute), true, 2)
}

// firings notes what fired.
type firings struct {
	mu  sync.Mutex
	all []worker.Firing
}

func (f *firings) note(s plant.Site, x worker.Firing) (ledger.Batch, error) {
	if s.ID == "clinic" {
		f.mu.Lock()
		f.all = append(f.all, x)
		f.mu.Unlock()
	}
	return ledger.Batch{Posts: []ledger.OutboxPost{{Key: x.Key, Site: s.ID, State: ledger.PostReady, Post: channel.Post{Text: x.Key}}}}, nil
}

func TestFirings(t *testing.T) {
	monday := time.Date(2026, 3, 9, 7, 0, 0, 0, time.UTC) // the first after the start, a Wednesday
	cases := []struct {
		name string
		at   []time.Time // the clock is looked at
		want []string    // scheduled, and whether late
	}{
		{"first start", []time.Time{start, start.Add(time.Hour)}, nil},
		{"on time", []time.Time{start, monday}, []string{"2026-03-09T07:00"}},
		{"once", []time.Time{start, monday, monday.Add(time.Second), monday.Add(time.Hour)}, []string{"2026-03-09T07:00"}},
		{"a little late is not late", []time.Time{start, monday.Add(5 * time.Minute)}, []string{"2026-03-09T07:00"}},
		{"caught up, late, once", []time.Time{start, monday.Add(26 * time.Hour), monday.Add(27 * time.Hour)}, []string{"2026-03-09T07:00 late"}},
		{"too old to catch up", []time.Time{start, monday.Add(73 * time.Hour), monday.Add(74 * time.Hour)}, nil},
		{"weeks away: the newest alone", []time.Time{start, monday.AddDate(0, 0, 14).Add(time.Hour)}, []string{"2026-03-23T07:00 late"}},
		{"week by week", []time.Time{start, monday, monday.AddDate(0, 0, 7)}, []string{"2026-03-09T07:00", "2026-03-16T07:00"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t)
			var f firings
			s := r.scheduler(f.note)
			for _, at := range c.at {
				r.clock.set(at)
				must(t, s.Fire(t.Context()))
			}
			var got []string
			for _, x := range f.all {
				g := x.Scheduled.Format("2006-01-02T15:04")
				if x.Late {
					g += " late"
				}
				got = append(got, g)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("fired %q, want %q", got, c.want)
			}
		})
	}
}

func TestTwoReplicasFireOnce(t *testing.T) {
	r := newRig(t)
	var calls counter
	// Each call makes another post: were a firing recorded twice, both would show.
	do := func(s plant.Site, x worker.Firing) (ledger.Batch, error) {
		calls.add()
		return ledger.Batch{Posts: []ledger.OutboxPost{{Key: fmt.Sprint(x.Key, calls.get()), Site: s.ID, State: ledger.PostReady}}}, nil
	}
	a, b := r.scheduler(do), r.scheduler(do)
	must(t, a.Fire(t.Context()))
	r.clock.set(time.Date(2026, 3, 9, 7, 0, 0, 0, time.UTC))
	var both sync.WaitGroup
	for _, s := range []*worker.Scheduler{a, b} {
		both.Go(func() {
			if err := s.Fire(t.Context()); err != nil {
				t.Error(err)
			}
		})
	}
	both.Wait()
	posts, err := r.store.Posts(t.Context(), "", 0)
	must(t, err)
	if len(posts) != 2 { // London, and Berlin where it has been seven for an hour
		t.Errorf("%d posts, want one of each of two sites", len(posts))
	}
}

// The posts that nobody asked for, as the program sends them.
func TestDigestAndReminders(t *testing.T) {
	r := newRig(t)
	steps, err := safework.Load(configs.SafeWorkSteps)
	must(t, err)
	p := worker.Posts{View: r.view, Store: r.store, Steps: steps, Now: r.clock.now, Platform: func() string { return "test" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs, s.Always = p.Jobs(), p.Always()
	must(t, s.Fire(t.Context()))
	r.read("m1", 80, pre)
	r.read("m2", 160, "clinic/ahu-3/primary") // past its limit of 150 Pa
	book(t, r, "clinic/ahu-2/secondary", time.Date(2026, 3, 11, 9, 0, 0, 0, time.UTC), "Tove")

	r.clock.set(time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC)) // Monday, an hour late
	must(t, s.Fire(t.Context()))
	digests := r.texts("cron:digest:clinic")
	if len(digests) != 1 || !strings.HasPrefix(digests[0], "Late: this was due Mon 9 Mar 07:00") || !strings.Contains(digests[0], "Quillford Clinic") {
		t.Errorf("digests: %q", digests)
	}
	posts, err := r.store.Posts(t.Context(), "", 0)
	must(t, err)
	for _, p := range posts {
		if strings.HasPrefix(p.Key, "cron:digest:clinic") && (len(p.Post.Files) != 2 || p.Post.Files[1].Name != "clinic-2026-03-09.xlsx") {
			t.Errorf("the digest goes without its table: %d files", len(p.Post.Files))
		}
		if strings.HasPrefix(p.Key, "cron:digest:clinic") && (p.Post.Files[0].Name != "clinic-ahu-3-primary.png" || !strings.HasPrefix(string(p.Post.Files[0].Data), "\x89PNG") || !strings.Contains(p.Post.Files[0].Title, "AHU-3 primary")) {
			t.Errorf("the digest goes without the picture of what is due: %s", p.Post.Files[0].Name)
		}
	}
	if before := r.sentFor("clinic/ahu-2/secondary"); len(before) != 0 {
		t.Errorf("steps went out already: %v", before)
	}
	r.clock.set(time.Date(2026, 3, 10, 15, 0, 0, 0, time.UTC)) // the working day before
	must(t, s.Fire(t.Context()))
	must(t, s.Fire(t.Context()))
	r.clock.set(time.Date(2026, 3, 11, 8, 5, 0, 0, time.UTC)) // shortly before the start
	must(t, s.Fire(t.Context()))
	must(t, s.Fire(t.Context()))
	if got := r.sentFor("clinic/ahu-2/secondary"); !slices.Equal(got, []string{"day-before", "before-start"}) {
		t.Errorf("steps sent: %v", got)
	}
}

func book(t *testing.T, r *rig, bank plant.BankID, at time.Time, crew ...string) {
	t.Helper()
	body := entry.Booking{Start: at, Crew: crew}
	_, err := r.store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{Source: "b:" + string(bank), Kind: body.Kind(), Place: bank,
		At: r.clock.now(), Received: r.clock.now(), By: "Maren", Body: body}}})
	must(t, err)
}

// texts lists the posts whose key begins so.
func (r *rig) texts(key string) []string {
	r.t.Helper()
	posts, err := r.store.Posts(r.t.Context(), "", 0)
	must(r.t, err)
	var out []string
	for _, p := range posts {
		if strings.HasPrefix(p.Key, key) {
			out = append(out, p.Post.Text)
		}
	}
	return out
}

// sentFor lists the safe-work lists on record for a bank, in order.
func (r *rig) sentFor(bank plant.BankID) []string {
	r.t.Helper()
	all, err := r.store.Entries(r.t.Context(), ledger.Filter{Place: bank, Exact: true, Kinds: []entry.Kind{entry.KindStepsSent}})
	must(r.t, err)
	var out []string
	for _, x := range all {
		if b, ok := x.Body.(entry.StepsSent); ok {
			out = append(out, b.When)
		}
	}
	return out
}

func TestFailingJobHoldsNobodyUpAndIsTriedAgain(t *testing.T) {
	r := newRig(t)
	var f firings
	s := r.scheduler(f.note)
	fails := true
	s.Jobs = append([]worker.Job{{Name: "bad", Spec: s.Jobs[0].Spec, Do: func(context.Context, plant.Site, worker.Firing) (ledger.Batch, error) {
		if fails {
			return ledger.Batch{}, errors.New("broken")
		}
		return ledger.Batch{}, nil
	}}}, s.Jobs...)
	always := 0
	s.Always = []func(context.Context) error{
		func(context.Context) error { return errors.New("broken too") },
		func(context.Context) error { always++; return nil },
	}
	must2(t, s.Fire(t.Context()))
	r.clock.set(time.Date(2026, 3, 9, 7, 0, 0, 0, time.UTC))
	if err := s.Fire(t.Context()); err == nil || !strings.Contains(err.Error(), "broken") {
		t.Errorf("error %v", err)
	}
	if len(f.all) != 1 || always != 2 {
		t.Errorf("%d firings, %d always", len(f.all), always)
	}
	if last, err := r.store.LastFiring(t.Context(), "bad", "clinic"); err != nil || last.Scheduled >= "2026-03-09" {
		t.Errorf("the failed job counts as fired: %+v (%v)", last, err)
	}
	fails = false
	must2(t, s.Fire(t.Context()))
	if last, err := r.store.LastFiring(t.Context(), "bad", "clinic"); err != nil || last.Scheduled != "2026-03-09T07:00" {
		t.Errorf("not tried again: %+v (%v)", last, err)
	}
	if len(f.all) != 1 {
		t.Errorf("the good job fired %d times", len(f.all))
	}
}

// must2 passes over the failure that the test makes itself.
func must2(t *testing.T, err error) {
	t.Helper()
	if err != nil && !strings.Contains(err.Error(), "broken too") {
		t.Fatal(err)
	}
}

func TestLeadershipMovesOn(t *testing.T) {
	r := newRig(t)
	var ticks [2]counter
	run := func(i int) *worker.Scheduler {
		s := r.scheduler((&firings{}).note)
		s.Jobs = nil
		s.Always = []func(context.Context) error{func(context.Context) error { ticks[i].add(); return nil }}
		return s
	}
	during(t, run(0).Run, func() {
		eventually(t, "the first leads", func() bool { return ticks[0].get() > 0 })
		during(t, run(1).Run, func() {
			seen := ticks[0].get()
			eventually(t, "the first goes on", func() bool { return ticks[0].get() > seen+5 })
			if n := ticks[1].get(); n != 0 {
				t.Errorf("the second looked at the clock %d times while the first led", n)
			}
		})
	})
	during(t, run(1).Run, func() {
		eventually(t, "the second leads after the first is gone", func() bool { return ticks[1].get() > 0 })
	})
}

func TestCronGoesOnWithoutTheQueue(t *testing.T) {
	r := newRig(t)
	must(t, r.queue.Close())
	var n counter
	s := r.scheduler((&firings{}).note)
	s.Always = []func(context.Context) error{func(context.Context) error { n.add(); return nil }}
	during(t, s.Run, func() { eventually(t, "fired", func() bool { return n.get() > 0 }) })
}

// A server that is away, not closed: the leader that cannot renew gives up and
// goes by the ledger.
func TestCronGoesOnWhileTheServerIsAway(t *testing.T) {
	r := newRig(t)
	away, err := queue.Open(queue.Options{URL: "redis://127.0.0.1:1?dial_timeout=50ms&max_retries=-1"})
	must(t, err)
	t.Cleanup(func() { _ = away.Close() })
	var n counter
	s := r.scheduler((&firings{}).note)
	s.Queue = away
	s.Always = []func(context.Context) error{func(context.Context) error { n.add(); return nil }}
	during(t, s.Run, func() { eventually(t, "fired", func() bool { return n.get() > 0 }) })
}

type counter struct {
	mu sync.Mutex
	n  int
}

func (c *counter) add() { c.mu.Lock(); c.n++; c.mu.Unlock() }
func (c *counter) get() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.n
}
