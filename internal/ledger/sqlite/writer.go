package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/group"
	"clogwise/internal/plant"
)

// A change is one caller's write, to be made within a transaction. Its errors
// are the driver's own or the ledger's.
type change struct {
	do func(*tx) error
	// plain says that nothing in it can be refused alone, so that it shares the
	// transaction without a savepoint of its own: of one reading, savepoint and
	// release would cost as much as the rest.
	plain bool
}

type job = group.Job[change]

// writer owns the one connection that writes. Its methods are called by the
// group's goroutine alone.
type writer struct {
	conn  *sql.Conn
	opts  Options
	stmts map[string]*sql.Stmt
}

// do has a change of so many rows written with others'.
func (s *Store) do(ctx context.Context, what string, rows int, c func(*tx) error) error {
	return s.writer.Do(ctx, what, rows, change{do: c})
}

// commit writes the jobs in one transaction. A job that is refused is undone
// alone; a failing medium fails them all.
func (w *writer) commit(jobs []*job) {
	lost := w.transact(jobs)
	for _, j := range jobs {
		if lost != nil {
			j.Err = lost
		}
		j.Err = mapped(context.Background(), "write", j.Err)
	}
}

func (w *writer) transact(jobs []*job) (err error) {
	if err := w.exec("BEGIN IMMEDIATE"); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			// SQLite may have rolled back by itself: then this fails, and rightly.
			_ = w.exec("ROLLBACK")
		}
	}()
	t := &tx{w: w, heads: map[plant.BankID]int64{}, tally: map[entry.Kind]int64{}}
	for _, j := range jobs {
		if err := w.apply(t, j, len(jobs) > 1 && !j.Payload.plain); err != nil {
			return err
		}
	}
	if err := t.flush(); err != nil {
		return err
	}
	if w.opts.BeforeCommit != nil {
		w.opts.BeforeCommit(len(jobs))
	}
	return w.finish()
}

// apply runs one job, with a savepoint if it shares the transaction with others
// and may be refused. Its error says that the whole transaction is lost.
func (w *writer) apply(t *tx, j *job, shared bool) error {
	if shared {
		if err := w.exec("SAVEPOINT job"); err != nil {
			return err
		}
	}
	j.Err = j.Payload.do(t)
	switch {
	case j.Err == nil && shared:
		return w.exec("RELEASE job")
	case j.Err == nil:
		return nil
	case !known(j.Err) && !refusal(j.Err):
		return j.Err
	case shared:
		return errors.Join(w.exec("ROLLBACK TO job"), w.exec("RELEASE job"))
	case j.Payload.plain: // against all expectation; the others of the group are not to blame
		return fmt.Errorf("%w: %w", ledger.ErrUnavailable, j.Err)
	}
	return j.Err
}

// finish commits. An input or output error at this point leaves it open whether
// the transaction will be there after a restart.
func (w *writer) finish() error {
	err := w.exec("COMMIT")
	if err != nil && ioError(err) {
		return fmt.Errorf("%w: %w", ledger.ErrUncertain, err)
	}
	return err
}

// release finalizes the statements first: SQLite keeps a connection, and its
// log beside the file, for as long as one is left.
func (w *writer) release() error {
	var errs []error
	for _, s := range w.stmts {
		errs = append(errs, s.Close())
	}
	return errors.Join(append(errs, w.conn.Close())...)
}

// stmt prepares a statement once.
func (w *writer) stmt(query string) (*sql.Stmt, error) {
	if s, ok := w.stmts[query]; ok {
		return s, nil
	}
	s, err := w.conn.PrepareContext(context.Background(), query)
	if err == nil {
		w.stmts[query] = s
	}
	return s, err
}

func (w *writer) exec(query string) error {
	s, err := w.stmt(query)
	if err != nil {
		return err
	}
	_, err = s.Exec()
	return err
}

// tx is one transaction as its changes see it.
type tx struct {
	w     *writer
	last  int64 // newest Seq, once known
	known bool
	heads map[plant.BankID]int64 // newest entry of each bank touched
	tally map[entry.Kind]int64
}

// exec runs a statement and returns the number of rows it changed.
func (t *tx) exec(query string, args ...any) (int64, error) {
	s, err := t.w.stmt(query)
	if err != nil {
		return 0, err
	}
	res, err := s.Exec(args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// row reads one row; nothing found is ledger.ErrNotFound.
func (t *tx) row(query string, args []any, dest ...any) error {
	s, err := t.w.stmt(query)
	if err != nil {
		return err
	}
	err = s.QueryRow(args...).Scan(dest...)
	if errors.Is(err, sql.ErrNoRows) {
		return ledger.ErrNotFound
	}
	return err
}

// newest is the Seq of the newest entry. It is read under the write lock, since
// another process may have appended.
func (t *tx) newest() (int64, error) {
	if t.known {
		return t.last, nil
	}
	if err := t.row("SELECT coalesce(max(seq), 0) FROM entry", nil, &t.last); err != nil {
		return 0, err
	}
	t.known = true
	return t.last, nil
}

// flush writes what the changes have in common once instead of once each, banks
// in the order of their table.
func (t *tx) flush() error {
	banks := slices.Sorted(maps.Keys(t.heads))
	for some := range slices.Chunk(banks, atOnce) {
		args := make([]any, 0, 2*atOnce)
		for _, bank := range some {
			args = append(args, string(bank), t.heads[bank])
		}
		if _, err := t.exec(raiseHeads[len(some)], args...); err != nil {
			return err
		}
	}
	for kind, n := range t.tally {
		if _, err := t.exec(addTally, string(kind), n); err != nil {
			return err
		}
	}
	return nil
}

// raiseHeads raises the heads of as many banks as the index says.
var raiseHeads = func() (queries [atOnce + 1]string) {
	for n := 1; n <= atOnce; n++ {
		queries[n] = `INSERT OR FAIL INTO head (bank, head, done, since)
			SELECT column1, column2, 0, column2 FROM (VALUES (?, ?)` + strings.Repeat(`, (?, ?)`, n-1) + `) WHERE true
			ON CONFLICT (bank) DO UPDATE SET head = excluded.head,
				since = CASE WHEN head > done THEN since ELSE excluded.head END
			WHERE head < excluded.head`
	}
	return queries
}()

const addTally = `INSERT INTO tally (kind, count) VALUES (?1, ?2) ON CONFLICT (kind) DO UPDATE SET count = count + ?2`
