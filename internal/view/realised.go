package view

import (
	"context"
	"time"

	"clogwise/internal/realised"
)

// Realised holds forecasts made ahead of change-outs against the change-outs
// since from, the last of each bank; at most limit banks are looked at.
func (v *View) Realised(ctx context.Context, from, now time.Time, ahead time.Duration, limit int) ([]realised.Outcome, error) {
	all, err := v.Assessments(ctx, "", now)
	if err != nil {
		return nil, err
	}
	var out []realised.Outcome
	for _, a := range all {
		if a.LastSwap == nil || a.LastSwap.At.Before(from) {
			continue
		}
		if limit--; limit < 0 {
			break
		}
		in, err := v.input(ctx, a.Bank, now, nil)
		if err != nil {
			return nil, err
		}
		if o, ok := realised.Of(in, ahead); ok {
			out = append(out, o)
		}
	}
	return out, nil
}
