package sqlite_test

import (
	"path/filepath"
	"testing"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/ledgertest"
	"clogwise/internal/ledger/sqlite"
)

func open(t testing.TB, path string, opts sqlite.Options) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, opts)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

func fresh(t testing.TB) *sqlite.Store {
	return open(t, filepath.Join(t.TempDir(), "ledger.db"), sqlite.Options{})
}

func TestConformance(t *testing.T) {
	t.Parallel()
	ledgertest.Conformance(t, func(t *testing.T) ledger.Store { return fresh(t) })
}

func BenchmarkStore(b *testing.B) {
	ledgertest.Benchmark(b, func(b *testing.B) ledger.Store { return fresh(b) })
}
