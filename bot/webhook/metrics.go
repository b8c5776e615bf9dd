package webhook

import (
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics count what the intake does, by Prometheus' naming conventions. No
// label holds anything that senders choose: routes, methods and outcomes only.
type metrics struct {
	requests      *prometheus.CounterVec
	seconds       *prometheus.HistogramVec
	items         *prometheus.CounterVec
	queueFailures prometheus.Counter
}

func newMetrics(reg *prometheus.Registry) *metrics {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "clogwise_http_requests_total", Help: "Requests answered, by route, method and status.",
		}, []string{"route", "method", "code"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "clogwise_http_request_duration_seconds", Help: "Time from a request's header to its answer, by route.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10},
		}, []string{"route"}),
		items: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "clogwise_intake_items_total", Help: "Items received, by kind (reading, swap) and outcome (recorded, held, aside, duplicate, refused).",
		}, []string{"kind", "outcome"}),
		queueFailures: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "clogwise_intake_queue_failures_total", Help: "Times the queue was out of reach of the intake.",
		}),
	}
	reg.MustRegister(m.requests, m.seconds, m.items, m.queueFailures)
	return m
}

func (m *metrics) answered(route, method string, code int, took time.Duration) {
	m.requests.WithLabelValues(route, knownMethod(method), strconv.Itoa(code)).Inc()
	m.seconds.WithLabelValues(route).Observe(took.Seconds())
}

// knownMethod keeps invented methods from making a series each.
func knownMethod(m string) string {
	switch m {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return m
	}
	return "other"
}

func (m *metrics) took(kind string, r report) {
	for outcome, n := range map[string]int{recorded: r.Recorded, held: r.Held, aside: r.Aside, duplicate: r.Duplicate, refused: r.Refused} {
		if n > 0 {
			m.items.WithLabelValues(kind, outcome).Add(float64(n))
		}
	}
}

// measured serves what has been counted.
func (s *api) measured(w http.ResponseWriter, r *http.Request) error {
	promhttp.HandlerFor(s.Metrics, promhttp.HandlerOpts{ErrorLog: promLog{s.Log}}).ServeHTTP(w, r)
	return nil
}

// promLog passes on what goes wrong while metrics are gathered.
type promLog struct{ log *slog.Logger }

// Println implements promhttp.Logger.
func (l promLog) Println(v ...any) { l.log.Error("metrics", "error", fmt.Sprint(v...)) }
