package postgres

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

// PutProjection implements ledger.Store.
func (s *Store) PutProjection(ctx context.Context, p ledger.Projection) error {
	return s.PutProjections(ctx, []ledger.Projection{p})
}

// PutProjections implements ledger.Store. All writers take the rows in order of
// the banks, so that none waits for another that waits for it.
func (s *Store) PutProjections(ctx context.Context, ps []ledger.Projection) error {
	if err := row.CheckProjections(ps); err != nil || len(ps) == 0 {
		return err
	}
	ps = slices.SortedFunc(slices.Values(ps), func(a, b ledger.Projection) int { return strings.Compare(string(a.Bank), string(b.Bank)) })
	banks, data := make([]string, len(ps)), make([]string, len(ps))
	upTo, at := make([]int64, len(ps)), make([]int64, len(ps))
	for i, p := range ps {
		banks[i], upTo[i], at[i], data[i] = string(p.Bank), p.UpTo, row.Nanos(p.At), string(p.Data)
	}
	return s.direct(ctx, "put projections", func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `WITH kept AS (
				INSERT INTO projection (bank, upto, at, data)
				SELECT * FROM unnest($1::text[], $2::bigint[], $3::bigint[], $4::text[])
				ON CONFLICT (bank) DO UPDATE SET upto = excluded.upto, at = excluded.at, data = excluded.data
				WHERE (projection.upto, projection.at) <= (excluded.upto, excluded.at)
				RETURNING bank, upto)
			INSERT INTO head (bank, head, done, since) SELECT bank, 0, upto, 0 FROM kept ORDER BY bank
			ON CONFLICT (bank) DO UPDATE SET done = excluded.done, since = excluded.done + 1`,
			banks, upTo, at, data)
		return err
	})
}

const projectionColumns = `bank, upto, at, data`

// Projection implements ledger.Store.
func (s *Store) Projection(ctx context.Context, bank plant.BankID) (ledger.Projection, error) {
	return one(ctx, s, "projection", scanProjection, `SELECT `+projectionColumns+` FROM projection WHERE bank = $1`, string(bank))
}

// ProjectionsOf implements ledger.Store.
func (s *Store) ProjectionsOf(ctx context.Context, banks []plant.BankID) ([]ledger.Projection, error) {
	return list(ctx, s, "projections", scanProjection,
		`SELECT `+projectionColumns+` FROM projection WHERE bank = ANY ($1::text[]) ORDER BY bank`, placeNames(banks))
}

// Projections implements ledger.Store.
func (s *Store) Projections(ctx context.Context, place plant.BankID) ([]ledger.Projection, error) {
	if place == "" {
		return list(ctx, s, "projections", scanProjection, `SELECT `+projectionColumns+` FROM projection ORDER BY bank`)
	}
	lo, hi := row.Below(place)
	return list(ctx, s, "projections", scanProjection, `SELECT `+projectionColumns+` FROM projection
		WHERE bank = $1 OR (bank >= $2 AND bank < $3) ORDER BY bank`, string(place), lo, hi)
}

func scanProjection(r pgx.CollectableRow) (ledger.Projection, error) {
	var p ledger.Projection
	var at int64
	var data string
	err := r.Scan(&p.Bank, &p.UpTo, &at, &data)
	p.At, p.Data = row.Time(at), json.RawMessage(data)
	return p, err
}

// DropProjections implements ledger.Store. It keeps commits out meanwhile: they
// and it would wait for each other's rows.
func (s *Store) DropProjections(ctx context.Context) error {
	return s.direct(ctx, "drop projections", func(tx pgx.Tx) error {
		for _, q := range []string{
			`SELECT last FROM sequence FOR UPDATE`,
			`DELETE FROM projection`,
			`UPDATE head SET done = 0, since = 0`,
		} {
			if _, err := tx.Exec(ctx, q); err != nil {
				return err
			}
		}
		return nil
	})
}

// Lagging implements ledger.Store.
func (s *Store) Lagging(ctx context.Context, limit int) ([]ledger.Lag, error) {
	return list(ctx, s, "lagging", pgx.RowToStructByPos[ledger.Lag],
		`SELECT bank, head, done FROM head WHERE head > done ORDER BY since LIMIT $1`, atMost(limit))
}

// atMost is a limit as SQL takes it: nil for none.
func atMost(limit int) *int {
	if limit <= 0 {
		return nil
	}
	return &limit
}
