// Package webhook is the intake for integrators: readings and change-outs in by
// HTTP, banks and the due list out.
package webhook

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"time"

	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/queue"
	"clogwise/internal/view"
)

// Queue is what the intake needs of the queue.
type Queue interface {
	Notify(ctx context.Context, notices ...queue.Notice) error
	Allow(ctx context.Context, key string, perSecond float64, burst int) (ok bool, retryAfter time.Duration, err error)
	Ping(ctx context.Context) error
}

// Server answers HTTP.
type Server struct {
	Store    ledger.Store
	View     *view.View
	Queue    Queue
	Now      func() time.Time
	Log      *slog.Logger
	MaxBody  int64
	Rate     float64 // requests a second for one key
	Burst    int
	MaxItems int // in one request; 0 = 10 000
}

// Handler is the routes.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /v1/readings", s.intake(decodeReading))
	mux.HandleFunc("POST /v1/swaps", s.intake(decodeSwap))
	mux.HandleFunc("GET /v1/banks", s.read(s.banks))
	mux.HandleFunc("GET /v1/banks/{site}/{ahu}/{bank}", s.read(s.bank))
	mux.HandleFunc("GET /v1/due", s.read(s.due))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		s.answer(w, http.StatusOK, map[string]bool{"alive": true})
	})
	mux.HandleFunc("GET /readyz", s.ready)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.problem(w, http.StatusNotFound, "nothing here; send readings to POST /v1/readings and change-outs to POST /v1/swaps")
	})
	return guard(mux)
}

// guard sets the headers that every answer carries.
func guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "no-store")
		h.Set("Content-Security-Policy", "default-src 'none'")
		next.ServeHTTP(w, r)
	})
}

// Serve answers on l until ctx is done, then finishes what it has begun.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	srv := &http.Server{
		Handler: s.Handler(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(s.Log.Handler(), slog.LevelDebug),
	}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	err := srv.Shutdown(stop)
	if serr := <-failed; !errors.Is(serr, http.ErrServerClosed) {
		err = errors.Join(err, serr)
	}
	return err
}

// ready tells whether entries can be taken; a queue out of reach only delays
// forecasts, so it is told and does not make the answer a failure.
func (s *Server) ready(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	state := map[string]string{"ledger": "ready", "queue": "ready"}
	status := http.StatusOK
	if err := s.Store.Ping(ctx); err != nil {
		state["ledger"], status = "out of reach", http.StatusServiceUnavailable
	}
	if err := s.Queue.Ping(ctx); err != nil {
		state["queue"] = "out of reach: readings are taken, forecasts follow later"
	}
	s.answer(w, status, state)
}

// keyed reads the body within its bound and finds the key it was sent with; ok
// is false when the answer has been given.
func (s *Server) keyed(w http.ResponseWriter, r *http.Request) (k ledger.Key, body []byte, ok bool) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, s.MaxBody))
	if err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			s.problem(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is larger than %d bytes; nothing was recorded. Send fewer items at a time", s.MaxBody))
			return k, nil, false
		}
		s.problem(w, http.StatusBadRequest, "the body broke off; nothing was recorded. Send it again with the same webhook-id")
		return k, nil, false
	}
	keys, err := s.Store.Keys(r.Context())
	if err != nil {
		s.unavailable(w, err)
		return k, nil, false
	}
	k, err = authenticate(keys, r.Header, body, s.Now())
	if err != nil {
		w.Header().Set("WWW-Authenticate", "Bearer")
		s.problem(w, http.StatusUnauthorized, err.Error())
		return k, nil, false
	}
	allowed, wait, err := s.Queue.Allow(r.Context(), "hook:"+k.ID, s.Rate, s.Burst)
	if err == nil && !allowed { // a limiter out of reach lets pass: readings matter more
		w.Header().Set("Retry-After", strconv.Itoa(max(1, int(wait/time.Second)+1)))
		s.problem(w, http.StatusTooManyRequests, "too many requests for this key; nothing was recorded. Send it again after the time in Retry-After, or several items in one request")
		return k, nil, false
	}
	return k, body, true
}

func (s *Server) unavailable(w http.ResponseWriter, err error) {
	s.Log.Error("ledger out of reach", "error", err)
	w.Header().Set("Retry-After", "5")
	s.problem(w, http.StatusServiceUnavailable, "the ledger cannot be written now; nothing was recorded. Send it again with the same webhook-id")
}

// read guards a GET by a key and narrows it to the key's sites.
func (s *Server) read(do func(w http.ResponseWriter, r *http.Request, sites []plant.Site) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		k, _, ok := s.keyed(w, r)
		if !ok {
			return
		}
		reg, err := s.View.Register(r.Context())
		if err != nil {
			s.unavailable(w, err)
			return
		}
		var sites []plant.Site
		for _, site := range reg.Sites() {
			if mayWrite(ledger.Key{Sites: k.Sites}, plant.MakeBankID(site.ID, "-", "-"), "") {
				sites = append(sites, site)
			}
		}
		if err := do(w, r, sites); err != nil {
			s.unavailable(w, err)
		}
	}
}

func (s *Server) banks(w http.ResponseWriter, r *http.Request, sites []plant.Site) error {
	out := []any{}
	for _, site := range sites {
		as, err := s.View.Assessments(r.Context(), plant.BankID(site.ID), s.Now())
		if err != nil {
			return err
		}
		for _, a := range as {
			a.Lives = nil // what priors are learnt from is of no use outside
			out = append(out, a)
		}
	}
	s.answer(w, http.StatusOK, map[string]any{"banks": out})
	return nil
}

func (s *Server) bank(w http.ResponseWriter, r *http.Request, sites []plant.Site) error {
	id := plant.MakeBankID(r.PathValue("site"), r.PathValue("ahu"), r.PathValue("bank"))
	for _, site := range sites {
		if site.ID != id.Site() {
			continue
		}
		a, ok, err := s.View.Assessment(r.Context(), id)
		if err != nil {
			return err
		}
		if ok {
			a = a.AsOf(s.Now())
			a.Lives = nil
			s.answer(w, http.StatusOK, a)
			return nil
		}
	}
	s.problem(w, http.StatusNotFound, fmt.Sprintf("no bank %s for this key; GET /v1/banks lists them", id))
	return nil
}

func (s *Server) due(w http.ResponseWriter, r *http.Request, sites []plant.Site) error {
	out := []any{}
	for _, site := range sites {
		b, err := s.View.Board(r.Context(), site, s.Now())
		if err != nil {
			return err
		}
		for _, row := range b.Rows {
			out = append(out, row)
		}
	}
	s.answer(w, http.StatusOK, map[string]any{"due": out})
	return nil
}
