package view_test

import (
	"path/filepath"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/view"
)

// The week gone by is read from the ledger: the site's own entries, those
// reported late too, and by default of seven days.
func TestSince(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	store, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "ledger.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	to := time.Date(2026, 11, 23, 7, 0, 0, 0, time.UTC)
	var b ledger.Batch
	add := func(source string, place plant.BankID, at, received time.Time, body entry.Body) {
		b.Entries = append(b.Entries, entry.Entry{
			Source: source, Kind: body.Kind(), Place: place, At: at, Received: received, By: "Tove", Body: body,
		})
	}
	days := func(n int) time.Time { return to.AddDate(0, 0, -n) }
	add("1", "hall/ahu-3/secondary", days(2), days(2), entry.Reading{Pa: 100})
	add("2", "hall/ahu-3/secondary", days(20), days(1), entry.Swap{})            // reported late
	add("3", "hall/ahu-3", days(3), days(3), entry.Defect{Note: "belt squeals"}) // of the AHU
	add("4", "yard/ahu-3/secondary", days(2), days(2), entry.Reading{Pa: 100})   // another site
	add("5", "hall/ahu-3/secondary", days(9), days(9), entry.Reading{Pa: 90})    // the week before
	add("6", "hall/ahu-3/secondary", days(2), days(2), entry.Retract{Target: 5}) // taken back now
	if _, err := store.Commit(ctx, b); err != nil {
		t.Fatal(err)
	}
	s, err := view.New(store).Since(ctx, plant.Site{ID: "hall"}, time.Time{}, to)
	if err != nil {
		t.Fatal(err)
	}
	if s.Readings != 1 || len(s.Swaps) != 1 || len(s.Defects) != 1 || s.TakenBack != 1 || !s.From.Equal(days(7)) {
		t.Errorf("%+v", s)
	}
}
