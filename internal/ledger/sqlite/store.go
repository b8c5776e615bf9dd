// Package sqlite keeps a ledger in one SQLite file: embedded, pure Go, nothing
// to install. Writes of all callers are grouped into durable transactions by
// one goroutine; readers have connections of their own and wait for nobody.
// Several processes may open the same file on one machine.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	_ "modernc.org/sqlite" // the driver

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/group"
)

// Options tunes a Store; zero fields take the defaults.
type Options struct {
	// BusyTimeout is how long a write waits for another process; default 5 s.
	BusyTimeout time.Duration
	// Readers bounds concurrent reads; default 4.
	Readers int
	// CheckUpTo is the file size in bytes up to which Open runs the integrity
	// check; default 256 MiB, negative for never. Larger files are left to Check.
	CheckUpTo int64
	// Grace is how long a caller whose ctx has ended still waits to learn what
	// became of a write that has begun, before it is told ErrUncertain;
	// default 2 s.
	Grace time.Duration
	// BeforeCommit, when set, is called before each durable commit with the
	// number of writes in it: a test's place to delay a disk or kill a process.
	BeforeCommit func(writes int)
}

func (o Options) withDefaults() Options {
	if o.BusyTimeout <= 0 {
		o.BusyTimeout = 5 * time.Second
	}
	if o.Readers <= 0 {
		o.Readers = 4
	}
	if o.CheckUpTo == 0 {
		o.CheckUpTo = 256 << 20
	}
	if o.Grace <= 0 {
		o.Grace = 2 * time.Second
	}
	return o
}

// Store is a ledger in a SQLite file.
type Store struct {
	path  string
	opts  Options
	read  *sql.DB // query-only connections
	ask   *reader // by way of them
	write *sql.DB // one connection, held by the writer

	writer *group.Writer[change]
	close  sync.Once
	closed error
}

var _ ledger.Store = (*Store)(nil)

// Open opens the ledger file at path, creating it (readable by its owner alone)
// if there is none; the folder must exist. It brings an older schema up to date
// and refuses a newer one with ledger.ErrNewer, before touching it. A file that
// is damaged, or no ledger at all, is refused with ledger.ErrDamaged.
func Open(ctx context.Context, path string, opts Options) (*Store, error) {
	opts = opts.withDefaults()
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ledger.ErrUnavailable, err)
	}
	if err := create(path); err != nil {
		return nil, fmt.Errorf("%w: %w", ledger.ErrUnavailable, err)
	}
	s := &Store{path: path, opts: opts}
	if err := s.open(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", path, err), s.closeAll())
	}
	return s, nil
}

func (s *Store) open(ctx context.Context) error {
	var err error
	if s.write, err = sql.Open("sqlite", dsn(s.path, s.opts, "synchronous(FULL)", "wal_autocheckpoint(16000)")); err != nil {
		return mapped(ctx, "open", err)
	}
	s.write.SetMaxOpenConns(1)
	if s.read, err = sql.Open("sqlite", dsn(s.path, s.opts, "query_only(1)")); err != nil {
		return mapped(ctx, "open", err)
	}
	s.read.SetMaxOpenConns(s.opts.Readers)
	s.read.SetMaxIdleConns(s.opts.Readers)
	s.ask = &reader{db: s.read, stmts: map[string]*sql.Stmt{}}

	conn, err := s.write.Conn(ctx)
	if err != nil {
		return mapped(ctx, "open", err)
	}
	if err := s.prepare(ctx, conn); err != nil {
		return errors.Join(err, conn.Close())
	}
	w := &writer{conn: conn, opts: s.opts, stmts: map[string]*sql.Stmt{}}
	s.writer = group.Start(w.commit, w.release, s.opts.Grace)
	return nil
}

// prepare makes sure that the file is a sound ledger of this schema.
func (s *Store) prepare(ctx context.Context, conn *sql.Conn) error {
	fresh, err := recognise(ctx, conn)
	if err != nil {
		return err
	}
	if !fresh && s.small() {
		if err := check(ctx, conn, "quick_check"); err != nil {
			return err
		}
	}
	if err := useWAL(ctx, conn, s.opts.BusyTimeout); err != nil {
		return err
	}
	return migrate(ctx, conn)
}

func (s *Store) small() bool {
	info, err := os.Stat(s.path)
	return err == nil && info.Size() <= s.opts.CheckUpTo
}

// create makes an empty file that only its owner can read, since it will hold
// integrators' secrets; SQLite gives its side files the same mode.
func create(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// syncDir makes a new name in a folder survive a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// dsn names the file and the settings of each connection to it.
func dsn(path string, o Options, pragmas ...string) string {
	q := url.Values{"mode": {"rw"}}
	q.Add("_pragma", fmt.Sprintf("busy_timeout(%d)", o.BusyTimeout.Milliseconds()))
	q.Add("_pragma", "foreign_keys(1)")
	q.Add("_pragma", "cache_size(-16000)") // KiB
	for _, p := range pragmas {
		q.Add("_pragma", p)
	}
	u := url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}
	return u.String()
}

// Check implements ledger.Store: the whole file, indexes against tables, and
// the tallies and sequence against the entries.
func (s *Store) Check(ctx context.Context) error {
	conn, err := s.read.Conn(ctx)
	if err != nil {
		return mapped(ctx, "check", err)
	}
	return errors.Join(verify(ctx, conn), conn.Close())
}

// Ping implements ledger.Store.
func (s *Store) Ping(ctx context.Context) error {
	_, err := s.Head(ctx)
	return err
}

// Close implements ledger.Store.
func (s *Store) Close() error {
	s.close.Do(func() { s.closed = s.closeAll() })
	return s.closed
}

func (s *Store) closeAll() error {
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.writer != nil {
		errs = append(errs, s.writer.Stop())
	}
	if s.write != nil { // last, so that it folds the write-ahead log into the file
		errs = append(errs, s.write.Close())
	}
	return errors.Join(errs...)
}
