//go:build unix

package postgrestest_test

import (
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger/postgres/postgrestest"
)

func TestACrashKeepsWhatWasCommitted(t *testing.T) {
	t.Parallel()
	s, err := postgrestest.Start(t.Context())
	if errors.Is(err, postgrestest.ErrAbsent) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Stop(); err != nil {
			t.Error(err)
		}
	}()
	exec(t, s, `CREATE TABLE kept AS SELECT 1 AS one`)
	for _, stop := range []func() error{s.Crash, s.Shutdown} {
		if err := stop(); err != nil {
			t.Fatal(err)
		}
		if _, err := pgx.Connect(t.Context(), s.URL("")); err == nil {
			t.Fatal("a stopped server answers")
		}
		if err := s.Restart(t.Context()); err != nil {
			t.Fatal(err)
		}
		exec(t, s, `SELECT one FROM kept`)
	}
}

func exec(t *testing.T, s *postgrestest.Server, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.URL(""))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Error(err)
	}
	if err := conn.Close(t.Context()); err != nil {
		t.Error(err)
	}
}
