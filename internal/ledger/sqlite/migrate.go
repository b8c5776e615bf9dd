package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"time"

	"clogwise/internal/ledger"
)

//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks the file as ours ("Clog").
const applicationID = 0x436c6f67

// schema is the version this program writes: the number of its migrations.
func schema() (int, error) {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	return len(names), err
}

// recognise reports whether the file is still empty. It refuses other programs'
// files and newer ledgers, having changed nothing.
func recognise(ctx context.Context, conn *sql.Conn) (fresh bool, err error) {
	var id, version, tables int
	err = conn.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&id, &version, &tables)
	if err != nil {
		return false, mapped(ctx, "open", err)
	}
	newest, err := schema()
	switch {
	case err != nil:
		return false, err
	case id == 0 && version == 0 && tables == 0:
		return true, nil
	case id != applicationID:
		return false, fmt.Errorf("%w: this is a database of another program", ledger.ErrDamaged)
	case version > newest:
		return false, fmt.Errorf("%w: its schema is %d, this program knows %d; update clogwise", ledger.ErrNewer, version, newest)
	}
	return false, nil
}

// migrate brings the schema up to date, each step in its own transaction. Two
// processes may try at once: each step looks again at the version under lock.
func migrate(ctx context.Context, conn *sql.Conn) error {
	newest, err := schema()
	if err != nil {
		return err
	}
	for step := 1; step <= newest; step++ {
		if err := migrateTo(ctx, conn, step); err != nil {
			return fmt.Errorf("schema %d: %w", step, err)
		}
	}
	return nil
}

func migrateTo(ctx context.Context, conn *sql.Conn, step int) (err error) {
	names, err := fs.Glob(migrations, fmt.Sprintf("migrations/%04d_*.sql", step))
	if err != nil {
		return err
	}
	script, err := migrations.ReadFile(strings.Join(names, ""))
	if err != nil {
		return err
	}
	var version int
	if err := conn.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return mapped(ctx, "migrate", err)
	}
	if version >= step {
		return nil
	}
	if _, err := conn.ExecContext(ctx, "BEGIN IMMEDIATE"); err != nil {
		return mapped(ctx, "migrate", err)
	}
	defer func() {
		if err != nil {
			_, undo := conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK")
			err = errors.Join(mapped(ctx, "migrate", err), undo)
		}
	}()
	if err := conn.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	if version >= step { // another process was quicker
		_, err := conn.ExecContext(ctx, "COMMIT")
		return err
	}
	if _, err := conn.ExecContext(ctx, string(script)); err != nil {
		return err
	}
	_, err = conn.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d; COMMIT", applicationID, step))
	return err
}

// useWAL switches to the write-ahead log. The switch wants the file for itself
// and does not honour the busy timeout, so another process opening at the same
// moment is waited for here.
func useWAL(ctx context.Context, conn *sql.Conn, patience time.Duration) error {
	deadline := time.NewTimer(patience)
	defer deadline.Stop()
	for {
		var mode string
		err := conn.QueryRowContext(ctx, "PRAGMA journal_mode = WAL").Scan(&mode)
		switch {
		case err == nil && mode == "wal":
			return nil
		case err == nil:
			return fmt.Errorf("%w: this file system cannot hold a write-ahead log (journal mode stays %q)", ledger.ErrUnavailable, mode)
		case !busy(err):
			return mapped(ctx, "open", err)
		}
		select {
		case <-time.After(10 * time.Millisecond):
		case <-deadline.C:
			return mapped(ctx, "open", err)
		case <-ctx.Done():
			return mapped(ctx, "open", err)
		}
	}
}

// check runs an integrity pragma.
func check(ctx context.Context, conn *sql.Conn, pragma string) error {
	rows, err := conn.QueryContext(ctx, "PRAGMA "+pragma+"(10)")
	if err != nil {
		return mapped(ctx, "check", err)
	}
	var faults []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			break // rows.Close and Err say why
		}
		faults = append(faults, line)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return mapped(ctx, "check", err)
	}
	if len(faults) == 1 && faults[0] == "ok" {
		return nil
	}
	return fmt.Errorf("%w: %s", ledger.ErrDamaged, strings.Join(faults, "; "))
}

// verify checks the file in full, and what SQLite cannot know: that Seq has no
// gaps and the tallies add up.
func verify(ctx context.Context, conn *sql.Conn) error {
	if err := check(ctx, conn, "integrity_check"); err != nil {
		return err
	}
	var head, entries, tallied int64
	err := conn.QueryRowContext(ctx, `SELECT coalesce(max(seq), 0), count(*),
		(SELECT coalesce(sum(count), 0) FROM tally) FROM entry`).Scan(&head, &entries, &tallied)
	if err != nil {
		return mapped(ctx, "check", err)
	}
	if head != entries || tallied != entries {
		return fmt.Errorf("%w: %d entries, the newest is #%d, the tallies add up to %d", ledger.ErrDamaged, entries, head, tallied)
	}
	return nil
}
