package trial

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/redis/go-redis/v9"

	"clogwise/bot/webhook"
	"clogwise/bot/webhook/load"
	"clogwise/internal/app"
	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
)

// parts measures each part by itself.
func parts(ctx context.Context, a *app.App, o Options, whole load.Report) ([]Part, error) {
	var out []Part
	for _, p := range []struct {
		name    string
		measure func(context.Context, *app.App, Options) (float64, error)
		without bool
	}{
		{"handler without ledger and queue", handlerAlone, false},
		{"ledger without handler", ledgerAlone, false},
		{"XADD of each reading, a pipeline a request", xaddAlone, o.Redis == ""},
	} {
		if p.without {
			continue
		}
		perSecond, err := p.measure(ctx, a, o)
		if err != nil {
			return out, fmt.Errorf("%s: %w", p.name, err)
		}
		out = append(out, Part{p.name, perSecond, perSecond * float64(o.Plan.Batch), whole.RequestsPerSec / perSecond})
	}
	return out, nil
}

// hollow is a ledger that keeps nothing of what is committed.
type hollow struct {
	ledger.Store
	seq atomic.Int64
}

// Commit implements ledger.Store, numbering entries as a ledger would.
func (h *hollow) Commit(_ context.Context, b ledger.Batch) ([]ledger.Result, error) {
	out := make([]ledger.Result, len(b.Entries))
	last := h.seq.Add(int64(len(out)))
	for i := range out {
		out[i].Seq = last - int64(len(out)-1-i)
	}
	return out, nil
}

// deaf is a queue that takes everything and does nothing.
type deaf struct{}

// Notify implements webhook.Queue.
func (deaf) Notify(context.Context, ...queue.Notice) error { return nil }

// Take implements webhook.Queue.
func (deaf) Take(_ context.Context, _ string, _ float64, _, most int) (int, time.Duration, error) {
	return most, 0, nil
}

// Ping implements webhook.Queue.
func (deaf) Ping(context.Context) error { return nil }

func handlerAlone(ctx context.Context, a *app.App, o Options) (float64, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	srv := webhook.Server{
		Store: &hollow{Store: a.Store}, View: a.View, Queue: deaf{}, Now: a.Now, Log: a.Log,
		MaxBody: a.Cfg.HTTP.MaxBodyBytes, Rate: unlimited, Burst: unlimited,
	}
	p := o.Plan
	p.URL, p.For, p.Resend, p.Follow, p.PerSecond = "http://"+l.Addr().String(), o.Parts, 0, 0, 0
	rep, err := driven(ctx, a, []app.Service{{Name: "webhook", Run: func(ctx context.Context) error { return srv.Serve(ctx, l) }}}, p)
	return rep.RequestsPerSec, err
}

func ledgerAlone(ctx context.Context, _ *app.App, o Options) (float64, error) {
	s, err := sqlite.Open(ctx, filepath.Join(o.Dir, "alone.db"), sqlite.Options{})
	if err != nil {
		return 0, err
	}
	perSecond, err := hammer(ctx, o, func(ctx context.Context, n int) error {
		_, err := s.Commit(ctx, ledger.Batch{Entries: readings(o, n)})
		return err
	})
	return perSecond, errors.Join(err, s.Close())
}

// readings are the entries of request n.
func readings(o Options, n int) []entry.Entry {
	out := make([]entry.Entry, o.Plan.Batch)
	now := time.Now().UTC()
	for i := range out {
		k := n*o.Plan.Batch + i
		out[i] = entry.Entry{
			Source: fmt.Sprintf("hook:alone:msg:%d:%06d", n, i), Kind: entry.KindReading, Place: plant.BankID(o.Plan.Banks[k%len(o.Plan.Banks)]),
			At: now, Received: now, By: "trial", Body: entry.Reading{Pa: 60 + float64(k%400)/10, StepPa: 1, Suspect: true},
		}
	}
	return out
}

// xaddKey is the stream of this measurement alone.
const xaddKey = "clogwise-trial:xadd"

func xaddAlone(ctx context.Context, _ *app.App, o Options) (float64, error) {
	opts, err := redis.ParseURL(o.Redis)
	if err != nil {
		return 0, err
	}
	rdb := redis.NewClient(opts)
	perSecond, err := hammer(ctx, o, func(ctx context.Context, n int) error {
		p := rdb.Pipeline()
		for i := range o.Plan.Batch {
			p.XAdd(ctx, &redis.XAddArgs{Stream: xaddKey, MaxLen: 100_000, Approx: true, Values: []any{
				"bank", o.Plan.Banks[(n*o.Plan.Batch+i)%len(o.Plan.Banks)], "upto", n,
			}})
		}
		_, err := p.Exec(ctx)
		return err
	})
	return perSecond, errors.Join(err, rdb.Del(ctx, xaddKey).Err(), rdb.Close())
}

// hammer does something from as many senders as the plan has and returns how
// often a second it was done.
func hammer(ctx context.Context, o Options, do func(ctx context.Context, n int) error) (float64, error) {
	began := time.Now()
	var next atomic.Int64
	var all sync.WaitGroup
	errs := make([]error, o.Plan.Parallel)
	for i := range errs {
		all.Go(func() {
			for errs[i] == nil && ctx.Err() == nil && time.Since(began) < o.Parts {
				errs[i] = do(ctx, int(next.Add(1)))
			}
		})
	}
	all.Wait()
	return float64(next.Load()) / time.Since(began).Seconds(), errors.Join(append(errs, ctx.Err())...)
}
