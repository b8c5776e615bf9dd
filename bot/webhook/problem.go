package webhook

import (
	"encoding/json"
	"net/http"
)

// problem is an answer that something was wrong, after RFC 9457.
type problem struct {
	Type   string `json:"type"` // about:blank: the status says it all
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"` // what was wrong, what was kept, what to send instead
}

func (s *Server) problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	s.write(w, problem{"about:blank", http.StatusText(status), status, detail})
}

func (s *Server) write(w http.ResponseWriter, v any) {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		s.Log.Debug("answer not written", "error", err)
	}
}

func (s *Server) answer(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	s.write(w, v)
}
