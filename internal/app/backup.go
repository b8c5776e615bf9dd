package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/view"
)

// backupJob is the scheduled job under which the ledger remembers its backups.
const backupJob = "backup"

// Backup writes a verified copy of the ledger while it is in use, and notes in
// the ledger that there is one.
func (a *App) Backup(ctx context.Context, file string) error {
	if err := a.Store.Backup(ctx, file); err != nil {
		return err
	}
	now := a.Now().UTC()
	_, err := a.Store.Commit(ctx, ledger.Batch{Firings: []ledger.Firing{{Job: backupJob, Scheduled: now.Format(time.RFC3339Nano), At: now}}})
	if err != nil && !errors.Is(err, ledger.ErrFired) {
		return fmt.Errorf("%s is written and sound, but the ledger could not note it: %w", file, err)
	}
	return nil
}

// backupName is the form of the names that BackupInto gives; they sort by time.
const backupName = "clogwise-20060102T150405Z.db"

// BackupInto writes a backup named after the time into a folder, and then removes
// the oldest of those it has written there beyond keep. 0 keeps all.
func (a *App) BackupInto(ctx context.Context, dir string, keep int) (file string, removed []string, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", nil, err
	}
	file = filepath.Join(dir, a.Now().UTC().Format(backupName))
	if err := a.Backup(ctx, file); err != nil {
		return "", nil, err
	}
	if keep <= 0 {
		return file, nil, nil
	}
	there, err := backupsIn(dir)
	if err != nil {
		return file, nil, err
	}
	for _, name := range there[:max(0, len(there)-keep)] {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			return file, removed, err
		}
		removed = append(removed, name)
	}
	return file, removed, nil
}

// backupsIn lists what BackupInto wrote, oldest first, and nothing else.
func backupsIn(dir string) ([]string, error) {
	all, err := os.ReadDir(dir)
	var out []string
	for _, f := range all {
		if _, err := time.Parse(backupName, f.Name()); err == nil && f.Type().IsRegular() {
			out = append(out, f.Name())
		}
	}
	slices.Sort(out)
	return out, err
}

// Rehearsal is what a restore tried out has shown.
type Rehearsal struct {
	Tally
	Banks  int           `json:"banks"`  // whose forecasts were made again
	Newest time.Time     `json:"newest"` // when the newest entry was received
	Took   time.Duration `json:"took_ns"`
}

// Rehearse restores a backup into a ledger of its own, checks it against the
// backup row by row, makes every forecast again, and removes it. The backup is
// only read.
func Rehearse(ctx context.Context, backup string, now time.Time) (r Rehearsal, err error) {
	began := time.Now()
	dir, err := os.MkdirTemp("", "clogwise-rehearsal-")
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	copied, restored := filepath.Join(dir, "copy.db"), filepath.Join(dir, "restored.db")
	if err := copyFile(backup, copied); err != nil {
		return r, err
	}
	if r.Tally, err = MoveLedger(ctx, copied, restored); err != nil {
		return r, err
	}
	s, err := sqlite.Open(ctx, restored, sqlite.Options{CheckUpTo: -1})
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	err = r.examine(ctx, s, now)
	r.Took = time.Since(began)
	return r, err
}

// examine checks a restored ledger in itself.
func (r *Rehearsal) examine(ctx context.Context, s ledger.Store, now time.Time) error {
	if err := s.Check(ctx); err != nil {
		return err
	}
	counts, err := s.Counts(ctx)
	if err != nil {
		return err
	}
	var sum int64
	for _, n := range counts {
		sum += n
	}
	if sum != r.Rows["entry"] {
		return fmt.Errorf("%w: %d entries, but %d were counted when they were recorded", ledger.ErrDamaged, r.Rows["entry"], sum)
	}
	newest, err := s.Entries(ctx, ledger.Filter{Newest: true, Limit: 1})
	if err != nil {
		return err
	}
	for _, e := range newest {
		r.Newest = e.Received
	}
	r.Banks, err = view.New(s).Rebuild(ctx, now, nil)
	return err
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close() //nolint:errcheck // only read
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
