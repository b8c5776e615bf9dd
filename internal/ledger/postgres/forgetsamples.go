package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

// ForgetSamples implements ledger.Store.
func (s *Store) ForgetSamples(ctx context.Context, place plant.BankID, point string, before time.Time) (n int64, err error) {
	err = s.direct(ctx, "forget samples", func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE entry SET body = json_build_object('point', body::json->>'point', 'quantity', coalesce(body::json->>'quantity', ''))::text
			WHERE kind = 'sample' AND place = $1 AND at < $2
			AND body::json->>'point' = $3 AND body::json->>'value' IS NOT NULL`, string(place), row.Nanos(before), point)
		n = tag.RowsAffected()
		return err
	})
	return n, err
}
