package sqlite_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
)

func TestFaulty(t *testing.T) {
	t.Parallel()
	f := ledgertest.NewFaulty(fresh(t))
	ctx := t.Context()
	try := func(prefix string) ([]ledger.Result, error) { return f.Commit(ctx, batch(prefix)) }

	f.FailCommits(2)
	for range 2 {
		if _, err := try("a"); !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("told to fail: %v", err)
		}
	}
	if res, err := try("a"); err != nil || res[0].Duplicate {
		t.Errorf("after the failures: %+v, %v", res, err)
	}

	f.UncertainCommits(1, true)
	if _, err := try("written"); !errors.Is(err, ledger.ErrUncertain) {
		t.Errorf("told to be uncertain: %v", err)
	}
	if res, err := try("written"); err != nil || !res[0].Duplicate {
		t.Errorf("uncertain and written, sent again: %+v, %v", res, err)
	}
	f.UncertainCommits(1, false)
	if _, err := try("lost"); !errors.Is(err, ledger.ErrUncertain) {
		t.Errorf("told to be uncertain: %v", err)
	}
	if res, err := try("lost"); err != nil || res[0].Duplicate {
		t.Errorf("uncertain and not written, sent again: %+v, %v", res, err)
	}

	f.SlowCommits(time.Hour)
	short, cancel := context.WithTimeout(ctx, time.Millisecond)
	defer cancel()
	if _, err := f.Commit(short, batch("slow")); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("slower than the caller's patience: %v", err)
	}
	f.SlowCommits(0)

	f.Down(true)
	if _, err := f.Head(ctx); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Head while down: %v", err)
	}
	if _, err := try("down"); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Commit while down: %v", err)
	}
	f.Down(false)
	if n, err := f.Head(ctx); err != nil || n != 6 {
		t.Errorf("head %d, %v; want the 6 entries of a, written and lost", n, err)
	}
	if n := f.Commits(); n != 9 {
		t.Errorf("%d commits counted, want 9", n)
	}
}
