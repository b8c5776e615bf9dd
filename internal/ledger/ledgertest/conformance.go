// Package ledgertest holds what every ledger store must pass, benchmarks they
// can be compared by, and a store that fails when told to.
package ledgertest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Conformance runs the suite that every store passes. open gives a fresh, empty
// store each time it is called, and sees to its closing.
func Conformance(t *testing.T, open func(t *testing.T) ledger.Store) {
	t.Helper()
	for _, c := range []struct {
		name string
		run  func(*testing.T, ledger.Store)
	}{
		{"empty ledger", testEmpty},
		{"sequence", testSequence},
		{"every kind comes back", testKinds},
		{"times come back", testTimes},
		{"text comes back", testText},
		{"source counts once", testOnce},
		{"source counts once in a batch", testOnceInBatch},
		{"source counts once in a large batch", testOnceInLarge},
		{"source counts once in a race", testOnceInRace},
		{"invalid batches leave nothing", testInvalid},
		{"filters", testFilters},
		{"samples of some hours", testSamples},
		{"counts", testCounts},
		{"samples forgotten", testForgetSamples},
		{"amend and retract are kept", testAmend},
		{"many writers", testWriters},
		{"readers see a growing prefix", testPrefix},
		{"given up before the write", testCancelled},
		{"given up during the write", testCancelling},

		{"projections go forward", testProjections},
		{"projections by place", testProjectionsByPlace},
		{"projections together", testProjectionsTogether},
		{"projections dropped", testProjectionsDropped},
		{"lagging banks", testLagging},
		{"touched banks lag", testTouch},
		{"longest behind first", testLaggingOrder},

		{"post key counts once", testPostOnce},
		{"post comes back", testPostComesBack},
		{"waiting posts", testWaiting},
		{"claim by platform and time", testClaim},
		{"lease", testLease},
		{"thread order", testThread},
		{"claimed once in a race", testClaimRace},
		{"sent", testSent},
		{"forgotten", testForget},
		{"failed, parked, retried", testFailed},
		{"waiting post parked and retried", testParkedWaiting},
		{"dropped", testDropped},
		{"unknown post", testUnknownPost},

		{"firing once", testFiring},
		{"firing once in a race", testFiringRace},
		{"keys", testKeys},
		{"closed", testClosed},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := open(t)
			c.run(t, s)
			if c.name == "closed" {
				return
			}
			if err := s.Check(t.Context()); err != nil {
				t.Errorf("Check afterwards: %v", err)
			}
		})
	}
}

// Equal reports as test errors what two ledgers do not have in common: entries,
// counts, projections, posts and keys.
func Equal(t *testing.T, a, b ledger.Store) {
	t.Helper()
	for _, part := range []struct {
		name string
		read func(ledger.Store) (any, error)
	}{
		{"entries", func(s ledger.Store) (any, error) { return s.Entries(t.Context(), ledger.Filter{}) }},
		{"counts", func(s ledger.Store) (any, error) { return s.Counts(t.Context()) }},
		{"projections", func(s ledger.Store) (any, error) { return s.Projections(t.Context(), "") }},
		{"lagging", func(s ledger.Store) (any, error) { return s.Lagging(t.Context(), 0) }},
		{"posts", func(s ledger.Store) (any, error) { return s.Posts(t.Context(), "", 0) }},
		{"keys", func(s ledger.Store) (any, error) { return s.Keys(t.Context()) }},
	} {
		one, err := part.read(a)
		if err != nil {
			t.Errorf("%s of the first: %v", part.name, err)
			continue
		}
		other, err := part.read(b)
		if err != nil {
			t.Errorf("%s of the second: %v", part.name, err)
			continue
		}
		if diff := cmp.Diff(one, other); diff != "" {
			t.Errorf("%s differ (-first +second):\n%s", part.name, diff)
		}
	}
}

// monday is an arbitrary fixed moment with a fraction of a second.
var monday = time.Date(2026, 3, 2, 7, 0, 0, 123456789, time.UTC)

const bank = plant.BankID("harbour/ahu-3/secondary")

func reading(source string, place plant.BankID) entry.Entry {
	return entry.Entry{
		Source: source, Kind: entry.KindReading, Place: place,
		At: monday, Received: monday.Add(time.Second), By: "kim", Line: "ahu3 bag 145pa",
		Body: entry.Reading{Pa: 145},
	}
}

func readings(prefix string, place plant.BankID, n int) []entry.Entry {
	out := make([]entry.Entry, n)
	for i := range out {
		out[i] = reading(fmt.Sprintf("%s:%06d", prefix, i), place)
	}
	return out
}

func post(key, thread string) ledger.OutboxPost {
	return ledger.OutboxPost{
		Key: key, Site: "harbour", State: ledger.PostReady, Created: monday, NotBefore: monday,
		Post: channel.Post{To: channel.Address{Platform: "terminal", Channel: "C1", Thread: thread}, Text: "text of " + key},
	}
}

func commit(t *testing.T, s ledger.Store, b ledger.Batch) []ledger.Result {
	t.Helper()
	res, err := s.Commit(t.Context(), b)
	if err != nil {
		t.Fatalf("Commit: %v", err)
	}
	if len(res) != len(b.Entries) {
		t.Fatalf("Commit gave %d results for %d entries", len(res), len(b.Entries))
	}
	return res
}

func put(t *testing.T, s ledger.Store, posts ...ledger.OutboxPost) {
	t.Helper()
	commit(t, s, ledger.Batch{Posts: posts})
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func entries(t *testing.T, s ledger.Store, f ledger.Filter) []entry.Entry {
	t.Helper()
	es, err := s.Entries(t.Context(), f)
	if err != nil {
		t.Fatalf("Entries(%+v): %v", f, err)
	}
	return es
}

func head(t *testing.T, s ledger.Store) int64 {
	t.Helper()
	n, err := s.Head(t.Context())
	if err != nil {
		t.Fatalf("Head: %v", err)
	}
	return n
}

func sources(es []entry.Entry) []string {
	out := []string{}
	for _, e := range es {
		out = append(out, e.Source)
	}
	return out
}

func same(t *testing.T, what string, got, want any) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", what, diff)
	}
}

func cancelled(t *testing.T) context.Context {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	return ctx
}
