package webhook

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"time"

	"clogwise/internal/ledger"
)

// problem is an answer that something was wrong, after RFC 9457.
type problem struct {
	Type    string   `json:"type"` // about:blank: the status says which kind it is
	Title   string   `json:"title"`
	Status  int      `json:"status"`
	Detail  string   `json:"detail"`            // what was wrong, what was kept, what to send next
	Results []result `json:"results,omitempty"` // of each item, when all were refused
}

// fault is an error that is answered with a status.
type fault struct {
	status  int
	detail  string
	retry   time.Duration // after which it may be sent again; 0: not by waiting
	results []result
	cause   error // for the log alone
}

// Error implements error.
func (f *fault) Error() string { return f.detail }

// Unwrap gives the cause.
func (f *fault) Unwrap() error { return f.cause }

func faultf(status int, format string, args ...any) *fault {
	return &fault{status: status, detail: fmt.Sprintf(format, args...)}
}

// Second halves of details.
const (
	nothingKept = "nothing was recorded"
	sendAgain   = "Send it again with the same webhook-id"
)

// storeFault says what a failure of the ledger means for the sender.
func storeFault(err error) *fault {
	switch {
	case errors.Is(err, ledger.ErrUncertain):
		return &fault{
			status: http.StatusServiceUnavailable, retry: 5 * time.Second, cause: err,
			detail: "it is not known whether the ledger took this; " + sendAgain + ": what was recorded will be told as duplicate",
		}
	case errors.Is(err, ledger.ErrInvalid):
		return &fault{status: http.StatusInternalServerError, cause: err, detail: "the ledger refused the entries, which is a fault of this server; " + nothingKept}
	}
	return &fault{
		status: http.StatusServiceUnavailable, retry: 5 * time.Second, cause: err,
		detail: "the ledger is out of reach now; " + nothingKept + ". " + sendAgain + " after the time in Retry-After",
	}
}

// fail answers with an error: a fault as it says, any other as the ledger's.
func (s *api) fail(w http.ResponseWriter, r *http.Request, err error) {
	var f *fault
	if !errors.As(err, &f) {
		f = storeFault(err)
	}
	if f.cause != nil && r.Context().Err() == nil {
		s.Log.Error("request failed", "route", r.Pattern, "status", f.status, "error", f.cause)
	}
	h := w.Header()
	if f.retry > 0 {
		h.Set("Retry-After", strconv.Itoa(int(math.Ceil(f.retry.Seconds()))))
	}
	switch f.status {
	case http.StatusUnauthorized:
		if h.Get("WWW-Authenticate") == "" {
			h.Set("WWW-Authenticate", `Bearer realm="clogwise"`)
		}
	case http.StatusUnsupportedMediaType:
		h.Set("Accept-Encoding", "gzip, zstd")
	}
	h.Set("Content-Type", "application/problem+json")
	w.WriteHeader(f.status)
	s.write(w, problem{"about:blank", http.StatusText(f.status), f.status, f.detail, f.results})
}

func (s *api) answer(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	s.write(w, v)
}

func (s *api) write(w http.ResponseWriter, v any) {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		s.Log.Debug("answer not written", "error", err)
	}
}
