package sqlite_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
)

// The child of TestKill is this test binary with these set.
const (
	childLedger = "CLOGWISE_TEST_LEDGER" // path of the ledger
	childRun    = "CLOGWISE_TEST_RUN"    // number of the run
)

func TestMain(m *testing.M) {
	if path := os.Getenv(childLedger); path != "" {
		if err := writeUntilKilled(path, os.Getenv(childRun)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

const killWriters = 4

// writeUntilKilled commits batches from several writers and acknowledges each
// source on a line of standard output once Commit has returned.
func writeUntilKilled(path, run string) error {
	s, err := sqlite.Open(context.Background(), path, sqlite.Options{})
	if err != nil {
		return err
	}
	var wg sync.WaitGroup
	errs := make(chan error, killWriters)
	for w := range killWriters {
		wg.Go(func() {
			if err := writeAndAcknowledge(s, run, w); err != nil {
				errs <- err
			}
		})
	}
	wg.Wait()
	return <-errs
}

func writeAndAcknowledge(s ledger.Store, run string, writer int) error {
	place := plant.BankID("s/a/b" + strconv.Itoa(writer))
	for n := 0; ; {
		var b ledger.Batch
		for range 1 + n%7 {
			b.Entries = append(b.Entries, entry.Entry{
				Source: fmt.Sprintf("%s:%d:%06d", run, writer, n), Kind: entry.KindReading, Place: place,
				At: time.Unix(int64(n), 0), Body: entry.Reading{Pa: float64(n)},
			})
			n++
		}
		if _, err := s.Commit(context.Background(), b); err != nil {
			return err
		}
		var lines strings.Builder
		for _, e := range b.Entries {
			lines.WriteString(e.Source + "\n")
		}
		if _, err := os.Stdout.WriteString(lines.String()); err != nil {
			return err
		}
	}
}

// TestKill kills a writing process with SIGKILL at a random moment, again and
// again on one ledger: every acknowledged entry is there once, in its writer's
// order, whatever else is there was at least asked for, and the file is sound.
func TestKill(t *testing.T) {
	t.Parallel()
	kills := 50
	if testing.Short() {
		kills = 8
	}
	path := filepath.Join(t.TempDir(), "ledger.db")
	random := rand.New(rand.NewPCG(2, 26)) // fixed seed: the moments repeat, as far as a scheduler lets them
	acked := map[string]bool{}
	for run := range kills {
		window := 5*time.Millisecond + time.Duration(random.Int64N(int64(150*time.Millisecond)))
		got := killAfter(t, path, run, window)
		for _, source := range got {
			acked[source] = true
		}
		examine(t, path, acked)
		if t.Failed() {
			t.Fatalf("run %d, killed %s after its first acknowledgement", run, window)
		}
	}
	t.Logf("%d kills, %d acknowledged entries", kills, len(acked))
	if len(acked) < kills {
		t.Errorf("only %d entries were acknowledged in %d runs: this tested nothing", len(acked), kills)
	}
}

// killAfter runs a child until window after its first acknowledgement and
// returns all it acknowledged.
func killAfter(t *testing.T, path string, run int, window time.Duration) []string {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childLedger+"="+path, fmt.Sprintf("%s=%03d", childRun, run))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewReader(out)
	var acked []string
	for {
		line, err := lines.ReadString('\n')
		if err != nil { // a line cut short by the kill was not acknowledged in full, and is not counted
			break
		}
		if len(acked) == 0 {
			time.AfterFunc(window, func() { _ = cmd.Process.Kill() })
		}
		acked = append(acked, strings.TrimSuffix(line, "\n"))
	}
	_, _ = io.Copy(io.Discard, out)
	if err := cmd.Wait(); cmd.ProcessState.Exited() {
		t.Fatalf("run %d ended by itself: %v", run, err)
	}
	return acked
}

// examine opens the ledger as the next process would.
func examine(t *testing.T, path string, acked map[string]bool) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatalf("Open after the kill: %v", err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	}()
	if err := s.Check(t.Context()); err != nil {
		t.Errorf("Check after the kill: %v", err)
	}
	all, err := s.Entries(t.Context(), ledger.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	next := map[string]int{} // by run and writer
	for i, e := range all {
		times[e.Source]++
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d is #%d", i+1, e.Seq)
		}
		who := e.Source[:len("000:0")]
		if want := fmt.Sprintf("%s:%06d", who, next[who]); e.Source != want {
			t.Fatalf("#%d is %s, want %s: a writer's entries are out of order", e.Seq, e.Source, want)
		}
		next[who]++
	}
	for source := range acked {
		if times[source] != 1 {
			t.Errorf("acknowledged %s is there %d times", source, times[source])
		}
	}
	resend(t, s, all, acked)
	lags, err := s.Lagging(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lags {
		last, err := s.Entries(t.Context(), ledger.Filter{Place: l.Bank, Limit: 1, Newest: true})
		if err != nil || len(last) != 1 || last[0].Seq != l.Head {
			t.Errorf("head of %s is #%d; its newest entry is %v (%v)", l.Bank, l.Head, last, err)
		}
	}
}

// resend commits some acknowledged entries again, as a platform does that has
// not heard of the acknowledgement: each is known.
func resend(t *testing.T, s ledger.Store, all []entry.Entry, acked map[string]bool) {
	t.Helper()
	var b ledger.Batch
	for i := len(all) - 1; i >= 0 && len(b.Entries) < 20; i-- {
		if acked[all[i].Source] {
			b.Entries = append(b.Entries, all[i])
		}
	}
	res, err := s.Commit(t.Context(), b)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range res {
		if !r.Duplicate || r.Seq != b.Entries[i].Seq {
			t.Errorf("resent %s: %+v, want the duplicate of #%d", b.Entries[i].Source, r, b.Entries[i].Seq)
		}
	}
}
