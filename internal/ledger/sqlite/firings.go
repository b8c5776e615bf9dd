package sqlite

import (
	"context"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
)

// LastFiring implements ledger.Store.
func (s *Store) LastFiring(ctx context.Context, job, site string) (ledger.Firing, error) {
	var f ledger.Firing
	var at int64
	err := s.ask.row(ctx, `SELECT job, site, scheduled, at, late FROM firing
		WHERE job = ? AND site = ? ORDER BY scheduled DESC LIMIT 1`, job, site).Scan(&f.Job, &f.Site, &f.Scheduled, &at, &f.Late)
	if err != nil {
		return ledger.Firing{}, mapped(ctx, "last firing", notFound(err))
	}
	f.At = row.Time(at)
	return f, nil
}
