package sqlite

import (
	"context"
	"encoding/json"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

// PutProjection implements ledger.Store.
func (s *Store) PutProjection(ctx context.Context, p ledger.Projection) error {
	return s.PutProjections(ctx, []ledger.Projection{p})
}

// PutProjections implements ledger.Store.
func (s *Store) PutProjections(ctx context.Context, ps []ledger.Projection) error {
	if err := row.CheckProjections(ps); err != nil || len(ps) == 0 {
		return err
	}
	return s.do(ctx, "put projections", len(ps), func(t *tx) error {
		for _, p := range ps {
			if err := t.putProjection(p); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *tx) putProjection(p ledger.Projection) error {
	n, err := t.exec(`INSERT INTO projection (bank, upto, at, data) VALUES (?1, ?2, ?3, ?4)
		ON CONFLICT (bank) DO UPDATE SET upto = ?2, at = ?3, data = ?4
		WHERE (upto, at) <= (?2, ?3)`, p.Bank, p.UpTo, row.Nanos(p.At), string(p.Data))
	if err != nil || n == 0 {
		return err
	}
	_, err = t.exec(`INSERT INTO head (bank, head, done, since) VALUES (?1, 0, ?2, 0)
		ON CONFLICT (bank) DO UPDATE SET done = ?2, since = ?2 + 1`, p.Bank, p.UpTo)
	return err
}

// Projection implements ledger.Store.
func (s *Store) Projection(ctx context.Context, bank plant.BankID) (ledger.Projection, error) {
	p, err := scanProjection(s.ask.row(ctx, `SELECT bank, upto, at, data FROM projection WHERE bank = ?`, bank))
	return p, mapped(ctx, "projection", notFound(err))
}

// ProjectionsOf implements ledger.Store.
func (s *Store) ProjectionsOf(ctx context.Context, banks []plant.BankID) ([]ledger.Projection, error) {
	names, err := json.Marshal(banks)
	if err != nil {
		return nil, err
	}
	rows, err := s.ask.rows(ctx, `SELECT bank, upto, at, data FROM projection
		WHERE bank IN (SELECT value FROM json_each(?)) ORDER BY bank`, string(names))
	if err != nil {
		return nil, mapped(ctx, "projections", err)
	}
	out, err := scanAll(rows, scanProjection)
	return out, mapped(ctx, "projections", err)
}

// Projections implements ledger.Store.
func (s *Store) Projections(ctx context.Context, place plant.BankID) ([]ledger.Projection, error) {
	q, args := `SELECT bank, upto, at, data FROM projection ORDER BY bank`, []any(nil)
	if place != "" {
		lo, hi := row.Below(place)
		// The two arms do not overlap, and the place itself sorts first.
		q = `SELECT bank, upto, at, data FROM projection WHERE bank = ?
			UNION ALL SELECT bank, upto, at, data FROM projection WHERE bank >= ? AND bank < ? ORDER BY bank`
		args = []any{place, lo, hi}
	}
	rows, err := s.ask.rows(ctx, q, args...)
	if err != nil {
		return nil, mapped(ctx, "projections", err)
	}
	out, err := scanAll(rows, scanProjection)
	return out, mapped(ctx, "projections", err)
}

func scanProjection(r scanner) (ledger.Projection, error) {
	var p ledger.Projection
	var at int64
	var data string
	err := r.Scan(&p.Bank, &p.UpTo, &at, &data)
	p.At, p.Data = row.Time(at), json.RawMessage(data)
	return p, err
}

// DropProjections implements ledger.Store.
func (s *Store) DropProjections(ctx context.Context) error {
	return s.do(ctx, "drop projections", 1, func(t *tx) error {
		if _, err := t.exec(`DELETE FROM projection`); err != nil {
			return err
		}
		_, err := t.exec(`UPDATE head SET done = 0, since = 0`)
		return err
	})
}

// Lagging implements ledger.Store.
func (s *Store) Lagging(ctx context.Context, limit int) ([]ledger.Lag, error) {
	if limit <= 0 {
		limit = -1 // SQLite's word for no limit
	}
	rows, err := s.ask.rows(ctx, `SELECT bank, head, done FROM head INDEXED BY head_lagging
		WHERE head > done ORDER BY since LIMIT ?`, limit)
	if err != nil {
		return nil, mapped(ctx, "lagging", err)
	}
	out, err := scanAll(rows, func(r scanner) (l ledger.Lag, err error) {
		err = r.Scan(&l.Bank, &l.Head, &l.Done)
		return l, err
	})
	return out, mapped(ctx, "lagging", err)
}
