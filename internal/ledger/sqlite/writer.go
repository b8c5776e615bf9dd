package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// maxGroup bounds the writes, and maxWeight their rows, that share a
// transaction: enough that the sync of the disk costs each little, few enough
// that the first does not wait long for the last.
const (
	maxGroup  = 512
	maxWeight = 10_000
)

// A job is one caller's write. Whoever moves its state out of queued owns it:
// the writer by taking it, the caller by withdrawing.
type job struct {
	weight int // rows, roughly
	apply  func(*group) error
	state  atomic.Int32
	err    error         // valid once done is closed
	done   chan struct{} // closed when the outcome is durable, or certain not to be
}

const (
	queued int32 = iota
	taken
	withdrawn
)

// writer owns the one connection that writes. Jobs that arrive while a
// transaction is being synced go together into the next one.
type writer struct {
	conn   *sql.Conn
	opts   Options
	jobs   chan *job
	quit   chan struct{} // closed to stop
	gone   chan struct{} // closed when stopped
	once   sync.Once
	stmts  map[string]*sql.Stmt
	closed error
}

func startWriter(conn *sql.Conn, opts Options) *writer {
	w := &writer{
		conn: conn, opts: opts, jobs: make(chan *job, maxGroup),
		quit: make(chan struct{}), gone: make(chan struct{}), stmts: map[string]*sql.Stmt{},
	}
	go w.run()
	return w
}

// stop finishes the jobs already handed in and closes the connection.
func (w *writer) stop() error {
	w.once.Do(func() { close(w.quit) })
	<-w.gone
	return w.closed
}

var errClosed = fmt.Errorf("%w: it has been closed", ledger.ErrUnavailable)

// do hands a job to the writer and waits for its durable outcome.
//
// When ctx ends before the writer has taken the job, the job is withdrawn and
// will not be written. When it has been taken, its outcome is at most a disk
// sync away and is waited for, up to opts.Grace; only a medium slower than that
// leaves the caller with ErrUncertain.
func (w *writer) do(ctx context.Context, what string, weight int, apply func(*group) error) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	}
	j := &job{weight: weight, apply: apply, done: make(chan struct{})}
	select {
	case w.jobs <- j:
	case <-ctx.Done():
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	case <-w.quit:
		return errClosed
	}
	select {
	case <-j.done:
		return mapped(context.Background(), what, j.err)
	case <-w.gone: // it may have been handed in behind the last group
		return w.settle(j, what, errClosed)
	case <-ctx.Done():
		return w.settle(j, what, fmt.Errorf("%s: %w", what, context.Cause(ctx)))
	}
}

// settle withdraws a job whose caller gives up for reason, or finds out what
// became of it.
func (w *writer) settle(j *job, what string, reason error) error {
	if j.state.CompareAndSwap(queued, withdrawn) {
		return reason
	}
	grace := time.NewTimer(w.opts.Grace)
	defer grace.Stop()
	select {
	case <-j.done:
		return mapped(context.Background(), what, j.err)
	case <-grace.C:
		return fmt.Errorf("%w: %w", ledger.ErrUncertain, reason)
	}
}

func (w *writer) run() {
	defer close(w.gone)
	for {
		select {
		case j := <-w.jobs:
			w.commit(w.gather(j))
		case <-w.quit:
			w.drain()
			w.closed = w.release()
			return
		}
	}
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

// drain writes what had been handed in when the store was closed.
func (w *writer) drain() {
	for {
		select {
		case j := <-w.jobs:
			w.commit(w.gather(j))
		default:
			return
		}
	}
}

// gather takes first and whatever else is waiting, without waiting for more.
func (w *writer) gather(first *job) []*job {
	var jobs []*job
	weight := 0
	for j := first; j != nil; j = w.next() {
		if j.state.CompareAndSwap(queued, taken) {
			jobs = append(jobs, j)
			weight += j.weight
		}
		if len(jobs) == maxGroup || weight >= maxWeight {
			break
		}
	}
	return jobs
}

// next is the next job waiting, or nil. Before it gives up it lets those run
// who are about to hand one in: callers woken by the last commit. Larger groups
// are worth far more than the microsecond.
func (w *writer) next() *job {
	for range 2 {
		select {
		case j := <-w.jobs:
			return j
		default:
			runtime.Gosched()
		}
	}
	return nil
}

// commit writes the jobs in one transaction and tells each its outcome. A job
// that is refused is undone alone; a failing medium fails them all.
func (w *writer) commit(jobs []*job) {
	if len(jobs) == 0 {
		return
	}
	err := w.transact(jobs)
	for _, j := range jobs {
		if err != nil {
			j.err = err
		}
		close(j.done)
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
	g := &group{w: w, heads: map[plant.BankID]int64{}, tally: map[entry.Kind]int64{}}
	for _, j := range jobs {
		if err := w.apply(g, j, len(jobs) > 1); err != nil {
			return err
		}
	}
	if err := g.flush(); err != nil {
		return err
	}
	if w.opts.BeforeCommit != nil {
		w.opts.BeforeCommit(len(jobs))
	}
	return w.finish()
}

// apply runs one job; alone, it needs no savepoint, for the transaction is its
// own. Its error says that the whole transaction is lost.
func (w *writer) apply(g *group, j *job, shared bool) error {
	if shared {
		if err := w.exec("SAVEPOINT job"); err != nil {
			return err
		}
	}
	j.err = j.apply(g)
	switch {
	case j.err == nil && shared:
		return w.exec("RELEASE job")
	case j.err == nil:
		return nil
	case !known(j.err) && !refusal(j.err):
		return j.err
	case shared:
		return errors.Join(w.exec("ROLLBACK TO job"), w.exec("RELEASE job"))
	}
	return j.err
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

// group is one transaction as its jobs see it.
type group struct {
	w     *writer
	last  int64 // newest Seq, once known
	known bool
	heads map[plant.BankID]int64 // newest entry of each bank touched
	tally map[entry.Kind]int64
}

// exec runs a statement and returns the number of rows it changed.
func (g *group) exec(query string, args ...any) (int64, error) {
	s, err := g.w.stmt(query)
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
func (g *group) row(query string, args []any, dest ...any) error {
	s, err := g.w.stmt(query)
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
func (g *group) newest() (int64, error) {
	if g.known {
		return g.last, nil
	}
	if err := g.row("SELECT coalesce(max(seq), 0) FROM entry", nil, &g.last); err != nil {
		return 0, err
	}
	g.known = true
	return g.last, nil
}

// flush writes what the jobs have in common once instead of once each, banks in
// the order of their table.
func (g *group) flush() error {
	for _, bank := range slices.Sorted(maps.Keys(g.heads)) {
		if _, err := g.exec(raiseHead, string(bank), g.heads[bank]); err != nil {
			return err
		}
	}
	for kind, n := range g.tally {
		if _, err := g.exec(addTally, string(kind), n); err != nil {
			return err
		}
	}
	return nil
}

const (
	raiseHead = `INSERT INTO head (bank, head, done, since) VALUES (?1, ?2, 0, ?2)
		ON CONFLICT (bank) DO UPDATE SET head = ?2, since = CASE WHEN head > done THEN since ELSE ?2 END
		WHERE head < ?2`
	addTally = `INSERT INTO tally (kind, count) VALUES (?1, ?2) ON CONFLICT (kind) DO UPDATE SET count = count + ?2`
)
