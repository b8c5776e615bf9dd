package postgres

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

const entryColumns = `seq, source, kind, place, at, received, reporter, line, body`

// Entries implements ledger.Store.
func (s *Store) Entries(ctx context.Context, f ledger.Filter) ([]entry.Entry, error) {
	q := entryQuery(f)
	out, err := list(ctx, s, "entries", scanEntry, q.text(), q.args...)
	if f.Newest && f.Limit > 0 {
		slices.Reverse(out)
	}
	return out, err
}

// list runs a query and reads every row.
func list[T any](ctx context.Context, s *Store, what string, scan pgx.RowToFunc[T], query string, args ...any) ([]T, error) {
	rows, err := s.pool.Query(ctx, query, args...)
	if err != nil {
		return nil, mapped(ctx, what, err)
	}
	out, err := pgx.AppendRows([]T(nil), rows, scan)
	if err != nil {
		return nil, mapped(ctx, what, err)
	}
	return out, nil
}

// one runs a query and reads one row, or ledger.ErrNotFound.
func one[T any](ctx context.Context, s *Store, what string, scan pgx.RowToFunc[T], query string, args ...any) (T, error) {
	rows, err := s.pool.Query(ctx, query, args...)
	if err != nil {
		var none T
		return none, mapped(ctx, what, err)
	}
	out, err := pgx.CollectOneRow(rows, scan)
	return out, mapped(ctx, what, notFound(err))
}

// Entry implements ledger.Store.
func (s *Store) Entry(ctx context.Context, seq int64) (entry.Entry, error) {
	return one(ctx, s, "entry", scanEntry, `SELECT `+entryColumns+` FROM entry WHERE seq = $1`, seq)
}

// Head implements ledger.Store.
func (s *Store) Head(ctx context.Context) (int64, error) {
	return one(ctx, s, "head", pgx.RowTo[int64], `SELECT coalesce(max(seq), 0) FROM entry`)
}

// Counts implements ledger.Store.
func (s *Store) Counts(ctx context.Context) (map[entry.Kind]int64, error) {
	type tally struct {
		Kind  entry.Kind
		Count int64
	}
	tallies, err := list(ctx, s, "counts", pgx.RowToStructByPos[tally], `SELECT kind, count FROM tally`)
	if err != nil {
		return nil, err
	}
	out := map[entry.Kind]int64{}
	for _, t := range tallies {
		out[t.Kind] = t.Count
	}
	return out, nil
}

// query is a SELECT being put together; % in a condition stands for the next
// parameter.
type query struct {
	where []string
	args  []any
	tail  string
}

func (q *query) and(cond string, args ...any) {
	for _, a := range args {
		q.args = append(q.args, a)
		cond = strings.Replace(cond, "%", fmt.Sprintf("$%d", len(q.args)), 1)
	}
	q.where = append(q.where, cond)
}

func (q *query) text() string {
	s := `SELECT ` + entryColumns + ` FROM entry`
	if len(q.where) > 0 {
		s += ` WHERE ` + strings.Join(q.where, ` AND `)
	}
	return s + q.tail
}

func entryQuery(f ledger.Filter) *query {
	q := &query{}
	if f.Source != "" {
		lo, hi := row.Prefix(f.Source)
		q.and(`source >= %`, lo)
		if hi != "" {
			q.and(`source < %`, hi)
		}
	}
	if len(f.Kinds) > 0 {
		q.and(`kind = ANY (%::text[])`, kindNames(f.Kinds))
		if !slices.Contains(f.Kinds, entry.KindReading) && !slices.Contains(f.Kinds, entry.KindSample) {
			q.and(`kind NOT IN ('reading', 'sample')`) // leads to the index of what is rare
		}
	}
	if len(f.Places) > 0 {
		q.and(`place = ANY (%::text[])`, placeNames(f.Places))
	}
	switch {
	case f.Place == "":
	case f.Exact || f.Place.Whole(): // nothing lies below a bank
		q.and(`place = %`, string(f.Place))
	default:
		lo, hi := row.Below(f.Place)
		q.and(`(place = % OR (place >= % AND place < %))`, string(f.Place), lo, hi)
	}
	if f.AfterSeq > 0 {
		q.and(`seq > %`, f.AfterSeq)
	}
	if !f.From.IsZero() {
		q.and(`at >= %`, row.Nanos(f.From))
	}
	if !f.To.IsZero() {
		q.and(`at < %`, row.Nanos(f.To))
	}
	q.order(f)
	return q
}

func placeNames(places []plant.BankID) []string {
	out := make([]string, len(places))
	for i, p := range places {
		out[i] = string(p)
	}
	return out
}

func kindNames(kinds []entry.Kind) []string {
	out := make([]string, len(kinds))
	for i, k := range kinds {
		out[i] = string(k)
	}
	return out
}

func (q *query) order(f ledger.Filter) {
	q.tail = ` ORDER BY seq`
	if f.Limit <= 0 {
		return
	}
	if f.Newest {
		q.tail += ` DESC`
	}
	q.args = append(q.args, f.Limit)
	q.tail += fmt.Sprintf(` LIMIT $%d`, len(q.args))
}

func scanEntry(r pgx.CollectableRow) (entry.Entry, error) {
	var seq int64
	var e row.Entry
	if err := r.Scan(&seq, &e.Source, &e.Kind, &e.Place, &e.At, &e.Received, &e.By, &e.Line, &e.Body); err != nil {
		return entry.Entry{}, err
	}
	return e.Entry(seq)
}
