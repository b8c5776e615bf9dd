package sqlite

import (
	"context"
	"encoding/json"
	"fmt"

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
	return s.do(ctx, "put key", 1, func(t *tx) error {
		_, err := t.exec(`INSERT OR REPLACE INTO api_key (id, name, scheme, hash, secret, sites, points, created, revoked, expires)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			k.ID, k.Name, k.Scheme, k.Hash, k.Secret, string(sites), string(points),
			row.Nanos(k.Created), row.NanosPtr(k.Revoked), row.NanosPtr(k.Expires))
		return err
	})
}

// Keys implements ledger.Store.
func (s *Store) Keys(ctx context.Context) ([]ledger.Key, error) {
	rows, err := s.ask.rows(ctx, `SELECT id, name, scheme, hash, secret, sites, points, created, revoked, expires
		FROM api_key ORDER BY created, id`)
	if err != nil {
		return nil, mapped(ctx, "keys", err)
	}
	out, err := scanAll(rows, scanKey)
	return out, mapped(ctx, "keys", err)
}

func scanKey(r scanner) (ledger.Key, error) {
	var k ledger.Key
	var sites, points []byte
	var created int64
	var revoked, expires *int64
	if err := r.Scan(&k.ID, &k.Name, &k.Scheme, &k.Hash, &k.Secret, &sites, &points, &created, &revoked, &expires); err != nil {
		return k, err
	}
	k.Created, k.Revoked, k.Expires = row.Time(created), row.TimePtr(revoked), row.TimePtr(expires)
	if err := json.Unmarshal(sites, &k.Sites); err != nil {
		return k, fmt.Errorf("key %q: %w", k.ID, err)
	}
	if err := json.Unmarshal(points, &k.Points); err != nil {
		return k, fmt.Errorf("key %q: %w", k.ID, err)
	}
	return k, nil
}
