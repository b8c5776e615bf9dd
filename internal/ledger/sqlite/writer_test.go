package sqlite_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
)

func readings(prefix string, place plant.BankID, n int) []entry.Entry {
	out := make([]entry.Entry, n)
	for i := range out {
		out[i] = entry.Entry{
			Source: fmt.Sprintf("%s:%08d", prefix, i), Kind: entry.KindReading, Place: place,
			At: time.Unix(int64(i)*900, 0), Received: time.Unix(int64(i)*900+1, 0), By: "hall automation",
			Body: entry.Reading{Pa: 100 + float64(i%100)},
		}
	}
	return out
}

func batch(prefix string) ledger.Batch {
	return ledger.Batch{Entries: readings(prefix, "s/a/b", 2)}
}

// gate holds the writer just before each commit until it is let through.
type gate struct {
	arrived chan int // writes in the transaction
	pass    chan struct{}
}

func gated(t *testing.T, opts sqlite.Options) (*sqlite.Store, gate) {
	t.Helper()
	g := gate{make(chan int), make(chan struct{})}
	opts.BeforeCommit = func(writes int) {
		g.arrived <- writes
		<-g.pass
	}
	return open(t, filepath.Join(t.TempDir(), "ledger.db"), opts), g
}

type outcome struct {
	name string
	err  error
}

func TestGroupsStandAlone(t *testing.T) {
	t.Parallel()
	s, g := gated(t, sqlite.Options{})
	fired := ledger.Firing{Job: "digest", Site: "s", Scheduled: "2026-03-02T07:00"}
	outcomes := make(chan outcome, 9)
	start := func(name string, b ledger.Batch) {
		go func() {
			_, err := s.Commit(t.Context(), b)
			outcomes <- outcome{name, err}
		}()
	}
	start("first", ledger.Batch{Firings: []ledger.Firing{fired}})
	<-g.arrived // while it is held, the others queue up
	again := batch("refused")
	again.Firings = []ledger.Firing{{Job: "digest", Site: "s", Scheduled: "2026-03-09T07:00"}, fired}
	start("a", batch("a"))
	start("refused", again)
	start("b", batch("b"))
	start("c", batch("c"))
	awaitQueue(t, s, 4)
	g.pass <- struct{}{}
	if n := <-g.arrived; n != 4 {
		t.Errorf("the second transaction holds %d writes, want the 4 that were waiting", n)
	}
	g.pass <- struct{}{}

	for range 5 {
		o := <-outcomes
		if want := o.name == "refused"; want != errors.Is(o.err, ledger.ErrFired) || (o.err != nil) != want {
			t.Errorf("%s: %v", o.name, o.err)
		}
	}
	all, err := s.Entries(t.Context(), ledger.Filter{})
	if err != nil || len(all) != 6 || all[5].Seq != 6 {
		t.Errorf("%d entries (%v), want the 6 of a, b and c without a gap", len(all), err)
	}
	if f, err := s.LastFiring(t.Context(), "digest", "s"); err != nil || f.Scheduled != fired.Scheduled {
		t.Errorf("last firing %+v (%v): the refused batch left half of itself", f, err)
	}
}

// awaitQueue waits until n writes wait for the writer.
func awaitQueue(t *testing.T, s *sqlite.Store, n int) {
	t.Helper()
	for s.Queued() < n {
		select {
		case <-t.Context().Done():
			t.Fatal("the writes never queued")
		case <-time.After(time.Millisecond):
		}
	}
}

func TestGivenUpWhileWaiting(t *testing.T) {
	t.Parallel()
	s, g := gated(t, sqlite.Options{})
	first := make(chan error, 1)
	go func() { _, err := s.Commit(t.Context(), batch("first")); first <- err }()
	<-g.arrived

	ctx, cancel := context.WithCancel(t.Context())
	second := make(chan error, 1)
	go func() { _, err := s.Commit(ctx, batch("second")); second <- err }()
	awaitQueue(t, s, 1)
	cancel()
	if err := <-second; !errors.Is(err, context.Canceled) || errors.Is(err, ledger.ErrUncertain) {
		t.Errorf("given up while waiting: %v, want the plain context error", err)
	}
	g.pass <- struct{}{}
	if err := <-first; err != nil {
		t.Errorf("the write before it: %v", err)
	}
	if n, err := s.Head(t.Context()); err != nil || n != 2 {
		t.Errorf("head %d (%v), want 2: a withdrawn batch was written", n, err)
	}
}

func TestGivenUpWhileWriting(t *testing.T) {
	t.Parallel()
	t.Run("the disk is quick enough", func(t *testing.T) {
		t.Parallel()
		s, g := gated(t, sqlite.Options{Grace: time.Minute})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { _, err := s.Commit(ctx, batch("x")); done <- err }()
		<-g.arrived
		cancel()
		g.pass <- struct{}{}
		if err := <-done; err != nil {
			t.Errorf("committed, and reported as %v", err)
		}
	})
	t.Run("the disk hangs", func(t *testing.T) {
		t.Parallel()
		s, g := gated(t, sqlite.Options{Grace: time.Millisecond})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { _, err := s.Commit(ctx, batch("x")); done <- err }()
		<-g.arrived
		cancel()
		if err := <-done; !errors.Is(err, ledger.ErrUncertain) || !errors.Is(err, context.Canceled) || errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("given up on a hanging disk: %v, want ErrUncertain and the context's error", err)
		}
		g.pass <- struct{}{}
		go func() { <-g.arrived; g.pass <- struct{}{} }()
		res, err := s.Commit(t.Context(), batch("x"))
		if err != nil || !res[0].Duplicate {
			t.Errorf("sent again: %+v, %v; want duplicates", res, err)
		}
	})
}

func TestCloseFinishesWhatWasAccepted(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	g := gate{make(chan int, 9), make(chan struct{})}
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{BeforeCommit: func(n int) { g.arrived <- n; <-g.pass }})
	if err != nil {
		t.Fatal(err)
	}
	outcomes := make(chan error, 2)
	go func() { _, err := s.Commit(t.Context(), batch("a")); outcomes <- err }()
	<-g.arrived
	go func() { _, err := s.Commit(t.Context(), batch("b")); outcomes <- err }()
	awaitQueue(t, s, 1)
	closed := make(chan error, 1)
	go func() { closed <- s.Close() }()
	close(g.pass)
	for range 2 {
		if err := <-outcomes; err != nil {
			t.Errorf("accepted before Close: %v", err)
		}
	}
	if err := <-closed; err != nil {
		t.Errorf("Close: %v", err)
	}
	again := open(t, path, sqlite.Options{})
	if n, err := again.Head(t.Context()); err != nil || n != 4 {
		t.Errorf("head %d (%v), want 4", n, err)
	}
}

func TestFullDisk(t *testing.T) {
	t.Parallel()
	s := fresh(t)
	pages, err := s.Pages()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Pragma(fmt.Sprint("max_page_count = ", pages+4)); err != nil {
		t.Fatal(err)
	}
	kept := 0
	for i := range 100 {
		if _, err = s.Commit(t.Context(), ledger.Batch{Entries: readings(fmt.Sprint("x", i), "s/a/b", 20)}); err != nil {
			break
		}
		kept += 20
	}
	if !errors.Is(err, ledger.ErrUnavailable) || errors.Is(err, ledger.ErrUncertain) {
		t.Fatalf("Commit to a full disk: %v, want ErrUnavailable", err)
	}
	if n, err := s.Head(t.Context()); err != nil || n != int64(kept) {
		t.Errorf("head %d (%v) after the disk was full, want the %d acknowledged", n, err, kept)
	}
	if err := s.Pragma("max_page_count = 100000"); err != nil {
		t.Fatal(err)
	}
	res, err := s.Commit(t.Context(), batch("after"))
	if err != nil || res[0].Seq != int64(kept)+1 {
		t.Errorf("once there is room again: %+v, %v", res, err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// TestFullDiskFailsTheGroup: writes that shared a transaction with the one that
// did not fit are told so too, and none of them is there.
func TestFullDiskFailsTheGroup(t *testing.T) {
	t.Parallel()
	s, g := gated(t, sqlite.Options{})
	pages, err := s.Pages()
	if err != nil {
		t.Fatal(err)
	}
	outcomes := make(chan error, 3)
	go func() { outcomes <- s.Pragma(fmt.Sprint("max_page_count = ", pages+4)) }()
	<-g.arrived
	for i, n := range []int{1, 2000} {
		go func() {
			_, err := s.Commit(t.Context(), ledger.Batch{Entries: readings(fmt.Sprint("x", i), "s/a/b", n)})
			outcomes <- err
		}()
	}
	awaitQueue(t, s, 2)
	g.pass <- struct{}{}
	if err := <-outcomes; err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := <-outcomes; !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("in a group that did not fit: %v, want ErrUnavailable", err)
		}
	}
	if n, err := s.Head(t.Context()); err != nil || n != 0 {
		t.Errorf("head %d (%v), want 0", n, err)
	}
}

func TestReadOnly(t *testing.T) {
	t.Parallel()
	s := fresh(t)
	if err := s.Pragma("query_only = 1"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Commit(t.Context(), batch("x")); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Commit to a read-only medium: %v, want ErrUnavailable", err)
	}
	if n, err := s.Head(t.Context()); err != nil || n != 0 {
		t.Errorf("head %d (%v)", n, err)
	}
}

func TestTwoStoresOnOneFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	stores := []*sqlite.Store{open(t, path, sqlite.Options{}), open(t, path, sqlite.Options{})}
	const writers, each = 3, 40
	var wg sync.WaitGroup
	for i, s := range stores {
		for w := range writers {
			wg.Go(func() {
				for _, e := range readings(fmt.Sprint("w", i, w), "s/a/b", each) {
					if _, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{e}}); err != nil {
						t.Errorf("store %d: %v", i, err)
						return
					}
				}
			})
		}
	}
	wg.Wait()
	for i, s := range stores {
		all, err := s.Entries(t.Context(), ledger.Filter{})
		if err != nil || len(all) != len(stores)*writers*each {
			t.Fatalf("store %d sees %d entries (%v)", i, len(all), err)
		}
		for n, e := range all {
			if e.Seq != int64(n+1) {
				t.Fatalf("store %d: entry %d is #%d", i, n+1, e.Seq)
			}
		}
	}
}

func TestLockedByAnother(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	s := open(t, path, sqlite.Options{BusyTimeout: 20 * time.Millisecond})
	other, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = other.Close() }()
	other.SetMaxOpenConns(1)
	if _, err := other.Exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Commit(t.Context(), batch("x")); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Commit while another holds the lock: %v, want ErrUnavailable", err)
	}
	if _, err := s.Entries(t.Context(), ledger.Filter{}); err != nil {
		t.Errorf("a reader was kept out: %v", err)
	}
	if _, err := other.Exec("ROLLBACK"); err != nil {
		t.Fatal(err)
	}
	if res, err := s.Commit(t.Context(), batch("x")); err != nil || res[0].Duplicate {
		t.Errorf("once it is free again: %+v, %v", res, err)
	}
}
