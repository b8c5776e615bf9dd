package postgres

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger"
)

// direct runs a write in a transaction of its own: the server groups the syncs
// of concurrent ones by itself. A ctx that ends in the middle of it leaves the
// outcome open.
func (s *Store) direct(ctx context.Context, what string, f func(pgx.Tx) error) error {
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	}
	tx, err := s.pool.Begin(ctx)
	if err != nil {
		return mapped(ctx, what, err)
	}
	if err := f(tx); err != nil {
		_ = tx.Rollback(context.WithoutCancel(ctx)) // the connection is dropped when this fails, and with it the transaction
		return mapped(ctx, what, err)
	}
	if err := tx.Commit(ctx); err != nil {
		err = mapped(ctx, what, err)
		if open(err) {
			return fmt.Errorf("%w: %w", ledger.ErrUncertain, err)
		}
		return err
	}
	return nil
}
