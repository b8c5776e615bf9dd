package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"clogwise/internal/realised"
)

// newRecomputeSeconds counts how long recomputes take.
func newRecomputeSeconds() prometheus.Histogram {
	return prometheus.NewHistogram(prometheus.HistogramOpts{
		Name: "clogwise_recompute_duration_seconds", Help: "Time to work out one bank's forecast and keep it.",
		Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10},
	})
}

// MetricsService serves /metrics and /healthz for a process without the bot's
// role, where an address is configured; with that role the webhook does.
func (a *App) MetricsService(ctx context.Context) ([]Service, error) {
	if a.Cfg.Has("bot") || a.Cfg.HTTP.MetricsListen == "" {
		return nil, nil
	}
	l, err := new(net.ListenConfig).Listen(ctx, "tcp", a.Cfg.HTTP.MetricsListen)
	if err != nil {
		return nil, fmt.Errorf("http.metrics_listen: %w; give another address", err)
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(a.metrics(), promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /healthz", func(http.ResponseWriter, *http.Request) {})
	srv := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute}
	return []Service{{"metrics", func(ctx context.Context) error {
		defer context.AfterFunc(ctx, func() { _ = srv.Close() })()
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}}}, nil
}

var (
	behindDesc    = prometheus.NewDesc("clogwise_forecasts_behind_banks", "Banks whose forecast does not cover their entries yet.", nil, nil)
	waitDesc      = prometheus.NewDesc("clogwise_forecasts_behind_oldest_seconds", "How long the entry waited longest for has been in the ledger.", nil, nil)
	postsDesc     = prometheus.NewDesc("clogwise_outbox_posts", "Posts still to be sent.", nil, nil)
	postAgeDesc   = prometheus.NewDesc("clogwise_outbox_oldest_age_seconds", "Age of the oldest post still to be sent.", nil, nil)
	parkedDesc    = prometheus.NewDesc("clogwise_outbox_parked_posts", "Posts given up for a person to decide on.", nil, nil)
	outcomesDesc  = prometheus.NewDesc("clogwise_forecast_outcomes", "Change-outs of the last year that had a forecast 30 days before.", nil, nil)
	errorDesc     = prometheus.NewDesc("clogwise_forecast_error_seconds", "Time from the date forecast 30 days before to the change-out.", []string{"of"}, nil)
	insideDesc    = prometheus.NewDesc("clogwise_forecast_inside_ratio", "Share of change-outs inside the central 80 % range forecast 30 days before.", nil, nil)
	standingDescs = []*prometheus.Desc{behindDesc, waitDesc, postsDesc, postAgeDesc, parkedDesc, outcomesDesc, errorDesc, insideDesc}
)

// standing tells what waits and how forecasts fared.
type standing struct {
	app *App

	mu     sync.Mutex
	looked time.Time
	fared  realised.Summary
}

// daySeconds turns days into Prometheus' base unit of time.
const daySeconds = 24 * 60 * 60

// faredFor is how long a look at past forecasts, which is dear, is told again.
const faredFor = time.Hour

// Describe implements prometheus.Collector.
func (*standing) Describe(out chan<- *prometheus.Desc) {
	for _, d := range standingDescs {
		out <- d
	}
}

// Collect implements prometheus.Collector. What is out of reach is left out.
func (c *standing) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), gatherWait)
	defer cancel()
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	var s Status
	now := c.app.Now()
	if c.app.askBehind(ctx, now, &s) == nil {
		gauge(behindDesc, float64(s.Behind.Banks))
		gauge(waitDesc, s.Behind.Oldest.Seconds())
	}
	if c.app.askOutbox(ctx, now, &s) == nil {
		gauge(postsDesc, float64(s.Outbox.Posts))
		gauge(postAgeDesc, s.Outbox.Oldest.Seconds())
		gauge(parkedDesc, float64(s.Parked))
	}
	if r := c.summary(now); r.Count > 0 {
		gauge(outcomesDesc, float64(r.Count))
		gauge(errorDesc, r.MedianAbsDays*daySeconds, "median_abs")
		gauge(errorDesc, r.MeanDays*daySeconds, "mean")
		gauge(insideDesc, r.InsideShare)
	}
}

// summary is worked out beside the gathering, which has no time for it: the
// first gathering after a start tells of none.
func (c *standing) summary(now time.Time) realised.Summary {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.looked.IsZero() || time.Since(c.looked) > faredFor {
		c.looked = time.Now()
		go c.look(now)
	}
	return c.fared
}

func (c *standing) look(now time.Time) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	outcomes, err := c.app.View.Realised(ctx, now.Add(-realisedSince), now, realisedAhead, realisedMost)
	if err != nil {
		c.app.Log.Debug("forecasts not held against what happened", "error", err)
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.fared = realised.Sum(outcomes)
}
