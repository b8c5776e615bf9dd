package queue

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/redis/go-redis/v9"
)

// Errors that callers tell apart.
var (
	// ErrClosed is returned by every call after [Queue.Close].
	ErrClosed = errors.New("queue: closed")
	// ErrNotParked means that the bank has no parked notice.
	ErrNotParked = errors.New("queue: no parked notice for that bank")
	// ErrLeaseLost means that the leadership expired or passed to another.
	ErrLeaseLost = errors.New("queue: leadership lost")
)

// group is the one consumer group; every worker of an installation is in it.
const group = "workers"

// Queue is a handle on the server. It is safe for concurrent use.
type Queue struct {
	rdb    redis.UniversalClient
	prefix string
	where  string   // addresses without secrets
	keys   []string // of the notice scripts, in the order of their prelude
	stop   func()   // stops the embedded server; nil for a real one
}

// Open prepares a handle on a Redis server, Sentinel group or Cluster. It does
// not wait for the server, since a bot must start and take readings while
// Redis is away: [Queue.Ping] tells whether it answers. The error says what is
// wrong with the options and never contains the password.
func Open(o Options) (*Queue, error) {
	prefix, err := o.prefix()
	if err != nil {
		return nil, err
	}
	opt, err := o.universal()
	if err != nil {
		return nil, err
	}
	return newQueue(redis.NewUniversalClient(opt), prefix, strings.Join(opt.Addrs, ",")), nil
}

func newQueue(rdb redis.UniversalClient, prefix, where string) *Queue {
	q := &Queue{rdb: rdb, prefix: prefix, where: where}
	for _, part := range []string{"stream", "place", "upto", "marks", "tries", "later", "parked"} {
		q.keys = append(q.keys, prefix+":{notices}:"+part)
	}
	return q
}

func (q *Queue) stream() string { return q.keys[0] }

// key joins the prefix and the parts by colons.
func (q *Queue) key(parts ...string) string {
	return q.prefix + ":" + strings.Join(parts, ":")
}

// Addr names the server for people: its addresses without secrets, or
// "embedded".
func (q *Queue) Addr() string { return q.where }

// Ping asks the server for an answer.
func (q *Queue) Ping(ctx context.Context) error {
	return wrap("ping", q.rdb.Ping(ctx).Err())
}

// Close ends the connections and, for an embedded queue, the server. Stop
// consumers first; those still running return [ErrClosed].
func (q *Queue) Close() error {
	err := q.rdb.Close()
	if q.stop != nil {
		q.stop()
	}
	if errors.Is(err, redis.ErrClosed) {
		return nil
	}
	return wrap("close", err)
}

// wrap names the operation that failed; nil stays nil.
func wrap(op string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, redis.ErrClosed):
		return ErrClosed
	default:
		return fmt.Errorf("queue: %s: %w", op, err)
	}
}
