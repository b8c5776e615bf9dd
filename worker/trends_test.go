package worker_test

import (
	"fmt"
	"slices"
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
				if name == "N.Run" && day == 4 && i%4 != 0 {
					continue // a status once an hour holds until the next
				}
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

// Values that come after their day's reading was made amend it once, however late;
// days of which none had come get their reading; what a person corrected and
// what has been let go stand.
func TestLateValuesAmendTheirDay(t *testing.T) {
	r := newRig(t)
	posts := worker.Posts{View: r.view, Store: r.store, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs, s.Always = posts.Jobs(), nil
	night := func(month time.Month, day int) {
		r.clock.set(time.Date(2026, month, day, 1, 0, 0, 0, time.UTC))
		must(t, s.Fire(t.Context()))
	}
	r.clock.set(time.Date(2026, 3, 3, 0, 10, 0, 0, time.UTC))
	must(t, s.Fire(t.Context())) // counts from here
	const bank plant.BankID = "clinic/ahu-2/secondary"
	book := &pointbook.Book{Store: r.store, View: r.view}
	_, err := book.Assign(t.Context(), bank, entry.Point{Name: "N.DP", Quantity: "pressure", Unit: "Pa", Trend: true, KeepDays: 35}, "Maren", r.clock.now())
	must(t, err)
	put := func(day, from, to int, pa float64) { // hours
		var b ledger.Batch
		for i := 4 * from; i < 4*to; i++ {
			b.Entries = append(b.Entries, entry.Entry{
				Source: fmt.Sprint("hook:", day, "-", i), Kind: entry.KindSample, Place: bank.AHU(), At: time.Date(2026, 3, day, 0, 15*i, 0, 0, time.UTC),
				Received: r.clock.now(), By: "hall automation", Body: entry.Sample{Point: "N.DP", Quantity: "pressure", Value: &pa},
			})
		}
		_, err := r.store.Commit(t.Context(), b)
		must(t, err)
	}
	readings := func() []entry.Entry {
		all, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank, Exact: true})
		must(t, err)
		return slices.DeleteFunc(entry.Standing(all), func(x entry.Entry) bool { return x.Kind != entry.KindReading })
	}
	amends := func() int {
		all, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank, Exact: true, Kinds: []entry.Kind{entry.KindAmend}})
		must(t, err)
		return len(all)
	}
	for day := 3; day < 9; day++ {
		if day != 5 {
			put(day, 0, 8, 100)
		}
		night(3, day+1)
	}
	if all := readings(); len(all) != 5 || amends() != 0 {
		t.Fatalf("%d readings, %d amendments before anything came late", len(all), amends())
	}
	corrected := readings()[2] // of day 6
	_, err = r.store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{
		Source: "chat:1", Kind: entry.KindAmend, Place: bank, At: r.clock.now(), Received: r.clock.now(), Body: entry.Amend{Target: corrected.Seq, Body: entry.Reading{Pa: 77}},
	}}})
	must(t, err)
	put(3, 8, 24, 130) // all of them six days late
	put(5, 0, 24, 110)
	put(6, 8, 24, 130)
	for day := 10; day < 13; day++ { // recorded once
		night(3, day)
	}
	all := readings()
	if len(all) != 6 || amends() != 2 { // day 3 by the trend, day 6 by a person
		t.Fatalf("%d readings, %d amendments: %+v", len(all), amends(), all)
	}
	for i, want := range []float64{130, 100, 110, 77, 100, 100} { // medians of 32 values of 100 and 64 of 130; days 3 to 8
		if b := all[i].Body.(entry.Reading); b.Pa != want || all[i].At.Day() != 3+i {
			t.Errorf("day %d: %v Pa of day %d, want %v", 3+i, b.Pa, all[i].At.Day(), want)
		}
	}
	if w := all[0].Body.(entry.Reading).Window; w == nil || w.Count != 96 || w.MinPa != 100 || w.MaxPa != 130 {
		t.Errorf("window of the amended day: %+v", w)
	}
	// Mapped to another bank, what was made of its values goes there, and back again;
	// what a person corrected stays where it was.
	const other plant.BankID = "clinic/ahu-2/primary"
	at := func(place plant.BankID) (n int) {
		all, err := r.store.Entries(t.Context(), ledger.Filter{Place: place, Exact: true})
		must(t, err)
		for _, x := range entry.Standing(all) {
			if b, ok := x.Body.(entry.Reading); ok && (b.Window != nil || b.Pa == 77) {
				n++
			}
		}
		return n
	}
	day := 13
	for _, place := range []plant.BankID{other, bank} {
		_, err := book.Assign(t.Context(), place, entry.Point{Name: "N.DP", Quantity: "pressure", Unit: "Pa", Trend: true, KeepDays: 35}, "Maren", r.clock.now().Add(time.Hour))
		must(t, err)
		night(3, day)
		night(3, day+1)
		day += 2
		if here, there := at(place), at(map[plant.BankID]plant.BankID{other: bank, bank: other}[place]); place == other && (here != 5 || there != 1) || place == bank && (here != 6 || there != 0) {
			t.Fatalf("mapped to %s: %d readings there, %d elsewhere", place, here, there)
		}
	}
	// Once its values have been let go, what comes of a day alters nothing.
	night(4, 14)
	night(4, 15)
	put(4, 8, 24, 300)
	night(4, 16)
	if b := readings()[1].Body.(entry.Reading); b.Pa != 100 || amends() != 2 {
		t.Errorf("let go: %v Pa, %d amendments", b.Pa, amends())
	}
}

// A day's run hours are counted once it is over, by the meter before the status,
// and bear on the forecasts of the AHU's banks in place of the schedule's.
func TestRunHoursOfPointsAreCounted(t *testing.T) {
	r := newRig(t)
	posts := worker.Posts{View: r.view, Store: r.store, Now: r.clock.now, Platform: func() string { return "terminal" }, Recompute: r.worker}
	s := r.scheduler(nil)
	s.Jobs, s.Always = posts.Jobs(), nil
	r.clock.set(time.Date(2026, 3, 3, 0, 10, 0, 0, time.UTC))
	must(t, s.Fire(t.Context())) // counts from here
	const bank plant.BankID = "clinic/ahu-2/secondary"
	book := &pointbook.Book{Store: r.store, View: r.view}
	for name, q := range map[string]string{"N.Hours": "run-hours", "N.Run": "run-status"} {
		_, err := book.Assign(t.Context(), bank.AHU(), entry.Point{Name: name, Quantity: q}, "Maren", r.clock.now())
		must(t, err)
	}
	n := 0
	put := func(name, q string, at time.Time, v float64) {
		n++
		_, err := r.store.Commit(t.Context(), ledger.Batch{Entries: []entry.Entry{{
			Source: fmt.Sprint("hook:", n), Kind: entry.KindSample, Place: bank.AHU(), At: at, Received: r.clock.now(), By: "hall automation",
			Body: entry.Sample{Point: name, Quantity: q, Value: &v},
		}}})
		must(t, err)
	}
	loc := func() *time.Location {
		reg, err := r.view.Register(t.Context())
		must(t, err)
		site, _ := reg.Site("clinic")
		return site.Location()
	}()
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, loc) }
	for day := 3; day < 6; day++ {
		for h := range 24 {
			on := 0.0
			if h >= 8 && h < 17 {
				on = 1
			}
			put("N.Run", "run-status", at(day, h), on)
			if day != 4 { // that day the meter was away
				put("N.Hours", "run-hours", at(day, h), 1000+10*float64(day-3)+max(0, min(10, float64(h-7))))
			}
		}
		r.clock.set(at(day+1, 1))
		if day != 3 {
			put("N.Hours", "run-hours", at(day+1, 0), 1000+10*float64(day-2))
		}
		must(t, s.Fire(t.Context()))
	}
	days := func() map[string]float64 {
		all, err := r.store.Entries(t.Context(), ledger.Filter{Place: bank.AHU(), Exact: true})
		must(t, err)
		out := map[string]float64{}
		for _, x := range entry.Standing(all) {
			if b, ok := x.Body.(entry.RunDay); ok {
				out[b.Day] = b.Hours
			}
		}
		return out
	}
	// Of 3 March the meter tells the end a day late and along a straight line; of the
	// fifth it tells 10 h where the status, which counts 9, would too.
	got := days()
	if got["2026-03-03"] == 0 || got["2026-03-04"] == 0 || got["2026-03-05"] != 10 || len(got) != 3 {
		t.Errorf("%v", got)
	}
	a, err := r.view.Assess(t.Context(), bank, r.clock.now())
	must(t, err)
	all, err := r.view.Entries(t.Context(), bank, 0)
	must(t, err)
	if !slices.ContainsFunc(all, func(x entry.Entry) bool { return x.Kind == entry.KindRunDay }) || a.Bank != bank {
		t.Error("the bank does not hear of them")
	}
	// The meter's values of 4 March come two days late and amend it.
	put("N.Hours", "run-hours", at(4, 0), 1010)
	put("N.Hours", "run-hours", at(4, 12), 1012)
	put("N.Hours", "run-hours", at(5, 0), 1013)
	before := len(days())
	r.clock.set(at(7, 1))
	must(t, s.Fire(t.Context()))
	if got := days(); got["2026-03-04"] != 3 || before != 3 {
		t.Errorf("after late values: %v", got)
	}
}
