package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"clogwise/internal/config"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/postgres"
	"clogwise/internal/ledger/row"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/ledger/veil"
)

// OpenStore opens the ledger that the configuration names: a SQLite file, or a
// PostgreSQL database when several machines share it. Names that were erased do
// not come out of it.
func OpenStore(ctx context.Context, cfg config.Config, _ *slog.Logger) (ledger.Store, error) {
	s, err := openStore(ctx, cfg.Ledger)
	if err != nil {
		return nil, err
	}
	return veil.New(s), nil
}

func openStore(ctx context.Context, name string) (movable, error) {
	if strings.HasPrefix(name, "postgres://") || strings.HasPrefix(name, "postgresql://") {
		s, err := postgres.Open(ctx, name, postgres.Options{BeforeCommit: beforeCommit})
		if err != nil {
			return nil, fmt.Errorf("ledger %s: %w", withoutPassword(name), err)
		}
		return s, nil
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return nil, fmt.Errorf("data folder: %w", err)
	}
	return sqlite.Open(ctx, name, sqlite.Options{BeforeCommit: beforeCommit})
}

// withoutPassword is a database address fit for logs.
func withoutPassword(name string) string {
	u, err := url.Parse(name)
	if err != nil {
		return "postgres://…"
	}
	return u.Redacted()
}

// movable is a store that can be copied from and into.
type movable interface {
	ledger.Store
	row.Dumper
	row.Restorer
}

// Tally is what a ledger holds: rows of each table and a checksum over them.
type Tally struct {
	Rows     map[string]int64 `json:"rows"`
	Checksum string           `json:"checksum"`
}

// MoveLedger copies a whole ledger into an empty one and compares the two. The
// old ledger is left as it is.
func MoveLedger(ctx context.Context, from, to string) (t Tally, err error) {
	src, err := openStore(ctx, from)
	if err != nil {
		return t, err
	}
	defer src.Close() //nolint:errcheck // only read
	dst, err := openStore(ctx, to)
	if err != nil {
		return t, err
	}
	defer func() {
		if cerr := dst.Close(); err == nil {
			err = cerr
		}
	}()
	if err := dst.Restore(ctx, src); err != nil {
		return t, fmt.Errorf("copy into %s: %w", withoutPassword(to), err)
	}
	old, err := tally(ctx, src)
	if err != nil {
		return t, err
	}
	moved, err := tally(ctx, dst)
	if err != nil {
		return t, err
	}
	if old.Checksum != moved.Checksum {
		return t, fmt.Errorf("the copy differs from the original (%s, %s): do not use it; was something writing meanwhile?", old.Checksum[:12], moved.Checksum[:12])
	}
	return moved, nil
}

func tally(ctx context.Context, s row.Dumper) (Tally, error) {
	t := Tally{Rows: map[string]int64{}}
	sum := sha256.New()
	err := s.Dump(ctx, func(table row.Table, values []any) error {
		t.Rows[table.Name]++
		fmt.Fprintf(sum, "%s %v\n", table.Name, values)
		return nil
	})
	t.Checksum = hex.EncodeToString(sum.Sum(nil))
	return t, err
}
