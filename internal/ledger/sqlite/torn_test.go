package sqlite_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
)

// TestTornLog cuts the write-ahead log short at random places, as a power cut
// does to what had not been synced: whole batches remain, from the first on,
// and never part of one.
func TestTornLog(t *testing.T) {
	t.Parallel()
	const batches, size = 60, 3
	path := filepath.Join(t.TempDir(), "ledger.db")
	s := open(t, path, sqlite.Options{})
	for i := range batches {
		if _, err := s.Commit(t.Context(), ledger.Batch{Entries: readings(fmt.Sprintf("batch%03d", i), "s/a/b", size)}); err != nil {
			t.Fatal(err)
		}
	}
	file, log := slurp(t, path), slurp(t, path+"-wal")
	random := rand.New(rand.NewPCG(7, 7))
	fewest, most := int64(batches*size), int64(0)
	for cut := range 25 {
		keep := random.IntN(len(log))
		if cut == 0 {
			keep = len(log)
		}
		torn := filepath.Join(t.TempDir(), "ledger.db")
		write(t, torn, file)
		write(t, torn+"-wal", append(log[:keep:keep], make([]byte, 100)...))
		n := headOf(t, torn)
		if n%size != 0 {
			t.Errorf("cut at %d of %d: %d entries: part of a batch", keep, len(log), n)
		}
		fewest, most = min(fewest, n), max(most, n)
	}
	if most != batches*size || fewest == most {
		t.Errorf("kept between %d and %d entries of %d: the cuts tested nothing", fewest, most, batches*size)
	}
}

func slurp(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// headOf opens a ledger, checks it and returns its newest Seq.
func headOf(t *testing.T, path string) int64 {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
	n, err := s.Head(t.Context())
	if err != nil {
		t.Error(err)
	}
	return n
}
