//go:build unix

package postgres_test

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"clogwise/internal/ledger"
	"clogwise/internal/ledger/postgres"
)

// A ledger of the first schema is brought up to date with all it holds.
func TestMigrationKeepsEntries(t *testing.T) {
	t.Parallel()
	url := schema(t)
	first, err := os.ReadFile("migrations/0001_ledger.sql")
	if err != nil {
		t.Fatal(err)
	}
	old := string(first) + `;CREATE TABLE schema_version (version integer NOT NULL); INSERT INTO schema_version VALUES (1)`
	if err := execute(t.Context(), url, old); err != nil {
		t.Fatal(err)
	}
	// The first schema is what today's store reads and writes but for indexes.
	if err := execute(t.Context(), url, `INSERT INTO entry (seq, source, kind, place, at, received, reporter, line, body)
		SELECT n, 'old:' || n, 'reading', 'a/b/c', n * 1000000000::bigint, n * 1000000000::bigint, 'Tove', '', '{"pa":' || n || '}' FROM generate_series(1, 50) n;
		UPDATE sequence SET last = 50; INSERT INTO tally VALUES ('reading', 50)`); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second finds nothing left to do
		s := open(t, url, postgres.Options{})
		got, err := s.Entries(t.Context(), ledger.Filter{})
		if err != nil || len(got) != 50 || got[49].Source != "old:50" {
			t.Fatalf("%d entries, %v", len(got), err)
		}
	}
	s := open(t, url, postgres.Options{})
	res, err := s.Commit(t.Context(), ledger.Batch{Entries: readings("old", "a/b/c", 1)})
	if err != nil || res[0].Seq != 51 && !res[0].Duplicate {
		t.Errorf("appending after the migration: %+v, %v", res, err)
	}
}

// What is asked of one month reads that month's part of the table, as if months
// were partitions.
func TestAMonthReadsItsMonth(t *testing.T) {
	t.Parallel()
	url := schema(t)
	s := open(t, url, postgres.Options{})
	// autovacuum summarises block ranges as they fill; here it is asked to at once.
	begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	const months, perMonth = 12, 5000
	if err := execute(t.Context(), url, `INSERT INTO entry (seq, source, kind, place, at, received, reporter, line, body)
		SELECT n, 's:' || n, 'reading', 'a/b/' || n % 500, 1767225600000000000 + n * 525600000000, 1767225600000000000 + n * 525600000000,
			'integrator', '', '{"pa":123.5,"quality":"measured"}' FROM generate_series(1::bigint, 60000) n;
		UPDATE sequence SET last = 60000; ANALYZE entry; SELECT brin_summarize_new_values('entry_at')`); err != nil { // 60 000 rows a year, one each 525.6 s
		t.Fatal(err)
	}
	from, to := begin.AddDate(0, 6, 0), begin.AddDate(0, 7, 0)
	got, err := s.Entries(t.Context(), ledger.Filter{From: from, To: to})
	if err != nil || len(got) < perMonth*95/100 || len(got) > perMonth*105/100 {
		t.Fatalf("%d entries of July, %v", len(got), err)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context()) //nolint:errcheck // only read
	var raw string
	if err := conn.QueryRow(t.Context(), `EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) SELECT seq, body FROM entry WHERE at >= $1 AND at < $2`,
		from.UnixNano(), to.UnixNano()).Scan(&raw); err != nil {
		t.Fatal(err)
	}
	var plan []struct {
		Plan struct {
			Hit  int `json:"Shared Hit Blocks"`
			Read int `json:"Shared Read Blocks"`
		}
	}
	if err := json.Unmarshal([]byte(raw), &plan); err != nil {
		t.Fatal(err)
	}
	var pages int
	if err := conn.QueryRow(t.Context(), `SELECT relpages FROM pg_class WHERE oid = 'entry'::regclass`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if n := plan[0].Plan.Hit + plan[0].Plan.Read; !strings.Contains(raw, "entry_at") || n == 0 || n > pages/4 {
		t.Errorf("July read %d blocks of a table of %d over %d months; the plan:\n%s", n, pages, months, raw)
	}
}
