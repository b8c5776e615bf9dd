package webhook

import (
	"fmt"
	"net/http"
	"path"
	"runtime/debug"
	"slices"
	"strings"
	"time"
)

// handler answers, or returns an error that is answered as problem details.
type handler func(w http.ResponseWriter, r *http.Request) error

// route is one path and what it does by method.
type route struct {
	path   string
	method string // GET answers HEAD too
	do     handler
}

func (s *api) routes() []route {
	return []route{
		{"/v1/readings", http.MethodPost, s.intake(kindReading, makeReading)},
		{"/v1/swaps", http.MethodPost, s.intake(kindSwap, makeSwap)},
		{"/v1/banks", http.MethodGet, s.read(s.banks)},
		{"/v1/banks/{site}/{ahu}/{bank}", http.MethodGet, s.read(s.bank)},
		{"/v1/due", http.MethodGet, s.read(s.due)},
		{"/v1/sites/{site}/calendar.ics", http.MethodGet, s.calendar},
		{"/v1/points", http.MethodGet, s.pointsKnown},
		{"/openapi.json", http.MethodGet, s.description},
		{"/healthz", http.MethodGet, s.alive},
		{"/readyz", http.MethodGet, s.ready},
		{"/metrics", http.MethodGet, s.measured},
	}
}

// Handler is the routes.
func (s *Server) Handler() http.Handler { return newAPI(*s).handler() }

func (s *api) handler() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.Handle(r.path, s.serve(r))
	}
	for at, h := range s.Also {
		mux.Handle(at, h)
	}
	other := s.serve(route{path: "other", do: func(http.ResponseWriter, *http.Request) error {
		return faultf(http.StatusNotFound, "nothing here; send readings to POST /v1/readings and change-outs to POST /v1/swaps. All is described at /openapi.json")
	}})
	mux.Handle("/", other)
	return guarded(exact(mux, other))
}

// exact answers a path that is not written plainly (//v1/readings) as one that is
// not there: the multiplexer would redirect it, and many senders follow a redirect
// of a POST without its body, or count it as taken.
func exact(h, other http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p := r.URL.Path; p != "/" && path.Clean("/"+p) != strings.TrimSuffix(p, "/") {
			other.ServeHTTP(w, r)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// guarded tells browsers to take an answer for nothing but what it says it is, to
// keep no copy, and, once it has come through TLS, to come no other way.
func guarded(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		set := w.Header().Set
		set("X-Content-Type-Options", "nosniff")
		set("Cache-Control", "no-store")
		set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		set("Referrer-Policy", "no-referrer")
		if r.TLS != nil {
			set("Strict-Transport-Security", "max-age=31536000")
		}
		h.ServeHTTP(w, r)
	})
}

// serve puts around a route what every answer needs: the right method, a place among the requests in flight, metrics, and an answer if it panics.
func (s *api) serve(rt route) http.Handler {
	return http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		began := time.Now()
		w := &recorder{ResponseWriter: rw}
		defer func() {
			s.metrics.answered(rt.path, r.Method, w.code(), time.Since(began))
			s.Log.Debug("answered", "route", rt.path, "method", r.Method, "status", w.code(), "took", time.Since(began))
		}()
		defer s.caught(w, r)
		if err := s.dispatch(rt, w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

func (s *api) dispatch(rt route, w http.ResponseWriter, r *http.Request) error {
	allowed := []string{rt.method}
	if rt.method == http.MethodGet {
		allowed = append(allowed, http.MethodHead)
	}
	if rt.method != "" && !slices.Contains(allowed, r.Method) {
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		return faultf(http.StatusMethodNotAllowed, "%s takes %s; %s", rt.path, rt.method, nothingKept)
	}
	if strings.HasPrefix(rt.path, "/v1/") {
		select {
		case s.slots <- struct{}{}:
			defer func() { <-s.slots }()
		default:
			return &fault{
				status: http.StatusServiceUnavailable, retry: time.Second,
				detail: "too many requests at once; " + nothingKept + ". " + sendAgain + " after the time in Retry-After",
			}
		}
	}
	return rt.do(w, r)
}

// caught answers in place of a handler that panicked: a fault of ours.
func (s *api) caught(w *recorder, r *http.Request) {
	p := recover()
	if p == nil {
		return
	}
	if p == http.ErrAbortHandler { //nolint:errorlint // compared as net/http does
		panic(p)
	}
	s.Log.Error("handler panicked", "route", r.Pattern, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
	if w.status == 0 {
		s.fail(w, r, faultf(http.StatusInternalServerError, "a fault of this server; whether it was recorded is not known. %s", sendAgain))
	}
}

// recorder remembers the status of an answer.
type recorder struct {
	http.ResponseWriter
	status int
}

// WriteHeader implements http.ResponseWriter.
func (w *recorder) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

// Unwrap lets http.ResponseController and http.MaxBytesReader reach the writer.
func (w *recorder) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *recorder) code() int { return orElse(w.status, http.StatusOK) }
