package worker_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/internal/view"
	"clogwise/worker"
)

// counted notes what is asked of a ledger.
type counted struct {
	ledger.Store
	mu    sync.Mutex
	reads map[plant.BankID]int // of the projections of a place
	asked []ledger.Filter

	firings int // how often the last firing of a job was asked for
}

func (c *counted) LastFiring(ctx context.Context, job, site string) (ledger.Firing, error) {
	c.mu.Lock()
	c.firings++
	c.mu.Unlock()
	return c.Store.LastFiring(ctx, job, site)
}

func (c *counted) Projections(ctx context.Context, place plant.BankID) ([]ledger.Projection, error) {
	c.mu.Lock()
	c.reads[place]++
	c.mu.Unlock()
	return c.Store.Projections(ctx, place)
}

func (c *counted) Entries(ctx context.Context, f ledger.Filter) ([]entry.Entry, error) {
	c.mu.Lock()
	c.asked = append(c.asked, f)
	c.mu.Unlock()
	return c.Store.Entries(ctx, f)
}

// historied is a rig with years of lives, and its nightly job with what it asks.
func historied(t *testing.T) (*rig, *counted, worker.Posts) {
	r := newRig(t)
	_, err := r.store.Commit(t.Context(), ledger.Batch{Entries: demo.History(demo.Portfolio(), start, 1)})
	must(t, err)
	c := &counted{Store: r.store, reads: map[plant.BankID]int{}}
	r.view = view.New(c)
	r.worker.View = r.view
	return r, c, worker.Posts{View: r.view, Store: c, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
}

func nightOnly(posts worker.Posts) []worker.Job {
	return slices.DeleteFunc(posts.Jobs(), func(j worker.Job) bool { return j.Name != "nightly" })
}

// The sites whose nights fall due together learn from the fleet once, and what
// they learn and forecast is as if each had done so.
func TestNightLearnsOnceForAllSites(t *testing.T) {
	t.Parallel()
	r, c, posts := historied(t)
	s := r.scheduler(nil)
	s.View, s.Jobs = r.view, nightOnly(posts)
	must(t, s.Fire(t.Context())) // counts from here
	sites := demo.Portfolio().Sites
	lone, _, _ := historied(t)
	for night := range 3 {
		clear(c.reads)
		r.clock.set(start.AddDate(0, 0, night+1))
		lone.clock.set(r.clock.now())
		must(t, s.Fire(t.Context()))
		for _, site := range sites {
			if n := c.reads[plant.BankID(site.ID)]; n != 1 {
				t.Errorf("night %d: %s was read %d times to learn from it, want once", night, site.ID, n)
			}
			must(t, lone.worker.RecomputeAll(t.Context(), plant.BankID(site.ID)))
		}
	}
	got, err := r.store.Projections(t.Context(), "")
	must(t, err)
	want, err := lone.store.Projections(t.Context(), "")
	must(t, err)
	if len(want) == 0 {
		t.Fatal("nothing was forecast")
	}
	for i := range want {
		want[i].UpTo, want[i].At = 0, time.Time{}
	}
	for i := range got {
		got[i].UpTo, got[i].At = 0, time.Time{}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("learnt and forecast (-each by itself +together):\n%.2000s", diff)
	}
}

// A night that could not learn has not learnt.
func TestNightThatFailsLearnsAgain(t *testing.T) {
	t.Parallel()
	r, c, posts := historied(t)
	s := r.scheduler(nil)
	s.View, s.Jobs = r.view, nightOnly(posts)
	must(t, s.Fire(t.Context()))
	r.clock.add(24 * time.Hour)
	r.store.Down(true)
	if err := s.Fire(t.Context()); err == nil {
		t.Fatal("a night without a ledger: no error")
	}
	r.store.Down(false)
	clear(c.reads)
	must(t, s.Fire(t.Context()))
	if n := c.reads["clinic"]; n != 1 {
		t.Errorf("the clinic was read %d times to learn from it, want once", n)
	}
}

// Late values count although the machine to which they came has its clock an hour
// behind: they bear times of arrival from before the last night.
func TestLateValuesCountByAClockThatIsBehind(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	posts := worker.Posts{View: r.view, Store: r.store, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs = slices.DeleteFunc(posts.Jobs(), func(j worker.Job) bool { return j.Name != "trends" })
	const bank plant.BankID = "clinic/ahu-2/secondary"
	night := func(day int) {
		r.clock.set(time.Date(2026, 3, day, 1, 0, 0, 0, time.UTC))
		must(t, s.Fire(t.Context()))
	}
	night(3) // counts from here
	_, err := (&pointbook.Book{Store: r.store, View: r.view}).Assign(t.Context(), bank,
		entry.Point{Name: "N.DP", Quantity: "pressure", Unit: "Pa", Trend: true}, "Maren", r.clock.now())
	must(t, err)
	for day := 4; day < 12; day++ {
		night(day)
	}
	pa, received := 120.0, r.clock.now().Add(5*time.Minute-time.Hour)
	var b ledger.Batch
	for i := range 96 {
		b.Entries = append(b.Entries, entry.Entry{
			Source: fmt.Sprint("hook:", i), Kind: entry.KindSample, Place: bank.AHU(), At: time.Date(2026, 3, 4, 0, 15*i, 0, 0, time.UTC),
			Received: received, By: "hall automation", Body: entry.Sample{Point: "N.DP", Quantity: "pressure", Value: &pa},
		})
	}
	_, err = r.store.Commit(t.Context(), b)
	must(t, err)
	night(12)
	all, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank, Exact: true, Kinds: []entry.Kind{entry.KindReading}})
	must(t, err)
	if len(all) == 0 {
		t.Error("no reading was made of them")
	}
}

// Days are made readings of however long nobody could: a machine that was off for a
// week owes them all.
func TestTrendsAreOwedAfterAnOutage(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	posts := worker.Posts{View: r.view, Store: r.store, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.CatchUp = time.Hour
	s.Jobs = slices.DeleteFunc(posts.Jobs(), func(j worker.Job) bool { return j.Name != "trends" })
	const bank plant.BankID = "clinic/ahu-2/secondary"
	night := func(day, hour int) {
		r.clock.set(time.Date(2026, 3, day, hour, 0, 0, 0, time.UTC))
		must(t, s.Fire(t.Context()))
	}
	night(3, 1) // counts from here
	_, err := (&pointbook.Book{Store: r.store, View: r.view}).Assign(t.Context(), bank,
		entry.Point{Name: "N.DP", Quantity: "pressure", Unit: "Pa", Trend: true}, "Maren", r.clock.now())
	must(t, err)
	night(4, 1)
	pa := 120.0
	for day := 4; day < 12; day++ {
		var b ledger.Batch
		for i := range 96 {
			at := time.Date(2026, 3, day, 0, 15*i, 0, 0, time.UTC)
			b.Entries = append(b.Entries, entry.Entry{
				Source: fmt.Sprint("hook:", day, i), Kind: entry.KindSample, Place: bank.AHU(), At: at,
				Received: at, By: "hall automation", Body: entry.Sample{Point: "N.DP", Quantity: "pressure", Value: &pa},
			})
		}
		_, err = r.store.Commit(t.Context(), b)
		must(t, err)
	}
	night(12, 20) // long after the last fell due
	night(13, 1)
	all, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank, Exact: true, Kinds: []entry.Kind{entry.KindReading}})
	must(t, err)
	if len(all) != 8 {
		t.Errorf("%d readings, want one of each of 8 days", len(all))
	}
}

// A night asks for the values of its own days, by their time, or for those that came
// since the last: nothing that grows with the years for which values are kept.
func TestTrendNightsAskForTheirDays(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	c := &counted{Store: r.store, reads: map[plant.BankID]int{}}
	posts := worker.Posts{View: r.view, Store: c, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs = slices.DeleteFunc(posts.Jobs(), func(j worker.Job) bool { return j.Name != "trends" })
	const bank plant.BankID = "clinic/ahu-2/secondary"
	night := func(day int) {
		r.clock.set(time.Date(2026, 3, day, 1, 0, 0, 0, time.UTC))
		must(t, s.Fire(t.Context()))
	}
	night(3) // counts from here
	book := &pointbook.Book{Store: r.store, View: r.view}
	_, err := book.Assign(t.Context(), bank, entry.Point{Name: "N.DP", Quantity: "pressure", Trend: true}, "Maren", r.clock.now())
	must(t, err)
	_, err = book.Assign(t.Context(), bank.AHU(), entry.Point{Name: "N.Run", Quantity: "run-status"}, "Maren", r.clock.now())
	must(t, err)
	for day := 4; day < 9; day++ {
		night(day) // the first looks back to before the mapping
	}
	c.asked = nil
	night(9)
	byTime, since := 0, 0
	for _, f := range c.asked {
		switch {
		case !slices.Contains(f.Kinds, entry.KindSample):
		case f.AfterSeq > 0:
			since++
		case !f.Exact || r.clock.now().Sub(f.From) > 6*24*time.Hour: // two days back, and as much around as tells midnights
			t.Errorf("asked for %+v", f)
		default:
			byTime++
		}
	}
	if byTime < 2 || since == 0 { // of the trend and of the run status
		t.Errorf("%d times by time, %d times what came since", byTime, since)
	}
}
