// Package app builds the parts of clogwise and runs them. It is the only place
// that knows them all.
package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/logging"

	"clogwise/bot"
	"clogwise/bot/slack"
	"clogwise/bot/terminal"
	"clogwise/configs"
	"clogwise/internal/channel"
	"clogwise/internal/config"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/outgoing"
	"clogwise/internal/queue"
	"clogwise/internal/safework"
	"clogwise/internal/view"
	"clogwise/worker"
)

// App is the parts, built and not yet running.
type App struct {
	Cfg    config.Config
	Log    *slog.Logger
	Store  ledger.Store
	Queue  *queue.Queue
	View   *view.View
	Engine *bot.Engine
	Steps  safework.Catalogue
	Now    func() time.Time // domain clock: "now" of messages and forecasts

	recompute *worker.Recomputer
	seconds   prometheus.Histogram // of recomputes
	scheduler *worker.Scheduler
	slack     *slack.Edge // nil: not connected
}

// Options are what is not configuration.
type Options struct {
	Log *slog.Logger
	Now func() time.Time // nil: the real clock
}

// The queue reports outages itself, without the library's chatter on stderr.
func init() { redis.SetLogger(&logging.VoidLogger{}) }

// Open builds the parts: the ledger, the queue, the conversation, the worker.
func Open(ctx context.Context, cfg config.Config, o Options) (*App, error) {
	a := &App{Cfg: cfg, Log: o.Log, Now: o.Now}
	if a.Log == nil {
		a.Log = slog.New(slog.DiscardHandler)
	}
	if a.Now == nil {
		a.Now = time.Now
	}
	var err error
	if a.Steps, err = safework.Load(configs.SafeWorkSteps); err != nil {
		return nil, err
	}
	if a.Store, err = OpenStore(ctx, cfg, a.Log); err != nil {
		return nil, err
	}
	a.Store = told{a.Store, a.Log}
	if a.Queue, err = openQueue(cfg); err != nil {
		return nil, errors.Join(err, a.Store.Close())
	}
	a.View = view.New(a.Store)
	a.View.Remember(cfg.Worker.Remember)
	a.View.AtOnce(cfg.Worker.Parallel)
	a.Engine = &bot.Engine{
		Store: a.Store, Memory: a.Queue, View: a.View, Now: a.Now, Log: a.Log, Steps: a.Steps,
		Expires: cfg.Question.Expires, HereFor: 30 * time.Minute,
	}
	a.recompute = &worker.Recomputer{
		Store: a.Store, View: a.View, Queue: a.Queue, Now: a.Now, Log: a.Log,
		Parallel: cfg.Worker.Parallel, ClaimAfter: cfg.Worker.ClaimAfter, MaxTries: cfg.Worker.MaxTries,
		SweepEvery: cfg.Worker.SweepEvery, ReplyWait: cfg.Outbox.ReplyWait,
	}
	a.seconds = newRecomputeSeconds()
	a.recompute.Took = func(d time.Duration) { a.seconds.Observe(d.Seconds()) }
	a.recompute.Events = &worker.Events{Store: a.Store, View: a.View, Queue: a.Queue, Now: a.Now, Log: a.Log}
	a.scheduler = &worker.Scheduler{
		Store: a.Store, View: a.View, Queue: a.Queue, Now: a.Now, Log: a.Log,
		CatchUp: cfg.Cron.CatchUp, Tick: cfg.Cron.Tick, Lead: cfg.Cron.Lead,
	}
	posts := worker.Posts{View: a.View, Store: a.Store, Steps: a.Steps, Now: a.Now, Platform: a.Platform, Recompute: a.recompute}
	a.scheduler.Jobs, a.scheduler.Always = posts.Jobs(), posts.Always()
	if a.slack, err = a.slackEdge(); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	return a, nil
}

func openQueue(cfg config.Config) (*queue.Queue, error) {
	if cfg.Redis == "" {
		return queue.OpenEmbedded(queue.Options{})
	}
	return queue.Open(queue.Options{URL: cfg.Redis})
}

// Platform is where unasked posts of a site go: the chat platform when one is
// connected, else the terminal.
func (a *App) Platform() string {
	if a.Cfg.Slack.Enabled() {
		return slack.Platform
	}
	return terminal.Platform
}

// Close ends the parts in the reverse order of Open.
func (a *App) Close() error { return errors.Join(a.Queue.Close(), a.Store.Close()) }

// Service is a part that runs until its context is done.
type Service struct {
	Name string
	Run  func(ctx context.Context) error
}

// WorkerServices recompute, sweep and fire what is scheduled, as the roles say.
func (a *App) WorkerServices() []Service {
	var out []Service
	if a.Cfg.Has("worker") {
		out = append(out,
			Service{"worker", a.recompute.Run},
			Service{"sweep", a.recompute.RunSweep},
			a.Delivery(outgoing.Platform, a.outbound()),
		)
	}
	if a.Cfg.Has("cron") {
		out = append(out, Service{"cron", a.scheduler.Run})
	}
	return out
}

// Delivery sends the outbox of one platform.
func (a *App) Delivery(platform string, s channel.Sender) Service {
	o := &worker.Outbox{
		Store: a.Store, Platform: platform, Sender: s, Now: a.Now, Log: a.Log,
		Wake:  func(ctx context.Context) (<-chan struct{}, error) { return a.Queue.Listen(ctx, worker.OutboxTopic) },
		Lease: a.Cfg.Outbox.Lease, MaxAttempts: a.Cfg.Outbox.MaxAttempts, Poll: time.Second,
		GiveUpAfter: a.Cfg.Outbox.GiveUpAfter, MergeAfter: a.Cfg.Outbox.MergeAfter,
		Tongue: func(ctx context.Context, to channel.Address) locale.Locale {
			return a.tongue(ctx, platform, to.Channel)
		},
	}
	if platform != terminal.Platform {
		o.PerSecond, o.Burst = a.Cfg.Outbox.PerSecond, a.Cfg.Outbox.Burst
	}
	return Service{"outbox " + platform, o.Run}
}

// Run starts the services in order and runs them until ctx is done or one
// fails, then stops them in reverse order, each given time to finish what it
// holds.
func Run(ctx context.Context, log *slog.Logger, services ...Service) error {
	type running struct {
		Service
		cancel context.CancelFunc
		done   chan struct{}
	}
	var (
		mu   sync.Mutex
		errs []error
	)
	failed := make(chan struct{}, len(services))
	var all []running
	for _, s := range services {
		sctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
		r := running{s, cancel, make(chan struct{})}
		all = append(all, r)
		go func() {
			defer close(r.done)
			if err := r.Run(sctx); err != nil && sctx.Err() == nil {
				mu.Lock()
				errs = append(errs, fmt.Errorf("%s: %w", r.Name, err))
				mu.Unlock()
				failed <- struct{}{}
			}
		}()
	}
	select {
	case <-ctx.Done():
	case <-failed:
	}
	for i := len(all) - 1; i >= 0; i-- {
		all[i].cancel()
		select {
		case <-all[i].done:
		case <-time.After(stopWait):
			log.Error("a part did not stop in time", "part", all[i].Name)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	return errors.Join(errs...)
}

// stopWait bounds how long one part may take to stop.
const stopWait = 20 * time.Second
