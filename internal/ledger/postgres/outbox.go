package postgres

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

const postColumns = `key, site, state, platform, channel, thread, post, files, rendered, recipe, waits,
	created, not_before, lease_until, attempts, last_error, post_id, uncertain`

func scanPost(r pgx.CollectableRow) (ledger.OutboxPost, error) {
	var p row.Post
	if err := r.Scan(postFields(&p)...); err != nil {
		return ledger.OutboxPost{}, err
	}
	return p.OutboxPost()
}

func postFields(p *row.Post) []any {
	return []any{
		&p.Key, &p.Site, &p.State, &p.Platform, &p.Channel, &p.Thread, &p.Post, &p.Files, &p.Rendered, &p.Recipe, &p.Waits,
		&p.Created, &p.NotBefore, &p.LeaseUntil, &p.Attempts, &p.LastError, &p.PostID, &p.Uncertain,
	}
}

// posts runs a query that ends in WHERE … over the outbox.
func (s *Store) posts(ctx context.Context, what, where string, args ...any) ([]ledger.OutboxPost, error) {
	return list(ctx, s, what, scanPost, `SELECT `+postColumns+` FROM post WHERE `+where, args...)
}

// Waiting implements ledger.Store.
func (s *Store) Waiting(ctx context.Context, banks []plant.BankID) ([]ledger.OutboxPost, error) {
	if banks == nil {
		return s.posts(ctx, "waiting posts", `state = 'waiting' ORDER BY id`)
	}
	return s.posts(ctx, "waiting posts",
		`state = 'waiting' AND id IN (SELECT post FROM post_wait WHERE bank = ANY ($1::text[])) ORDER BY id`, banks)
}

// Render implements ledger.Store.
func (s *Store) Render(ctx context.Context, key string, p channel.Post) error {
	r := row.Post{Key: key}
	if err := r.SetContent(p); err != nil {
		return err
	}
	return s.change(ctx, "render", key, func(c *change) error {
		if c.state != ledger.PostWaiting {
			return nil
		}
		return c.exec(`DELETE FROM post_wait WHERE post = $1`,
			`UPDATE post SET state = 'ready', rendered = true, platform = $2, channel = $3, thread = $4, post = $5, files = $6 WHERE id = $1`,
			r.Platform, r.Channel, r.Thread, r.Post, r.Files)
	})
}

// change is an alteration of one post, which is held locked.
type change struct {
	ctx   context.Context
	tx    pgx.Tx
	id    int64
	state ledger.PostState
}

// change runs f with the post of key locked; ledger.ErrNotFound if there is none.
func (s *Store) change(ctx context.Context, what, key string, f func(*change) error) error {
	return s.direct(ctx, what, func(tx pgx.Tx) error {
		c := &change{ctx: ctx, tx: tx}
		err := tx.QueryRow(ctx, `SELECT id, state FROM post WHERE key = $1 FOR UPDATE`, key).Scan(&c.id, &c.state)
		if errors.Is(err, pgx.ErrNoRows) {
			return fmt.Errorf("post %.80q is %w", key, ledger.ErrNotFound)
		}
		if err != nil {
			return err
		}
		return f(c)
	})
}

// exec runs a statement whose first parameter is the post's id; the one before
// it, if any, has no other parameter.
func (c *change) exec(before, query string, args ...any) error {
	var q pgx.Batch
	if before != "" {
		q.Queue(before, c.id)
	}
	q.Queue(query, append([]any{c.id}, args...)...)
	return c.tx.SendBatch(c.ctx, &q).Close()
}

// claimable finds posts to send: ready, due, not leased, and first of their
// thread. Rows that another sender is just claiming are passed over; they still
// hold their thread up. Parameters: 1 platform, 2 now, 3 limit,
// 4 ledger.MostBackOff.
const claimable = `SELECT id FROM post p
	WHERE state = 'ready' AND platform = $1 AND coalesce(lease_until <= $2, true)
	AND (not_before <= $2 OR attempts > 0 AND not_before > $2 + $4::bigint)
	AND (thread = '' OR NOT EXISTS (
		SELECT FROM post e
		WHERE e.state IN ('waiting', 'ready') AND e.thread <> ''
		AND e.platform = p.platform AND e.channel = p.channel AND e.thread = p.thread AND e.id < p.id
		AND (e.attempts > 0 OR e.not_before <= $2)))
	ORDER BY id LIMIT $3`

// Claim implements ledger.Store. A look without locks comes first, since most of
// the time there is nothing to send.
func (s *Store) Claim(ctx context.Context, platform string, now time.Time, lease time.Duration, limit int) ([]ledger.OutboxPost, error) {
	if limit <= 0 {
		return nil, nil
	}
	some, err := list(ctx, s, "claim", pgx.RowTo[int64], claimable, platform, row.Nanos(now), 1, int64(ledger.MostBackOff))
	if err != nil || len(some) == 0 {
		return nil, err
	}
	var out []claimed
	err = s.direct(ctx, "claim", func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `WITH due AS (`+claimable+` FOR UPDATE SKIP LOCKED)
			UPDATE post SET attempts = attempts + 1, uncertain = uncertain OR lease_until IS NOT NULL, lease_until = $5
			FROM due WHERE post.id = due.id RETURNING post.id, `+postColumns,
			platform, row.Nanos(now), limit, int64(ledger.MostBackOff), row.Nanos(now.Add(lease)))
		if err != nil {
			return err
		}
		out, err = pgx.CollectRows(rows, scanClaimed)
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(out, func(a, b claimed) int { return cmp.Compare(a.id, b.id) })
	posts := make([]ledger.OutboxPost, len(out))
	for i, c := range out {
		posts[i] = c.post
	}
	return posts, nil
}

type claimed struct {
	id   int64
	post ledger.OutboxPost
}

func scanClaimed(r pgx.CollectableRow) (claimed, error) {
	var id int64
	var p row.Post
	if err := r.Scan(append([]any{&id}, postFields(&p)...)...); err != nil {
		return claimed{}, err
	}
	post, err := p.OutboxPost()
	return claimed{id, post}, err
}

// MarkSent implements ledger.Store.
func (s *Store) MarkSent(ctx context.Context, key, postID string, at time.Time) error {
	return s.change(ctx, "mark sent", key, func(c *change) error {
		switch c.state {
		case ledger.PostWaiting:
			return fmt.Errorf("%w: %.80q has not been rendered", ledger.ErrPostState, key)
		case ledger.PostSent:
			return c.exec("", `UPDATE post SET uncertain = uncertain OR post_id <> $2 WHERE id = $1`, row.Plain(postID))
		}
		return c.exec("", `UPDATE post SET state = 'sent', post_id = $2, sent_at = $3, lease_until = NULL, files = NULL WHERE id = $1`,
			row.Plain(postID), row.Nanos(at))
	})
}

// MarkFailed implements ledger.Store.
func (s *Store) MarkFailed(ctx context.Context, key, reason string, next time.Time, park bool) error {
	return s.change(ctx, "mark failed", key, func(c *change) error {
		stopWaiting := ""
		switch {
		case c.state != ledger.PostReady && c.state != ledger.PostWaiting:
			return nil
		case park:
			c.state = ledger.PostParked
			stopWaiting = `DELETE FROM post_wait WHERE post = $1`
		}
		return c.exec(stopWaiting, `UPDATE post SET state = $2, last_error = $3, not_before = $4, lease_until = NULL WHERE id = $1`,
			string(c.state), row.Plain(reason), row.Nanos(next))
	})
}

// MarkUncertain implements ledger.Store.
func (s *Store) MarkUncertain(ctx context.Context, key string) error {
	return s.change(ctx, "mark uncertain", key, func(c *change) error {
		if c.state == ledger.PostSent || c.state == ledger.PostDropped {
			return nil
		}
		return c.exec("", `UPDATE post SET uncertain = true WHERE id = $1`)
	})
}

// Post implements ledger.Store.
func (s *Store) Post(ctx context.Context, key string) (ledger.OutboxPost, error) {
	return one(ctx, s, "post", scanPost, `SELECT `+postColumns+` FROM post WHERE key = $1`, key)
}

// PostBySent implements ledger.Store.
func (s *Store) PostBySent(ctx context.Context, platform, channel, postID string) (ledger.OutboxPost, error) {
	return one(ctx, s, "post", scanPost, `SELECT `+postColumns+` FROM post
		WHERE platform = $1 AND channel = $2 AND post_id = $3 AND post_id <> '' ORDER BY id DESC LIMIT 1`, platform, channel, postID)
}

// Posts implements ledger.Store.
func (s *Store) Posts(ctx context.Context, state ledger.PostState, limit int) ([]ledger.OutboxPost, error) {
	if state == "" {
		return s.posts(ctx, "posts", `true ORDER BY id LIMIT $1`, atMost(limit))
	}
	return s.posts(ctx, "posts", `state = $1 ORDER BY id LIMIT $2`, string(state), atMost(limit))
}

// RetryPost implements ledger.Store.
func (s *Store) RetryPost(ctx context.Context, key string, now time.Time) error {
	return s.change(ctx, "retry post", key, func(c *change) error {
		if c.state != ledger.PostParked {
			return fmt.Errorf("%w: %.80q is %s, not parked", ledger.ErrPostState, key, c.state)
		}
		return c.exec(`INSERT INTO post_wait (bank, post)
				SELECT json_object_keys(waits::json), id FROM post WHERE id = $1 AND NOT rendered AND waits IS NOT NULL`,
			`UPDATE post SET state = CASE WHEN rendered THEN 'ready' ELSE 'waiting' END, not_before = $2, attempts = 0 WHERE id = $1`,
			row.Nanos(now))
	})
}

// DropPost implements ledger.Store.
func (s *Store) DropPost(ctx context.Context, key string) error {
	return s.change(ctx, "drop post", key, func(c *change) error {
		if c.state == ledger.PostSent {
			return fmt.Errorf("%w: %.80q has been sent", ledger.ErrPostState, key)
		}
		return c.exec(`DELETE FROM post_wait WHERE post = $1`,
			`UPDATE post SET state = 'dropped', lease_until = NULL, files = NULL WHERE id = $1`)
	})
}
