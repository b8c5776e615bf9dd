package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/register"
)

// fillBatch is how many entries are committed at a time.
const fillBatch = 2000

// Fill records a register and a history, and makes every projection. Sources
// that are known already are passed over.
func (a *App) Fill(ctx context.Context, c plant.Contents, history []entry.Entry, progress func(done, total int)) error {
	first := a.Now()
	for _, x := range history {
		if x.At.Before(first) {
			first = x.At
		}
	}
	whole := context.WithoutCancel(ctx) // register and history go in together or the ledger would stay half full
	if _, err := a.ApplyRegister(whole, c, "clogwise", "demo", first.Add(-time.Hour)); err != nil {
		return err
	}
	if _, _, err := a.Record(whole, history); err != nil {
		return err
	}
	_, err := a.View.Rebuild(ctx, a.Now(), progress)
	return err
}

// Unforecast reports whether some bank has no forecast, as after a fill that was
// interrupted.
func (a *App) Unforecast(ctx context.Context) (bool, error) {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return false, err
	}
	for _, id := range reg.Banks("") {
		if _, have, err := a.View.Assessment(ctx, id); err != nil || !have {
			return !have, err
		}
	}
	return false, nil
}

// ApplyRegister records the edits that turn the present register into c and
// returns how many there were.
func (a *App) ApplyRegister(ctx context.Context, c plant.Contents, by, source string, at time.Time) (int, error) {
	old, err := a.View.Register(ctx)
	if err != nil {
		return 0, err
	}
	head, err := a.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	edits := register.Diff(old, c)
	next := plant.NewRegister(c)
	var b ledger.Batch
	for i, e := range edits {
		place := plant.BankID(e.ID)
		if e.Object == register.ObjectItem {
			place = ""
		}
		b.Entries = append(b.Entries, entry.Entry{
			Source: fmt.Sprintf("register:%s:%d:%06d", source, head, i), Kind: entry.KindRegister, Place: place,
			At: at, Received: a.Now(), By: by, Body: e,
		})
		if e.Object == register.ObjectItem {
			b.Touch = append(b.Touch, next.Banks("")...)
		} else if !place.Whole() {
			b.Touch = append(b.Touch, next.Banks(place)...)
		}
	}
	slices.Sort(b.Touch)
	b.Touch = slices.Compact(b.Touch)
	_, err = a.Store.Commit(ctx, b)
	return len(edits), err
}

// Record commits entries in batches and returns how many were new and how many
// were known.
func (a *App) Record(ctx context.Context, entries []entry.Entry) (fresh, known int, err error) {
	for chunk := range slices.Chunk(entries, fillBatch) {
		res, err := a.Store.Commit(ctx, ledger.Batch{Entries: chunk})
		if err != nil {
			return fresh, known, err
		}
		for _, r := range res {
			if r.Duplicate {
				known++
			} else {
				fresh++
			}
		}
	}
	return fresh, known, nil
}
