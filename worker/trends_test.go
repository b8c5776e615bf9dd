package worker_test

import (
	"fmt"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
	"clogwise/worker"
)

// A trend gives one reading for each day that is over, once, with how many
// values it stands for; the values themselves stay in the ledger.
func TestTrendsGiveOneReadingADay(t *testing.T) {
	r := newRig(t)
	posts := worker.Posts{View: r.view, Store: r.store, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs, s.Always = posts.Jobs(), nil
	r.clock.set(time.Date(2026, 3, 3, 0, 10, 0, 0, time.UTC))
	must(t, s.Fire(t.Context())) // counts from here
	const bank plant.BankID = "clinic/ahu-2/secondary"
	book := &pointbook.Book{Store: r.store, View: r.view}
	for name, p := range map[string]entry.Point{"N.DP": {Quantity: "pressure", Unit: "Pa", Trend: true, KeepDays: 35}, "N.Run": {Quantity: "run-status"}} {
		p.Name = name
		place := bank
		if p.Quantity != "pressure" {
			place = bank.AHU()
		}
		_, err := book.Assign(t.Context(), place, p, "Maren", r.clock.now())
		must(t, err)
	}
	put := func(day int) {
		var b ledger.Batch
		for i := range 96 {
			at := time.Date(2026, 3, day, 0, 15*i, 0, 0, time.UTC)
			run, pa := 0.0, 2.0
			if i >= 24 && i < 80 {
				run, pa = 1, 120+float64(day)
			}
			for name, body := range map[string]entry.Sample{"N.DP": {Point: "N.DP", Quantity: "pressure", Value: &pa}, "N.Run": {Point: "N.Run", Quantity: "run-status", Value: &run}} {
				b.Entries = append(b.Entries, entry.Entry{
					Source: fmt.Sprint("hook:", name, day, "-", i), Kind: entry.KindSample, Place: bank.AHU(), At: at, Received: r.clock.now(), By: "hall automation", Body: body,
				})
			}
		}
		_, err := r.store.Commit(t.Context(), b)
		must(t, err)
	}
	put(1) // before the point was mapped
	put(3)
	put(4)
	for _, at := range []time.Time{time.Date(2026, 3, 4, 1, 0, 0, 0, time.UTC), time.Date(2026, 3, 5, 1, 0, 0, 0, time.UTC), time.Date(2026, 3, 6, 1, 0, 0, 0, time.UTC)} {
		r.clock.set(at)
		must(t, s.Fire(t.Context()))
	}
	all, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank, Exact: true, Kinds: []entry.Kind{entry.KindReading}})
	must(t, err)
	if len(all) != 3 {
		t.Fatalf("%d readings, want one a day: %+v", len(all), all)
	}
	for i, day := range []int{1, 3, 4} {
		b := all[i].Body.(entry.Reading)
		// 06:00 to 20:00 is 56 of 96 values.
		if b.Pa != 120+float64(day) || b.Suspect || b.Window == nil || b.Window.Count != 96 || b.Window.Used < 55 || b.Window.MinPa != 2 || all[i].At.Day() != day || all[i].By != "hall automation" {
			t.Errorf("day %d: %+v %+v %+v", day, all[i], b, b.Window)
		}
	}
	// After five weeks the values go; the readings made of them stay.
	for _, day := range []int{14, 15} {
		r.clock.set(time.Date(2026, 4, day, 1, 0, 0, 0, time.UTC))
		must(t, s.Fire(t.Context()))
	}
	samples, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank.AHU(), Exact: true, Kinds: []entry.Kind{entry.KindSample}})
	must(t, err)
	for _, x := range samples {
		if b := x.Body.(entry.Sample); (b.Value == nil) != (b.Point == "N.DP") {
			t.Fatalf("%+v %+v", x, b)
		}
	}
	again, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank, Exact: true, Kinds: []entry.Kind{entry.KindReading}})
	must(t, err)
	if len(again) != 3 {
		t.Errorf("%d readings after that", len(again))
	}
}
