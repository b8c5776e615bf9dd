package chart

import (
	"fmt"
	"math"
)

// farPa is beyond any gauge across a filter; above it a figure is an error.
const farPa = 1e6

func (in Input) check() error {
	if in.Loc == nil || in.Now.IsZero() {
		return fmt.Errorf("%w: it needs a time zone and the time now", ErrInput)
	}
	if !in.From.IsZero() && !in.To.IsZero() && !in.From.Before(in.To) {
		return fmt.Errorf("%w: the span ends before it begins", ErrInput)
	}
	if r := in.Reach; r != nil && (r.P10.After(r.Median) || r.Median.After(r.P90)) {
		return fmt.Errorf("%w: the dates of reaching the limit are out of order", ErrInput)
	}
	if err := pressure("limit", in.LimitPa); err != nil {
		return err
	}
	if err := pressure("clean resistance", in.CleanPa); err != nil {
		return err
	}
	for i, r := range in.Readings {
		if err := pressure(fmt.Sprintf("reading %d", i+1), r.Pa); err != nil {
			return err
		}
	}
	for i, c := range in.Curve {
		if err := pressure(fmt.Sprintf("curve point %d", i+1), c.Pa); err != nil {
			return err
		}
	}
	for i, b := range in.Forecast {
		if !(b.Low <= b.Mid && b.Mid <= b.High) {
			return fmt.Errorf("%w: forecast point %d is not low ≤ mid ≤ high", ErrInput, i+1)
		}
		if err := pressure(fmt.Sprintf("forecast point %d", i+1), b.High-b.Low+math.Abs(b.Low)); err != nil {
			return err
		}
		if i > 0 && !in.Forecast[i-1].At.Before(b.At) {
			return fmt.Errorf("%w: forecast point %d is not later than the one before", ErrInput, i+1)
		}
	}
	return nil
}

func pressure(what string, pa float64) error {
	if math.IsNaN(pa) || math.Abs(pa) > farPa {
		return fmt.Errorf("%w: %s is %g Pa", ErrInput, what, pa)
	}
	return nil
}
