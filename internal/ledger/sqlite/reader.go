package sqlite

import (
	"context"
	"database/sql"
	"sync"
)

// reader asks with statements that are prepared once: to parse a question costs
// more than to answer most of them. Their number is that of the questions in
// this package.
type reader struct {
	db    *sql.DB
	mu    sync.Mutex
	stmts map[string]*sql.Stmt
}

func (r *reader) stmt(ctx context.Context, query string) (*sql.Stmt, error) {
	r.mu.Lock()
	s, ok := r.stmts[query]
	r.mu.Unlock()
	if ok {
		return s, nil
	}
	s, err := r.db.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if first, ok := r.stmts[query]; ok {
		_ = s.Close() // another was quicker
		return first, nil
	}
	r.stmts[query] = s
	return s, nil
}

// rows asks for any number of rows.
func (r *reader) rows(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	s, err := r.stmt(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.QueryContext(ctx, args...)
}

// row asks for one row; what went wrong is told by its Scan.
func (r *reader) row(ctx context.Context, query string, args ...any) scanner {
	s, err := r.stmt(ctx, query)
	if err != nil {
		return failed{err}
	}
	return s.QueryRowContext(ctx, args...)
}

// failed is a row that could not be asked for.
type failed struct{ err error }

// Scan implements scanner.
func (f failed) Scan(...any) error { return f.err }
