package sqlite_test

import (
	"bytes"
	"database/sql"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
)

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		make func(t *testing.T, path string)
		want error
	}{
		{"a newer schema", newer, ledger.ErrNewer},
		{"another program's database", foreign, ledger.ErrDamaged},
		{"a file that is no database", func(t *testing.T, path string) {
			write(t, path, bytes.Repeat([]byte("site,ahu,bank,pa\n"), 1000))
		}, ledger.ErrDamaged},
		{"a damaged ledger", damaged, ledger.ErrDamaged},
		{"a folder that is not there", func(t *testing.T, path string) {
			if err := os.Remove(filepath.Dir(path)); err != nil {
				t.Fatal(err)
			}
		}, ledger.ErrUnavailable},
		{"a folder", func(t *testing.T, path string) {
			if err := os.Mkdir(path, 0o700); err != nil {
				t.Fatal(err)
			}
		}, ledger.ErrUnavailable},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "folder", "ledger.db")
			if err := os.Mkdir(filepath.Dir(path), 0o700); err != nil {
				t.Fatal(err)
			}
			c.make(t, path)
			before, _ := os.ReadFile(path)
			s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
			if !errors.Is(err, c.want) {
				t.Errorf("Open: %v, want %v", err, c.want)
			}
			if err == nil {
				_ = s.Close()
			}
			if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
				t.Error("Open changed the file it refused")
			}
		})
	}
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

// filled makes a closed ledger of some hundred entries.
func filled(t *testing.T, path string, change func(*sqlite.Store) error) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Commit(t.Context(), ledger.Batch{Entries: readings("x", "s/a/b", 500)}); err != nil {
		t.Fatal(err)
	}
	if change != nil {
		if err := change(s); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func newer(t *testing.T, path string) {
	filled(t, path, func(s *sqlite.Store) error { return s.SetSchema(1000) })
}

func foreign(t *testing.T, path string) {
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE recipe (name TEXT)"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// damaged writes noise over pages in the middle of a ledger.
func damaged(t *testing.T, path string) {
	filled(t, path, nil)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 1))
	for i := len(data) / 4; i < len(data)*3/4; i++ {
		data[i] = byte(random.Uint32())
	}
	write(t, path, data)
}

func TestOpenChecksNoFurtherThanTold(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	damaged(t, path)
	s := open(t, path, sqlite.Options{CheckUpTo: -1})
	if err := s.Check(t.Context()); !errors.Is(err, ledger.ErrDamaged) {
		t.Errorf("Check of a damaged ledger: %v, want ErrDamaged", err)
	}
}

func TestOpenAgain(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "50% of AHU? #1.db")
	filled(t, path, nil)
	s := open(t, path, sqlite.Options{})
	res, err := s.Commit(t.Context(), ledger.Batch{Entries: readings("x", "s/a/b", 501)})
	if err != nil {
		t.Fatal(err)
	}
	if !res[0].Duplicate || res[0].Seq != 1 || res[500].Duplicate || res[500].Seq != 501 {
		t.Errorf("resent after reopening: first %+v, new %+v", res[0], res[500])
	}
}

// TestCloseLeavesOneFile: once closed, the ledger is the one file, which may be
// copied or moved.
func TestCloseLeavesOneFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	filled(t, path, nil)
	left, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(left) != 1 || left[0].Name() != "ledger.db" {
		t.Errorf("left after Close: %v (%v)", left, err)
	}
}

func TestOpenTogether(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	var wg sync.WaitGroup
	for range 6 {
		wg.Go(func() {
			s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
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

func TestOnlyTheOwnerReads(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	s := open(t, path, sqlite.Options{})
	if _, err := s.Commit(t.Context(), ledger.Batch{Entries: readings("x", "s/a/b", 1)}); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		if mode := info.Mode().Perm(); mode != 0o600 {
			t.Errorf("%s has mode %o", filepath.Base(name), mode)
		}
	}
}

// A ledger of the first schema is brought up to date with all it holds.
func TestMigrationKeepsSamples(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "ledger.db")
	value, at := 5.0, time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	f := ledger.Filter{Place: "s/a", Exact: true, Kinds: []entry.Kind{entry.KindSample}, From: at}
	filled(t, path, func(s *sqlite.Store) error {
		if _, err := s.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{
			Source: "hook:1", Kind: entry.KindSample, Place: "s/a", At: at, Received: at, Body: entry.Sample{Point: "P", Quantity: "pressure", Value: &value},
		}}}); err != nil {
			return err
		}
		return s.Pragma("user_version = 1; DROP INDEX entry_sample") // what the first schema lacks
	})
	for range 2 { // the second finds nothing left to do
		s := open(t, path, sqlite.Options{})
		got, err := s.Entries(t.Context(), f)
		if err != nil || len(got) != 1 || got[0].Source != "hook:1" {
			t.Errorf("%+v, %v", got, err)
		}
		if head, err := s.Head(t.Context()); err != nil || head != 501 {
			t.Errorf("head %d, %v", head, err)
		}
	}
}
