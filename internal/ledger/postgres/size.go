package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
)

// Size is how many bytes the ledger's tables and indexes take in the database.
func (s *Store) Size(ctx context.Context) (bytes int64, err error) {
	return one(ctx, s, "size", pgx.RowTo[int64], `SELECT coalesce(sum(pg_total_relation_size(oid)), 0)::bigint FROM pg_class
		WHERE relnamespace = current_schema()::regnamespace AND relkind IN ('r', 'p')`)
}
