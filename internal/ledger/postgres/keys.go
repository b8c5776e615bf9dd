package postgres

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
)

// PutKey implements ledger.Store.
func (s *Store) PutKey(ctx context.Context, k ledger.Key) error {
	if k.ID == "" {
		return fmt.Errorf("%w: a key without an id", ledger.ErrInvalid)
	}
	sites, err := json.Marshal(k.Sites)
	if err != nil {
		return fmt.Errorf("%w: key %q: %w", ledger.ErrInvalid, k.ID, err)
	}
	points, err := json.Marshal(k.Points)
	if err != nil {
		return fmt.Errorf("%w: key %q: %w", ledger.ErrInvalid, k.ID, err)
	}
	return s.direct(ctx, "put key", func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO api_key (id, name, scheme, hash, secret, sites, points, created, revoked, expires)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
			ON CONFLICT (id) DO UPDATE SET (name, scheme, hash, secret, sites, points, created, revoked, expires) =
				(excluded.name, excluded.scheme, excluded.hash, excluded.secret, excluded.sites, excluded.points,
				excluded.created, excluded.revoked, excluded.expires)`,
			k.ID, row.Plain(k.Name), k.Scheme, k.Hash, k.Secret, string(sites), string(points),
			row.Nanos(k.Created), row.NanosPtr(k.Revoked), row.NanosPtr(k.Expires))
		return err
	})
}

// Keys implements ledger.Store.
func (s *Store) Keys(ctx context.Context) ([]ledger.Key, error) {
	return list(ctx, s, "keys", scanKey, `SELECT id, name, scheme, hash, secret, sites, points, created, revoked, expires
		FROM api_key ORDER BY created, id`)
}

func scanKey(r pgx.CollectableRow) (ledger.Key, error) {
	var k ledger.Key
	var sites, points string
	var created int64
	var revoked, expires *int64
	if err := r.Scan(&k.ID, &k.Name, &k.Scheme, &k.Hash, &k.Secret, &sites, &points, &created, &revoked, &expires); err != nil {
		return k, err
	}
	k.Created, k.Revoked, k.Expires = row.Time(created), row.TimePtr(revoked), row.TimePtr(expires)
	if err := json.Unmarshal([]byte(sites), &k.Sites); err != nil {
		return k, fmt.Errorf("key %q: %w", k.ID, err)
	}
	if err := json.Unmarshal([]byte(points), &k.Points); err != nil {
		return k, fmt.Errorf("key %q: %w", k.ID, err)
	}
	return k, nil
}
