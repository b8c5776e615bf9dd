package sqlite

import (
	"context"
	"time"

	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

// ForgetSamples implements ledger.Store.
func (s *Store) ForgetSamples(ctx context.Context, place plant.BankID, point string, before time.Time) (n int64, err error) {
	err = s.do(ctx, "forget samples", 1, func(t *tx) error {
		n, err = t.exec(`UPDATE entry INDEXED BY entry_sample SET body = json_object('point', json_extract(body, '$.point'), 'quantity', coalesce(json_extract(body, '$.quantity'), ''))
			WHERE `+ofSamples+` AND kind = 'sample' AND place = ?1 AND at < ?2
			AND json_extract(body, '$.point') = ?3 AND json_extract(body, '$.value') IS NOT NULL`, string(place), row.Nanos(before), point)
		return err
	})
	return n, err
}
