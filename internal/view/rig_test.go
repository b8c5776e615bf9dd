package view_test

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"clogwise/internal/demo"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/register"
)

var now = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

func open(t testing.TB) ledger.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "ledger.db"), sqlite.Options{})
	must(t, err)
	t.Cleanup(func() { must(t, s.Close()) })
	return s
}

// seeded is a ledger with the demo's register.
func seeded(t testing.TB) ledger.Store {
	t.Helper()
	s := open(t)
	commit(t, s, edits(nil, demo.Portfolio(), now.AddDate(-2, 0, 0))...)
	return s
}

// edits are the entries that turn one register into another.
func edits(old *plant.Register, c plant.Contents, at time.Time) []entry.Entry {
	var out []entry.Entry
	for i, e := range register.Diff(old, c) {
		place := plant.BankID(e.ID)
		if e.Object == register.ObjectItem {
			place = ""
		}
		out = append(out, entry.Entry{Source: fmt.Sprintf("register:%d:%04d", at.UnixNano(), i), Kind: e.Kind(), Place: place,
			At: at, Received: at, By: "clogwise", Body: e})
	}
	return out
}

func commit(t testing.TB, s ledger.Store, entries ...entry.Entry) []ledger.Result {
	t.Helper()
	res, err := s.Commit(t.Context(), ledger.Batch{Entries: entries})
	must(t, err)
	return res
}

func asJSON(t testing.TB, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	must(t, err)
	return string(raw)
}

// projections are the stored ones by bank, as JSON.
func projections(t testing.TB, s ledger.Store) map[plant.BankID]string {
	t.Helper()
	ps, err := s.Projections(t.Context(), "")
	must(t, err)
	out := map[plant.BankID]string{}
	for _, p := range ps {
		out[p.Bank] = string(p.Data)
	}
	return out
}

// firstDifference shows where two texts part.
func firstDifference(a, b string) string {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	around := func(s string) string { return s[max(0, i-60):min(len(s), i+60)] }
	return fmt.Sprintf("…%s…\nagainst\n…%s…", around(a), around(b))
}

func reading(bank plant.BankID, at time.Time, pa float64, source string) entry.Entry {
	return entry.Entry{Source: source, Kind: entry.KindReading, Place: bank, At: at, Received: at, By: "Tove", Body: entry.Reading{Pa: pa, Unit: "Pa"}}
}

func swap(bank plant.BankID, at time.Time, clean float64, source string) entry.Entry {
	n := 4
	return entry.Entry{Source: source, Kind: entry.KindSwap, Place: bank, At: at, Received: at, By: "Tove",
		Body: entry.Swap{Count: &n, CleanPa: &clean, Confirmed: true}}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
