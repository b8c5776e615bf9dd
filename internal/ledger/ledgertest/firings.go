package ledgertest

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
)

func firing(site, scheduled string) ledger.Firing {
	return ledger.Firing{Job: "digest", Site: site, Scheduled: scheduled, At: monday}
}

func testFiring(t *testing.T, s ledger.Store) {
	late := firing("harbour", "2026-03-09T07:00")
	late.At, late.Late = monday.Add(200*time.Hour), true
	commit(t, s, ledger.Batch{Firings: []ledger.Firing{late}})
	commit(t, s, ledger.Batch{Firings: []ledger.Firing{firing("harbour", "2026-03-02T07:00"), firing("hill", "2026-03-16T07:00")}})

	b := ledger.Batch{
		Entries: readings("x", bank, 1), Posts: []ledger.OutboxPost{post("p", "")},
		Firings: []ledger.Firing{firing("harbour", "2026-03-23T07:00"), firing("harbour", "2026-03-02T07:00")},
	}
	if _, err := s.Commit(t.Context(), b); !errors.Is(err, ledger.ErrFired) {
		t.Fatalf("Commit of a firing that was there: %v, want ErrFired", err)
	}
	if n := head(t, s); n != 0 {
		t.Errorf("the refused batch left %d entries", n)
	}
	inState(t, s, "")

	got, err := s.LastFiring(t.Context(), "digest", "harbour")
	must(t, err)
	same(t, "last firing: the newest scheduled, not the newest written or the refused one", got, late)
	if _, err := s.LastFiring(t.Context(), "reminder", "harbour"); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("LastFiring of another job: %v", err)
	}
	res := commit(t, s, ledger.Batch{Entries: b.Entries})
	same(t, "sequence after a refused batch", res, []ledger.Result{{Seq: 1}})
}

// testFiringRace lets eight replicas fire every job of a month while others
// write: one wins each, its post goes out once, and nobody else is hurt.
func testFiringRace(t *testing.T, s ledger.Store) {
	const replicas, jobs = 8, 30
	var won [jobs]atomic.Int32
	var wg sync.WaitGroup
	for r := range replicas {
		wg.Go(func() {
			for j := range jobs {
				when := fmt.Sprintf("2026-03-%02dT07:00", j+1)
				_, err := s.Commit(t.Context(), ledger.Batch{
					Firings: []ledger.Firing{firing("harbour", when)},
					Posts:   []ledger.OutboxPost{post("digest "+when, "")},
					Entries: []entry.Entry{reading(fmt.Sprintf("replica %d %s", r, when), bank)},
				})
				switch {
				case err == nil:
					won[j].Add(1)
				case !errors.Is(err, ledger.ErrFired):
					t.Errorf("replica %d: %v", r, err)
				}
			}
		})
		wg.Go(func() {
			for _, e := range readings(fmt.Sprint("bystander", r), bank, jobs) {
				if _, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{e}}); err != nil {
					t.Errorf("bystander %d: %v", r, err)
				}
			}
		})
	}
	wg.Wait()
	for j := range jobs {
		if n := won[j].Load(); n != 1 {
			t.Errorf("job %d fired %d times", j, n)
		}
	}
	all := entries(t, s, ledger.Filter{})
	if want := jobs + replicas*jobs; len(all) != want {
		t.Errorf("%d entries, want %d: one for each job and all bystanders'", len(all), want)
	}
	for i, e := range all {
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d is #%d: refused batches left a gap", i+1, e.Seq)
		}
	}
	same(t, "posts", len(claim(t, s, monday, 999)), jobs)
}

func testKeys(t *testing.T, s ledger.Store) {
	expires := monday.Add(24 * time.Hour)
	a := ledger.Key{ID: "a", Name: "hall automation", Scheme: "signature", Secret: []byte{0, 1, 0xff}, Sites: []string{"harbour"}, Points: []string{"AHU-"}, Created: monday}
	b := ledger.Key{ID: "b", Name: "old logger", Scheme: "bearer", Hash: []byte("hash"), Created: monday.Add(-time.Hour), Expires: &expires}
	must(t, s.PutKey(t.Context(), a))
	must(t, s.PutKey(t.Context(), b))
	keys := func() []ledger.Key {
		ks, err := s.Keys(t.Context())
		must(t, err)
		return ks
	}
	same(t, "keys, oldest first", keys(), []ledger.Key{b, a})
	b.Revoked, b.Name = &monday, "old logger, retired"
	must(t, s.PutKey(t.Context(), b))
	same(t, "keys after a revocation", keys(), []ledger.Key{b, a})
	if err := s.PutKey(t.Context(), ledger.Key{Name: "no id"}); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("PutKey without an id: %v, want ErrInvalid", err)
	}
}
