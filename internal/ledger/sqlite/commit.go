package sqlite

import (
	"context"

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
	if err := s.do(ctx, "commit", p.Rows(), func(t *tx) error { return t.append(p) }); err != nil {
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
	for i, e := range b.Entries {
		n, err := t.exec(`INSERT INTO entry (seq, source, kind, place, at, received, reporter, line, body)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (source) DO NOTHING`,
			last+1, e.Source, e.Kind, e.Place, e.At, e.Received, e.By, e.Line, e.Body)
		if err != nil {
			return 0, err
		}
		if n == 1 {
			last++
			b.Results[i] = ledger.Result{Seq: last}
			continue
		}
		b.Results[i] = ledger.Result{Duplicate: true}
		if err := t.row(`SELECT seq FROM entry WHERE source = ?`, []any{e.Source}, &b.Results[i].Seq); err != nil {
			return 0, err
		}
	}
	return last, nil
}
