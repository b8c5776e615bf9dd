package sqlite

import (
	"context"
	"time"

	"clogwise/internal/ledger/row"
)

// ForgetPosts implements ledger.Store.
func (s *Store) ForgetPosts(ctx context.Context, before time.Time, naming string) (n int64, err error) {
	err = s.do(ctx, "forget posts", 1, func(t *tx) error {
		n, err = t.exec(`UPDATE post SET post = json_object('to', json_extract(post, '$.to'), 'text', ''), recipe = NULL, files = NULL
			WHERE state IN ('sent', 'dropped') AND created < ?1
			AND (recipe IS NOT NULL OR json_extract(post, '$.text') <> '')
			AND (?2 = '' OR instr(post, ?2) > 0 OR instr(coalesce(recipe, ''), ?2) > 0)`, row.Nanos(before), naming)
		return err
	})
	return n, err
}
