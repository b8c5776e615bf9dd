package sqlite

import (
	"context"
	"errors"
	"fmt"

	driver "modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"clogwise/internal/ledger"
)

// code is SQLite's primary result code of an error, or 0.
func code(err error) int {
	if e := (*driver.Error)(nil); errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

func busy(err error) bool {
	c := code(err)
	return c == lib.SQLITE_BUSY || c == lib.SQLITE_LOCKED
}

// refusal reports whether SQLite refused the one statement for what it said,
// the transaction around it being sound.
func refusal(err error) bool {
	switch code(err) {
	case lib.SQLITE_CONSTRAINT, lib.SQLITE_TOOBIG, lib.SQLITE_MISMATCH:
		return true
	}
	return false
}

func ioError(err error) bool { return code(err) == lib.SQLITE_IOERR }

// mapped puts a driver's error into the ledger's words. An error that is in
// them already stays as it is.
func mapped(ctx context.Context, what string, err error) error {
	if err == nil || known(err) {
		return err
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	}
	switch code(err) {
	case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB:
		return fmt.Errorf("%w: %s: %w", ledger.ErrDamaged, what, err)
	case lib.SQLITE_CONSTRAINT, lib.SQLITE_TOOBIG, lib.SQLITE_MISMATCH:
		return fmt.Errorf("%w: %s: %w", ledger.ErrInvalid, what, err)
	}
	return fmt.Errorf("%w: %s: %w", ledger.ErrUnavailable, what, err)
}

func known(err error) bool {
	for _, k := range []error{
		ledger.ErrUnavailable, ledger.ErrUncertain, ledger.ErrInvalid, ledger.ErrFired,
		ledger.ErrNotFound, ledger.ErrPostState, ledger.ErrDamaged, ledger.ErrNewer,
	} {
		if errors.Is(err, k) {
			return true
		}
	}
	return false
}
