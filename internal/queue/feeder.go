package queue

import (
	"context"
	"errors"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
)

// feeder gets the entries of one session: its own, those of stalled consumers,
// and those whose rest is over.
type feeder struct {
	*session
	kept   time.Time // last look after rests and stalls
	swept  time.Time // last look after forgotten consumers
	cursor string    // where the search for stalled entries goes on
}

// next returns entries to work, possibly none, after at most one pulse. It
// makes the stream and its group where they are missing.
func (f *feeder) next(ctx context.Context) ([]entry, error) {
	batch, err := f.take(ctx)
	if !noGroup(err) {
		return batch, err
	}
	// From 0 and not from $: what is on the stream was not done.
	err = f.q.rdb.XGroupCreateMkStream(ctx, f.q.stream(), group, "0").Err()
	if err != nil && !strings.Contains(err.Error(), "BUSYGROUP") {
		return nil, err
	}
	return f.take(ctx)
}

func (f *feeder) take(ctx context.Context) ([]entry, error) {
	if now := time.Now(); now.Sub(f.kept) >= f.c.pulse() {
		f.kept = now
		if batch, err := f.keep(ctx); err != nil || len(batch) > 0 {
			return batch, err
		}
	}
	streams, err := f.q.rdb.XReadGroup(ctx, &redis.XReadGroupArgs{
		Group:    group,
		Consumer: f.c.Name,
		Streams:  []string{f.q.stream(), ">"},
		Count:    int64(f.c.Batch),
		Block:    f.c.pulse(),
	}).Result()
	if errors.Is(err, redis.Nil) {
		return nil, nil
	}
	if err != nil || len(streams) == 0 {
		return nil, err
	}
	return f.hold(ctx, streams[0].Messages, false), nil
}

// keep puts rested banks on the stream and claims stalled entries.
func (f *feeder) keep(ctx context.Context) ([]entry, error) {
	if err := f.q.run(ctx, promoteScript, notifyStep).Err(); err != nil {
		return nil, err
	}
	if time.Since(f.swept) >= forgetEvery {
		f.swept = time.Now()
		f.forget(ctx)
	}
	messages, next, err := f.q.rdb.XAutoClaim(ctx, &redis.XAutoClaimArgs{
		Stream:   f.q.stream(),
		Group:    group,
		Consumer: f.c.Name,
		MinIdle:  f.c.ClaimAfter,
		Start:    or(f.cursor, "0-0"),
		Count:    int64(f.c.Batch),
	}).Result()
	if err != nil {
		return nil, err
	}
	f.cursor = next
	if len(messages) > 0 {
		f.c.Log.Info("queue: claimed stalled notices", "count", len(messages))
	}
	return f.hold(ctx, messages, true), nil
}

// hold notes the entries as this consumer's, so that they are kept from being
// claimed. One that it holds already, claimed from itself after an outage, is
// left out: it is being worked. Those claimed are worked alone, since one of
// them may have killed its worker.
func (f *feeder) hold(ctx context.Context, messages []redis.XMessage, claimed bool) []entry {
	batch := make([]entry, 0, len(messages))
	for _, m := range messages {
		e := entry{id: m.ID, alone: claimed || m.Values["alone"] != nil}
		e.bank, _ = m.Values["bank"].(string)
		e.upTo, _ = m.Values["upto"].(string)
		if e.bank == "" || e.upTo == "" {
			f.discard(ctx, m)
			continue
		}
		if f.held.add(e.id) {
			batch = append(batch, e)
		}
	}
	return batch
}

// discard removes an entry that is none of ours, written by hand or by a later
// version: it would come back for ever.
func (f *feeder) discard(ctx context.Context, m redis.XMessage) {
	f.c.Log.Error("queue: entry that is no notice removed", "entry", m.ID)
	f.q.rdb.XAck(ctx, f.q.stream(), group, m.ID)
	f.q.rdb.XDel(ctx, f.q.stream(), m.ID)
}

// forget drops consumers that went away long ago from the group. Failing to is
// no matter: the list is only longer.
func (f *feeder) forget(ctx context.Context) {
	list, err := f.q.rdb.XInfoConsumers(ctx, f.q.stream(), group).Result()
	if err != nil {
		return
	}
	for _, c := range list {
		if c.Name != f.c.Name && c.Pending == 0 && c.Idle > forgetAfter {
			f.q.run(ctx, leaveScript, c.Name)
		}
	}
}
