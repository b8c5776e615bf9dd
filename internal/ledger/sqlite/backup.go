package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"clogwise/internal/ledger"
)

// Backup implements ledger.Store: a compacted copy of one moment, written beside
// the path, checked in full, synced and only then given its name. The ledger
// stays in use. A copy is an ordinary ledger file: Open opens it.
func (s *Store) Backup(ctx context.Context, path string) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return fmt.Errorf("%w: backup: %w", ledger.ErrUnavailable, err)
	}
	if err := absent(path); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	part, err := os.CreateTemp(filepath.Dir(path), ".backup-*.db") // mode 0600
	if err != nil {
		return fmt.Errorf("%w: backup: %w", ledger.ErrUnavailable, err)
	}
	err = errors.Join(part.Close(), s.copyTo(ctx, part.Name(), path))
	if gone := os.Remove(part.Name()); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
		err = errors.Join(err, gone)
	}
	return err
}

func (s *Store) copyTo(ctx context.Context, part, path string) error {
	if err := s.vacuumInto(ctx, part); err != nil {
		return mapped(ctx, "backup", err)
	}
	if err := verifyFile(ctx, part); err != nil {
		return fmt.Errorf("backup: the copy is not sound: %w", err)
	}
	if err := syncFile(part); err != nil {
		return fmt.Errorf("%w: backup: %w", ledger.ErrUnavailable, err)
	}
	if err := name(part, path); err != nil {
		return fmt.Errorf("%w: backup: %w", ledger.ErrUnavailable, err)
	}
	return syncDir(filepath.Dir(path))
}

// name gives the finished copy its name. A link, unlike a rename, does not
// overwrite a file made meanwhile, but not every file system has links.
func name(part, path string) error {
	if err := os.Link(part, path); err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	if err := absent(path); err != nil {
		return err
	}
	return os.Rename(part, path)
}

func absent(path string) error {
	_, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err == nil:
		return fmt.Errorf("%s: %w; choose another name", path, fs.ErrExist)
	}
	return fmt.Errorf("%w: %w", ledger.ErrUnavailable, err)
}

// vacuumInto uses a connection of its own: the readers' refuse to write, even
// to another file, and the writer has better things to do.
func (s *Store) vacuumInto(ctx context.Context, part string) error {
	if _, err := s.Head(ctx); err != nil { // closed, or out of reach
		return err
	}
	db, err := sql.Open("sqlite", dsn(s.path, s.opts))
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `VACUUM INTO ?`, part)
	return errors.Join(err, db.Close())
}

func verifyFile(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", dsn(path, Options{}.withDefaults(), "query_only(1)"))
	if err != nil {
		return err
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		return errors.Join(mapped(ctx, "verify", err), db.Close())
	}
	return errors.Join(verify(ctx, conn), conn.Close(), db.Close())
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
