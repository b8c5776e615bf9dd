package queue

import (
	"cmp"
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
)

// DefaultLease is how long leadership outlives its holder's last sign of life.
const DefaultLease = 10 * time.Second

// acquireScript takes a leadership that is free, or the holder's own.
//
//	KEYS[1]  lease, "<token>:<holder>"
//	KEYS[2]  fence, the last token given
//	ARGV     holder, lease in ms
//	result   the token, or '' when another holds it
//
// Tokens grow with the server's clock, so that they keep growing after the
// server lost its data. A holder takes its own leadership anew, with a new
// token, because its first answer may have been lost on the way.
var acquireScript = redis.NewScript(`
local held = redis.call('GET', KEYS[1])
if held and string.sub(held, string.find(held, ':', 1, true) + 1) ~= ARGV[1] then return '' end
local t = redis.call('TIME')
local now = tonumber(t[1]) * 1000000 + tonumber(t[2])
local last = tonumber(redis.call('GET', KEYS[2]) or '0')
local token = string.format('%.0f', math.max(now, last + 1))
redis.call('SET', KEYS[2], token)
redis.call('SET', KEYS[1], token .. ':' .. ARGV[1], 'PX', ARGV[2])
return token`)

// renewScript prolongs a lease.
//
//	KEYS[1]  lease
//	ARGV     "<token>:<holder>", lease in ms
//	result   1, or 0 when it is not held with this token
var renewScript = redis.NewScript(`
if redis.call('GET', KEYS[1]) ~= ARGV[1] then return 0 end
redis.call('PEXPIRE', KEYS[1], ARGV[2])
return 1`)

// releaseScript gives a lease up.
//
//	KEYS[1]  lease
//	ARGV     "<token>:<holder>"
//	result   1, or 0 when it is not held with this token
var releaseLeaseScript = redis.NewScript(`
if redis.call('GET', KEYS[1]) ~= ARGV[1] then return 0 end
redis.call('DEL', KEYS[1])
return 1`)

// Lease is a leadership held. It ends by itself unless renewed.
type Lease struct {
	Name   string
	Holder string
	// Token grows with every change of leadership. A store that refuses a
	// token lower than the last one it saw is safe from a leader that does
	// not know yet that it was replaced; the lease alone cannot promise that.
	Token int64

	q   *Queue
	ttl time.Duration
}

// Acquire takes the leadership called name for ttl, if nobody else has it; the
// lease is nil if somebody does. The holder must be unique among the running
// processes; asked twice by the same holder it gives a new token, which ends
// the older lease.
func (q *Queue) Acquire(ctx context.Context, name, holder string, ttl time.Duration) (*Lease, error) {
	if name == "" || holder == "" || ttl < time.Millisecond {
		return nil, errors.New("queue: acquire: a name, a holder and a lease of at least 1 ms are needed")
	}
	keys := []string{q.leaseKey(name), q.key("lead", "{"+name+"}", "fence")}
	text, err := acquireScript.Run(ctx, q.rdb, keys, holder, ttl.Milliseconds()).Text()
	if err != nil {
		return nil, wrap("acquire", err)
	}
	if text == "" {
		return nil, nil
	}
	token, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return nil, wrap("acquire", err)
	}
	return &Lease{Name: name, Holder: holder, Token: token, q: q, ttl: ttl}, nil
}

// Leader tells who holds the leadership called name; empty when nobody does.
func (q *Queue) Leader(ctx context.Context, name string) (holder string, err error) {
	held, err := q.rdb.Get(ctx, q.leaseKey(name)).Result()
	if errors.Is(err, redis.Nil) {
		return "", nil
	}
	_, holder, _ = strings.Cut(held, ":")
	return holder, wrap("leader", err)
}

func (q *Queue) leaseKey(name string) string { return q.key("lead", "{"+name+"}", "lease") }

// value is what the lease key holds while the lease does.
func (l *Lease) value() string { return strconv.FormatInt(l.Token, 10) + ":" + l.Holder }

// Renew prolongs the lease by its full length. [ErrLeaseLost] means that it
// expired or passed on; any other error leaves that open.
func (l *Lease) Renew(ctx context.Context) error {
	n, err := renewScript.Run(ctx, l.q.rdb, []string{l.q.leaseKey(l.Name)}, l.value(), l.ttl.Milliseconds()).Int()
	return leaseResult("renew", n, err)
}

// Release gives the lease up, so that another need not wait for its end.
// [ErrLeaseLost] means that there was nothing to give up.
func (l *Lease) Release(ctx context.Context) error {
	n, err := releaseLeaseScript.Run(ctx, l.q.rdb, []string{l.q.leaseKey(l.Name)}, l.value()).Int()
	return leaseResult("release", n, err)
}

func leaseResult(op string, n int, err error) error {
	if err == nil && n == 0 {
		return ErrLeaseLost
	}
	return wrap(op, err)
}

// Leadership is what [Queue.Lead] strives for.
type Leadership struct {
	Name   string        // what is led, such as "cron"
	Holder string        // unique among the running processes; default: host, process id, random part
	TTL    time.Duration // default [DefaultLease]; another leads at most 1¼ TTL after a leader's death
}

// Lead waits until it leads, runs fn while it does, and gives the leadership
// up when fn returns; the result is that of fn. The context of fn is cancelled
// with cause [ErrLeaseLost] when the leadership was lost or could not be
// renewed in time; after that fn's result is dropped and Lead strives again.
// When ctx is done, Lead waits for fn and returns nil if that was cut short.
//
// fn must return soon after its context is done; until it has, two may lead.
// The token tells their writes apart, see [Lease.Token].
func (q *Queue) Lead(ctx context.Context, l Leadership, fn func(ctx context.Context, token int64) error) error {
	l.Holder = cmp.Or(l.Holder, uniqueName())
	l.TTL = cmp.Or(l.TTL, DefaultLease)
	for ctx.Err() == nil {
		asked := time.Now()
		lease, err := q.Acquire(ctx, l.Name, l.Holder, l.TTL)
		if errors.Is(err, ErrClosed) || l.Name == "" || l.TTL < time.Millisecond {
			return err
		}
		if lease != nil {
			lost, err := lease.reign(ctx, asked, fn)
			if !lost {
				return err
			}
		}
		sleep(ctx, rest(1, l.TTL/4, l.TTL/4))
	}
	return nil
}

// reign runs fn under the lease, which was asked for at the given time.
func (l *Lease) reign(ctx context.Context, asked time.Time, fn func(context.Context, int64) error) (lost bool, err error) {
	rule, end := context.WithCancelCause(ctx)
	defer end(nil)
	renewing := make(chan struct{})
	go func() {
		defer close(renewing)
		if l.keep(rule, asked) {
			end(ErrLeaseLost)
		}
	}()
	err = fn(rule, l.Token)
	lost = errors.Is(context.Cause(rule), ErrLeaseLost)
	end(nil)
	<-renewing
	if lost {
		return true, nil
	}
	// Failing to give it up only makes the next one wait.
	farewell, cancel := context.WithTimeout(context.WithoutCancel(ctx), l.ttl/2)
	defer cancel()
	_ = l.Release(farewell)
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		err = nil
	}
	return false, err
}

// keep renews the lease until ctx is done (false) or it is lost (true). When
// the server does not answer it counts as lost a sixth before its end, so that
// this leader stops before another starts.
func (l *Lease) keep(ctx context.Context, renewed time.Time) (lost bool) {
	for {
		sleep(ctx, l.ttl/4)
		if ctx.Err() != nil {
			return false
		}
		asked := time.Now()
		attempt, cancel := context.WithDeadline(ctx, renewed.Add(l.ttl-l.ttl/6))
		err := l.Renew(attempt)
		cancel()
		switch {
		case err == nil:
			renewed = asked
		case ctx.Err() != nil:
			return false
		case errors.Is(err, ErrLeaseLost), time.Since(renewed) >= l.ttl-l.ttl/6:
			return true
		}
	}
}
