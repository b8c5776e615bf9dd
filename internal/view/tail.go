package view

import (
	"context"
	"slices"
	"sort"
	"sync"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// tail keeps the newest entries of the ledger. Banks that are recomputed again and
// again find there what is new of them: entries are read once, in the order of the
// ledger, where asking for those of a bank looks up each by itself.
type tail struct {
	mu     sync.Mutex
	room   int   // for so many entries
	edited int64 // newest edit of the register when they were read
	upTo   int64
	halves [2]half // the older and the newer; when that is full, the older is let go of
	use    float64 // share of what was read last that bears on banks
}

// half is a run of entries.
type half struct {
	after int64 // they have a Seq above this
	n     int
	at    map[plant.BankID][]entry.Entry // in order
}

// leastBehind is how many entries are read for each bank that asks even where few of
// them bear on banks. Where all do, each is wanted sooner or later.
const leastBehind = 8

// news are the entries that bear on banks since they were read, for those of them
// that the tail reaches back to.
func (t *tail) news(ctx context.Context, r *recomputing, all []bankAtHand) (map[plant.BankID][]entry.Entry, error) {
	if t.room == 0 {
		return nil, nil
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.reach(ctx, r, len(all)); err != nil {
		return nil, err
	}
	of := map[plant.BankID][]entry.Entry{}
	for _, b := range all {
		if b.known.upTo >= t.halves[0].after {
			of[b.id] = slices.Concat(t.since(b.id, b.known.upTo), t.since(b.id.AHU(), b.known.upTo),
				t.since(plant.BankID(b.id.Site()), b.known.upTo))
		}
	}
	return of, nil
}

// reach reads on to the head of the ledger. When it is too far for the banks that
// ask, the tail begins there anew.
func (t *tail) reach(ctx context.Context, r *recomputing, banks int) error {
	behind := r.head - t.upTo // numbers have no gaps
	if behind <= 0 && t.edited == r.edited {
		return nil
	}
	most := max(leastBehind*banks, int(t.use*float64(t.room/4)))
	if t.edited != r.edited || behind > int64(most) {
		t.begin(max(r.head, t.upTo), r.edited)
		return nil
	}
	read, err := r.Store.Entries(ctx, ledger.Filter{AfterSeq: t.upTo})
	if err != nil || len(read) == 0 {
		return err
	}
	used := t.halves[1].n
	for _, x := range read {
		t.keep(x)
	}
	t.use = float64(t.halves[1].n-used) / float64(len(read))
	t.upTo = read[len(read)-1].Seq
	if t.halves[1].n > t.room/2 {
		t.halves[0], t.halves[1] = t.halves[1], newHalf(t.upTo)
	}
	return nil
}

// keep keeps an entry, if it bears on banks.
func (t *tail) keep(x entry.Entry) {
	if x.Place.Whole() && x.Kind != entry.KindSample || slices.Contains(assess.WiderKinds, x.Kind) {
		h := &t.halves[1]
		h.at[x.Place] = append(h.at[x.Place], x)
		h.n++
	}
}

// since are the kept entries of a place after a Seq.
func (t *tail) since(place plant.BankID, seq int64) []entry.Entry {
	var out []entry.Entry
	for _, h := range t.halves {
		at := h.at[place]
		out = append(out, at[sort.Search(len(at), func(i int) bool { return at[i].Seq > seq }):]...)
	}
	return out
}

func (t *tail) begin(after, edited int64) {
	t.upTo, t.edited, t.use = after, edited, 1
	t.halves = [2]half{newHalf(after), newHalf(after)}
}

func newHalf(after int64) half { return half{after: after, at: map[plant.BankID][]entry.Entry{}} }
