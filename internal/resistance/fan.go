package resistance

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/interp"

	"clogwise/internal/plant"
)

// ErrFanCurve is returned when points do not make a fan curve, or when a fan and
// a system do not meet on it.
var ErrFanCurve = errors.New("fan curve")

// A FanCurve gives the pressure of a fan against airflow by monotone cubic
// interpolation (Fritsch and Butland) of its points. It does not extrapolate:
// outside its points Pa keeps the pressure of the nearest one. Build it with
// NewFanCurve; it is immutable.
type FanCurve struct {
	fit    *interp.FritschButland
	lo, hi float64 // airflow of the first and last point, m³/s
	speed  float64 // ratio to the speed of the points
}

// NewFanCurve joins points measured at one speed. It returns ErrFanCurve for
// fewer than three airflows, two pressures at one airflow, or a fan whose
// pressure does not fall to its last point.
func NewFanCurve(points []plant.FlowPoint) (FanCurve, error) {
	ps := slices.Clone(points)
	slices.SortFunc(ps, func(a, b plant.FlowPoint) int { return cmp.Compare(a.FlowM3s, b.FlowM3s) })
	ps = slices.Compact(ps)
	if len(ps) < 3 {
		return FanCurve{}, fmt.Errorf("%w: three points are needed, there are %d", ErrFanCurve, len(ps))
	}
	qs, pas := make([]float64, len(ps)), make([]float64, len(ps))
	for i, p := range ps {
		if !(p.FlowM3s >= 0) || !(p.Pa >= 0) {
			return FanCurve{}, fmt.Errorf("%w: a point of %g Pa at %g m³/s", ErrFanCurve, p.Pa, p.FlowM3s)
		}
		if i > 0 && p.FlowM3s == qs[i-1] {
			return FanCurve{}, fmt.Errorf("%w: %g and %g Pa at the same %g m³/s", ErrFanCurve, pas[i-1], p.Pa, p.FlowM3s)
		}
		qs[i], pas[i] = p.FlowM3s, p.Pa
	}
	last := len(ps) - 1
	if pas[last] >= pas[last-1] {
		return FanCurve{}, fmt.Errorf("%w: pressure does not fall towards the largest airflow", ErrFanCurve)
	}
	f := FanCurve{fit: new(interp.FritschButland), lo: qs[0], hi: qs[last], speed: 1}
	if err := f.fit.Fit(qs, pas); err != nil {
		return FanCurve{}, fmt.Errorf("%w: %w", ErrFanCurve, err)
	}
	return f, nil
}

// Pa returns the fan's pressure at airflow q m³/s.
func (f FanCurve) Pa(q float64) float64 { return f.speed * f.speed * f.fit.Predict(q/f.speed) }

// Range returns the airflows between which the curve is known, m³/s.
func (f FanCurve) Range() (lo, hi float64) { return f.lo * f.speed, f.hi * f.speed }

// AtSpeed returns the curve at ratio times this one's speed by the fan laws:
// airflow goes with speed, pressure with its square.
func (f FanCurve) AtSpeed(ratio float64) FanCurve {
	f.speed *= ratio
	return f
}

// Meet returns the airflow at which the fan meets a system whose resistance
// rises with airflow, m³/s. Where a curve with a hump meets it more than once
// the largest airflow is returned, the stable one. It returns ErrFanCurve when
// they do not meet between the curve's first and last point.
func (f FanCurve) Meet(system func(q float64) float64) (float64, error) {
	lo, hi := f.Range()
	spare := func(q float64) float64 { return f.Pa(q) - system(q) }
	if !(spare(hi) <= 0) {
		return 0, fmt.Errorf("%w: the system takes more air than the curve's last point, %g m³/s", ErrFanCurve, hi)
	}
	const panels = 24
	right := hi
	for i := panels - 1; i >= 0; i-- {
		left := lo + (hi-lo)*float64(i)/panels
		if spare(left) >= 0 {
			return bisect(spare, left, right), nil
		}
		right = left
	}
	return 0, fmt.Errorf("%w: the system takes less air than the curve's first point, %g m³/s", ErrFanCurve, lo)
}

// bisect finds the root of a function that is not negative at lo and not
// positive at hi.
func bisect(f func(float64) float64, lo, hi float64) float64 {
	for range 60 {
		mid := lo + (hi-lo)/2
		if f(mid) >= 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}
