package queue_test

import (
	"context"
	"strconv"
	"sync/atomic"
	"testing"

	"clogwise/internal/queue"
	"clogwise/internal/queue/redistest"
)

// onEach runs a benchmark on the embedded server and on a real one.
func onEach(b *testing.B, run func(*testing.B, *queue.Queue)) {
	b.Run("embedded", func(b *testing.B) {
		q, err := queue.OpenEmbedded(queue.Options{})
		run(b, opened(b, q, err))
	})
	b.Run("redis", func(b *testing.B) {
		q, err := queue.Open(queue.Options{URL: redistest.Start(b, redistest.Options{}).URL()})
		run(b, opened(b, q, err))
	})
}

func opened(b *testing.B, q *queue.Queue, err error) *queue.Queue {
	b.Helper()
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := q.Close(); err != nil {
			b.Error(err)
		}
	})
	return q
}

// serve consumes until the benchmark ends.
func serve(b *testing.B, q *queue.Queue, c queue.Consumer, h queue.Handler) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- q.Consume(ctx, c, h) }()
	b.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			b.Error(err)
		}
	})
}

// BenchmarkRoundTrip is the time from a notice to its handler, one at a time.
func BenchmarkRoundTrip(b *testing.B) {
	onEach(b, func(b *testing.B, q *queue.Queue) {
		handled := make(chan struct{})
		serve(b, q, queue.Consumer{Name: "bench", Workers: 1}, func(context.Context, queue.Notice) error {
			handled <- struct{}{}
			return nil
		})
		banks := names(b.N)
		b.ResetTimer()
		for i := range b.N {
			if err := q.Notify(b.Context(), queue.Notice{Bank: banks[i], UpTo: 1}); err != nil {
				b.Fatal(err)
			}
			<-handled
		}
		b.StopTimer()
	})
}

// BenchmarkThroughput is the time per notice of many banks, queued a hundred
// at a time and worked by eight workers.
func BenchmarkThroughput(b *testing.B) {
	onEach(b, func(b *testing.B, q *queue.Queue) {
		var handled atomic.Int64
		all := make(chan struct{})
		total := int64(b.N)
		serve(b, q, queue.Consumer{Name: "bench", Workers: 8, Batch: 64}, func(context.Context, queue.Notice) error {
			if handled.Add(1) == total {
				close(all)
			}
			return nil
		})
		banks := names(b.N)
		b.ResetTimer()
		for from := 0; from < b.N; from += 100 {
			step := make([]queue.Notice, 0, 100)
			for _, bank := range banks[from:min(from+100, b.N)] {
				step = append(step, queue.Notice{Bank: bank, UpTo: 1})
			}
			if err := q.Notify(b.Context(), step...); err != nil {
				b.Fatal(err)
			}
		}
		<-all
		b.StopTimer()
	})
}

// BenchmarkConsume is the time to work off 5 000 banks that wait, with a handler
// that does nothing, one at a time and many together.
func BenchmarkConsume(b *testing.B) {
	const banks = 5000
	all := make([]queue.Notice, banks)
	for i, bank := range names(banks) {
		all[i] = queue.Notice{Bank: bank, UpTo: 1}
	}
	for _, most := range []int{1, 64} {
		b.Run("most="+strconv.Itoa(most), func(b *testing.B) {
			onEach(b, func(b *testing.B, q *queue.Queue) {
				b.StopTimer()
				for range b.N {
					if err := q.Notify(b.Context(), all...); err != nil {
						b.Fatal(err)
					}
					workOff(b, q, most, banks)
				}
				b.ReportMetric(float64(banks*b.N)/b.Elapsed().Seconds(), "notices/s")
			})
		})
	}
}

// workOff consumes until so many notices were handled. The timer stands still
// while the consumer stops, for which it waits out its read of the stream.
func workOff(b *testing.B, q *queue.Queue, most, notices int) {
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	var left atomic.Int64
	left.Store(int64(notices))
	all, done := make(chan struct{}), make(chan error, 1)
	c := queue.Consumer{Name: "bench", Workers: 2, Batch: 128} // as many as two full groups
	b.StartTimer()
	go func() {
		done <- q.ConsumeMany(ctx, c, most, func(_ context.Context, ns []queue.Notice) []error {
			if left.Add(int64(-len(ns))) == 0 {
				close(all)
			}
			return nil
		})
	}()
	<-all
	b.StopTimer()
	stop()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
	if d, err := q.Depth(b.Context()); err != nil || d != (queue.Depth{}) {
		b.Fatalf("left over: %+v, %v", d, err)
	}
}

// BenchmarkCollapse is the time of a notice for a bank that is queued already.
func BenchmarkCollapse(b *testing.B) {
	onEach(b, func(b *testing.B, q *queue.Queue) {
		for i := range b.N {
			if err := q.Notify(b.Context(), queue.Notice{Bank: bankA, UpTo: int64(i)}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func names(n int) []string {
	list := make([]string, n)
	for i := range list {
		list[i] = "bank-" + strconv.Itoa(i)
	}
	return list
}
