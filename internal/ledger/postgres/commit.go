package postgres

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/group"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

type (
	batch = row.Batch
	job   = group.Job[*batch]
)

// Commit implements ledger.Store. Concurrent calls in this process share
// transactions; each stands or falls alone. Processes take turns.
func (s *Store) Commit(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	p, err := row.Pack(b)
	if err != nil {
		return nil, err
	}
	if err := s.writer.Do(ctx, "commit", p.Rows(), p); err != nil {
		return nil, err
	}
	return p.Results, nil
}

// commit writes a group. Should the server refuse what one of them says, each
// is tried alone: the others must not suffer.
func (s *Store) commit(jobs []*job) {
	err := s.transact(jobs)
	if errors.Is(err, ledger.ErrInvalid) && len(jobs) > 1 {
		for _, j := range jobs {
			s.commit([]*job{j})
		}
		return
	}
	for _, j := range jobs {
		if err != nil {
			j.Err = err
		}
	}
}

func (s *Store) transact(jobs []*job) error {
	ctx, cancel := context.WithTimeout(context.Background(), s.opts.Timeout)
	defer cancel()
	tx, err := s.pool.Begin(ctx)
	if err != nil {
		return unwritten(err)
	}
	if err := s.write(ctx, tx, jobs); err != nil {
		_ = tx.Rollback(context.Background()) // the connection is dropped when this fails, and with it the transaction
		return unwritten(err)
	}
	if s.opts.BeforeCommit != nil {
		s.opts.BeforeCommit(len(jobs))
	}
	if err := tx.Commit(ctx); err != nil {
		if open(err) {
			return fmt.Errorf("%w: %w", ledger.ErrUncertain, err)
		}
		return unwritten(err)
	}
	return nil
}

// unwritten is the error of a transaction that certainly was not committed. Its
// own time limit is not the caller's, and is not told as such.
func unwritten(err error) error { return mapped(context.Background(), "commit", err) }

// write does all but the commit, in four exchanges with the server whatever the
// number of batches.
func (s *Store) write(ctx context.Context, tx pgx.Tx, jobs []*job) error {
	a := appending{tally: map[entry.Kind]int64{}, heads: map[plant.BankID]int64{}}
	// From here to the end of the transaction nobody else appends or fires.
	if err := tx.QueryRow(ctx, `SELECT last FROM sequence FOR UPDATE`).Scan(&a.last); err != nil {
		return err
	}
	standing, err := refuseFired(ctx, tx, jobs)
	if err != nil {
		return err
	}
	if a.known, err = knownSources(ctx, tx, standing); err != nil {
		return err
	}
	for _, b := range standing {
		a.add(b)
	}
	return a.send(ctx, tx)
}

// refuseFired sets ErrFired on the batches whose firing is there, from before or
// from an earlier batch of the group, and returns the others.
func refuseFired(ctx context.Context, tx pgx.Tx, jobs []*job) ([]*batch, error) {
	var all firings
	for _, j := range jobs {
		all.add(j.Payload.Firings...)
	}
	fired, err := all.recorded(ctx, tx)
	if err != nil {
		return nil, err
	}
	var standing []*batch
	for _, j := range jobs {
		j.Err = nil
		if slices.ContainsFunc(j.Payload.Firings, func(f ledger.Firing) bool { return fired[identity(f)] }) {
			j.Err = ledger.ErrFired
			continue
		}
		for _, f := range j.Payload.Firings {
			fired[identity(f)] = true
		}
		standing = append(standing, j.Payload)
	}
	return standing, nil
}

// knownSources finds which of the batches' sources are in the ledger.
func knownSources(ctx context.Context, tx pgx.Tx, bs []*batch) (map[string]int64, error) {
	var sources []string
	for _, b := range bs {
		for _, e := range b.Entries {
			sources = append(sources, e.Source)
		}
	}
	known := make(map[string]int64, len(sources))
	if len(sources) == 0 {
		return known, nil
	}
	rows, err := tx.Query(ctx, `SELECT source, seq FROM entry WHERE source = ANY ($1)`, sources)
	if err != nil {
		return nil, err
	}
	var source string
	var seq int64
	_, err = pgx.ForEachRow(rows, []any{&source, &seq}, func() error {
		known[source] = seq
		return nil
	})
	return known, err
}

// appending gathers a group's rows as columns.
type appending struct {
	last  int64
	known map[string]int64 // sources, those of this group included

	seqs                                      []int64
	sources, kinds, places, bys, lines, texts []string
	ats, receiveds                            []int64
	posts                                     []row.Post
	firings                                   firings
	tally                                     map[entry.Kind]int64
	heads                                     map[plant.BankID]int64
}

func (a *appending) add(b *batch) {
	for i, e := range b.Entries {
		if seq, ok := a.known[e.Source]; ok {
			b.Results[i] = ledger.Result{Seq: seq, Duplicate: true}
			continue
		}
		a.last++
		a.known[e.Source] = a.last
		b.Results[i] = ledger.Result{Seq: a.last}
		a.seqs = append(a.seqs, a.last)
		a.sources, a.kinds, a.places = append(a.sources, e.Source), append(a.kinds, e.Kind), append(a.places, e.Place)
		a.ats, a.receiveds = append(a.ats, e.At), append(a.receiveds, e.Received)
		a.bys, a.lines, a.texts = append(a.bys, e.By), append(a.lines, e.Line), append(a.texts, e.Body)
	}
	a.posts = append(a.posts, b.Posts...)
	a.firings.add(b.Firings...)
	b.Raise(a.tally, a.heads)
}

// send writes everything in one exchange.
func (a *appending) send(ctx context.Context, tx pgx.Tx) error {
	var q pgx.Batch
	if len(a.seqs) > 0 {
		q.Queue(`INSERT INTO entry (seq, source, kind, place, at, received, reporter, line, body)
			SELECT * FROM unnest($1::bigint[], $2::text[], $3::text[], $4::text[], $5::bigint[], $6::bigint[], $7::text[], $8::text[], $9::text[])`,
			a.seqs, a.sources, a.kinds, a.places, a.ats, a.receiveds, a.bys, a.lines, a.texts)
		q.Queue(`UPDATE sequence SET last = $1`, a.last)
	}
	a.queueHeads(&q)
	a.queueTally(&q)
	a.firings.queue(&q)
	for _, p := range a.posts {
		queuePost(&q, p)
	}
	return tx.SendBatch(ctx, &q).Close()
}

// queueHeads raises the banks' heads, in the order of their ids, so that no two
// transactions wait for each other.
func (a *appending) queueHeads(q *pgx.Batch) {
	if len(a.heads) == 0 {
		return
	}
	banks := slices.Sorted(maps.Keys(a.heads))
	seqs := make([]int64, len(banks))
	for i, b := range banks {
		seqs[i] = a.heads[b]
	}
	q.Queue(`INSERT INTO head (bank, head, done, since)
		SELECT bank, seq, 0, seq FROM unnest($1::text[], $2::bigint[]) AS t (bank, seq) ORDER BY bank
		ON CONFLICT (bank) DO UPDATE SET head = excluded.head,
			since = CASE WHEN head.head > head.done THEN head.since ELSE excluded.since END
		WHERE head.head < excluded.head`, banks, seqs)
}

func (a *appending) queueTally(q *pgx.Batch) {
	for _, kind := range slices.Sorted(maps.Keys(a.tally)) {
		q.Queue(`INSERT INTO tally (kind, count) VALUES ($1, $2)
			ON CONFLICT (kind) DO UPDATE SET count = tally.count + excluded.count`, string(kind), a.tally[kind])
	}
}

// queuePost puts a post into the outbox unless its key is known.
func queuePost(q *pgx.Batch, p row.Post) {
	var banks []string
	if p.State == string(ledger.PostWaiting) {
		for bank := range p.WaitsFor {
			banks = append(banks, string(bank))
		}
	}
	q.Queue(`WITH put AS (
			INSERT INTO post (`+postColumns+`)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)
			ON CONFLICT (key) DO NOTHING RETURNING id)
		INSERT INTO post_wait (bank, post) SELECT bank, id FROM put, unnest($19::text[]) AS t (bank)`,
		p.Key, p.Site, p.State, p.Platform, p.Channel, p.Thread, p.Post, p.Files, p.Rendered, p.Recipe, p.Waits,
		p.Created, p.NotBefore, p.LeaseUntil, p.Attempts, p.LastError, p.PostID, p.Uncertain, banks)
}
