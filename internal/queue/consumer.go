package queue

import (
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"math"
	mathrand "math/rand/v2"
	"os"
	"runtime"
	"time"
)

// ErrPark, wrapped by a handler's error, parks the notice at once: trying
// again cannot help.
var ErrPark = errors.New("not worth another try")

// ErrClaimed is the cancellation cause of a handler's context when its notice
// passed to another consumer, after a stall or an outage.
var ErrClaimed = errors.New("queue: notice claimed by another consumer")

// Consumer says how notices are consumed. The zero value of each field means
// the default.
type Consumer struct {
	// Name tells this consumer from all others of the installation, at every
	// moment. Default: host, process id and a random part.
	Name string

	// Workers is how many notices, or groups of them, are handled at a time,
	// each of another bank. With one worker, notices are handled in the order in which their
	// banks were queued. Default: the number of processors.
	Workers int

	// Batch is how many notices are taken from the server in one go. Those
	// that wait for a worker wait here and not with a consumer that is free,
	// so keep it small where handlers are slow. Default: 16, and enough to
	// give every worker a full group.
	Batch int

	// ClaimAfter is how long a consumer may give no sign of life before others
	// take its notices. A slow handler is no stall: signs are given meanwhile.
	// Default: 10 s.
	ClaimAfter time.Duration

	// MaxTries is how often a notice is tried before it is parked. A try that
	// ended with the death of the process counts. Default: 5.
	MaxTries int

	// RetryMin and RetryMax bound the rest after a failed try, which doubles
	// from try to try, with up to a quarter off at random. Default: 1 s, 1 min.
	RetryMin, RetryMax time.Duration

	// Grace is how long handlers may go on after the context of Consume is
	// done, before theirs is cancelled and their notices are given back.
	// Default: 10 s; negative: no grace.
	Grace time.Duration

	// Log receives outages, claims, failures. Default: nothing is logged.
	Log *slog.Logger
}

// withDefaults fills in what was left out, for a handler of up to most notices
// together, and refuses what cannot be meant.
func (c Consumer) withDefaults(most int) (Consumer, error) {
	for _, f := range []struct {
		name  string
		value int64
	}{
		{"Workers", int64(c.Workers)}, {"Batch", int64(c.Batch)}, {"MaxTries", int64(c.MaxTries)},
		{"ClaimAfter", int64(c.ClaimAfter)}, {"RetryMin", int64(c.RetryMin)}, {"RetryMax", int64(c.RetryMax)},
	} {
		if f.value < 0 {
			return c, fmt.Errorf("queue: consumer: %s is negative", f.name)
		}
	}
	c.Name = cmp.Or(c.Name, uniqueName())
	c.Workers = cmp.Or(c.Workers, runtime.GOMAXPROCS(0))
	if c.Batch == 0 {
		c.Batch = 16
		if most > 1 {
			c.Batch = max(c.Batch, most*c.Workers)
		}
	}
	c.ClaimAfter = cmp.Or(c.ClaimAfter, 10*time.Second)
	c.MaxTries = cmp.Or(c.MaxTries, 5)
	c.RetryMin = cmp.Or(c.RetryMin, time.Second)
	c.RetryMax = max(cmp.Or(c.RetryMax, time.Minute), c.RetryMin)
	c.Grace = max(0, cmp.Or(c.Grace, 10*time.Second))
	c.Log = cmp.Or(c.Log, slog.New(slog.DiscardHandler)).With("consumer", c.Name)
	return c, nil
}

// uniqueName names a consumer or a leader of this process.
func uniqueName() string {
	host, err := os.Hostname()
	if err != nil {
		host = "host"
	}
	return fmt.Sprintf("%s-%d-%s", host, os.Getpid(), rand.Text()[:8])
}

// pulse is the longest time between two looks at the server: reads block no
// longer, so that a consumer that is told to stop does.
func (c Consumer) pulse() time.Duration {
	return min(max(c.ClaimAfter/4, 20*time.Millisecond), time.Second)
}

// backOff is the rest after the n-th failure in a row, n ≥ 1: lo doubled n-1
// times, at most hi, less up to a quarter as chance (0 ≤ chance < 1) has it,
// so that many that failed together do not come back together.
func backOff(n int, lo, hi time.Duration, chance float64) time.Duration {
	d := min(float64(lo)*math.Pow(2, float64(max(0, n-1))), float64(hi))
	return time.Duration(d * (1 - chance/4))
}

// rest is backOff with chance supplied.
func rest(n int, lo, hi time.Duration) time.Duration {
	return backOff(n, lo, hi, mathrand.Float64())
}
