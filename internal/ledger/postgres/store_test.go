//go:build unix

package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/postgres"
	"clogwise/internal/ledger/postgres/postgrestest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
)

// server is shared by the tests; each uses a schema of its own. absent says why
// there is none.
var (
	server *postgrestest.Server
	absent error
)

func TestMain(m *testing.M) {
	server, absent = postgrestest.Start(context.Background())
	if absent != nil && !errors.Is(absent, postgrestest.ErrAbsent) {
		fmt.Fprintln(os.Stderr, absent)
		os.Exit(1)
	}
	code := m.Run()
	if server != nil {
		if err := server.Stop(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

func schema(t testing.TB) string {
	t.Helper()
	if absent != nil {
		t.Skip(absent)
	}
	return server.Schema(t)
}

func open(t testing.TB, url string, opts postgres.Options) *postgres.Store {
	t.Helper()
	s, err := postgres.Open(t.Context(), url, opts)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

func fresh(t testing.TB) *postgres.Store { return open(t, schema(t), postgres.Options{}) }

func TestConformance(t *testing.T) {
	t.Parallel()
	ledgertest.Conformance(t, func(t *testing.T) ledger.Store { return fresh(t) })
}

func BenchmarkStore(b *testing.B) {
	ledgertest.Benchmark(b, func(b *testing.B) ledger.Store { return fresh(b) })
}

func readings(prefix string, place plant.BankID, n int) []entry.Entry {
	out := make([]entry.Entry, n)
	for i := range out {
		out[i] = entry.Entry{
			Source: fmt.Sprintf("%s:%08d", prefix, i), Kind: entry.KindReading, Place: place,
			At: time.Unix(int64(i)*900, 0), Body: entry.Reading{Pa: 100 + float64(i%100)},
		}
	}
	return out
}

// TestMachines: several stores on one database, as on several machines.
func TestMachines(t *testing.T) {
	t.Parallel()
	url := schema(t)
	const machines, writers, each = 3, 4, 50
	var stores []*postgres.Store
	for range machines {
		stores = append(stores, open(t, url, postgres.Options{Conns: 3}))
	}
	var wg sync.WaitGroup
	for m, s := range stores {
		for w := range writers {
			wg.Go(func() {
				for _, e := range readings(fmt.Sprint("m", m, "w", w), plant.BankID(fmt.Sprintf("s/a/b%d", w)), each) {
					if _, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{e}}); err != nil {
						t.Errorf("machine %d: %v", m, err)
						return
					}
				}
			})
		}
		wg.Go(func() {
			for i := range each {
				if err := s.PutProjection(t.Context(), ledger.Projection{Bank: plant.BankID(fmt.Sprintf("s/a/b%d", i%writers)), UpTo: int64(i), Data: []byte(`{}`)}); err != nil {
					t.Errorf("machine %d: %v", m, err)
				}
				if i%10 == 0 {
					if err := s.DropProjections(t.Context()); err != nil {
						t.Errorf("machine %d: %v", m, err)
					}
				}
			}
		})
	}
	wg.Wait()
	if n, err := stores[0].Head(t.Context()); err != nil || n != machines*writers*each {
		t.Errorf("head %d (%v), want %d", n, err, machines*writers*each)
	}
	for _, s := range stores {
		if err := s.Check(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

func TestOpenTogether(t *testing.T) {
	t.Parallel()
	url := schema(t)
	var wg sync.WaitGroup
	for range 5 {
		wg.Go(func() {
			s, err := postgres.Open(t.Context(), url, postgres.Options{})
			if err != nil {
				t.Errorf("Open: %v", err)
				return
			}
			if err := errors.Join(s.Ping(t.Context()), s.Close()); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	t.Run("a newer schema", func(t *testing.T) {
		t.Parallel()
		url := schema(t)
		open(t, url, postgres.Options{})
		if err := execute(t.Context(), url, `UPDATE schema_version SET version = 1000`); err != nil {
			t.Fatal(err)
		}
		if _, err := postgres.Open(t.Context(), url, postgres.Options{}); !errors.Is(err, ledger.ErrNewer) {
			t.Errorf("Open: %v, want ErrNewer", err)
		}
	})
	t.Run("no server", func(t *testing.T) {
		t.Parallel()
		url := "postgres://clogwise@/postgres?host=" + t.TempDir()
		if _, err := postgres.Open(t.Context(), url, postgres.Options{}); !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("Open: %v, want ErrUnavailable", err)
		}
	})
	t.Run("no URL", func(t *testing.T) {
		t.Parallel()
		if _, err := postgres.Open(t.Context(), "postgres://%", postgres.Options{}); !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("Open: %v, want ErrUnavailable", err)
		}
	})
}

// execute runs a statement over a connection of its own.
func execute(ctx context.Context, url, query string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, query)
	return errors.Join(err, conn.Close(ctx))
}

// TestConnectionsCut ends the store's connections again and again while it
// commits: what was reported written is there once, what was reported not
// written is not, and it recovers by itself.
func TestConnectionsCut(t *testing.T) {
	t.Parallel()
	url := schema(t)
	s := open(t, url+"&application_name=cut", postgres.Options{Conns: 3})
	ctx, stop := context.WithCancel(t.Context())
	var cutting sync.WaitGroup
	cutting.Go(func() {
		for ctx.Err() == nil {
			if err := execute(t.Context(), url, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'cut'`); err != nil {
				t.Error(err)
			}
		}
	})
	const writers, each = 4, 100
	outcomes := make(chan struct {
		source string
		err    error
	}, writers*each)
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for _, e := range readings(fmt.Sprint("w", w), "s/a/b", each) {
				_, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{e}})
				outcomes <- struct {
					source string
					err    error
				}{e.Source, err}
			}
		})
	}
	wg.Wait()
	stop()
	cutting.Wait()
	close(outcomes)

	there := map[string]bool{}
	all, err := open(t, url, postgres.Options{}).Entries(t.Context(), ledger.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		there[e.Source] = true
	}
	failed := 0
	for o := range outcomes {
		switch {
		case o.err == nil && !there[o.source]:
			t.Errorf("%s was reported written and is not there", o.source)
		case errors.Is(o.err, ledger.ErrUnavailable) && there[o.source]:
			t.Errorf("%s was reported not written (%v) and is there", o.source, o.err)
		case o.err != nil && !errors.Is(o.err, ledger.ErrUnavailable) && !errors.Is(o.err, ledger.ErrUncertain):
			t.Errorf("%s: %v", o.source, o.err)
		}
		if o.err != nil {
			failed++
		}
	}
	t.Logf("%d of %d commits failed", failed, writers*each)
	if failed == 0 {
		t.Error("no commit failed: this tested nothing")
	}
}

// TestMove takes a ledger from one kind of store to the other and back.
func TestMove(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	first := fresh(t)
	fired := ledger.Firing{Job: "digest", Site: "s", Scheduled: "2026-03-02T07:00", At: now, Late: true}
	waiting := ledger.OutboxPost{Key: "waiting", State: ledger.PostWaiting, WaitsFor: map[plant.BankID]int64{"s/a/b": 9}, Recipe: []byte(`{"a": 1}`)}
	b := ledger.Batch{
		Entries: readings("x", "s/a/b", 12_000), Touch: []plant.BankID{"s/a/c"}, Firings: []ledger.Firing{fired},
		Posts: []ledger.OutboxPost{{Key: "p"}, waiting},
	}
	if _, err := first.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(
		first.PutProjection(t.Context(), ledger.Projection{Bank: "s/a/b", UpTo: 200, At: now, Data: []byte(`{"a":1}`)}),
		first.PutKey(t.Context(), ledger.Key{ID: "k", Secret: []byte{0, 255}, Created: now, Expires: &now}),
		first.MarkSent(t.Context(), "p", "1.5", now),
	); err != nil {
		t.Fatal(err)
	}

	path := filepath.Join(t.TempDir(), "copy.db")
	if err := first.Backup(t.Context(), path); err != nil {
		t.Fatalf("Backup: %v", err)
	}
	file, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = file.Close() })
	ledgertest.Equal(t, first, file)

	second := fresh(t)
	if err := second.Restore(t.Context(), file); err != nil {
		t.Fatalf("Restore: %v", err)
	}
	ledgertest.Equal(t, first, second)
	if err := second.Check(t.Context()); err != nil {
		t.Error(err)
	}
	if err := second.Restore(t.Context(), file); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("Restore over a ledger: %v, want ErrInvalid", err)
	}
	again := ledger.Batch{Entries: readings("x", "s/a/b", 12_001), Posts: []ledger.OutboxPost{{Key: "p"}, {Key: "new"}}}
	res, err := second.Commit(t.Context(), again)
	if err != nil || !res[0].Duplicate || res[12_000] != (ledger.Result{Seq: 12_001}) {
		t.Errorf("resent after the move: first %+v, new %+v, %v", res[0], res[12_000], err)
	}
	if _, err := second.Commit(t.Context(), ledger.Batch{Firings: []ledger.Firing{fired}}); !errors.Is(err, ledger.ErrFired) {
		t.Errorf("a firing of before the move: %v, want ErrFired", err)
	}
}
