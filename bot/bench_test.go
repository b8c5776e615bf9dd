package bot_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"clogwise/bot"
	"clogwise/internal/ledger"
)

// BenchmarkReply is the time from a message to its reply ready to be sent: the
// conversation, the ledger, the queue and the worker in one process.
func BenchmarkReply(b *testing.B) {
	r := newRig(b)
	r.worker.Parallel, r.worker.ClaimAfter, r.worker.MaxTries, r.worker.SweepEvery = 2, 10*time.Second, 3, time.Hour
	done := make(chan error, 1)
	ctx := b.Context()
	go func() { done <- r.worker.Run(ctx) }()
	var took []time.Duration
	for b.Loop() {
		m := r.message(tove, fmt.Sprintf("AHU-3 bag %d Pa 45 Hz", 120+r.n%20))
		from := time.Now()
		must(b, r.engine.HandleMessage(ctx, m))
		for {
			p, err := r.store.Post(ctx, bot.ReplyKey(m))
			must(b, err)
			if p.State == ledger.PostReady {
				break
			}
			time.Sleep(200 * time.Microsecond)
		}
		took = append(took, time.Since(from))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
}

// BenchmarkHandleMessage is the conversation's part alone, until the entry is
// durable.
func BenchmarkHandleMessage(b *testing.B) {
	for _, text := range []string{"AHU-3 bag 145 Pa 45 Hz", "morning all, anyone for tea?", "due"} {
		b.Run(text, func(b *testing.B) {
			r := newRig(b)
			for b.Loop() {
				must(b, r.engine.HandleMessage(b.Context(), r.message(tove, text)))
			}
		})
	}
}
