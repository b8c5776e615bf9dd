package sqlite_test

import (
	"context"
	"errors"
	"testing"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/row"
	"clogwise/internal/plant"
)

// broken breaks off in the middle of a dump.
type broken struct{ row.Dumper }

var errBroken = errors.New("broken off")

func (b broken) Dump(ctx context.Context, each func(row.Table, []any) error) error {
	n := 0
	return b.Dumper.Dump(ctx, func(t row.Table, values []any) error {
		if n++; n > 50 {
			return errBroken
		}
		return each(t, values)
	})
}

func TestRestore(t *testing.T) {
	t.Parallel()
	from, to := fresh(t), fresh(t)
	b := ledger.Batch{
		Entries: readings("x", "s/a/b", 100), Touch: []plant.BankID{"s/a/c"},
		Posts:   []ledger.OutboxPost{{Key: "p"}, {Key: "w", State: ledger.PostWaiting, WaitsFor: map[plant.BankID]int64{"s/a/b": 1}}},
		Firings: []ledger.Firing{{Job: "digest", Site: "s", Scheduled: "2026-03-02T07:00"}},
	}
	if _, err := from.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	if err := to.Restore(t.Context(), broken{from}); !errors.Is(err, errBroken) {
		t.Errorf("Restore broken off: %v", err)
	}
	if n, err := to.Head(t.Context()); err != nil || n != 0 {
		t.Errorf("a restore broken off left %d entries (%v)", n, err)
	}
	if err := to.Restore(t.Context(), from); err != nil {
		t.Fatalf("Restore: %v", err)
	}
	ledgertest.Equal(t, from, to)
	if err := to.Check(t.Context()); err != nil {
		t.Error(err)
	}
	if err := to.Restore(t.Context(), from); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("Restore over a ledger: %v, want ErrInvalid", err)
	}
	if res, err := to.Commit(t.Context(), batch("next")); err != nil || res[0].Seq != 101 {
		t.Errorf("after the restore: %+v, %v", res, err)
	}
}
