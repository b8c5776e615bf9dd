package sqlite_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
)

func TestBackup(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := open(t, filepath.Join(dir, "ledger.db"), sqlite.Options{})
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	fired := ledger.Firing{Job: "digest", Site: "s", Scheduled: "2026-03-02T07:00", At: now}
	b := ledger.Batch{
		Entries: readings("x", "s/a/b", 300), Firings: []ledger.Firing{fired},
		Posts: []ledger.OutboxPost{{Key: "p", Post: channel.Post{Text: "hello", Files: []channel.File{{Name: "f", Data: []byte("data")}}}}},
	}
	if _, err := s.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	if err := s.PutProjection(t.Context(), ledger.Projection{Bank: "s/a/b", UpTo: 200, At: now, Data: []byte(`{"a":1}`)}); err != nil {
		t.Fatal(err)
	}
	if err := s.PutKey(t.Context(), ledger.Key{ID: "k", Secret: []byte("s"), Created: now}); err != nil {
		t.Fatal(err)
	}

	path := filepath.Join(dir, "copy.db")
	if err := s.Backup(t.Context(), path); err != nil {
		t.Fatalf("Backup: %v", err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o600 {
		t.Errorf("the copy has mode %o", info.Mode().Perm())
	}
	restored := open(t, path, sqlite.Options{})
	ledgertest.Equal(t, s, restored)
	if _, err := restored.Commit(t.Context(), ledger.Batch{Firings: []ledger.Firing{fired}}); !errors.Is(err, ledger.ErrFired) {
		t.Errorf("a firing of before the backup: %v, want ErrFired", err)
	}

	if err := s.Backup(t.Context(), path); !errors.Is(err, fs.ErrExist) {
		t.Errorf("Backup over an existing file: %v, want fs.ErrExist", err)
	}
	if err := s.Backup(t.Context(), filepath.Join(dir, "no", "such", "folder.db")); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Backup to a folder that is not there: %v, want ErrUnavailable", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Backup(ctx, filepath.Join(dir, "never.db")); !errors.Is(err, context.Canceled) {
		t.Errorf("Backup with a cancelled context: %v", err)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".backup*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "never.db")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a cancelled backup left a file: %v", err)
	}
}

// TestBackupWhileWriting: a copy taken under load is one moment of the ledger.
func TestBackupWhileWriting(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := open(t, filepath.Join(dir, "ledger.db"), sqlite.Options{})
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	started := make(chan struct{}, 3)
	for w := range 3 {
		wg.Go(func() {
			for i, e := range readings(fmt.Sprint("w", w), "s/a/b", 50_000) {
				if _, err := s.Commit(ctx, ledger.Batch{Entries: []entry.Entry{e}}); err != nil {
					return // told to stop
				}
				if i == 0 {
					started <- struct{}{}
				}
			}
		})
	}
	for range 3 {
		<-started
	}
	for i := range 3 {
		before, err := s.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, fmt.Sprint("copy", i))
		if err := s.Backup(t.Context(), path); err != nil { // verifies that Seq has no gaps and tallies add up
			t.Fatalf("Backup: %v", err)
		}
		copied := open(t, path, sqlite.Options{})
		if n, err := copied.Head(t.Context()); err != nil || n < before {
			t.Errorf("the copy ends at #%d (%v); #%d had been committed before it began", n, err, before)
		}
	}
	stop()
	wg.Wait()
}
