package view

import (
	"context"
	"slices"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/doubt"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
)

// conclude assesses a bank from what has been read of it. Only when a reading is
// far off does it look at the banks beside, around that reading; and only when a
// change-out comes into doubt does it read the life before. What it read beyond
// stays in the input.
func (v *View) conclude(ctx context.Context, in *assess.Input) (assess.Assessment, error) {
	a, ok := assess.Next(*in)
	if !ok {
		in.Carried = nil
		if err := v.read(ctx, in, 0); err != nil {
			return a, err
		}
		a = assess.Bank(*in)
	}
	var known []time.Time
	for beyond(a.Odd, known) && len(in.Register.Banks(in.Bank.AHU())) > 1 {
		known = append(known, a.Odd...)
		var err error
		if in.Beside, err = v.beside(ctx, in, known); err != nil {
			return a, err
		}
		a, _ = assess.Next(*in) // the doubts of a change-out are its own
	}
	return a, nil
}

// beyond reports whether there are times among odd that are not known.
func beyond(odd, known []time.Time) bool {
	return slices.ContainsFunc(odd, func(t time.Time) bool { return !slices.ContainsFunc(known, t.Equal) })
}

// beside reads what the other banks of an AHU showed around some times.
func (v *View) beside(ctx context.Context, in *assess.Input, around []time.Time) ([]doubt.Sibling, error) {
	from := slices.MinFunc(around, time.Time.Compare).Add(-doubt.SiblingsWithin)
	to := slices.MaxFunc(around, time.Time.Compare).Add(doubt.SiblingsWithin)
	var all []entry.Entry
	for _, id := range in.Register.Banks(in.Bank.AHU()) {
		if id == in.Bank {
			continue
		}
		readings, err := v.Store.Entries(ctx, ledger.Filter{Place: id, Exact: true, Kinds: []entry.Kind{entry.KindReading}, From: from, To: to})
		if err != nil {
			return nil, err
		}
		if len(readings) == 0 {
			continue
		}
		changes, err := v.Store.Entries(ctx, ledger.Filter{Place: id, Exact: true, Kinds: changeKinds, AfterSeq: readings[0].Seq})
		if err != nil {
			return nil, err
		}
		all = append(append(all, readings...), changes...)
	}
	return assess.Beside(in.Register, in.Bank, all), nil
}

// changeKinds alter what earlier entries said.
var changeKinds = []entry.Kind{entry.KindAmend, entry.KindRetract}

// bearsOn reports whether an entry of one bank may alter what is made of odd
// readings of another. Of a change to an earlier entry that is not looked up.
func bearsOn(x entry.Entry, odd []time.Time) bool {
	return x.Kind != entry.KindReading || slices.ContainsFunc(odd, func(t time.Time) bool { return x.At.Sub(t).Abs() < doubt.SiblingsWithin })
}
