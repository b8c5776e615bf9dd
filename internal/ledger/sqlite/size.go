package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"clogwise/internal/ledger"
)

// Size is how many bytes the ledger takes on disk, its journal included.
func (s *Store) Size(context.Context) (bytes int64, err error) {
	for _, name := range []string{s.path, s.path + "-wal"} {
		st, err := os.Stat(name)
		switch {
		case err == nil:
			bytes += st.Size()
		case !errors.Is(err, fs.ErrNotExist):
			return 0, fmt.Errorf("%w: %w", ledger.ErrUnavailable, err)
		}
	}
	return bytes, nil
}
