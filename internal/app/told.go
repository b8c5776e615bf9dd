package app

import (
	"context"
	"log/slog"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// told logs what goes into a ledger: numbers of entries, kinds and places, none
// of what people wrote.
type told struct {
	ledger.Store
	log *slog.Logger
}

// Commit implements ledger.Store.
func (s told) Commit(ctx context.Context, b ledger.Batch) ([]ledger.Result, error) {
	began := time.Now()
	res, err := s.Store.Commit(ctx, b)
	if err != nil || len(b.Entries) == 0 || !s.log.Enabled(ctx, slog.LevelInfo) {
		return res, err
	}
	s.log.InfoContext(ctx, "recorded", recorded(b.Entries, res, time.Since(began))...)
	return res, nil
}

// mostNamed bounds the entries that one line names.
const mostNamed = 8

func recorded(entries []entry.Entry, res []ledger.Result, took time.Duration) []any {
	var seqs []int64
	var kinds []entry.Kind
	var banks []plant.BankID
	fresh := 0
	for i, r := range res {
		if r.Duplicate {
			continue
		}
		if fresh++; fresh > mostNamed {
			continue
		}
		seqs, kinds, banks = append(seqs, r.Seq), append(kinds, entries[i].Kind), append(banks, entries[i].Place)
	}
	slices.Sort(kinds)
	return []any{
		"entries", seqs, "kinds", slices.Compact(kinds), "banks", banks,
		"count", fresh, "duplicates", len(res) - fresh, "took", took,
	}
}
