package sqlite

import (
	"context"
	"fmt"
	"strings"

	"clogwise/internal/ledger"
)

// Pragma runs a PRAGMA on the writing connection: how tests make the disk full
// (max_page_count) or the file read-only (query_only).
func (s *Store) Pragma(pragma string) error {
	return s.do(context.Background(), "pragma", 1, func(t *tx) error {
		_, err := t.w.conn.ExecContext(context.Background(), "PRAGMA "+pragma)
		return err
	})
}

// Pages is the size of the file in pages.
func (s *Store) Pages() (n int, err error) {
	err = s.read.QueryRow("PRAGMA page_count").Scan(&n)
	return n, err
}

// EntryPlan is SQLite's plan for a filter, ClaimPlan the one for claiming.
func (s *Store) EntryPlan(f ledger.Filter) (string, error) {
	q := entryQuery(f)
	return s.plan(q.text(), q.args...)
}

func (s *Store) ClaimPlan() (string, error) { return s.plan(claimable, "terminal", 0, 1, 0) }

func (s *Store) plan(query string, args ...any) (string, error) {
	rows, err := s.read.Query("EXPLAIN QUERY PLAN "+query, args...)
	if err != nil {
		return "", err
	}
	lines, err := scanAll(rows, func(r scanner) (string, error) {
		var id, parent, unused int
		var detail string
		err := r.Scan(&id, &parent, &unused, &detail)
		return detail, err
	})
	return strings.Join(lines, "; "), err
}

// SetSchema rewrites the file's schema version.
func (s *Store) SetSchema(version int) error {
	return s.Pragma(fmt.Sprintf("user_version = %d", version))
}

// Queued is the number of writes waiting for the writer.
func (s *Store) Queued() int { return s.writer.Queued() }
