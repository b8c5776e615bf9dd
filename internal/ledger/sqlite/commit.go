package sqlite

import (
	"context"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

// Commit implements ledger.Store. Concurrent calls share transactions; each
// stands or falls alone.
func (s *Store) Commit(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	p, err := pack(b)
	if err != nil {
		return nil, err
	}
	if err := s.do(ctx, "commit", p.weight(), p.write); err != nil {
		return nil, err
	}
	return p.results, nil
}

// packed is a batch encoded for the tables: done by the caller's goroutine, so
// that the writer's has little left to do.
type packed struct {
	entries []row.Entry
	whole   []bool // the entry's place is a bank
	touch   []plant.BankID
	posts   []packedPost
	firings []ledger.Firing
	results []ledger.Result
}

type packedPost struct {
	row.Post
	waitsFor map[plant.BankID]int64
}

func pack(b ledger.Batch) (*packed, error) {
	if err := b.Validate(); err != nil {
		return nil, err
	}
	p := &packed{
		entries: make([]row.Entry, len(b.Entries)), whole: make([]bool, len(b.Entries)),
		touch: b.Touch, firings: b.Firings,
	}
	for i, e := range b.Entries {
		r, err := row.FromEntry(e)
		if err != nil {
			return nil, err
		}
		p.entries[i], p.whole[i] = r, e.Place.Whole()
	}
	for _, post := range b.Posts {
		r, err := row.FromPost(post)
		if err != nil {
			return nil, err
		}
		p.posts = append(p.posts, packedPost{r, post.WaitsFor})
	}
	return p, nil
}

func (p *packed) weight() int { return len(p.entries) + len(p.posts) + len(p.firings) }

// write puts the batch into a transaction. What the transaction keeps in memory
// is touched only at the end, when nothing can be refused any more.
func (p *packed) write(t *tx) error {
	if err := p.writeFirings(t); err != nil {
		return err
	}
	before, err := t.newest()
	if err != nil {
		return err
	}
	last, err := p.writeEntries(t, before)
	if err != nil {
		return err
	}
	for _, post := range p.posts {
		if err := post.write(t); err != nil {
			return err
		}
	}
	t.last = last
	p.raise(t, last > before)
	return nil
}

func (p *packed) writeFirings(t *tx) error {
	for _, f := range p.firings {
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
func (p *packed) writeEntries(t *tx, last int64) (int64, error) {
	p.results = make([]ledger.Result, len(p.entries))
	for i, e := range p.entries {
		n, err := t.exec(`INSERT INTO entry (seq, source, kind, place, at, received, reporter, line, body)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (source) DO NOTHING`,
			last+1, e.Source, e.Kind, e.Place, e.At, e.Received, e.By, e.Line, e.Body)
		if err != nil {
			return 0, err
		}
		if n == 1 {
			last++
			p.results[i] = ledger.Result{Seq: last}
			continue
		}
		p.results[i].Duplicate = true
		if err := t.row(`SELECT seq FROM entry WHERE source = ?`, []any{e.Source}, &p.results[i].Seq); err != nil {
			return 0, err
		}
	}
	return last, nil
}

// raise notes what the batch's new entries did to tallies and heads.
func (p *packed) raise(t *tx, grown bool) {
	for i, r := range p.results {
		if r.Duplicate {
			continue
		}
		t.tally[entry.Kind(p.entries[i].Kind)]++
		if p.whole[i] {
			t.heads[plant.BankID(p.entries[i].Place)] = r.Seq
		}
	}
	if !grown {
		return
	}
	for _, bank := range p.touch {
		t.heads[bank] = t.last
	}
}
