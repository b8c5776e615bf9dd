package view_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/view"
)

// What the cache says must be what a fresh reader of the whole ledger sees.
func TestOpenJobsKeepUp(t *testing.T) {
	t.Parallel()
	const a, b plant.BankID = "clinic/ahu-1/primary", "clinic/ahu-2/secondary"
	day := 24 * time.Hour
	type line struct {
		after time.Duration // since the beginning
		place plant.BankID
		body  entry.Body
	}
	later := now.Add(200 * day)
	cases := []struct {
		name  string
		lines []line
		open  []plant.BankID
	}{
		{"booked", []line{{0, a, entry.Booking{Start: now.Add(day)}}}, []plant.BankID{a}},
		{"done", []line{{0, a, entry.Booking{Start: now.Add(day)}}, {day, a, entry.JobStart{}}, {day + time.Hour, a, entry.JobDone{}}}, nil},
		{"taken back", []line{{0, a, entry.Booking{Start: now.Add(day)}}, {time.Hour, a, entry.Retract{Target: 1}}}, nil},
		{"far ahead", []line{{0, a, entry.Booking{Start: later}}, {90 * day, b, entry.Booking{Start: later}}}, []plant.BankID{a, b}},
		{"far ahead, taken back long ago", []line{{0, a, entry.Booking{Start: later}}, {day, a, entry.Retract{Target: 1}}, {90 * day, b, entry.Booking{Start: later}}}, []plant.BankID{b}},
		{"far ahead, cancelled long ago", []line{{0, a, entry.Booking{Start: later}}, {day, a, entry.Booking{Cancelled: true}}, {90 * day, b, entry.Booking{Start: later}}}, []plant.BankID{b}},
		{"forgotten", []line{{0, a, entry.Booking{Start: now.Add(day)}}, {90 * day, b, entry.Booking{Start: later}}}, []plant.BankID{b}},
		{"old one taken back after all", []line{{0, a, entry.Booking{Start: later}}, {90 * day, b, entry.Booking{Start: later}}, {91 * day, a, entry.Retract{Target: 1}}}, []plant.BankID{b}},
		{"taking back taken back", []line{{0, a, entry.Booking{Start: later}}, {day, a, entry.Retract{Target: 1}}, {2 * day, a, entry.Retract{Target: 2}}}, []plant.BankID{a}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			store := open(t)
			v := view.New(store)
			for i, l := range c.lines {
				at := now.Add(l.after)
				commit(t, store, entry.Entry{Source: fmt.Sprint(i), Kind: l.body.Kind(), Place: l.place, At: at, Received: at, By: "Maren", Body: l.body})
				_, err := v.OpenJobs(t.Context()) // read at every step: the cache is what is tested
				must(t, err)
			}
			jobs, err := v.OpenJobs(t.Context())
			must(t, err)
			if got := places(jobs); !slices.Equal(got, c.open) {
				t.Errorf("open at %v, want %v", got, c.open)
			}
			fresh, err := view.New(store).OpenJobs(t.Context())
			must(t, err)
			if got := places(fresh); !slices.Equal(got, c.open) {
				t.Errorf("a fresh reader sees %v, want %v", got, c.open)
			}
		})
	}
}

func places(jobs []digest.Job) []plant.BankID {
	var out []plant.BankID
	for _, j := range jobs {
		out = append(out, j.Bank)
	}
	slices.Sort(out)
	return out
}

func TestRegisterFollowsEdits(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := seeded(t)
	v, other := view.New(store), view.New(store)
	reg, err := v.Register(ctx)
	must(t, err)
	if again, _ := v.Register(ctx); again != reg {
		t.Error("an unchanged register was built anew")
	}
	commit(t, store, reading("clinic/ahu-1/primary", now, 80, "a"))
	if again, _ := v.Register(ctx); again != reg {
		t.Error("a reading made the register be built anew")
	}
	c := reg.Contents()
	delete(c.Banks, "clinic/ahu-1/primary")
	commit(t, store, edits(reg, c, now)...)
	for _, x := range []*view.View{v, other, view.New(store)} {
		reg, err := x.Register(ctx)
		must(t, err)
		if _, there := reg.Bank("clinic/ahu-1/primary"); there {
			t.Error("a removed bank is still there")
		}
	}
}

func TestUnreadableRegisterEditIsLeftOut(t *testing.T) {
	t.Parallel()
	store := seeded(t)
	commit(t, store, entry.Entry{Source: "x", Kind: entry.KindRegister, Place: "clinic", At: now, Received: now,
		Body: entry.RegisterEdit{Object: "planet", ID: "clinic"}})
	v := view.New(store)
	reg, err := v.Register(t.Context())
	must(t, err)
	if len(reg.Sites()) != 3 {
		t.Errorf("%d sites, want the demo's 3", len(reg.Sites()))
	}
	if v.RegisterFault() == nil {
		t.Error("the fault is not told")
	}
}
