package queue

import (
	"context"
	"errors"
	"time"

	"github.com/redis/go-redis/v9"
)

// answeredIfScript takes a question if it is still the one meant.
//
//	KEYS[1]  question
//	ARGV     its payload
//	result   1 taken, 0 when it is gone or another stands there
var answeredIfScript = redis.NewScript(`
if redis.call('GET', KEYS[1]) ~= ARGV[1] then return 0 end
redis.call('DEL', KEYS[1])
return 1`)

// Ask keeps a question that waits for an answer in a conversation, for ttl. It
// takes the place of one that waits there already.
func (q *Queue) Ask(ctx context.Context, conversation string, payload []byte, ttl time.Duration) error {
	if conversation == "" || ttl < time.Millisecond {
		return errors.New("queue: ask: a conversation and a life of at least 1 ms are needed")
	}
	return wrap("ask", q.rdb.Set(ctx, q.askKey(conversation), payload, ttl).Err())
}

// Pending returns the question that waits in the conversation and leaves it
// there; false when there is none.
func (q *Queue) Pending(ctx context.Context, conversation string) ([]byte, bool, error) {
	return question("pending", q.rdb.Get(ctx, q.askKey(conversation)))
}

// Answered takes the question that waits in the conversation. Of two answers
// that come at the same time one gets it and the other gets false.
func (q *Queue) Answered(ctx context.Context, conversation string) ([]byte, bool, error) {
	return question("answered", q.rdb.GetDel(ctx, q.askKey(conversation)))
}

// AnsweredIf takes the question only if it is still the one with this payload,
// as [Queue.Pending] returned it: an answer to an earlier question does not
// take a later one. Of two that try one gets true.
func (q *Queue) AnsweredIf(ctx context.Context, conversation string, payload []byte) (bool, error) {
	n, err := answeredIfScript.Run(ctx, q.rdb, []string{q.askKey(conversation)}, payload).Int()
	return n == 1, wrap("answered", err)
}

func (q *Queue) askKey(conversation string) string { return q.key("ask", conversation) }

func question(op string, cmd *redis.StringCmd) ([]byte, bool, error) {
	payload, err := cmd.Bytes()
	if errors.Is(err, redis.Nil) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, wrap(op, err)
	}
	return payload, true, nil
}
