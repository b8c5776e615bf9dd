package postgres

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/ledger/sqlite"
)

var (
	_ row.Dumper   = (*Store)(nil)
	_ row.Restorer = (*Store)(nil)
)

// Dump implements row.Dumper, reading from one snapshot.
func (s *Store) Dump(ctx context.Context, each func(t row.Table, values []any) error) error {
	err := pgx.BeginTxFunc(ctx, s.pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		for _, t := range row.Tables() {
			if err := dumpTable(ctx, tx, t, each); err != nil {
				return err
			}
		}
		return nil
	})
	return mapped(ctx, "dump", err)
}

func dumpTable(ctx context.Context, tx pgx.Tx, t row.Table, each func(row.Table, []any) error) error {
	rows, err := tx.Query(ctx, `SELECT `+strings.Join(t.Names(), ", ")+` FROM `+t.Name+` ORDER BY `+t.Key)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		values, err := rows.Values()
		if err != nil {
			return err
		}
		if err := each(t, values); err != nil {
			return err
		}
	}
	return rows.Err()
}

// restoreRows bounds the rows held in memory while a ledger is filled.
const restoreRows = 5000

// Restore implements row.Restorer.
func (s *Store) Restore(ctx context.Context, from row.Dumper) error {
	return s.direct(ctx, "restore", func(tx pgx.Tx) error {
		var last int64
		if err := tx.QueryRow(ctx, `SELECT last FROM sequence FOR UPDATE`).Scan(&last); err != nil {
			return err
		}
		if last != 0 {
			return fmt.Errorf("%w: only an empty ledger can be filled; this one has %d entries", ledger.ErrInvalid, last)
		}
		if err := fill(ctx, tx, from); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `UPDATE sequence SET last = (SELECT coalesce(max(seq), 0) FROM entry);
			SELECT setval('post_id_seq', (SELECT coalesce(max(id), 0) + 1 FROM post), false)`)
		return err
	})
}

func fill(ctx context.Context, tx pgx.Tx, from row.Dumper) error {
	var table row.Table
	var rows [][]any
	flush := func() error {
		if len(rows) == 0 {
			return nil
		}
		_, err := tx.CopyFrom(ctx, pgx.Identifier{table.Name}, table.Names(), pgx.CopyFromRows(rows))
		rows = rows[:0]
		return err
	}
	err := from.Dump(ctx, func(t row.Table, values []any) error {
		if t.Name != table.Name || len(rows) == restoreRows {
			if err := flush(); err != nil {
				return err
			}
			table = t
		}
		rows = append(rows, slices.Clone(values))
		return nil
	})
	if err != nil {
		return err
	}
	return flush()
}

// Backup implements ledger.Store: the copy is a SQLite ledger file, which
// package sqlite opens and Restore reads back. It is checked in full before it
// gets its name.
func (s *Store) Backup(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("backup: %s: %w; choose another name", path, fs.ErrExist)
	}
	dir, err := os.MkdirTemp(filepath.Dir(path), ".backup-*")
	if err != nil {
		return fmt.Errorf("%w: backup: %w", ledger.ErrUnavailable, err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	copied, err := sqlite.Open(ctx, filepath.Join(dir, "ledger.db"), sqlite.Options{})
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	err = copied.Restore(ctx, s)
	if err == nil {
		err = copied.Backup(ctx, path) // compacts, checks, syncs, names
	}
	if err := errors.Join(err, copied.Close()); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return nil
}
