package app

import (
	"context"
	"fmt"
	"io"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledgerfile"
)

// ExportLedger writes every entry in the form that a file's name asks for.
func (a *App) ExportLedger(ctx context.Context, name string, w io.Writer) (n int, err error) {
	out, err := ledgerfile.NewWriter(name, w)
	if err != nil {
		return 0, err
	}
	for after := int64(0); ; {
		batch, err := a.Store.Entries(ctx, ledger.Filter{AfterSeq: after, Limit: fillBatch})
		if err != nil {
			return n, err
		}
		if len(batch) == 0 {
			return n, out.Close()
		}
		for _, e := range batch {
			if err := out.Add(e); err != nil {
				return n, err
			}
			n++
		}
		after = batch[len(batch)-1].Seq
	}
}

// ImportLedger records the entries of an exported ledger as they were, with
// their numbers, which amendments and retractions refer to. It goes into an
// empty ledger, or goes on with an import of the same file that broke off. The
// trial, without save, only looks.
func (a *App) ImportLedger(ctx context.Context, name string, r io.Reader, save bool) (n int, err error) {
	head, err := a.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	in := &ledgerImport{app: a, ctx: ctx, head: head, save: save}
	if err := ledgerfile.Read(name, r, in.add); err != nil {
		return in.n, err
	}
	return in.n, in.flush()
}

type ledgerImport struct {
	app   *App
	ctx   context.Context //nolint:containedctx // of one call of ImportLedger
	head  int64           // of the ledger before
	save  bool
	n     int // entries read
	batch []entry.Entry
}

func (in *ledgerImport) add(e entry.Entry) error {
	in.n++
	if e.Seq != int64(in.n) {
		return fmt.Errorf("entry %d stands where %d is due: the file is not a whole ledger in its order", e.Seq, in.n)
	}
	if err := (ledger.Batch{Entries: []entry.Entry{e}}).Validate(); err != nil {
		return err
	}
	if e.Seq <= in.head {
		was, err := in.app.Store.Entry(in.ctx, e.Seq)
		if err != nil {
			return err
		}
		if was.Source != e.Source {
			return fmt.Errorf("entry %d of this ledger is another (%.60q, not %.60q): a ledger is brought back into an empty one; give --data a new folder", e.Seq, was.Source, e.Source)
		}
		return nil
	}
	in.batch = append(in.batch, e)
	if len(in.batch) == fillBatch {
		return in.flush()
	}
	return nil
}

func (in *ledgerImport) flush() error {
	if !in.save || len(in.batch) == 0 {
		in.batch = in.batch[:0]
		return nil
	}
	done, err := in.app.Store.Commit(in.ctx, ledger.Batch{Entries: in.batch})
	if err != nil {
		return err
	}
	for i, d := range done {
		if d.Seq != in.batch[i].Seq {
			return fmt.Errorf("entry %d became %d: something else writes to this ledger, or the file tells one thing twice", in.batch[i].Seq, d.Seq)
		}
	}
	in.batch = in.batch[:0]
	return nil
}
