package queue

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"

	"github.com/redis/go-redis/v9"
)

// maxError is how many bytes of a handler's error are kept with a parked
// notice.
const maxError = 2000

// worker works groups of entries until there are no more.
func (s *session) worker() {
	for entries := range s.jobs {
		s.attend(entries)
	}
}

// try is one try at an entry.
type try struct {
	entry
	notice Notice
	marks  string // notices received before it began
	number int    // 1 for the first
}

// attend begins a try of each entry, runs the handler and tells the server how
// they ended.
func (s *session) attend(entries []entry) {
	tries := s.begin(entries)
	s.letGo(entries, tries)
	if len(tries) == 0 {
		return
	}
	ctx, cancel := context.WithCancelCause(s.work)
	defer cancel(nil)
	s.held.watch(tries, cancel)
	errs := s.guard(ctx, tries)
	over := s.work.Err() != nil
	s.done(tries, errs)
	for i, t := range tries {
		switch err := errs[i]; {
		case err == nil:
		case s.held.isLost(t.id):
			s.c.Log.Warn("queue: notice passed to another consumer", "bank", t.bank, "error", err)
		case over:
			s.release(t.entry, true)
		default:
			s.fail(t, err)
		}
		s.held.remove(t.id)
	}
}

// letGo gives up those of the entries that were not begun. The tries are in
// their order.
func (s *session) letGo(entries []entry, tries []try) {
	for _, e := range entries {
		if len(tries) > 0 && tries[0].id == e.id {
			tries = tries[1:]
			continue
		}
		s.held.remove(e.id)
	}
}

// guard runs the handler and returns an error or nil for each of the tries. It
// turns a panic into errors.
func (s *session) guard(ctx context.Context, tries []try) (errs []error) {
	ns := make([]Notice, len(tries))
	for i, t := range tries {
		ns[i] = t.notice
	}
	defer func() {
		if p := recover(); p != nil {
			s.c.Log.Error("queue: handler panicked", "bank", tries[0].bank, "together", len(tries), "panic", p, "stack", string(debug.Stack()))
			errs = slices.Repeat([]error{fmt.Errorf("panic: %v", p)}, len(tries))
		}
	}()
	errs = s.handle(ctx, ns)
	switch {
	case errs == nil:
		return make([]error, len(tries))
	case len(errs) != len(tries):
		err := fmt.Errorf("the handler returned %d errors for %d notices", len(errs), len(tries))
		return slices.Repeat([]error{err}, len(tries))
	}
	return errs
}

// begin starts a try of each entry and returns those that are to be worked.
func (s *session) begin(entries []entry) []try {
	var tries []try
	for step := range slices.Chunk(entries, notifyStep) {
		args := make([]any, 0, 2+3*len(step))
		args = append(args, s.c.Name, s.c.MaxTries)
		for _, e := range step {
			args = append(args, e.id, e.bank, e.upTo)
		}
		r, err := s.tell(beginScript, args...)
		if err != nil {
			break // the entries stay handed to this consumer and are claimed later
		}
		answer, err := r.StringSlice()
		if err == nil && len(answer) != 4*len(step) {
			err = fmt.Errorf("%d texts for %d entries are not understood", len(answer), len(step))
		}
		if err != nil {
			s.c.Log.Error("queue: tries not begun", "bank", step[0].bank, "together", len(step), "error", err)
			continue
		}
		for i, e := range step {
			t, state, err := parseBegin(e, answer[4*i:4*i+4])
			switch {
			case err != nil:
				s.c.Log.Error("queue: try not begun", "bank", e.bank, "error", err)
			case state == "parked":
				s.c.Log.Error("queue: notice parked: workers stopped while working on it", "bank", e.bank)
			case state == "go":
				tries = append(tries, t)
			}
		}
	}
	return tries
}

// parseBegin reads the four texts that beginScript answers for an entry.
func parseBegin(e entry, answer []string) (t try, state string, err error) {
	if answer[0] != "go" {
		return try{}, answer[0], nil
	}
	t = try{entry: e, notice: Notice{Bank: e.bank}, marks: answer[2]}
	if t.notice.UpTo, err = strconv.ParseInt(answer[1], 10, 64); err != nil {
		return try{}, "", err
	}
	t.number, err = strconv.Atoi(answer[3])
	return t, "go", err
}

// done ends those of the tries that have no error.
func (s *session) done(tries []try, errs []error) {
	args := make([]any, 0, 3*len(tries))
	for i, t := range tries {
		if errs[i] == nil {
			args = append(args, t.id, t.bank, t.marks)
		}
	}
	for step := range slices.Chunk(args, 3*notifyStep) {
		// On failure the entries stay handed to this consumer and are claimed later.
		_, _ = s.tell(doneScript, step...)
	}
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
