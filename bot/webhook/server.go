// Package webhook is the intake for integrators: readings and change-outs in by
// HTTP, banks and the due list out.
package webhook

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"clogwise/internal/ledger"
	"clogwise/internal/pointbook"
	"clogwise/internal/queue"
	"clogwise/internal/view"
)

// Queue is what the intake needs of the queue.
type Queue interface {
	Notify(ctx context.Context, notices ...queue.Notice) error
	Take(ctx context.Context, key string, perSecond float64, burst, most int) (got int, retryAfter time.Duration, err error)
	Ping(ctx context.Context) error
}

// Server answers HTTP.
type Server struct {
	Store ledger.Store
	View  *view.View
	Queue Queue
	Now   func() time.Time // domain clock; also of the signature window
	Log   *slog.Logger

	MaxBody    int64         // bytes as sent; unpacked eight times that
	MaxItems   int           // in one request; 0: 10 000
	InFlight   int           // requests answered at a time; 0: 256
	Rate       float64       // requests a second for one key and its successors
	Burst      int           // of them at once
	KeysFor    time.Duration // a key revoked is taken for so long at most; 0: a second
	PlantFor   time.Duration // the register is taken as read for so long; 0: 50 ms
	HeaderWait time.Duration // a header must be complete by then; 0: 5 s
	StopAfter  time.Duration // requests begun are given so long when stopping; 0: 10 s

	Metrics *prometheus.Registry // served at /metrics; nil: one of its own

	// Also are further paths that others answer, such as a chat platform's events.
	Also map[string]http.Handler
}

// api is a Server with what it keeps while it runs.
type api struct {
	Server
	keys    *keyring
	book    *pointbook.Book
	plant   *recent
	shared  *shared
	metrics *metrics
	slots   chan struct{} // requests in flight
}

func newAPI(s Server) *api {
	s.MaxItems = min(orElse(s.MaxItems, 10_000), maxItemsEver)
	if s.Metrics == nil {
		s.Metrics = prometheus.NewRegistry()
	}
	a := &api{
		Server:  s,
		keys:    &keyring{load: s.Store.Keys, hold: orElse(s.KeysFor, keysFor)},
		book:    &pointbook.Book{Store: s.Store, View: s.View},
		metrics: newMetrics(s.Metrics),
		slots:   make(chan struct{}, orElse(s.InFlight, 256)),
	}
	a.plant = &recent{read: a.book.Map, hold: orElse(s.PlantFor, plantFor)}
	a.shared = newShared(s.Queue, s.Rate, s.Burst, a.lostQueue)
	return a
}

func (s *api) lostQueue(what string, err error) {
	s.metrics.queueFailures.Inc()
	s.Log.Warn("queue out of reach: forecasts follow by the sweep, rates are limited by this process alone", "in", what, "error", err)
}

// orElse is v, or fallback when v is zero.
func orElse[T comparable](v, fallback T) T {
	var zero T
	if v == zero {
		return fallback
	}
	return v
}

// Serve answers on l until ctx is done, then finishes what it has begun.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	a := newAPI(*s)
	srv := &http.Server{
		Handler: a.handler(), ReadHeaderTimeout: orElse(s.HeaderWait, 5*time.Second), ReadTimeout: 30 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(s.Log.Handler(), slog.LevelDebug), // of connections: their senders' affair
	}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), orElse(s.StopAfter, 10*time.Second))
	defer cancel()
	err := srv.Shutdown(stop)
	if err != nil {
		err = errors.Join(err, srv.Close())
	}
	a.shared.wait()
	if serr := <-failed; !errors.Is(serr, http.ErrServerClosed) {
		err = errors.Join(err, serr)
	}
	return err
}
