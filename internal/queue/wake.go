package queue

import (
	"context"
	"errors"

	"github.com/redis/go-redis/v9"
)

// Wake tells those who listen to the topic that there is something to look at.
// It is lossy by design: nobody may be listening. Whoever listens must also
// look by itself now and then.
func (q *Queue) Wake(ctx context.Context, topic string) error {
	return wrap("wake", q.rdb.Publish(ctx, q.key("wake", topic), "").Err())
}

// Listen returns a channel that holds a signal when the topic was woken since
// the last receive, until ctx is done, when it is closed. Many wakes make one
// signal. There is one when listening begins, and one whenever the connection
// was lost and is back, since wakes may have been missed.
func (q *Queue) Listen(ctx context.Context, topic string) (<-chan struct{}, error) {
	if topic == "" {
		return nil, errors.New("queue: listen: no topic")
	}
	sub := q.rdb.Subscribe(ctx, q.key("wake", topic))
	signal := make(chan struct{}, 1)
	go func() {
		defer close(signal)
		defer sub.Close() //nolint:errcheck // nothing is left to lose
		relay(ctx, sub.ChannelWithSubscriptions(), signal)
	}()
	return signal, nil
}

// relay turns messages and confirmed subscriptions, which a reconnection
// repeats, into signals until ctx is done or the queue is closed.
func relay(ctx context.Context, from <-chan any, signal chan<- struct{}) {
	for {
		select {
		case <-ctx.Done():
			return
		case m, ok := <-from:
			if !ok {
				return
			}
			if _, pong := m.(*redis.Pong); pong {
				continue
			}
			select {
			case signal <- struct{}{}:
			default: // one is waiting to be seen
			}
		}
	}
}
