package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"clogwise/internal/ledger"
)

// mapped puts a driver's error into the ledger's words. An error that is in
// them already stays as it is.
func mapped(ctx context.Context, what string, err error) error {
	if err == nil || known(err) {
		return err
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %w", what, context.Cause(ctx))
	}
	switch class(err) {
	case "XX": // data_corrupted, index_corrupted
		return fmt.Errorf("%w: %s: %w", ledger.ErrDamaged, what, err)
	case "22", "23": // the data, or a constraint
		return fmt.Errorf("%w: %s: %w", ledger.ErrInvalid, what, err)
	}
	return fmt.Errorf("%w: %s: %w", ledger.ErrUnavailable, what, err)
}

// class is the first two characters of the server's error code, empty when it
// was not the server that failed.
func class(err error) string {
	if e := (*pgconn.PgError)(nil); errors.As(err, &e) && len(e.Code) == 5 {
		return e.Code[:2]
	}
	return ""
}

// open reports whether it is left open if a transaction was committed: the
// connection broke, or the server went down, while it was asked to.
func open(err error) bool {
	switch class(err) {
	case "", "08", "57", "58": // no answer, connection, operator, system
		return !errors.Is(err, pgx.ErrTxCommitRollback)
	}
	return false
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

func notFound(err error) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return ledger.ErrNotFound
	}
	return err
}
