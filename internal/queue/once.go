package queue

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"github.com/redis/go-redis/v9"
)

// onceScript takes a key that nobody has.
//
//	KEYS[1]  key
//	ARGV     a value of this call alone, life in ms
//	result   1 for the first, else 0
//
// The value makes a repeat of the same call, after its answer was lost on the
// way, the first again.
var onceScript = redis.NewScript(`
if redis.call('SET', KEYS[1], ARGV[1], 'NX', 'PX', ARGV[2]) then return 1 end
if redis.call('GET', KEYS[1]) == ARGV[1] then return 1 end
return 0`)

// Once reports whether this call is the first with the key within ttl. Of any
// number of replicas that call it, one gets true. If that one dies before it
// acts, nobody acts: where that matters, keep a durable key in the ledger too.
func (q *Queue) Once(ctx context.Context, key string, ttl time.Duration) (first bool, err error) {
	if key == "" || ttl < time.Millisecond {
		return false, errors.New("queue: once: a key and a life of at least 1 ms are needed")
	}
	n, err := onceScript.Run(ctx, q.rdb, []string{q.key("once", key)}, rand.Text(), ttl.Milliseconds()).Int()
	return n == 1, wrap("once", err)
}

// takeScript takes tokens from a bucket.
//
//	KEYS[1]  bucket, a hash of tokens and the time they were counted, in µs
//	ARGV     tokens a second, size of the bucket, tokens wanted at most
//	result   tokens taken, or minus the µs until there is one
var takeScript = redis.NewScript(`
local rate, size, most = tonumber(ARGV[1]), tonumber(ARGV[2]), tonumber(ARGV[3])
local t = redis.call('TIME')
local now = tonumber(t[1]) * 1000000 + tonumber(t[2])
local b = redis.call('HMGET', KEYS[1], 'tokens', 'at')
local tokens, at = tonumber(b[1] or size), tonumber(b[2] or now)
-- A clock that was set back adds nothing, and must not stop the bucket either.
tokens = math.min(size, tokens + math.max(0, now - at) / 1000000 * rate)
local got
if tokens >= 1 then
  got = math.min(most, math.floor(tokens))
  tokens = tokens - got
else
  got = -math.ceil((1 - tokens) / rate * 1000000)
end
redis.call('HSET', KEYS[1], 'tokens', string.format('%.9f', tokens), 'at', string.format('%.0f', now))
redis.call('PEXPIRE', KEYS[1], string.format('%.0f', math.ceil(size / rate * 1000) + 1000))
return got`)

// Allow takes a token from the bucket called key, which gains perSecond tokens
// a second and holds burst of them. Without a token ok is false and retryAfter
// says when there will be one, if nobody else takes it.
func (q *Queue) Allow(ctx context.Context, key string, perSecond float64, burst int) (ok bool, retryAfter time.Duration, err error) {
	got, retryAfter, err := q.Take(ctx, key, perSecond, burst, 1)
	return got == 1, retryAfter, err
}

// Take takes up to most tokens at once, for one who will need them shortly, and
// returns how many it got: 1 to most, or 0 with retryAfter as Allow tells it.
func (q *Queue) Take(ctx context.Context, key string, perSecond float64, burst, most int) (got int, retryAfter time.Duration, err error) {
	if key == "" || !(perSecond > 1e-6) || perSecond > 1e6 || burst < 1 || most < 1 {
		return 0, 0, fmt.Errorf("queue: take: rate %g/s, burst %d or number %d are out of range, or the key is missing", perSecond, burst, most)
	}
	n, err := takeScript.Run(ctx, q.rdb, []string{q.key("rate", key)}, perSecond, burst, most).Int64()
	if err != nil {
		return 0, 0, wrap("take", err)
	}
	if n < 0 {
		return 0, time.Duration(-n) * time.Microsecond, nil
	}
	return int(n), 0, nil
}
