package load

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"sync"
	"time"
)

// How often a followed bank is looked at, and for how long. The longer it takes the
// seldomer, so that looking does not take what the forecasts need: a lag is told up to
// a tenth too long, and at most lookMost.
const (
	lookLeast   = 10 * time.Millisecond
	lookMost    = 200 * time.Millisecond
	giveUpAfter = time.Minute
)

// follower follows some of the readings from their acknowledgement until the
// forecast of their bank covers them: what an integrator would wait for.
type follower struct {
	offered chan acked
	all     sync.WaitGroup

	mu    sync.Mutex
	lags  []time.Duration
	never int
}

// acked is a reading that was acknowledged.
type acked struct {
	bank string
	seq  int64
	at   time.Time
}

func (r *runner) startFollowing(ctx context.Context) {
	if r.Follow < 1 {
		return
	}
	r.offered = make(chan acked)
	for range r.Follow {
		r.all.Go(func() {
			for a := range r.offered {
				r.follow(ctx, a)
			}
		})
	}
}

// offer hands one reading of a request to whoever has nothing to follow.
func (r *runner) offer(results []result) {
	if r.offered == nil || len(results) == 0 {
		return
	}
	x := results[len(results)-1]
	if x.Seq == 0 || x.Bank == "" {
		return
	}
	select {
	case r.offered <- acked{x.Bank, x.Seq, time.Now()}:
	default:
	}
}

// follow waits until the bank's forecast covers the reading. Resends, which
// offer too, come after all has ended.
func (r *runner) follow(ctx context.Context, a acked) {
	for ctx.Err() == nil && time.Since(a.at) < giveUpAfter {
		if r.covered(ctx, a) {
			r.saw(time.Since(a.at), true)
			return
		}
		select {
		case <-time.After(min(max(time.Since(a.at)/10, lookLeast), lookMost)):
		case <-ctx.Done():
		}
	}
	r.saw(giveUpAfter, false)
}

func (r *runner) saw(lag time.Duration, covered bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.lags = append(r.lags, lag)
	if !covered {
		r.never++
	}
}

// covered reports whether the intake tells a forecast that takes the reading
// into account.
func (r *runner) covered(ctx context.Context, a acked) bool {
	res, err := r.do(ctx, http.MethodGet, "/v1/banks/"+a.bank, r.run, nil)
	if err != nil {
		return false
	}
	defer res.Body.Close() //nolint:errcheck // only read
	var answer struct {
		UpTo int64 `json:"up_to"`
	}
	return json.NewDecoder(res.Body).Decode(&answer) == nil && res.StatusCode == http.StatusOK && answer.UpTo >= a.seq
}

// endFollowing waits for those under way and sums up.
func (r *runner) endFollowing(rep *Report) {
	if r.offered == nil {
		return
	}
	offered := r.offered
	r.offered = nil // no sender is left that could offer
	close(offered)
	r.all.Wait()
	slices.Sort(r.lags)
	rep.Followed, rep.Unfollowed = len(r.lags), r.never
	rep.LagP50Ms, rep.LagP95Ms, rep.LagMaxMs = at(r.lags, .5), at(r.lags, .95), at(r.lags, 1)
}
