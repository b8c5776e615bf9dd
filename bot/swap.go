package bot

import (
	"context"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
)

// completesWithin is how long after a change-out was reported a second report of
// the same bank is taken for the particulars that the first one lacked.
const completesWithin = 48 * time.Hour

// swap records a change-out, or completes one that still lacks particulars.
func (d *draft) swap(ctx context.Context, it phrase.Item, body entry.Swap) error {
	swaps, err := d.standing(ctx, it.Place, entry.KindSwap)
	if err != nil {
		return err
	}
	if len(swaps) > 0 {
		last := swaps[len(swaps)-1]
		merged, adds := complete(last.Body, body)
		switch {
		case it.CorrectsLast:
			merged = corrected(last.Body, body)
			d.amend(last, it, merged)
			d.lacks(it.Place, stillLacks(it.Unstated, merged))
			return nil
		case adds && d.freshly(last, it):
			d.amend(last, it, merged)
			d.lacks(it.Place, stillLacks(it.Unstated, merged))
			return nil
		}
	}
	d.put(it.Place, it, body)
	d.lacks(it.Place, it.Unstated)
	return nil
}

// openLife records a change-out that nobody put in words.
func (d *draft) openLife(bank plant.BankID, it phrase.Item, body entry.Swap) {
	d.put(bank, it, body)
	d.lacks(bank, stillLacks([]string{"count", "clean_pa"}, body))
}

// freshly reports whether a change-out was reported shortly before an item.
func (d *draft) freshly(last entry.Entry, it phrase.Item) bool {
	return !it.At.Before(last.At) && it.At.Sub(last.At) <= completesWithin ||
		d.engine.Now().Sub(last.Received) <= completesWithin && !it.At.Before(last.At)
}

// complete adds to an unconfirmed change-out what it lacked. Adds is false when
// it lacked nothing, or when the two contradict each other: then they are two
// change-outs.
func complete(old entry.Body, said entry.Swap) (merged entry.Swap, adds bool) {
	merged, ok := old.(entry.Swap)
	if !ok || merged.Confirmed {
		return merged, false
	}
	agree := true
	fillIn(&merged.Count, said.Count, &adds, &agree)
	fillIn(&merged.CleanPa, said.CleanPa, &adds, &agree)
	fillIn(&merged.BeforePa, said.BeforePa, &adds, &agree)
	fillIn(&merged.FlowM3s, said.FlowM3s, &adds, &agree)
	fillIn(&merged.FanHz, said.FanHz, &adds, &agree)
	fillIn(&merged.FanPct, said.FanPct, &adds, &agree)
	if said.Item != "" && merged.Item != said.Item {
		adds, agree, merged.Item = true, agree && merged.Item == "", said.Item
	}
	if merged.Who == "" {
		merged.Who = said.Who
	}
	merged.Confirmed = merged.Count != nil && merged.CleanPa != nil
	return merged, adds && agree
}

// fillIn takes over a particular that is missing.
func fillIn[T comparable](into **T, said *T, adds, agree *bool) {
	switch {
	case said == nil:
	case *into == nil:
		*into, *adds = said, true
	case **into != *said:
		*agree = false
	}
}

// corrected is a change-out as put right: what the correction says, and what it
// leaves out as it was.
func corrected(old entry.Body, said entry.Swap) entry.Swap {
	was, _ := old.(entry.Swap)
	said.Count = either(said.Count, was.Count)
	said.CleanPa = either(said.CleanPa, was.CleanPa)
	said.BeforePa = either(said.BeforePa, was.BeforePa)
	if said.FlowM3s == nil && said.FanHz == nil && said.FanPct == nil {
		said.FlowM3s, said.FanHz, said.FanPct = was.FlowM3s, was.FanHz, was.FanPct
	}
	if said.Item == "" {
		said.Item = was.Item
	}
	if said.Who == "" {
		said.Who = was.Who
	}
	said.Confirmed = said.Count != nil && said.CleanPa != nil
	said.Sure = was.Sure
	return said
}

func either[T any](a, b *T) *T {
	if a != nil {
		return a
	}
	return b
}

// stillLacks drops from what is asked for the particulars that are known by now.
func stillLacks(asked []string, s entry.Swap) []string {
	return slices.DeleteFunc(slices.Clone(asked), func(what string) bool {
		switch what {
		case "count":
			return s.Count != nil
		case "clean_pa":
			return s.CleanPa != nil
		case "fan":
			return s.FanHz != nil || s.FanPct != nil || s.FlowM3s != nil
		}
		return false
	})
}
