package queue

import (
	"context"
	"time"

	"github.com/redis/go-redis/v9"
)

// Twin opens a second handle on the server of q, as another process would.
func (q *Queue) Twin() *Queue {
	var rdb redis.UniversalClient
	switch c := q.rdb.(type) {
	case *redis.Client:
		opt := *c.Options()
		rdb = redis.NewClient(&opt)
	case *redis.ClusterClient:
		opt := *c.Options()
		rdb = redis.NewClusterClient(&opt)
	}
	return newQueue(rdb, q.prefix, q.where)
}

// Client gives tests the server as an operator sees it.
func (q *Queue) Client() redis.UniversalClient { return q.rdb }

// Stream is the key of the notices' stream.
func (q *Queue) Stream() string { return q.stream() }

// Group is the consumer group.
const Group = group

// Snatch takes one waiting notice in the name of a consumer and begins a try,
// as a process does that is killed right after.
func (q *Queue) Snatch(ctx context.Context, consumer string) (bank string, err error) {
	s := &session{q: q, held: newHoldings(), settle: ctx}
	if s.c, err = (Consumer{Name: consumer, Batch: 1}).withDefaults(1); err != nil {
		return "", err
	}
	f := feeder{session: s, kept: time.Now()}
	for {
		batch, err := f.next(ctx)
		if err != nil {
			return "", err
		}
		if len(batch) == 1 {
			s.begin(batch)
			return batch[0].bank, nil
		}
	}
}

// Pure parts under test.
var (
	BackOff = backOff
	AgeOf   = ageOf
)

// Target is what a URL means.
type Target struct {
	Addrs              []string
	Cluster, TLS       bool
	Master, User, Pass string
	DB                 int
}

// Target reads the options' URL.
func (o Options) Target() (Target, error) {
	u, err := o.universal()
	if err != nil {
		return Target{}, err
	}
	return Target{
		Addrs: u.Addrs, Cluster: u.IsClusterMode || len(u.Addrs) > 1 && u.MasterName == "",
		TLS: u.TLSConfig != nil, Master: u.MasterName, User: u.Username, Pass: u.Password, DB: u.DB,
	}, nil
}
