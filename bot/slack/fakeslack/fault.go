package fakeslack

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"time"
)

// Fault is a way for a Web API call to go wrong.
type Fault struct {
	Status     int             // answer with this HTTP status
	RetryAfter time.Duration   // with Status 429: the Retry-After header, whole seconds
	Error      string          // answer {"ok":false,"error":…}
	Delay      time.Duration   // be this slow, then go on
	Hold       <-chan struct{} // go on only when this is closed
	Cut        bool            // cut the connection without an answer
	CutAfter   bool            // do what was asked, then cut the connection
	Times      int             // how many calls it strikes (default 1)
}

// Fail makes the next calls of a method go wrong; several faults queue up.
// The method "upload" is the file upload address.
func (s *Server) Fail(method string, f Fault) {
	if f.Times == 0 {
		f.Times = 1
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.faults[method] = append(s.faults[method], f)
}

// Mend takes back the faults of a method that have not struck yet.
func (s *Server) Mend(method string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.faults, method)
}

// takeFault takes the fault that strikes this call, if any. The caller holds mu.
func (s *Server) takeFault(method string) (Fault, bool) {
	queue := s.faults[method]
	if len(queue) == 0 {
		return Fault{}, false
	}
	f := queue[0]
	queue[0].Times--
	if queue[0].Times == 0 {
		s.faults[method] = queue[1:]
	}
	return f, true
}

// strike lets a fault happen; it reports whether the call is answered by it.
func (s *Server) strike(w http.ResponseWriter, r *http.Request, f Fault) (answered bool) {
	if f.Hold != nil {
		select {
		case <-f.Hold:
		case <-r.Context().Done():
		case <-s.quit:
		}
	}
	if f.Delay > 0 {
		timer := time.NewTimer(f.Delay)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-r.Context().Done():
		case <-s.quit:
		}
	}
	switch {
	case f.Cut:
		panic(http.ErrAbortHandler)
	case f.Status != 0:
		if f.RetryAfter > 0 {
			w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(f.RetryAfter.Seconds()))))
		}
		w.WriteHeader(f.Status)
		fmt.Fprint(w, "<html>trouble</html>")
		return true
	case f.Error != "":
		writeJSON(w, map[string]any{"ok": false, "error": f.Error})
		return true
	}
	return false
}
