package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
)

var (
	_ row.Dumper   = (*Store)(nil)
	_ row.Restorer = (*Store)(nil)
)

// Dump implements row.Dumper, reading from one snapshot.
func (s *Store) Dump(ctx context.Context, each func(t row.Table, values []any) error) error {
	moment, err := s.read.BeginTx(ctx, nil)
	if err != nil {
		return mapped(ctx, "dump", err)
	}
	for _, t := range row.Tables() {
		if err = dumpTable(ctx, moment, t, each); err != nil {
			break
		}
	}
	return errors.Join(err, moment.Rollback())
}

func dumpTable(ctx context.Context, moment *sql.Tx, t row.Table, each func(row.Table, []any) error) error {
	rows, err := moment.QueryContext(ctx, `SELECT `+strings.Join(t.Names(), ", ")+` FROM `+t.Name+` ORDER BY `+t.Key)
	if err != nil {
		return mapped(ctx, "dump", err)
	}
	values, dest := make([]any, len(t.Columns)), make([]any, len(t.Columns))
	for i := range values {
		dest[i] = &values[i]
	}
	for rows.Next() {
		if err = rows.Scan(dest...); err != nil {
			break
		}
		for i, c := range t.Columns {
			if n, ok := values[i].(int64); ok && c.Bool {
				values[i] = n != 0
			}
		}
		if err := each(t, values); err != nil {
			return errors.Join(err, rows.Close())
		}
	}
	return mapped(ctx, "dump", errors.Join(err, rows.Err(), rows.Close()))
}

// Restore implements row.Restorer.
func (s *Store) Restore(ctx context.Context, from row.Dumper) error {
	return s.do(ctx, "restore", 1, func(t *tx) error {
		n, err := t.newest()
		if err != nil {
			return err
		}
		if n != 0 {
			return fmt.Errorf("%w: only an empty ledger can be filled; this one has %d entries", ledger.ErrInvalid, n)
		}
		err = from.Dump(ctx, func(table row.Table, values []any) error {
			_, err := t.exec(`INSERT INTO `+table.Name+` (`+strings.Join(table.Names(), ", ")+`) VALUES (?`+
				strings.Repeat(", ?", len(table.Columns)-1)+`)`, values...)
			return err
		})
		t.known = false // the newest Seq is another now
		return err
	})
}
