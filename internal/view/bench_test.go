package view_test

import (
	"fmt"
	"testing"
	"time"

	"clogwise/internal/assess"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/view"
)

const benched plant.BankID = "clinic/ahu-3/secondary"

// lived is a ledger with a finished life and one that holds so many readings.
func lived(b *testing.B, readings int) (*view.View, ledger.Store) {
	b.Helper()
	store := seeded(b)
	from := now.AddDate(0, -6, 0)
	batch := ledger.Batch{}
	batch.Entries = append(batch.Entries, swap(benched, from.AddDate(0, -6, 0), 90, "first"), swap(benched, from, 90, "second"))
	span := now.Sub(from)
	for i := range readings {
		share := float64(i+1) / float64(readings)
		at := from.Add(time.Duration(share * float64(span)))
		batch.Entries = append(batch.Entries, reading(benched, at, 90+80*share+float64(i%5), fmt.Sprint("r", i)))
	}
	_, err := store.Commit(b.Context(), batch)
	must(b, err)
	return view.New(store), store
}

// BenchmarkAssessNext is one recompute by the worker: projection and entries read
// from the ledger, the bank assessed.
func BenchmarkAssessNext(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			v, _ := lived(b, n)
			if _, err := v.Recompute(b.Context(), benched, now); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := v.AssessNext(b.Context(), benched, now); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkBank is the pure part of it.
func BenchmarkBank(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			v, _ := lived(b, n)
			reg, err := v.Register(b.Context())
			must(b, err)
			prior, err := v.Prior(b.Context(), plant.Secondary)
			must(b, err)
			entries, err := v.Entries(b.Context(), benched, 0)
			must(b, err)
			in := assess.Input{Register: reg, Bank: benched, Entries: entries, Prior: prior, Now: now}
			for b.Loop() {
				assess.Bank(in)
			}
		})
	}
}
