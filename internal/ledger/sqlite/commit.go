package sqlite

import (
	"context"
	"strings"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
)

// Commit implements ledger.Store. Concurrent calls share transactions; each
// stands or falls alone.
func (s *Store) Commit(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	p, err := row.Pack(b)
	if err != nil {
		return nil, err
	}
	c := change{do: func(t *tx) error { return t.append(p) }, plain: len(p.Posts)+len(p.Firings) == 0}
	if err := s.writer.Do(ctx, "commit", p.Rows(), c); err != nil {
		return nil, err
	}
	return p.Results, nil
}

// append puts a batch into the transaction. What the transaction keeps in
// memory is touched only at the end, when nothing can be refused any more.
func (t *tx) append(b *row.Batch) error {
	if err := t.writeFirings(b.Firings); err != nil {
		return err
	}
	last, err := t.newest()
	if err != nil {
		return err
	}
	if last, err = t.writeEntries(b, last); err != nil {
		return err
	}
	for _, p := range b.Posts {
		if err := t.writePost(p); err != nil {
			return err
		}
	}
	t.last = last
	b.Raise(t.tally, t.heads)
	return nil
}

func (t *tx) writeFirings(fs []ledger.Firing) error {
	for _, f := range fs {
		n, err := t.exec(`INSERT INTO firing (job, site, scheduled, at, late) VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
			f.Job, f.Site, f.Scheduled, row.Nanos(f.At), f.Late)
		if err != nil {
			return err
		}
		if n == 0 {
			return ledger.ErrFired
		}
	}
	return nil
}

// writeEntries appends those whose source is new and returns the newest Seq.
func (t *tx) writeEntries(b *row.Batch, last int64) (int64, error) {
	from := 0
	for ; len(b.Entries)-from >= atOnce; from += atOnce {
		written, err := t.writeTogether(b, from, last)
		if err != nil {
			return 0, err
		}
		if !written {
			if err := t.writeEach(b, from, from+atOnce, &last); err != nil {
				return 0, err
			}
			continue
		}
		last += atOnce
	}
	err := t.writeEach(b, from, len(b.Entries), &last)
	return last, err
}

// atOnce is how many entries go into one statement: a statement costs about as
// much as the row that it inserts.
const atOnce = 20

// writeTogether appends atOnce entries from an index on by one statement. It
// reports false, and leaves nothing written, when a source among them is known:
// then each must be looked at by itself, or the numbers would have a gap.
func (t *tx) writeTogether(b *row.Batch, from int, last int64) (bool, error) {
	args := make([]any, 0, columns*atOnce)
	for i := range atOnce {
		args = appendRow(args, b.Entries[from+i])
		b.Results[from+i] = ledger.Result{Seq: last + 1 + int64(i)}
	}
	n, err := t.exec(insertTogether, args...)
	if err != nil || n == atOnce {
		return true, err
	}
	_, err = t.exec(`DELETE FROM entry WHERE seq > ?`, last)
	return false, err
}

// An entry is numbered from the newest on by the table itself, and one that cannot be
// written loses the transaction (FAIL). Given numbers, or meant to take back the rows
// before the one that failed, a statement of several rows would copy each page that it
// changes.
const (
	insertEntry = `INSERT OR FAIL INTO entry (source, kind, place, at, received, reporter, line, body) VALUES `
	columns     = 8 // of insertEntry
	values      = `(?, ?, ?, ?, ?, ?, ?, ?)`
	keepFirst   = ` ON CONFLICT (source) DO NOTHING`

	insertOne = insertEntry + values + keepFirst
)

var insertTogether = insertEntry + values + strings.Repeat(", "+values, atOnce-1) + keepFirst

func appendRow(args []any, e row.Entry) []any {
	return append(args, e.Source, e.Kind, e.Place, e.At, e.Received, e.By, e.Line, e.Body)
}

// writeEach appends the entries of a range one by one.
func (t *tx) writeEach(b *row.Batch, from, to int, last *int64) error {
	for i := from; i < to; i++ {
		e := b.Entries[i]
		n, err := t.exec(insertOne, appendRow(nil, e)...)
		if err != nil {
			return err
		}
		if n == 1 {
			*last++
			b.Results[i] = ledger.Result{Seq: *last}
			continue
		}
		b.Results[i] = ledger.Result{Duplicate: true}
		if err := t.row(`SELECT seq FROM entry WHERE source = ?`, []any{e.Source}, &b.Results[i].Seq); err != nil {
			return err
		}
	}
	return nil
}
