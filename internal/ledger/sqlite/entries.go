package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
)

const entryColumns = `seq, source, kind, place, at, received, reporter, line, body`

// Entries implements ledger.Store.
func (s *Store) Entries(ctx context.Context, f ledger.Filter) ([]entry.Entry, error) {
	q := entryQuery(f)
	rows, err := s.ask.rows(ctx, q.text(), q.args...)
	if err != nil {
		return nil, mapped(ctx, "entries", err)
	}
	out, err := scanAll(rows, scanEntry)
	if err != nil {
		return nil, mapped(ctx, "entries", err)
	}
	if f.Newest && f.Limit > 0 {
		slices.Reverse(out)
	}
	return out, nil
}

// Entry implements ledger.Store.
func (s *Store) Entry(ctx context.Context, seq int64) (entry.Entry, error) {
	e, err := scanEntry(s.ask.row(ctx, `SELECT `+entryColumns+` FROM entry WHERE seq = ?`, seq))
	return e, mapped(ctx, "entry", notFound(err))
}

// Head implements ledger.Store.
func (s *Store) Head(ctx context.Context) (int64, error) {
	var seq int64
	err := s.ask.row(ctx, `SELECT coalesce(max(seq), 0) FROM entry`).Scan(&seq)
	return seq, mapped(ctx, "head", err)
}

// Counts implements ledger.Store.
func (s *Store) Counts(ctx context.Context) (map[entry.Kind]int64, error) {
	rows, err := s.ask.rows(ctx, `SELECT kind, count FROM tally`)
	if err != nil {
		return nil, mapped(ctx, "counts", err)
	}
	out := map[entry.Kind]int64{}
	_, err = scanAll(rows, func(r scanner) (struct{}, error) {
		var kind entry.Kind
		var n int64
		err := r.Scan(&kind, &n)
		out[kind] = n
		return struct{}{}, err
	})
	return out, mapped(ctx, "counts", err)
}

// query is a SELECT being put together.
type query struct {
	index string // INDEXED BY clause: the planner has no statistics to choose by
	where []string
	args  []any
	tail  string
}

func (q *query) and(cond string, args ...any) {
	q.where = append(q.where, cond)
	q.args = append(q.args, args...)
}

func (q *query) text() string {
	s := `SELECT ` + entryColumns + ` FROM entry` + q.index
	if len(q.where) > 0 {
		s += ` WHERE ` + strings.Join(q.where, ` AND `)
	}
	return s + q.tail
}

// entryQuery turns a filter into a query whose cost follows what is found.
func entryQuery(f ledger.Filter) *query {
	q := &query{}
	single := f.Place != "" && (f.Exact || f.Place.Whole()) // nothing lies below a bank
	samples := single && f.Source == "" && timed(f) && slices.Contains(f.Kinds, entry.KindSample)
	rare := len(f.Kinds) > 0 && !slices.ContainsFunc(f.Kinds, frequent)
	switch {
	case f.Source != "":
		q.index = ` INDEXED BY entry_source`
	case samples:
		q.index = ` INDEXED BY entry_sample`
		q.and(ofSamples)
	case rare:
		q.index = ` INDEXED BY entry_rare`
	case single:
		q.index = ` INDEXED BY entry_place`
	}
	if f.Source != "" {
		q.source(f.Source)
	}
	if rare {
		q.and(ofRare)
	}
	if len(f.Kinds) > 0 {
		q.kinds(f.Kinds)
	}
	if len(f.Places) > 0 {
		q.places(f, rare)
	}
	if single {
		q.and(`place = ?`, string(f.Place))
	} else if f.Place != "" {
		q.below(f)
	}
	if f.AfterSeq > 0 {
		q.and(`seq > ?`, f.AfterSeq)
	}
	if !f.From.IsZero() {
		q.and(`at >= ?`, row.Nanos(f.From))
	}
	if !f.To.IsZero() {
		q.and(`at < ?`, row.Nanos(f.To))
	}
	q.order(f)
	return q
}

// Conditions of indexes, word for word.
const (
	ofSamples = `kind IN ('sample', 'retract')`
	ofRare    = `kind NOT IN ('reading', 'sample')`
)

func frequent(k entry.Kind) bool { return k == entry.KindReading || k == entry.KindSample }

// timed reports whether a filter is for values of some hours, which are few of all
// that a place ever had.
func timed(f ledger.Filter) bool {
	return !f.From.IsZero() && f.AfterSeq == 0 && len(f.Kinds) > 0 && !slices.ContainsFunc(f.Kinds, func(k entry.Kind) bool {
		return k != entry.KindSample && k != entry.KindRetract
	})
}

func (q *query) source(prefix string) {
	lo, hi := row.Prefix(prefix)
	q.and(`source >= ?`, lo)
	if hi != "" {
		q.and(`source < ?`, hi)
	}
}

func (q *query) kinds(kinds []entry.Kind) {
	args := make([]any, len(kinds))
	for i, k := range kinds {
		args[i] = string(k)
	}
	q.and(`kind IN (?`+strings.Repeat(`, ?`, len(kinds)-1)+`)`, args...)
}

// places takes several places. What their index finds is put in order before the
// rows are looked up: those of neighbours lie side by side, as they were told.
func (q *query) places(f ledger.Filter, rare bool) {
	names, _ := json.Marshal(f.Places) // strings only
	if rare || q.index != "" {
		q.and(`place IN (SELECT value FROM json_each(?))`, string(names))
		return
	}
	q.and(`seq IN (SELECT seq FROM entry INDEXED BY entry_place WHERE place IN (SELECT value FROM json_each(?)) AND seq > ?)`,
		string(names), f.AfterSeq)
}

// below takes a place and everything below it. Where no other index leads, the
// place index is made to.
func (q *query) below(f ledger.Filter) {
	lo, hi := row.Below(f.Place)
	if q.index != "" {
		// One range, or the planner would go through all of the kind.
		q.and(`place >= ? AND place < ? AND (place = ? OR place >= ?)`, string(f.Place), hi, string(f.Place), lo)
		return
	}
	q.and(`seq IN (SELECT seq FROM entry INDEXED BY entry_place WHERE place = ? AND seq > ?
		UNION ALL SELECT seq FROM entry INDEXED BY entry_place WHERE place >= ? AND place < ? AND seq > ?)`,
		string(f.Place), f.AfterSeq, lo, hi, f.AfterSeq)
}

func (q *query) order(f ledger.Filter) {
	q.tail = ` ORDER BY seq`
	if f.Limit <= 0 {
		return
	}
	if f.Newest {
		q.tail += ` DESC`
	}
	q.tail += ` LIMIT ?`
	q.args = append(q.args, f.Limit)
}

type scanner interface{ Scan(dest ...any) error }

func scanEntry(r scanner) (entry.Entry, error) {
	var seq int64
	var e row.Entry
	if err := r.Scan(&seq, &e.Source, &e.Kind, &e.Place, &e.At, &e.Received, &e.By, &e.Line, &e.Body); err != nil {
		return entry.Entry{}, err
	}
	return e.Entry(seq)
}

// scanAll reads every row and closes rows.
func scanAll[T any](rows *sql.Rows, scan func(scanner) (T, error)) ([]T, error) {
	var out []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, errors.Join(err, rows.Close())
		}
		out = append(out, v)
	}
	return out, errors.Join(rows.Err(), rows.Close())
}

func notFound(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return ledger.ErrNotFound
	}
	return err
}
