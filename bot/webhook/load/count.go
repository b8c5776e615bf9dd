package load

import (
	"context"
	"slices"
	"time"
)

// count sums up what was acknowledged.
func (r *runner) count(all []sent, took time.Duration) Report {
	rep := Report{
		Requests: len(all), Seconds: took.Seconds(),
		TurnedAway: int(r.turnedAway.Load()), Refused: int(r.refused.Load()),
	}
	entries := map[int64]bool{}
	var times []time.Duration
	for _, s := range all {
		times = append(times, s.took)
		rep.Readings += len(s.seqs)
		for _, seq := range s.seqs {
			entries[seq] = true
		}
	}
	rep.Entries, rep.Doubled = len(entries), rep.Readings-len(entries)
	rep.RequestsPerSec = float64(rep.Requests) / rep.Seconds
	rep.ReadingsPerSec = float64(rep.Readings) / rep.Seconds
	slices.Sort(times)
	rep.P50Ms, rep.P95Ms, rep.P99Ms, rep.MaxMs = at(times, .5), at(times, .95), at(times, .99), at(times, 1)
	return rep
}

// at is the nearest-rank quantile of sorted times, in ms.
func at(times []time.Duration, q float64) float64 {
	if len(times) == 0 {
		return 0
	}
	i := int(q*float64(len(times))+0.999999) - 1
	return float64(times[min(max(i, 0), len(times)-1)].Microseconds()) / 1000
}

// again resends some requests, spread over the run: each reading must be known,
// with the entry it had.
func (r *runner) again(ctx context.Context, all []sent) (resent, forgotten int) {
	if r.Resend < 1 || len(all) == 0 {
		return 0, 0
	}
	step := max(1, len(all)/r.Resend)
	for i := 0; i < len(all) && resent < r.Resend && ctx.Err() == nil; i += step {
		s, ok := r.deliver(ctx, all[i].index)
		if !ok {
			continue
		}
		resent++
		for k, seq := range all[i].seqs {
			if k >= len(s.seqs) || s.seqs[k] != seq {
				forgotten++
			}
		}
	}
	return resent, forgotten
}
