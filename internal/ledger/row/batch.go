package row

import (
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Batch is a batch as rows: encoded by the caller's goroutine, so that the
// writer's, which everybody shares, has little left to do.
type Batch struct {
	Entries []Entry
	Touch   []plant.BankID
	Posts   []Post
	Firings []ledger.Firing
	Results []ledger.Result // one for each entry, filled in by the store
}

// Pack validates and encodes a batch.
func Pack(b ledger.Batch) (*Batch, error) {
	if err := b.Validate(); err != nil {
		return nil, err
	}
	p := &Batch{
		Entries: make([]Entry, len(b.Entries)), Results: make([]ledger.Result, len(b.Entries)),
		Touch: b.Touch, Firings: b.Firings,
	}
	for i, e := range b.Entries {
		r, err := FromEntry(e)
		if err != nil {
			return nil, err
		}
		p.Entries[i] = r
	}
	for _, post := range b.Posts {
		r, err := FromPost(post)
		if err != nil {
			return nil, err
		}
		p.Posts = append(p.Posts, r)
	}
	return p, nil
}

// Rows is the size of the batch.
func (b *Batch) Rows() int { return len(b.Entries) + len(b.Posts) + len(b.Firings) }

// Raise adds what the batch's new entries do to a transaction's tallies and to
// the heads of banks: the newest entry that concerns each. Results must be
// filled in.
func (b *Batch) Raise(tally map[entry.Kind]int64, heads map[plant.BankID]int64) {
	var last int64
	for i, r := range b.Results {
		if r.Duplicate {
			continue
		}
		tally[entry.Kind(b.Entries[i].Kind)]++
		if place := plant.BankID(b.Entries[i].Place); place.Whole() {
			heads[place] = r.Seq
		}
		last = r.Seq
	}
	if last == 0 {
		return
	}
	for _, bank := range b.Touch {
		heads[bank] = last
	}
}
