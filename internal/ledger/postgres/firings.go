package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
)

// identity is what makes a firing the same firing.
func identity(f ledger.Firing) ledger.Firing {
	return ledger.Firing{Job: f.Job, Site: f.Site, Scheduled: f.Scheduled}
}

// firings as columns.
type firings struct {
	jobs, sites, scheduleds []string
	ats                     []int64
	lates                   []bool
}

func (fs *firings) add(more ...ledger.Firing) {
	for _, f := range more {
		fs.jobs, fs.sites, fs.scheduleds = append(fs.jobs, f.Job), append(fs.sites, f.Site), append(fs.scheduleds, f.Scheduled)
		fs.ats, fs.lates = append(fs.ats, row.Nanos(f.At)), append(fs.lates, f.Late)
	}
}

// recorded finds which of them are in the ledger.
func (fs *firings) recorded(ctx context.Context, tx pgx.Tx) (map[ledger.Firing]bool, error) {
	out := map[ledger.Firing]bool{}
	if len(fs.jobs) == 0 {
		return out, nil
	}
	rows, err := tx.Query(ctx, `SELECT job, site, scheduled FROM firing
		WHERE (job, site, scheduled) IN (SELECT * FROM unnest($1::text[], $2::text[], $3::text[]))`, fs.jobs, fs.sites, fs.scheduleds)
	if err != nil {
		return nil, err
	}
	var f ledger.Firing
	_, err = pgx.ForEachRow(rows, []any{&f.Job, &f.Site, &f.Scheduled}, func() error {
		out[f] = true
		return nil
	})
	return out, err
}

func (fs *firings) queue(q *pgx.Batch) {
	if len(fs.jobs) == 0 {
		return
	}
	q.Queue(`INSERT INTO firing (job, site, scheduled, at, late)
		SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::boolean[])`,
		fs.jobs, fs.sites, fs.scheduleds, fs.ats, fs.lates)
}

// LastFiring implements ledger.Store.
func (s *Store) LastFiring(ctx context.Context, job, site string) (ledger.Firing, error) {
	var f ledger.Firing
	var at int64
	err := s.pool.QueryRow(ctx, `SELECT job, site, scheduled, at, late FROM firing
		WHERE job = $1 AND site = $2 ORDER BY scheduled DESC LIMIT 1`, job, site).Scan(&f.Job, &f.Site, &f.Scheduled, &at, &f.Late)
	if err != nil {
		return ledger.Firing{}, mapped(ctx, "last firing", notFound(err))
	}
	f.At = row.Time(at)
	return f, nil
}
