package view_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"clogwise/internal/demo"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/view"
)

// Many banks at once, in groups as they come, with room in memory for all, for
// some and for none: the projections are those of a rebuild to the last byte.
func TestTogetherGivesWhatARebuildGives(t *testing.T) {
	t.Parallel()
	for _, room := range []int{1_000_000, 150, 0} {
		t.Run(fmt.Sprint(room), func(t *testing.T) {
			t.Parallel()
			ctx := t.Context()
			store := seeded(t)
			v := view.New(store)
			v.Remember(room)
			reg, err := v.Register(ctx)
			must(t, err)
			rng := rand.New(rand.NewPCG(uint64(room), 3))
			touched := map[plant.BankID]bool{}
			left := 0
			for _, x := range demo.History(demo.Portfolio(), now, 1) {
				if x.Place.Site() != "clinic" {
					continue
				}
				commit(t, store, x)
				for _, bank := range reg.Banks(x.Place) {
					touched[bank] = true
				}
				if left--; left > 0 {
					continue
				}
				left = rng.IntN(30)
				var group []plant.BankID
				for bank := range touched {
					group = append(group, bank)
				}
				for _, r := range v.RecomputeTogether(ctx, group, x.Received) {
					must(t, r.Err)
				}
				clear(touched)
			}
			must(t, v.LearnPriors(ctx, now))
			for _, r := range v.RecomputeTogether(ctx, reg.Banks(""), now) {
				must(t, r.Err)
			}
			kept := projections(t, store)
			if _, err := v.Rebuild(ctx, now, nil); err != nil {
				t.Fatal(err)
			}
			for bank, b := range projections(t, store) {
				if a := kept[bank]; a != b {
					t.Errorf("%s differs:\n%s", bank, firstDifference(a, b))
				}
			}
		})
	}
}

// One bank that is not in the register spoils nothing for the others, nor does one
// named twice; a ledger out of reach is told of each, and the next try goes on.
func TestTogetherKeepsFaultsApart(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store := ledgertest.NewFaulty(seeded(t))
	v := view.New(store)
	banks := []plant.BankID{"clinic/ahu-1/primary", "clinic/ahu-1/gone", "clinic/ahu-1/primary", "clinic/ahu-1/secondary"}
	check := func(got []view.Recomputed) {
		t.Helper()
		for i, r := range got {
			switch {
			case r.Assessment.Bank != banks[i]:
				t.Errorf("%d is of %s, want %s", i, r.Assessment.Bank, banks[i])
			case i == 1 && !errors.Is(r.Err, view.ErrNoBank):
				t.Errorf("%s: %v, want ErrNoBank", banks[i], r.Err)
			case i != 1 && (r.Err != nil || r.Assessment.Name == ""):
				t.Errorf("%s: %+v, %v", banks[i], r.Assessment, r.Err)
			}
		}
	}
	check(v.RecomputeTogether(ctx, banks, now))
	store.Down(true)
	for i, r := range v.RecomputeTogether(ctx, banks, now) {
		if !errors.Is(r.Err, ledger.ErrUnavailable) {
			t.Errorf("%s, ledger down: %v, want ErrUnavailable", banks[i], r.Err)
		}
	}
	store.Down(false)
	check(v.RecomputeTogether(ctx, banks, now))
}

// Side by side: a bank alone and with 63 others, its readings remembered.
func BenchmarkTogether(b *testing.B) {
	const banks, readings = 64, 240
	for _, together := range []int{1, banks} {
		b.Run(fmt.Sprint(together), func(b *testing.B) {
			store, err := sqlite.Open(b.Context(), filepath.Join(b.TempDir(), "ledger.db"), sqlite.Options{})
			must(b, err)
			defer store.Close() //nolint:errcheck // the folder goes too
			f := bigFleet{banks: banks, readings: readings}
			f.write(b, store)
			v := view.New(store)
			ids := make([]plant.BankID, banks)
			for i := range ids {
				ids[i] = f.bank(i)
			}
			v.RecomputeTogether(b.Context(), ids, now)
			n := 0
			for b.Loop() {
				group := ids[n%banks : n%banks+together]
				for _, r := range v.RecomputeTogether(b.Context(), group, now) {
					must(b, r.Err)
				}
				n += together
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(n), "µs/bank")
		})
	}
}
