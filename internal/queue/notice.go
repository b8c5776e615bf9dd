package queue

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Notice says that a bank has entries up to a sequence number of the ledger.
type Notice struct {
	Bank string // id as in the register; not empty
	UpTo int64  // highest sequence number; 0 ≤ UpTo < 2⁵³, the range in which scripts compare exactly
}

const (
	maxUpTo    = 1<<53 - 1
	notifyStep = 256 // banks per script call, so that one call does not hold the server up
)

func (n Notice) check() error {
	if n.Bank == "" {
		return errors.New("queue: notice without a bank")
	}
	if n.UpTo < 0 || n.UpTo > maxUpTo {
		return fmt.Errorf("queue: notice for %s: sequence number %d is out of range", n.Bank, n.UpTo)
	}
	return nil
}

// Notify queues the banks. A bank that is queued already stays where it is and
// takes the highest UpTo. A parked bank is queued again only by a notice above
// the one that was parked; see [Queue.Retry].
//
// On error some of the notices may have been taken; sending all again does no
// harm, and the sweep will if the caller does not.
func (q *Queue) Notify(ctx context.Context, notices ...Notice) error {
	return q.notify(ctx, "0", notices)
}

// Ensure is [Queue.Notify] for banks that wait longer than they should. It looks
// whether those that were queued still are, where Notify believes it: single entries
// may have been deleted by hand.
func (q *Queue) Ensure(ctx context.Context, notices ...Notice) error {
	return q.notify(ctx, "1", notices)
}

func (q *Queue) notify(ctx context.Context, look string, notices []Notice) error {
	upTo := make(map[string]int64, len(notices))
	var banks []string
	for _, n := range notices {
		if err := n.check(); err != nil {
			return err
		}
		if _, named := upTo[n.Bank]; !named {
			banks = append(banks, n.Bank)
		}
		upTo[n.Bank] = max(upTo[n.Bank], n.UpTo)
	}
	for step := range slices.Chunk(banks, notifyStep) {
		args := make([]any, 0, 1+2*len(step))
		args = append(args, look)
		for _, bank := range step {
			args = append(args, bank, upTo[bank])
		}
		if err := q.run(ctx, notifyScript, args...).Err(); err != nil {
			return wrap("notify", err)
		}
	}
	return nil
}

// Parked is a notice that failed too often.
type Parked struct {
	Bank  string
	UpTo  int64
	Tries int
	Error string    // of the last try
	At    time.Time // when it was parked, by the server's clock
}

// Parked lists the parked notices, the oldest first.
func (q *Queue) Parked(ctx context.Context) ([]Parked, error) {
	recs, err := q.rdb.HGetAll(ctx, q.keys[6]).Result()
	if err != nil {
		return nil, wrap("list parked notices", err)
	}
	list := make([]Parked, 0, len(recs))
	for bank, rec := range recs {
		p, err := parseParked(bank, rec)
		if err != nil {
			return nil, err
		}
		list = append(list, p)
	}
	slices.SortFunc(list, func(a, b Parked) int {
		return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Bank, b.Bank))
	})
	return list, nil
}

// parseParked reads what the park function of the scripts wrote.
func parseParked(bank, rec string) (Parked, error) {
	var raw struct {
		UpTo  int64  `json:"upto,string"`
		Tries int    `json:"tries,string"`
		Error string `json:"error"`
		At    int64  `json:"at,string"`
	}
	if err := json.Unmarshal([]byte(rec), &raw); err != nil {
		return Parked{}, fmt.Errorf("queue: parked notice for %s: %w", bank, err)
	}
	return Parked{Bank: bank, UpTo: raw.UpTo, Tries: raw.Tries, Error: raw.Error, At: time.UnixMilli(raw.At)}, nil
}

// Retry queues a parked bank again with all its tries before it. It returns
// [ErrNotParked] if the bank is not parked.
func (q *Queue) Retry(ctx context.Context, bank string) error {
	n, err := q.run(ctx, unparkScript, bank).Int()
	return parkedResult("retry", n, err)
}

// Drop forgets a parked notice. The next notice for the bank queues it again,
// whatever its UpTo. It returns [ErrNotParked] if the bank is not parked.
func (q *Queue) Drop(ctx context.Context, bank string) error {
	n, err := q.rdb.HDel(ctx, q.keys[6], bank).Result()
	return parkedResult("drop", int(n), err)
}

func parkedResult(op string, n int, err error) error {
	if err == nil && n == 0 {
		return ErrNotParked
	}
	return wrap(op, err)
}

// Depth is the state of the queue at one moment.
type Depth struct {
	Waiting  int64 // on the stream, not handed to a consumer
	Working  int64 // handed to a consumer
	Retrying int64 // resting after a failed try
	Parked   int64

	// OldestAge is how long the oldest waiting or worked notice has been on
	// the stream; a retry starts anew. Zero when there is none.
	OldestAge time.Duration
}

// Depth counts the notices.
func (q *Queue) Depth(ctx context.Context) (Depth, error) {
	r, err := q.run(ctx, depthScript).Slice()
	if err != nil {
		return Depth{}, wrap("depth", err)
	}
	if len(r) != 6 {
		return Depth{}, fmt.Errorf("queue: depth: %d results, want 6", len(r))
	}
	count := func(i int) int64 { n, _ := r[i].(int64); return n }
	oldest, _ := r[4].(string)
	return Depth{
		Waiting:   max(0, count(0)-count(1)),
		Working:   count(1),
		Retrying:  count(2),
		Parked:    count(3),
		OldestAge: ageOf(oldest, count(5)),
	}, nil
}

// ageOf reads the time out of a stream entry's id, "<Unix ms>-<n>".
func ageOf(id string, nowMs int64) time.Duration {
	ms, _, _ := strings.Cut(id, "-")
	then, err := strconv.ParseInt(ms, 10, 64)
	if err != nil {
		return 0
	}
	return time.Duration(max(0, nowMs-then)) * time.Millisecond
}
