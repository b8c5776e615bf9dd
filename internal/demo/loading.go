package demo

import (
	"math"
	"sort"
	"time"

	"clogwise/internal/plant"
)

// axis counts the dust a bank has met, in run hours of average dust, day by day.
type axis struct {
	days []time.Time // midnights, site time
	sum  []float64   // dust hours up to each
}

// newAxis adds up run hours times rate(midnight) over the days from start to end.
func newAxis(run plant.Runner, loc *time.Location, start, end time.Time, rate func(time.Time) float64) axis {
	y, m, d := start.In(loc).Date()
	a := axis{days: []time.Time{time.Date(y, m, d, 0, 0, 0, 0, loc)}, sum: []float64{0}}
	for i := 1; !a.days[i-1].After(end); i++ {
		day, next := a.days[i-1], time.Date(y, m, d+i, 0, 0, 0, 0, loc)
		a.days = append(a.days, next)
		a.sum = append(a.sum, a.sum[i-1]+run.Hours(day, next)*rate(day))
	}
	return a
}

// at is the dust hours up to t.
func (a axis) at(t time.Time) float64 {
	i := sort.Search(len(a.days), func(i int) bool { return a.days[i].After(t) })
	switch {
	case i == 0:
		return 0
	case i == len(a.days):
		return a.sum[i-1]
	}
	part := t.Sub(a.days[i-1]).Seconds() / a.days[i].Sub(a.days[i-1]).Seconds()
	return a.sum[i-1] + part*(a.sum[i]-a.sum[i-1])
}

// when is the day on which the count passed x.
func (a axis) when(x float64) time.Time {
	i := sort.SearchFloat64s(a.sum, x)
	return a.days[max(0, min(i-1, len(a.days)-1))]
}

// growth is the shape of loading: a straight part (cake) and one that bends
// upward (depth filtration). It passes 1 at u = 1.
type growth struct{ straight, power float64 }

// Shapes by stage are invented, within what loading tests commonly show.
func growthOf(s plant.Stage) growth {
	switch s {
	case plant.Secondary, plant.Third:
		return growth{0.45, 2.4}
	}
	return growth{0.6, 2}
}

// at is the rise from clean to limit (0..1 and beyond) at u of a life.
func (g growth) at(u float64) float64 {
	return g.straight*u + (1-g.straight)*math.Pow(u, g.power)
}

// inverse is the u at which the rise is y.
func (g growth) inverse(y float64) float64 {
	lo, hi := 0.0, 4.0
	for range 50 {
		if mid := (lo + hi) / 2; g.at(mid) < y {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// life is one set of filters: from a change-out, dust hours from x0, reaching
// the limit after length dust hours.
type life struct {
	from    time.Time
	x0      float64
	length  float64
	cleanPa float64 // of this set, at design airflow
}
