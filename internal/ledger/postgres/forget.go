package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger/row"
)

// ForgetPosts implements ledger.Store.
func (s *Store) ForgetPosts(ctx context.Context, before time.Time, naming string) (n int64, err error) {
	err = s.direct(ctx, "forget posts", func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE post SET post = json_build_object('to', post::json->'to', 'text', '')::text, recipe = NULL, files = NULL
			WHERE state IN ('sent', 'dropped') AND created < $1
			AND (recipe IS NOT NULL OR post::json->>'text' <> '')
			AND ($2 = '' OR strpos(post, $2) > 0 OR strpos(coalesce(recipe, ''), $2) > 0)`, row.Nanos(before), naming)
		n = tag.RowsAffected()
		return err
	})
	return n, err
}
