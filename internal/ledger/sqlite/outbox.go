package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

const postColumns = `key, site, state, platform, channel, thread, post, files, rendered, recipe, waits,
	created, not_before, lease_until, attempts, last_error, post_id, uncertain`

// writePost puts a post into the outbox unless its key is known.
func (t *tx) writePost(p row.Post) error {
	n, err := t.exec(`INSERT INTO post (`+postColumns+`) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (key) DO NOTHING`,
		p.Key, p.Site, p.State, p.Platform, p.Channel, p.Thread, p.Post, p.Files, p.Rendered, p.Recipe, p.Waits,
		p.Created, p.NotBefore, p.LeaseUntil, p.Attempts, p.LastError, p.PostID, p.Uncertain)
	if err != nil || n == 0 || p.State != string(ledger.PostWaiting) {
		return err
	}
	for bank := range p.WaitsFor {
		if _, err := t.exec(`INSERT INTO post_wait (bank, post) SELECT ?, id FROM post WHERE key = ?`, bank, p.Key); err != nil {
			return err
		}
	}
	return nil
}

func scanPost(r scanner) (ledger.OutboxPost, error) {
	var p row.Post
	err := r.Scan(&p.Key, &p.Site, &p.State, &p.Platform, &p.Channel, &p.Thread, &p.Post, &p.Files, &p.Rendered, &p.Recipe, &p.Waits,
		&p.Created, &p.NotBefore, &p.LeaseUntil, &p.Attempts, &p.LastError, &p.PostID, &p.Uncertain)
	if err != nil {
		return ledger.OutboxPost{}, err
	}
	return p.OutboxPost()
}

// posts runs a query that ends in WHERE … over the outbox.
func (s *Store) posts(ctx context.Context, what, where string, args ...any) ([]ledger.OutboxPost, error) {
	rows, err := s.ask.rows(ctx, `SELECT `+postColumns+` FROM post WHERE `+where, args...)
	if err != nil {
		return nil, mapped(ctx, what, err)
	}
	out, err := scanAll(rows, scanPost)
	return out, mapped(ctx, what, err)
}

// maxBanks bounds the banks asked about in one query.
const maxBanks = 500

// Waiting implements ledger.Store.
func (s *Store) Waiting(ctx context.Context, banks []plant.BankID) ([]ledger.OutboxPost, error) {
	switch {
	case banks == nil:
		return s.posts(ctx, "waiting posts", `state = 'waiting' ORDER BY id`)
	case len(banks) == 0:
		return nil, nil
	case len(banks) > maxBanks:
		return s.waitingAmong(ctx, banks)
	}
	args := make([]any, len(banks))
	for i, b := range banks {
		args[i] = b
	}
	return s.posts(ctx, "waiting posts", `state = 'waiting' AND id IN (SELECT post FROM post_wait WHERE bank IN (?`+
		strings.Repeat(`, ?`, len(banks)-1)+`)) ORDER BY id`, args...)
}

// waitingAmong serves a set of banks too large for a statement.
func (s *Store) waitingAmong(ctx context.Context, banks []plant.BankID) ([]ledger.OutboxPost, error) {
	all, err := s.Waiting(ctx, nil)
	if err != nil {
		return nil, err
	}
	wanted := make(map[plant.BankID]bool, len(banks))
	for _, b := range banks {
		wanted[b] = true
	}
	var out []ledger.OutboxPost
	for _, p := range all {
		for b := range p.WaitsFor {
			if wanted[b] {
				out = append(out, p)
				break
			}
		}
	}
	return out, nil
}

// Render implements ledger.Store.
func (s *Store) Render(ctx context.Context, key string, p channel.Post) error {
	r := row.Post{Key: key}
	if err := r.SetContent(p); err != nil {
		return err
	}
	return s.do(ctx, "render", 1, func(t *tx) error {
		n, err := t.exec(`UPDATE post SET state = 'ready', rendered = 1, platform = ?, channel = ?, thread = ?, post = ?, files = ?
			WHERE key = ? AND state = 'waiting'`, r.Platform, r.Channel, r.Thread, r.Post, r.Files, key)
		if err != nil {
			return err
		}
		if n == 0 {
			_, err := t.state(key)
			return err
		}
		return t.stopWaiting(key)
	})
}

func (t *tx) stopWaiting(key string) error {
	_, err := t.exec(`DELETE FROM post_wait WHERE post = (SELECT id FROM post WHERE key = ?)`, key)
	return err
}

// state is the state of a post, or ledger.ErrNotFound.
func (t *tx) state(key string) (ledger.PostState, error) {
	var state ledger.PostState
	if err := t.row(`SELECT state FROM post WHERE key = ?`, []any{key}, &state); err != nil {
		return "", postError(key, err)
	}
	return state, nil
}

func postError(key string, err error) error {
	if errors.Is(err, ledger.ErrNotFound) || errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("post %.80q is %w", key, ledger.ErrNotFound)
	}
	return err
}

// claimable finds posts to send: ready, due, not leased, and first of their
// thread. Parameters: 1 platform, 2 now, 3 limit, 4 ledger.MostBackOff.
const claimable = `SELECT id FROM post p INDEXED BY post_ready
	WHERE state = 'ready' AND platform = ?1 AND coalesce(lease_until <= ?2, 1)
	AND (not_before <= ?2 OR attempts > 0 AND not_before > ?2 + ?4)
	AND (thread = '' OR NOT EXISTS (
		SELECT 1 FROM post e
		WHERE e.state IN ('waiting', 'ready') AND e.thread <> ''
		AND e.platform = p.platform AND e.channel = p.channel AND e.thread = p.thread AND e.id < p.id
		AND (e.attempts > 0 OR e.not_before <= ?2)))
	ORDER BY id LIMIT ?3`

// Claim implements ledger.Store. A look without the write lock comes first,
// since most of the time there is nothing to send.
func (s *Store) Claim(ctx context.Context, platform string, now time.Time, lease time.Duration, limit int) ([]ledger.OutboxPost, error) {
	if limit <= 0 {
		return nil, nil
	}
	var some int64
	err := s.ask.row(ctx, claimable, platform, row.Nanos(now), 1, int64(ledger.MostBackOff)).Scan(&some)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, nil
	case err != nil:
		return nil, mapped(ctx, "claim", err)
	}
	var out []ledger.OutboxPost
	err = s.do(ctx, "claim", limit, func(t *tx) (err error) {
		out, err = t.claim(platform, now, lease, limit)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (t *tx) claim(platform string, now time.Time, lease time.Duration, limit int) ([]ledger.OutboxPost, error) {
	q, err := t.w.stmt(claimable)
	if err != nil {
		return nil, err
	}
	rows, err := q.Query(platform, row.Nanos(now), limit, int64(ledger.MostBackOff))
	if err != nil {
		return nil, err
	}
	ids, err := scanAll(rows, func(r scanner) (id int64, err error) { return id, r.Scan(&id) })
	if err != nil {
		return nil, err
	}
	out := make([]ledger.OutboxPost, 0, len(ids))
	for _, id := range ids {
		p, err := t.lease(id, now.Add(lease))
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// lease gives one post out until a time. A lease that is there already has
// expired: whether that sender got the post out nobody knows.
func (t *tx) lease(id int64, until time.Time) (ledger.OutboxPost, error) {
	q, err := t.w.stmt(`UPDATE post SET attempts = attempts + 1, uncertain = uncertain OR lease_until IS NOT NULL, lease_until = ?
		WHERE id = ? RETURNING ` + postColumns)
	if err != nil {
		return ledger.OutboxPost{}, err
	}
	return scanPost(q.QueryRow(row.Nanos(until), id))
}

// MarkSent implements ledger.Store.
func (s *Store) MarkSent(ctx context.Context, key, postID string, at time.Time) error {
	return s.do(ctx, "mark sent", 1, func(t *tx) error {
		state, err := t.state(key)
		switch {
		case err != nil:
			return err
		case state == ledger.PostWaiting:
			return fmt.Errorf("%w: %.80q has not been rendered", ledger.ErrPostState, key)
		case state == ledger.PostSent:
			_, err := t.exec(`UPDATE post SET uncertain = uncertain OR post_id <> ?2 WHERE key = ?1`, key, row.Plain(postID))
			return err
		}
		_, err = t.exec(`UPDATE post SET state = 'sent', post_id = ?2, sent_at = ?3, lease_until = NULL, files = NULL WHERE key = ?1`,
			key, row.Plain(postID), row.Nanos(at))
		return err
	})
}

// MarkFailed implements ledger.Store.
func (s *Store) MarkFailed(ctx context.Context, key, reason string, next time.Time, park bool) error {
	return s.do(ctx, "mark failed", 1, func(t *tx) error {
		state, err := t.state(key)
		if err != nil {
			return err
		}
		switch {
		case state != ledger.PostReady && state != ledger.PostWaiting:
			return nil
		case park:
			state = ledger.PostParked
			if err := t.stopWaiting(key); err != nil {
				return err
			}
		}
		_, err = t.exec(`UPDATE post SET state = ?2, last_error = ?3, not_before = ?4, lease_until = NULL WHERE key = ?1`,
			key, string(state), row.Plain(reason), row.Nanos(next))
		return err
	})
}

// MarkUncertain implements ledger.Store.
func (s *Store) MarkUncertain(ctx context.Context, key string) error {
	return s.do(ctx, "mark uncertain", 1, func(t *tx) error {
		state, err := t.state(key)
		if err != nil || state == ledger.PostSent || state == ledger.PostDropped {
			return err
		}
		_, err = t.exec(`UPDATE post SET uncertain = 1 WHERE key = ?1`, key)
		return err
	})
}

// Post implements ledger.Store.
func (s *Store) Post(ctx context.Context, key string) (ledger.OutboxPost, error) {
	p, err := scanPost(s.ask.row(ctx, `SELECT `+postColumns+` FROM post WHERE key = ?`, key))
	return p, mapped(ctx, "post", postError(key, err))
}

// PostBySent implements ledger.Store.
func (s *Store) PostBySent(ctx context.Context, platform, channel, postID string) (ledger.OutboxPost, error) {
	p, err := scanPost(s.ask.row(ctx, `SELECT `+postColumns+` FROM post
		WHERE platform = ? AND channel = ? AND post_id = ? AND post_id <> '' ORDER BY id DESC LIMIT 1`, platform, channel, postID))
	return p, mapped(ctx, "post", postError(postID, err))
}

// Posts implements ledger.Store.
func (s *Store) Posts(ctx context.Context, state ledger.PostState, limit int) ([]ledger.OutboxPost, error) {
	if limit <= 0 {
		limit = -1 // SQLite's word for no limit
	}
	if state == "" {
		return s.posts(ctx, "posts", `1 ORDER BY id LIMIT ?`, limit)
	}
	return s.posts(ctx, "posts", `state = ? ORDER BY id LIMIT ?`, string(state), limit)
}

// RetryPost implements ledger.Store.
func (s *Store) RetryPost(ctx context.Context, key string, now time.Time) error {
	return s.do(ctx, "retry post", 1, func(t *tx) error {
		state, err := t.state(key)
		switch {
		case err != nil:
			return err
		case state != ledger.PostParked:
			return fmt.Errorf("%w: %.80q is %s, not parked", ledger.ErrPostState, key, state)
		}
		if _, err := t.exec(`UPDATE post SET state = iif(rendered, 'ready', 'waiting'), not_before = ?2, attempts = 0 WHERE key = ?1`,
			key, row.Nanos(now)); err != nil {
			return err
		}
		_, err = t.exec(`INSERT INTO post_wait (bank, post)
			SELECT j.key, p.id FROM post p, json_each(p.waits) j WHERE p.key = ?1 AND p.state = 'waiting'`, key)
		return err
	})
}

// DropPost implements ledger.Store.
func (s *Store) DropPost(ctx context.Context, key string) error {
	return s.do(ctx, "drop post", 1, func(t *tx) error {
		state, err := t.state(key)
		switch {
		case err != nil:
			return err
		case state == ledger.PostSent:
			return fmt.Errorf("%w: %.80q has been sent", ledger.ErrPostState, key)
		}
		if err := t.stopWaiting(key); err != nil {
			return err
		}
		_, err = t.exec(`UPDATE post SET state = 'dropped', lease_until = NULL, files = NULL WHERE key = ?1`, key)
		return err
	})
}
