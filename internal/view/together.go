package view

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/entry"
	"clogwise/internal/forecast"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Recomputed is what became of one bank.
type Recomputed struct {
	Assessment assess.Assessment
	Err        error
}

// RecomputeTogether brings the projections of several banks up to date, as
// Recompute does, and returns what became of each in order. What they have in
// common is read once, and of banks that were assessed lately only what is new.
func (v *View) RecomputeTogether(ctx context.Context, banks []plant.BankID, now time.Time) []Recomputed {
	out := make([]Recomputed, len(banks))
	r := recomputing{
		View: v, now: now, priors: map[plant.Stage]forecast.Prior{}, seasons: map[string]*forecast.Season{},
		bearing: map[plant.BankID][]entry.Entry{},
	}
	err := r.run(ctx, banks, out)
	for i := range out {
		if first := slices.Index(banks, banks[i]); first < i {
			out[i] = out[first]
			continue
		}
		out[i].Assessment.Bank = banks[i]
		out[i].Err = errors.Join(out[i].Err, err)
	}
	return out
}

// recomputing is a RecomputeTogether under way.
type recomputing struct {
	*View
	now     time.Time
	reg     *plant.Register
	head    int64 // of the ledger before anything was read
	edited  int64 // newest edit of the register
	priors  map[plant.Stage]forecast.Prior
	seasons map[string]*forecast.Season
	bearing map[plant.BankID][]entry.Entry // by AHU: what is new and may tell of the banks beside
}

// bankAtHand is one of the banks that are recomputed.
type bankAtHand struct {
	id    plant.BankID
	at    int                // place among those asked for
	known *kept              // what is remembered of it, or was read in the place of that
	prev  *assess.Assessment // its latest, to carry on from; nil: none
	fresh []entry.Entry      // what came since prev
}

func (r *recomputing) run(ctx context.Context, banks []plant.BankID, out []Recomputed) error {
	var err error
	if r.reg, r.edited, r.head, err = r.registerAtHead(ctx); err != nil {
		return err
	}
	all, err := r.gather(ctx, banks)
	if err != nil {
		return err
	}
	if err := r.assessAll(ctx, all, out); err != nil {
		return err
	}
	if err := r.besides(ctx, all); err != nil { // first: after a crash in between the banks still lag
		return err
	}
	return r.store(ctx, all, out)
}

// assessAll assesses the banks when it is their turn.
func (r *recomputing) assessAll(ctx context.Context, all []bankAtHand, out []Recomputed) error {
	if r.turns != nil {
		select {
		case r.turns <- struct{}{}:
			defer func() { <-r.turns }()
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
	for i := range all {
		a, err := r.assessOne(ctx, &all[i])
		out[all[i].at] = Recomputed{a, err}
	}
	return nil
}

// store writes the new projections at once.
func (r *recomputing) store(ctx context.Context, all []bankAtHand, out []Recomputed) error {
	var made []ledger.Projection
	for _, b := range all {
		if x := out[b.at]; x.Err == nil || errors.Is(x.Err, ErrNoBank) {
			p, err := projectionOf(x.Assessment)
			if err != nil {
				return err
			}
			made = append(made, p)
		}
	}
	if err := r.Store.PutProjections(ctx, made); err != nil {
		return err
	}
	for _, b := range all {
		if b.known != nil && out[b.at].Err == nil {
			b.known.last = out[b.at].Assessment
			r.memory.put(b.known)
		}
	}
	return nil
}

// readAtOnce is how many banks that are read on from about the same entry are read
// together.
const readAtOnce = 32

// gather finds what is known of each bank and reads what is not.
func (r *recomputing) gather(ctx context.Context, banks []plant.BankID) ([]bankAtHand, error) {
	var all []bankAtHand
	var unknown []plant.BankID
	for i, id := range banks {
		if slices.Contains(banks[:i], id) {
			continue
		}
		b := bankAtHand{id: id, at: i, known: r.memory.take(id)}
		if b.known != nil && b.known.edited == r.edited {
			b.prev = &b.known.last
		} else {
			b.known = nil
			unknown = append(unknown, id)
		}
		all = append(all, b)
	}
	prevs, err := r.previousOf(ctx, unknown)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if b := &all[i]; b.known == nil {
			b.prev = prevs[b.id]
			b.known = r.toRead(b.id, b.prev)
		}
	}
	return all, r.readUp(ctx, all)
}

// previousOf are the projections of banks to carry on from.
func (r *recomputing) previousOf(ctx context.Context, banks []plant.BankID) (map[plant.BankID]*assess.Assessment, error) {
	if len(banks) == 0 {
		return nil, nil
	}
	ps, err := r.Store.ProjectionsOf(ctx, banks)
	if err != nil {
		return nil, err
	}
	out := make(map[plant.BankID]*assess.Assessment, len(ps))
	for _, p := range ps {
		var a assess.Assessment
		if json.Unmarshal(p.Data, &a) == nil { // else of another version: it is made anew
			out[p.Bank] = &a
		}
	}
	return out, nil
}

// toRead stands for a bank of which nothing is remembered: it is to be read from
// its present life on where that may do, else whole.
func (r *recomputing) toRead(bank plant.BankID, prev *assess.Assessment) *kept {
	k := &kept{bank: bank, edited: r.edited}
	if carries(prev, r.edited) {
		k.after = prev.LifeSeq - 1
		k.upTo = k.after
	}
	return k
}

// carries reports whether an assessment can be carried on from, as far as it and
// the newest edit of the register tell.
func carries(prev *assess.Assessment, edited int64) bool {
	return prev != nil && prev.LifeSeq > 0 && edited <= prev.UpTo
}

// readUp reads what came since the banks were read, which for those of which nothing
// is remembered is all.
func (r *recomputing) readUp(ctx context.Context, all []bankAtHand) error {
	news, err := r.tail.news(ctx, r, all)
	if err != nil {
		return err
	}
	var behind []*bankAtHand // the tail
	for i := range all {
		b := &all[i]
		if of, ok := news[b.id]; ok {
			b.told(of)
		} else {
			behind = append(behind, b)
		}
	}
	slices.SortFunc(behind, func(a, b *bankAtHand) int { return cmp.Compare(a.known.upTo, b.known.upTo) })
	for some := range slices.Chunk(behind, readAtOnce) {
		ids := make([]plant.BankID, len(some))
		for i, b := range some {
			ids[i] = b.id
		}
		of, err := r.entriesOf(ctx, ids, some[0].known.upTo)
		if err != nil {
			return err
		}
		for _, b := range some {
			b.told(slices.DeleteFunc(of[b.id], func(x entry.Entry) bool { return x.Seq <= b.known.upTo }))
		}
	}
	return nil
}

// told takes in what was read of a bank.
func (b *bankAtHand) told(read []entry.Entry) {
	if b.known.entries != nil || b.prev == nil {
		b.fresh = read
		return
	}
	for _, x := range read {
		if x.Seq <= b.prev.UpTo {
			b.known.entries = append(b.known.entries, x)
		} else {
			b.fresh = append(b.fresh, x)
		}
	}
}

// assessOne assesses a bank; what it read is what is known of the bank from now on.
func (r *recomputing) assessOne(ctx context.Context, b *bankAtHand) (assess.Assessment, error) {
	bank, ok := r.reg.Bank(b.id)
	if !ok {
		b.known = nil
		return assess.Assessment{Bank: b.id, UpTo: r.head, Now: r.now}, ErrNoBank
	}
	in := assess.Input{Register: r.reg, Bank: b.id, Now: r.now}
	var err error
	if in.Prior, err = r.priorOf(ctx, bank.Stage); err != nil {
		return assess.Assessment{}, err
	}
	if in.Season, err = r.seasonOf(ctx, b.id.Site()); err != nil {
		return assess.Assessment{}, err
	}
	after, err := r.readOn(ctx, b, &in)
	if err != nil {
		return assess.Assessment{}, err
	}
	carried := in.Carried
	a, err := r.conclude(ctx, &in)
	if err != nil {
		return a, err
	}
	if carried != nil && in.Carried == nil {
		after = 0 // the life before was needed after all
	}
	a.UpTo = max(a.UpTo, r.head)
	r.bear(b, in.Entries)
	b.known = r.remember(b.id, in.Entries, after)
	return a, nil
}

// bear notes what is new of a bank and may tell of the banks beside it.
func (r *recomputing) bear(b *bankAtHand, read []entry.Entry) {
	before := int64(0)
	if b.prev != nil {
		before = b.prev.UpTo
	}
	if len(r.reg.Banks(b.id.AHU())) < 2 {
		return
	}
	for _, x := range read {
		if x.Seq > before && x.Place == b.id && (x.Kind == entry.KindReading || slices.Contains(changeKinds, x.Kind)) {
			r.bearing[b.id.AHU()] = append(r.bearing[b.id.AHU()], x)
		}
	}
}

// readOn fills in the entries of a bank: what is at hand if that is enough, else the
// whole from the ledger. They are all those after the Seq returned.
func (r *recomputing) readOn(ctx context.Context, b *bankAtHand, in *assess.Input) (after int64, err error) {
	k := b.known
	carry := carries(b.prev, r.edited) && k.after < b.prev.LifeSeq && assess.CanCarry(*b.prev, b.fresh)
	if !carry && k.after > 0 {
		return 0, r.read(ctx, in, 0)
	}
	in.Entries, after = append(k.entries, b.fresh...), k.after
	if carry {
		in.Carried, after = b.prev, b.prev.LifeSeq-1
		in.Entries = slices.DeleteFunc(in.Entries, func(x entry.Entry) bool { return x.Seq <= after })
	}
	return after, nil
}

// remember is what to keep of a bank, without what no assessment looks at. Entries
// that came after the head was looked at are read again: others below them may not
// have been there yet.
func (r *recomputing) remember(bank plant.BankID, entries []entry.Entry, after int64) *kept {
	entries = slices.DeleteFunc(entries, func(x entry.Entry) bool { return x.Seq > r.head })
	for i := range entries {
		x := &entries[i]
		if x.Source == "" {
			continue // seen to before
		}
		x.Source, x.Line = "", ""
		if x.Place == bank {
			x.Place = bank // one string for all
		}
	}
	return &kept{bank: bank, edited: r.edited, after: after, upTo: r.head, entries: entries}
}

func (r *recomputing) priorOf(ctx context.Context, s plant.Stage) (forecast.Prior, error) {
	p, ok := r.priors[s]
	if ok {
		return p, nil
	}
	p, err := r.Prior(ctx, s)
	if err == nil {
		r.priors[s] = p
	}
	return p, err
}

func (r *recomputing) seasonOf(ctx context.Context, site string) (*forecast.Season, error) {
	s, ok := r.seasons[site]
	if ok {
		return s, nil
	}
	s, err := r.season(ctx, site)
	if err == nil {
		r.seasons[site] = s
	}
	return s, err
}

// besides brings up to date the banks beside those at hand whose odd readings what
// is new bears on. Those at hand have seen it.
func (r *recomputing) besides(ctx context.Context, all []bankAtHand) error {
	var beside []plant.BankID
	for ahu := range r.bearing {
		for _, id := range r.reg.Banks(ahu) {
			if !slices.ContainsFunc(all, func(b bankAtHand) bool { return b.id == id }) {
				beside = append(beside, id)
			}
		}
	}
	if len(beside) == 0 {
		return nil
	}
	ps, err := r.Store.ProjectionsOf(ctx, beside)
	if err != nil {
		return err
	}
	for _, p := range ps {
		var prev assess.Assessment
		if !bytes.Contains(p.Data, []byte(`"odd":[`)) || json.Unmarshal(p.Data, &prev) != nil {
			continue // of another version: it is made anew in its own time
		}
		if !slices.ContainsFunc(r.bearing[p.Bank.AHU()], func(x entry.Entry) bool { return bearsOn(x, prev.Odd) }) {
			continue
		}
		a, err := r.assess(ctx, p.Bank, r.now, &prev)
		if err != nil {
			return err
		}
		if err := r.put(ctx, a); err != nil {
			return err
		}
	}
	return nil
}
