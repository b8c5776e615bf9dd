package bot

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// draft turns the items of one message into entries. Source keys end in the
// item's index, so that a resend meets the same keys.
type draft struct {
	engine *Engine
	talk   *talk
	key    string
	line   string
	own    []entry.Entry // what the message recorded before it was edited

	items    []phrase.Item
	entries  []entry.Entry
	unstated map[plant.BankID][]string // what change-outs lack
	old      []entry.Entry             // what amendments take the place of
	notes    []string
}

func (d *draft) add(ctx context.Context, items []phrase.Item) error {
	d.items = items
	for _, it := range items {
		if err := d.item(ctx, it); err != nil {
			return err
		}
	}
	return nil
}

func (d *draft) item(ctx context.Context, it phrase.Item) error {
	switch body := it.Body.(type) {
	case entry.JobDone:
		return d.jobDone(ctx, it, body)
	case entry.JobStart:
		for _, bank := range d.banksFor(it.Place, entry.KindJobStart) {
			j, open := d.talk.openJob(bank)
			if open && !j.Begun.IsZero() && len(d.own) == 0 { // begun once is enough
				d.notes = append(d.notes, say.BegunAlready(say.At(d.talk.siteOf(bank), d.engine.Now()), d.talk.reg.Name(bank), j.Begun))
				continue
			}
			d.put(bank, it, body)
		}
		return nil
	case entry.Booking:
		body.Crew = spelled(d.talk.siteOf(it.Place), body.Crew)
		line := cmp.Or(it.Line, d.line)
		for _, bank := range d.talk.reg.Banks(it.Place) {
			d.put(bank, it, d.talk.moved(bank, line, body))
		}
		return nil
	case entry.Swap:
		return d.swap(ctx, it, body)
	case entry.Reading:
		if it.CorrectsLast {
			return d.correction(ctx, it, body)
		}
	}
	d.put(it.Place, it, it.Body)
	return nil
}

func (d *draft) put(place plant.BankID, it phrase.Item, body entry.Body) {
	line := it.Line
	if line == "" {
		line = d.line
	}
	d.entries = append(d.entries, entry.Entry{
		Source: fmt.Sprintf("%s:%03d", d.key, len(d.entries)), Kind: body.Kind(), Place: place,
		At: it.At, Received: d.engine.Now(), By: d.talk.who, Line: line, Body: body,
	})
}

// amend records the body in place of what an earlier entry said.
func (d *draft) amend(target entry.Entry, it phrase.Item, body entry.Body) {
	it.At = target.At
	d.old = append(d.old, target)
	d.put(target.Place, it, entry.Amend{Target: target.Seq, Body: body})
}

// lacks notes what is asked for about a change-out.
func (d *draft) lacks(bank plant.BankID, what []string) {
	if len(what) == 0 {
		return
	}
	if d.unstated == nil {
		d.unstated = map[plant.BankID][]string{}
	}
	d.unstated[bank] = what
}

// banksFor lists the banks that a start or an end of work at a place is about:
// those it was recorded for before an edit, else those with an open job, else all.
func (d *draft) banksFor(place plant.BankID, k entry.Kind) []plant.BankID {
	banks := d.talk.reg.Banks(place)
	var before, open []plant.BankID
	for _, b := range banks {
		if slices.ContainsFunc(d.own, func(x entry.Entry) bool { return x.Place == b && x.Kind == k }) {
			before = append(before, b)
		}
		if slices.Contains(d.talk.scope.Booked, b) {
			open = append(open, b)
		}
	}
	switch {
	case len(before) > 0:
		return before
	case len(open) > 0:
		return open
	}
	return banks
}

// jobDone closes the open jobs at a place. Where one bank was worked on whose
// change-out nobody has reported since the job began, it gets one, still lacking
// its count; a clean reading belongs to it. Of several, which were changed is asked.
func (d *draft) jobDone(ctx context.Context, it phrase.Item, body entry.JobDone) error {
	if c := d.talk.changed; c != nil {
		return d.endedWith(ctx, it, body, *c)
	}
	banks := d.banksFor(it.Place, entry.KindJobDone)
	if len(banks) > 1 {
		body.CleanPa = nil
	}
	for _, bank := range banks {
		d.put(bank, it, body)
		if d.reportsSwap(bank) {
			continue
		}
		since, open := d.workSince(bank)
		if !open || len(banks) > 1 {
			continue
		}
		swaps, err := d.standing(ctx, bank, entry.KindSwap)
		if err != nil {
			return err
		}
		if len(swaps) == 0 || swaps[len(swaps)-1].At.Before(since.Since) {
			d.openLife(bank, it, entry.Swap{CleanPa: body.CleanPa, FanHz: body.FanHz, Who: d.talk.who})
			continue
		}
		last := swaps[len(swaps)-1]
		said := entry.Swap{CleanPa: body.CleanPa, FanHz: body.FanHz}
		if merged, adds := complete(last.Body, said); adds {
			d.amend(last, it, merged)
		}
	}
	return nil
}

// workSince is the job that an end of work closes: an open one, or the one that
// the same message closed before it was edited.
func (d *draft) workSince(bank plant.BankID) (digest.Job, bool) {
	for _, j := range d.talk.jobs {
		if j.Bank == bank {
			return j, true
		}
	}
	for _, x := range d.own {
		if x.Place == bank && x.Kind == entry.KindSwap {
			return digest.Job{Bank: bank, Since: x.At}, true
		}
	}
	return digest.Job{}, false
}

// reportsSwap reports whether the message itself tells of a bank's change-out.
func (d *draft) reportsSwap(bank plant.BankID) bool {
	return slices.ContainsFunc(d.items, func(it phrase.Item) bool {
		_, swap := it.Body.(entry.Swap)
		return swap && it.Place == bank
	})
}

// standingOf bounds how far back the entries of a bank are looked through.
const standingOf = 200

// standing lists the newest standing entries of a kind at a place, by time,
// without those of the message itself.
func (d *draft) standing(ctx context.Context, place plant.BankID, k entry.Kind) ([]entry.Entry, error) {
	all, err := d.engine.standing(ctx, place, k, d.own...)
	return slices.DeleteFunc(all, func(x entry.Entry) bool {
		return x.Kind != k || slices.ContainsFunc(d.own, func(o entry.Entry) bool { return o.Seq == x.Seq })
	}), err
}
