package worker_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

const (
	pre plant.BankID = "clinic/ahu-1/primary"
	bag plant.BankID = "clinic/ahu-1/secondary"
)

func TestReplyIsRenderedWhenAllItsBanksHaveCaughtUp(t *testing.T) {
	r := newRig(t)
	r.read("m1", 80, pre, bag)
	during(t, r.worker.Run, func() {
		r.notify(pre)
		eventually(t, "first bank recomputed", func() bool {
			a, _, err := r.view.Assessment(t.Context(), pre)
			return err == nil && a.Last != nil
		})
		if p := r.post("re:m1"); p.State != ledger.PostWaiting {
			t.Errorf("reply is %s before its second bank caught up", p.State)
		}
		r.notify(bag)
		eventually(t, "reply ready", func() bool { return r.post("re:m1").State == ledger.PostReady })
	})
	for _, part := range []string{"AHU-1 primary: 80 Pa", "AHU-1 secondary: 80 Pa", "Due "} {
		if p := r.post("re:m1"); !strings.Contains(p.Post.Text, part) {
			t.Errorf("reply %q lacks %q", p.Post.Text, part)
		}
	}
	if to := r.post("re:m1").Post.To; to.Thread != "m1" {
		t.Errorf("reply goes to %+v", to)
	}
}

// Two workers, many notices for few banks: all caught up, nothing lost.
func TestWorkersShareTheBanks(t *testing.T) {
	r := newRig(t)
	twin := *r.worker
	twin.Name = "twin"
	banks := []plant.BankID{pre, bag, "clinic/ahu-2/primary", "clinic/ahu-2/secondary", "clinic/ahu-3/primary"}
	during(t, r.worker.Run, func() {
		during(t, twin.Run, func() {
			for i := range 40 {
				bank := banks[i%len(banks)]
				r.read(fmt.Sprintf("m%d", i), 60+float64(i), bank)
				r.notify(bank)
			}
			eventually(t, "all caught up and answered", func() bool {
				lags, err := r.store.Lagging(t.Context(), 0)
				must(t, err)
				waiting, err := r.store.Waiting(t.Context(), nil)
				must(t, err)
				behind := slices.ContainsFunc(lags, func(l ledger.Lag) bool { return slices.Contains(banks, l.Bank) })
				return !behind && len(waiting) == 0
			})
		})
	})
	for i, bank := range banks {
		a, _, err := r.view.Assessment(t.Context(), bank)
		must(t, err)
		if want := 60 + float64(35+i); a.Last == nil || a.Last.Pa != want {
			t.Errorf("%s: last %+v, want %.0f Pa", bank, a.Last, want)
		}
	}
}

// Redis lost the notices, or was down when they were made: the sweep finds them.
func TestSweepFindsWhatNobodyWasTold(t *testing.T) {
	r := newRig(t)
	r.read("m1", 80, pre)
	during(t, r.worker.Run, func() {
		during(t, r.worker.RunSweep, func() {
			eventually(t, "reply ready", func() bool { return r.post("re:m1").State == ledger.PostReady })
		})
	})
	if text := r.post("re:m1").Post.Text; !strings.Contains(text, "Reaches") {
		t.Errorf("reply without a forecast: %q", text)
	}
}

// An outage of the ledger uses up no tries: nobody would take a parked notice up
// again when it is over.
func TestNoticesOutlastAnOutageOfTheLedger(t *testing.T) {
	r := newRig(t)
	r.worker.MaxTries = 1
	r.read("m1", 80, pre)
	begun := make(chan struct{}, 100)
	r.worker.Slow = func(context.Context, string) { begun <- struct{}{} }
	r.notify(pre)
	r.store.Down(true)
	during(t, r.worker.Run, func() {
		<-begun
		time.AfterFunc(300*time.Millisecond, func() { r.store.Down(false) })
		eventually(t, "caught up", func() bool {
			p, err := r.store.Post(t.Context(), "re:m1")
			return err == nil && p.State == ledger.PostReady
		})
	})
	parked, err := r.queue.Parked(t.Context())
	must(t, err)
	if len(parked) != 0 {
		t.Errorf("parked: %+v", parked)
	}
}

func TestUnreadableRecipeIsParkedAndHoldsNobodyUp(t *testing.T) {
	r := newRig(t)
	must(t, commitPost(r, ledger.OutboxPost{Key: "bad", Site: "clinic", State: ledger.PostWaiting, Recipe: []byte(`[1]`),
		WaitsFor: map[plant.BankID]int64{pre: 1}, Created: start, NotBefore: start}))
	r.read("m1", 80, pre)
	_, err := r.view.Recompute(t.Context(), pre, start)
	must(t, err)
	must(t, r.worker.Render(t.Context(), []plant.BankID{pre}, false))
	if p := r.post("bad"); p.State != ledger.PostParked {
		t.Errorf("unreadable recipe is %s", p.State)
	}
	if p := r.post("re:m1"); p.State != ledger.PostReady {
		t.Errorf("the reply behind it is %s", p.State)
	}
}

func commitPost(r *rig, p ledger.OutboxPost) error {
	_, err := r.store.Commit(r.t.Context(), ledger.Batch{Posts: []ledger.OutboxPost{p}})
	return err
}

func TestPromisedForecastIsDroppedAfterADay(t *testing.T) {
	r := newRig(t)
	r.read("m1", 80, "clinic/gone/primary") // never in the register
	r.clock.add(6 * time.Second)
	must(t, r.worker.Render(t.Context(), nil, true))
	if p := r.post("follow:re:m1"); p.State != ledger.PostWaiting {
		t.Fatalf("promise is %s", p.State)
	}
	r.clock.add(25 * time.Hour)
	must(t, r.worker.Render(t.Context(), nil, true))
	if p := r.post("follow:re:m1"); p.State != ledger.PostDropped {
		t.Errorf("promise is %s after a day", p.State)
	}
}

func TestSweepWithoutTheQueueWorksByItself(t *testing.T) {
	r := newRig(t)
	r.read("m1", 80, pre)
	must(t, r.queue.Close())
	must(t, r.worker.Sweep(t.Context()))
	if p := r.post("re:m1"); p.State != ledger.PostReady || !strings.Contains(p.Post.Text, "Reaches") {
		t.Errorf("reply is %s: %q", p.State, p.Post.Text)
	}
}

func TestFailedRecomputeIsTriedAgain(t *testing.T) {
	r := newRig(t)
	r.read("m1", 80, pre)
	r.store.Down(true)
	tried := make(chan struct{}, 10)
	r.worker.Slow = func(context.Context, string) {
		select {
		case tried <- struct{}{}:
		default:
		}
	}
	during(t, r.worker.Run, func() {
		must(t, r.queue.Notify(t.Context(), notice(pre, 1000)))
		<-tried
		r.store.Down(false)
		eventually(t, "reply ready", func() bool { return r.post("re:m1").State == ledger.PostReady })
	})
}

func TestRecomputeAllBringsASiteToToday(t *testing.T) {
	r := newRig(t)
	r.clock.add(72 * time.Hour)
	must(t, r.worker.RecomputeAll(t.Context(), "clinic"))
	a, _, err := r.view.Assessment(t.Context(), pre)
	must(t, err)
	if want := start.Add(72 * time.Hour); !a.Now.Equal(want) {
		t.Errorf("as of %s, want %s", a.Now, want)
	}
	if _, there, err := r.view.Assessment(t.Context(), "hall/ahu-1/primary"); err != nil || there {
		t.Errorf("another site was done too (%v)", err)
	}
}
