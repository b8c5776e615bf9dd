// Package postgres keeps a ledger in a PostgreSQL database, for when several
// machines share it. It is the same ledger as package sqlite's: the same tables,
// the same contract.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/group"
)

// Options tunes a Store; zero fields take the defaults.
type Options struct {
	// Conns bounds the connections to the server; default 8, at least 2.
	Conns int
	// Timeout bounds a group of commits, the wait for other machines' included;
	// default 15 s.
	Timeout time.Duration
	// Grace is how long a caller whose ctx has ended still waits to learn what
	// became of a commit that has begun, before it is told ErrUncertain;
	// default 2 s.
	Grace time.Duration
	// BeforeCommit, when set, is called before each durable commit with the
	// number of batches in it: a test's place to delay or to break things.
	BeforeCommit func(batches int)
}

func (o Options) withDefaults() Options {
	if o.Conns <= 0 {
		o.Conns = 8
	}
	o.Conns = max(o.Conns, 2)
	if o.Timeout <= 0 {
		o.Timeout = 15 * time.Second
	}
	if o.Grace <= 0 {
		o.Grace = 2 * time.Second
	}
	return o
}

// Store is a ledger in a PostgreSQL database.
type Store struct {
	opts   Options
	pool   *pgxpool.Pool
	writer *group.Writer[*batch]
	close  sync.Once
	closed error
}

var _ ledger.Store = (*Store)(nil)

// Open connects to the database that url names, in the way of libpq
// (postgres://user@host/name?search_path=…), and brings its schema up to date;
// several machines may do so at once. A newer schema is refused with
// ledger.ErrNewer before it is touched, and so is, with ledger.ErrUnavailable, a
// server that runs with fsync off: it would lose what it has acknowledged.
func Open(ctx context.Context, url string, opts Options) (*Store, error) {
	opts = opts.withDefaults()
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil { // pgx leaves the password out of it
		return nil, fmt.Errorf("%w: %w", ledger.ErrUnavailable, err)
	}
	cfg.MaxConns = int32(opts.Conns)
	cfg.AfterConnect = keepDurable
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ledger.ErrUnavailable, err)
	}
	if err := errors.Join(durable(ctx, pool), migrate(ctx, pool)); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open the ledger in %s on %s: %w", cfg.ConnConfig.Database, cfg.ConnConfig.Host, err)
	}
	s := &Store{opts: opts, pool: pool}
	s.writer = group.Start(s.commit, func() error { return nil }, opts.Grace)
	return s, nil
}

// keepDurable overrules a server or role that acknowledges before it has synced.
func keepDurable(ctx context.Context, conn *pgx.Conn) error {
	_, err := conn.Exec(ctx, `SELECT set_config('synchronous_commit', 'on', false)
		WHERE current_setting('synchronous_commit') = 'off'`)
	return err
}

func durable(ctx context.Context, pool *pgxpool.Pool) error {
	var fsync string
	if err := pool.QueryRow(ctx, `SHOW fsync`).Scan(&fsync); err != nil {
		return mapped(ctx, "connect", err)
	}
	if fsync != "on" {
		return fmt.Errorf("%w: the server runs with fsync %s and would lose acknowledged entries in a power cut", ledger.ErrUnavailable, fsync)
	}
	return nil
}

// Check implements ledger.Store: that Seq has no gaps, that tallies and heads
// agree with the entries, and, where the server has the amcheck extension in
// the database, that every index is sound.
func (s *Store) Check(ctx context.Context) error {
	err := pgx.BeginTxFunc(ctx, s.pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		var last, head, entries, tallied, behind int64
		err := tx.QueryRow(ctx, `SELECT (SELECT last FROM sequence), coalesce(max(seq), 0), count(*),
			(SELECT coalesce(sum(count), 0)::bigint FROM tally),
			(SELECT count(*) FROM head h WHERE head < (SELECT coalesce(max(seq), 0) FROM entry e WHERE e.place = h.bank))
			FROM entry`).Scan(&last, &head, &entries, &tallied, &behind)
		if err != nil {
			return err
		}
		if last != head || head != entries || tallied != entries || behind != 0 {
			return fmt.Errorf("%w: %d entries, the newest is #%d, the sequence stands at %d, the tallies add up to %d, %d heads are behind",
				ledger.ErrDamaged, entries, head, last, tallied, behind)
		}
		return checkIndexes(ctx, tx)
	})
	return mapped(ctx, "check", err)
}

func checkIndexes(ctx context.Context, tx pgx.Tx) error {
	var schema string
	err := tx.QueryRow(ctx, `SELECT n.nspname FROM pg_extension e JOIN pg_namespace n ON n.oid = e.extnamespace
		WHERE extname = 'amcheck'`).Scan(&schema)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, strings.ReplaceAll(`SELECT {}.bt_index_check(i.indexrelid, true) FROM pg_index i
		JOIN pg_class c ON c.oid = i.indexrelid JOIN pg_am a ON a.oid = c.relam
		WHERE a.amname = 'btree' AND c.relnamespace = current_schema()::regnamespace`, "{}", pgx.Identifier{schema}.Sanitize()))
	return err
}

// Ping implements ledger.Store.
func (s *Store) Ping(ctx context.Context) error {
	_, err := s.Head(ctx)
	return err
}

// Close implements ledger.Store.
func (s *Store) Close() error {
	s.close.Do(func() {
		s.closed = s.writer.Stop()
		s.pool.Close()
	})
	return s.closed
}
