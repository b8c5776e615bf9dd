package postgres

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"clogwise/internal/ledger"
)

//go:embed migrations/*.sql
var migrations embed.FS

// lockID is the advisory lock under which schemas are changed ("Clog").
const lockID = 0x436c6f67

// migrate brings the schema up to date in one transaction, under a lock that
// other machines opening the ledger wait for.
func migrate(ctx context.Context, pool *pgxpool.Pool) error {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	err = pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, lockID); err != nil {
			return err
		}
		version, err := schemaVersion(ctx, tx)
		if err != nil {
			return err
		}
		if version > len(names) {
			return fmt.Errorf("%w: its schema is %d, this program knows %d; update clogwise", ledger.ErrNewer, version, len(names))
		}
		for _, name := range names[version:] {
			script, err := migrations.ReadFile(name)
			if err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, string(script)); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		}
		if version == len(names) {
			return nil
		}
		_, err = tx.Exec(ctx, `UPDATE schema_version SET version = $1`, len(names))
		return err
	})
	return mapped(ctx, "migrate", err)
}

// schemaVersion is 0 in a fresh schema, where it makes the table that keeps it.
func schemaVersion(ctx context.Context, tx pgx.Tx) (version int, err error) {
	var there bool
	err = tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_class WHERE relname = 'schema_version'
		AND relnamespace = current_schema()::regnamespace)`).Scan(&there)
	switch {
	case err != nil:
		return 0, err
	case !there:
		_, err = tx.Exec(ctx, `CREATE TABLE schema_version (version integer NOT NULL); INSERT INTO schema_version VALUES (0)`)
		return 0, err
	}
	err = tx.QueryRow(ctx, `SELECT version FROM schema_version`).Scan(&version)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, fmt.Errorf("%w: the schema's version is missing", ledger.ErrDamaged)
	}
	return version, err
}
