package queue

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strconv"
	"strings"

	"github.com/redis/go-redis/v9"
)

// maxError is how many bytes of a handler's error are kept with a parked
// notice.
const maxError = 2000

// worker works entries until there are no more.
func (s *session) worker() {
	for e := range s.jobs {
		s.attend(e)
		s.held.remove(e.id)
	}
}

// try is one try at an entry.
type try struct {
	entry
	notice Notice
	marks  string // notices received before it began
	number int    // 1 for the first
}

// attend begins a try, runs the handler and tells the server how it ended.
func (s *session) attend(e entry) {
	t, ok := s.begin(e)
	if !ok {
		return
	}
	ctx, cancel := context.WithCancelCause(s.work)
	defer cancel(nil)
	s.held.watch(e.id, cancel)
	err := s.guard(ctx, t.notice)
	switch {
	case err == nil:
		s.done(t)
	case errors.Is(context.Cause(ctx), ErrClaimed):
		s.c.Log.Warn("queue: notice passed to another consumer", "bank", e.bank, "error", err)
	case s.work.Err() != nil:
		s.release(e, true)
	default:
		s.fail(t, err)
	}
}

// guard runs the handler and turns a panic into an error.
func (s *session) guard(ctx context.Context, n Notice) (err error) {
	defer func() {
		if p := recover(); p != nil {
			s.c.Log.Error("queue: handler panicked", "bank", n.Bank, "panic", p, "stack", string(debug.Stack()))
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return s.handle(ctx, n)
}

// begin starts a try; false when there is nothing to do.
func (s *session) begin(e entry) (try, bool) {
	r, err := s.tell(beginScript, s.c.Name, e.id, e.bank, e.upTo, s.c.MaxTries)
	if err != nil {
		return try{}, false // the entry stays handed to this consumer and is claimed later
	}
	t, state, err := parseBegin(e, r)
	switch {
	case err != nil:
		s.c.Log.Error("queue: try not begun", "bank", e.bank, "error", err)
	case state == "parked":
		s.c.Log.Error("queue: notice parked: workers stopped while working on it", "bank", e.bank)
	}
	return t, err == nil && state == "go"
}

// parseBegin reads the answer of beginScript.
func parseBegin(e entry, r *redis.Cmd) (t try, state string, err error) {
	answer, err := r.StringSlice()
	if err != nil {
		return try{}, "", err
	}
	if len(answer) > 0 && answer[0] != "go" {
		return try{}, answer[0], nil
	}
	if len(answer) != 4 {
		return try{}, "", fmt.Errorf("answer %q is not understood", answer)
	}
	t = try{entry: e, notice: Notice{Bank: e.bank}, marks: answer[2]}
	if t.notice.UpTo, err = strconv.ParseInt(answer[1], 10, 64); err != nil {
		return try{}, "", err
	}
	t.number, err = strconv.Atoi(answer[3])
	return t, "go", err
}

func (s *session) done(t try) {
	// On failure the entry stays handed to this consumer and is claimed later.
	_, _ = s.tell(doneScript, t.id, t.bank, t.marks)
}

func (s *session) fail(t try, cause error) {
	most := s.c.MaxTries
	if errors.Is(cause, ErrPark) {
		most = 0
	}
	wait := rest(t.number, s.c.RetryMin, s.c.RetryMax)
	r, err := s.tell(failScript, s.c.Name, t.id, t.bank, clip(cause.Error()), most, wait.Milliseconds())
	if err != nil {
		return
	}
	if state, _ := r.Text(); state == "parked" {
		s.c.Log.Error("queue: notice parked", "bank", t.bank, "tries", t.number, "error", cause)
		return
	}
	s.c.Log.Warn("queue: try failed", "bank", t.bank, "try", t.number, "error", cause)
}

func (s *session) release(e entry, begun bool) {
	flag := "0"
	if begun {
		flag = "1"
	}
	_, _ = s.tell(releaseScript, s.c.Name, e.id, e.bank, flag)
}

// tell runs a notice script and goes on trying through an outage until the
// session must end. A server that lost its data answers that there is nothing
// to do, so this ends when the server is back in whatever state.
func (s *session) tell(script *redis.Script, args ...any) (*redis.Cmd, error) {
	for failures := 1; ; failures++ {
		r := s.q.run(s.settle, script, args...)
		err := r.Err()
		if err == nil || s.settle.Err() != nil || errors.Is(err, redis.ErrClosed) {
			return r, err
		}
		s.outage(err, failures)
		sleep(s.settle, rest(failures, outageMin, outageMax))
	}
}

// clip keeps an error's text short and fit for JSON.
func clip(text string) string {
	if len(text) > maxError {
		text = text[:maxError] + "…"
	}
	return strings.ToValidUTF8(text, "\uFFFD")
}
