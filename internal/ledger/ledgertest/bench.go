package ledgertest

import (
	"fmt"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
)

// Benchmark runs the benchmarks by which stores are compared. Every figure is of
// durable work; "entries/s" counts entries, not commits. open gives a fresh,
// empty store.
func Benchmark(b *testing.B, open func(b *testing.B) ledger.Store) {
	b.Run("Commit/single", func(b *testing.B) { benchCommit(b, open(b), 1) })
	b.Run("Commit/batch=100", func(b *testing.B) { benchCommit(b, open(b), 100) })
	b.Run("Commit/batch=1000", func(b *testing.B) { benchCommit(b, open(b), 1000) })
	b.Run("Commit/writers=64", func(b *testing.B) { benchWriters(b, open(b), 64) })
	for _, n := range []int{1000, 10_000} {
		b.Run(fmt.Sprintf("Entries/of-bank=%d", n), func(b *testing.B) { benchEntries(b, open(b), n) })
	}
	for _, n := range []int{1000, 10_000} {
		b.Run(fmt.Sprintf("Lagging/banks=%d", n), func(b *testing.B) { benchLagging(b, open(b), n) })
	}
	b.Run("PutProjection/writers=64", func(b *testing.B) { benchProject(b, open(b), 64) })
	b.Run("Claim+MarkSent", func(b *testing.B) { benchClaim(b, open(b)) })
	b.Run("Claim/nothing-due", func(b *testing.B) { benchNothingDue(b, open(b)) })
}

const benchBanks = 1000

// stream makes readings of many banks as building systems send them: all banks
// of one quarter of an hour, then of the next.
func stream(from, n int) []entry.Entry {
	out := make([]entry.Entry, n)
	for i := range out {
		k := from + i
		out[i] = reading(fmt.Sprintf("webhook:hall:%012d", k), benchBank(k%benchBanks))
		out[i].At = monday.Add(time.Duration(k/benchBanks) * 15 * time.Minute)
		out[i].Line = ""
	}
	return out
}

func benchBank(i int) plant.BankID {
	return plant.BankID(fmt.Sprintf("site-%02d/ahu-%02d/secondary", i/100, i%100))
}

func rate(b *testing.B, n int) {
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "entries/s")
}

func benchCommit(b *testing.B, s ledger.Store, size int) {
	n := 0
	for b.Loop() {
		if _, err := s.Commit(b.Context(), ledger.Batch{Entries: stream(n, size)}); err != nil {
			b.Fatal(err)
		}
		n += size
	}
	rate(b, n)
}

// parallel runs work(i) for i below b.N on a number of goroutines.
func parallel(b *testing.B, goroutines int, work func(i int) error) {
	var next atomic.Int64
	b.SetParallelism(max(1, goroutines/runtime.GOMAXPROCS(0)))
	b.ResetTimer()
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			if err := work(int(next.Add(1))); err != nil {
				b.Error(err)
				return
			}
		}
	})
}

func benchWriters(b *testing.B, s ledger.Store, writers int) {
	parallel(b, writers, func(i int) error {
		_, err := s.Commit(b.Context(), ledger.Batch{Entries: stream(i, 1)})
		return err
	})
	rate(b, b.N)
}

func benchEntries(b *testing.B, s ledger.Store, n int) {
	// Other banks' entries lie between, as they do in life.
	for from := 0; from < n; from += 1000 {
		var batch ledger.Batch
		for k := range min(1000, n-from) {
			es := stream((from+k)*3, 3)
			es[0].Place, es[1].Place, es[2].Place = bank, benchBank(k%benchBanks), benchBank((k+7)%benchBanks)
			batch.Entries = append(batch.Entries, es...)
		}
		if _, err := s.Commit(b.Context(), batch); err != nil {
			b.Fatal(err)
		}
	}
	total := 0
	for b.Loop() {
		es, err := s.Entries(b.Context(), ledger.Filter{Place: bank})
		if err != nil || len(es) != n {
			b.Fatalf("%d entries, %v", len(es), err)
		}
		total += n
	}
	rate(b, total)
}

// benchLagging asks for a hundred of the banks behind, one in ten being so.
func benchLagging(b *testing.B, s ledger.Store, banks int) {
	var batch ledger.Batch
	for i := range banks {
		batch.Entries = append(batch.Entries, reading(fmt.Sprint(i), plant.BankID(fmt.Sprintf("s/%d/b", i))))
	}
	if _, err := s.Commit(b.Context(), batch); err != nil {
		b.Fatal(err)
	}
	done := make(chan error, 64)
	for w := range cap(done) {
		go func() {
			var err error
			for i := w; i < banks && err == nil; i += cap(done) {
				if i%10 != 0 {
					err = s.PutProjection(b.Context(), projection(batch.Entries[i].Place, int64(banks), ""))
				}
			}
			done <- err
		}()
	}
	for range cap(done) {
		if err := <-done; err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		l, err := s.Lagging(b.Context(), 100)
		if err != nil || len(l) != 100 {
			b.Fatalf("%d lagging, %v", len(l), err)
		}
	}
}

func benchProject(b *testing.B, s ledger.Store, workers int) {
	parallel(b, workers, func(i int) error {
		return s.PutProjection(b.Context(), projection(benchBank(i%benchBanks), int64(i), ""))
	})
}

func benchClaim(b *testing.B, s ledger.Store) {
	n := 0
	for b.Loop() {
		p := post(fmt.Sprint(n), fmt.Sprint("T", n))
		if _, err := s.Commit(b.Context(), ledger.Batch{Posts: []ledger.OutboxPost{p}}); err != nil {
			b.Fatal(err)
		}
		ps, err := s.Claim(b.Context(), "terminal", monday, lease, 10)
		if err != nil || len(ps) != 1 {
			b.Fatalf("%d claimed, %v", len(ps), err)
		}
		if err := s.MarkSent(b.Context(), ps[0].Key, fmt.Sprint(n), monday); err != nil {
			b.Fatal(err)
		}
		n++
	}
}

// benchNothingDue is the common case of a sender's poll, with a backlog that
// backs off.
func benchNothingDue(b *testing.B, s ledger.Store) {
	var batch ledger.Batch
	for i := range 1000 {
		p := post(fmt.Sprint(i), fmt.Sprint("T", i%50))
		p.NotBefore = monday.Add(time.Hour)
		batch.Posts = append(batch.Posts, p)
	}
	if _, err := s.Commit(b.Context(), batch); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if ps, err := s.Claim(b.Context(), "terminal", monday, lease, 10); err != nil || len(ps) != 0 {
			b.Fatalf("%d claimed, %v", len(ps), err)
		}
	}
}
