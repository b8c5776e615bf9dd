package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"clogwise/bot/webhook"
	"clogwise/internal/ledger"
	"clogwise/internal/outgoing"
	"clogwise/internal/queue"
)

// Webhook is the intake for integrators, listening, when this process plays the
// bot's role and an address is configured. The address is the one it listens on.
func (a *App) Webhook(ctx context.Context) ([]Service, string, error) {
	if !a.Cfg.Has("bot") || a.Cfg.HTTP.Listen == "" {
		return nil, "", nil
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", a.Cfg.HTTP.Listen)
	if err != nil {
		return nil, "", fmt.Errorf("http.listen: %w; give another address", err)
	}
	if a.Cfg.HTTP.TLSCertFile != "" {
		sealed, err := a.sealed(l)
		if err != nil {
			return nil, "", errors.Join(err, l.Close())
		}
		l = sealed
	}
	also, err := a.slackEvents()
	if err != nil {
		return nil, "", errors.Join(err, l.Close())
	}
	srv := &webhook.Server{
		Store: a.Store, View: a.View, Queue: a.Queue, Now: a.Now, Log: a.Log,
		MaxBody: a.Cfg.HTTP.MaxBodyBytes, Rate: a.Cfg.HTTP.RatePerSec, Burst: a.Cfg.HTTP.Burst,
		Metrics: a.metrics(), Also: also,
	}
	return []Service{{"webhook", func(ctx context.Context) error { return srv.Serve(ctx, l) }}}, l.Addr().String(), nil
}

// metrics gathers what is told of the process, the ledger and the queue.
func (a *App) metrics() *prometheus.Registry {
	reg := prometheus.NewRegistry()
	reg.MustRegister(
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		backlog{store: a.Store, queue: a.Queue}, &standing{app: a}, a.seconds,
	)
	return reg
}

// backlog tells how much is in the ledger and how much waits in the queue.
type backlog struct {
	store ledger.Store
	queue *queue.Queue
}

// gatherWait is how long one gathering may take; what is out of reach is left out.
const gatherWait = 2 * time.Second

var (
	entriesDesc = prometheus.NewDesc("clogwise_ledger_entries_total", "Entries ever recorded.", nil, nil)
	noticesDesc = prometheus.NewDesc("clogwise_queue_notices", "Banks in the queue, by state.", []string{"state"}, nil)
	oldestDesc  = prometheus.NewDesc("clogwise_queue_oldest_notice_age_seconds", "Age of the oldest notice that waits or is worked on.", nil, nil)
)

// Describe implements prometheus.Collector.
func (b backlog) Describe(out chan<- *prometheus.Desc) {
	out <- entriesDesc
	out <- noticesDesc
	out <- oldestDesc
}

// Collect implements prometheus.Collector.
func (b backlog) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), gatherWait)
	defer cancel()
	if head, err := b.store.Head(ctx); err == nil {
		out <- prometheus.MustNewConstMetric(entriesDesc, prometheus.CounterValue, float64(head))
	}
	d, err := b.queue.Depth(ctx)
	if err != nil {
		return
	}
	for state, n := range map[string]int64{"waiting": d.Waiting, "working": d.Working, "retrying": d.Retrying, "parked": d.Parked} {
		out <- prometheus.MustNewConstMetric(noticesDesc, prometheus.GaugeValue, float64(n), state)
	}
	out <- prometheus.MustNewConstMetric(oldestDesc, prometheus.GaugeValue, d.OldestAge.Seconds())
}

// NewKey makes a key for an integrator and returns its secret, which is not
// shown again.
func (a *App) NewKey(ctx context.Context, name, scheme string, sites, points []string) (ledger.Key, string, error) {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return ledger.Key{}, "", err
	}
	for _, s := range sites {
		if _, ok := reg.Site(s); !ok {
			return ledger.Key{}, "", fmt.Errorf("no site %q in the register", s)
		}
	}
	if scheme == outgoing.Scheme {
		return ledger.Key{}, "", errors.New("a key of this scheme opens nothing; clogwise events add NAME URL makes one that signs events")
	}
	k, secret, err := webhook.NewKey(name, scheme, sites, points, a.Now())
	if err != nil {
		return ledger.Key{}, "", err
	}
	return k, secret, a.Store.PutKey(ctx, k)
}

// RotateKey gives a key a successor and returns its secret, which is not shown
// again. The old key is taken until overlap has passed. The successor is kept
// before the old one's end is, so that a failure between leaves both.
func (a *App) RotateKey(ctx context.Context, id string, overlap time.Duration) (old, fresh ledger.Key, secret string, err error) {
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return old, fresh, "", err
	}
	old, fresh, secret, err = webhook.Rotate(keys, id, overlap, a.Now())
	if err != nil {
		return old, fresh, "", err
	}
	for _, k := range []ledger.Key{fresh, old} {
		if err := a.Store.PutKey(ctx, k); err != nil {
			return old, fresh, "", err
		}
	}
	return old, fresh, secret, nil
}

// RevokeKey ends a key at once: servers that run notice within a second. A key
// that is revoked stays as it is.
func (a *App) RevokeKey(ctx context.Context, id string) error {
	keys, err := a.Store.Keys(ctx)
	if err != nil {
		return err
	}
	for _, k := range keys {
		if k.ID != id {
			continue
		}
		if k.Revoked != nil {
			return nil
		}
		now := a.Now().UTC()
		k.Revoked = &now
		return a.Store.PutKey(ctx, k)
	}
	return fmt.Errorf("no key %s; clogwise key list shows them", id)
}
