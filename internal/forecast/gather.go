package forecast

import (
	"cmp"
	"math"
	"slices"
)

// mostPoints bounds the work of a fit: more readings than this are merged over
// equal stretches of the axis. On the open data 16 forecast as well as 20 and
// better than 32 where a life has 60 readings or 200, at half the cost.
const mostPoints = 16

// mostX is the largest axis value that is looked at; nothing lasts so long in
// any unit.
const mostX = 1e12

// mostLimits is how many times the limit a reading can be and still be looked
// at: beyond it is no resistance of a filter, whatever it is.
const mostLimits = 100

// point is one reading, or several merged, ready for the filter. Resistances
// are fractions of the limit.
type point struct {
	x        float64
	y        float64
	scale    float64 // smoothed level, for errors proportional to resistance
	weight   float64 // sum of the weights
	step     float64 // gauge resolution
	censored bool
	count    int     // readings in it
	variance float64 // of its own error, as Noise.size sets it
}

// gather turns readings into points ordered by x. The result does not depend
// on the order of the readings.
func gather(obs []Observation, limitPa float64) []point {
	pts := make([]point, 0, len(obs))
	for _, o := range obs {
		if o.Doubtful || !(o.Weight > 0) || !(math.Abs(o.X) <= mostX) || !(math.Abs(o.Pa) <= mostLimits*limitPa) {
			continue
		}
		pts = append(pts, point{
			x: math.Max(o.X, 0), y: o.Pa / limitPa,
			weight: math.Min(o.Weight, 1), step: math.Max(o.StepPa, 0) / limitPa,
			censored: o.Censored, count: 1,
		})
	}
	if !slices.IsSortedFunc(pts, comparePoints) {
		slices.SortFunc(pts, comparePoints)
	}
	if len(pts) > mostPoints {
		pts = merge(pts)
	}
	smoothScale(pts)
	return pts
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// comparePoints is a total order, so that sorting leaves no freedom.
func comparePoints(a, b point) int {
	if c := cmp.Compare(a.x, b.x); c != 0 {
		return c
	}
	if c := cmp.Compare(a.y, b.y); c != 0 {
		return c
	}
	if c := cmp.Compare(a.weight, b.weight); c != 0 {
		return c
	}
	if c := cmp.Compare(a.step, b.step); c != 0 {
		return c
	}
	return compareTruth(a.censored, b.censored)
}

// merge joins the points that lie in the same of mostPoints equal stretches of
// the axis. Censored points stand apart from the others.
func merge(pts []point) []point {
	width := pts[len(pts)-1].x / mostPoints
	if !(width > 0) {
		width = 1
	}
	out := make([]point, 0, 2*mostPoints)
	for start := 0; start < len(pts); {
		cell := math.Floor(pts[start].x / width)
		end := start + 1
		for end < len(pts) && math.Floor(pts[end].x/width) == cell {
			end++
		}
		out = appendMerged(out, pts[start:end])
		start = end
	}
	return out
}

// appendMerged appends the join of the cell's plain points, and that of its
// censored ones.
func appendMerged(out, cell []point) []point {
	for _, censored := range [...]bool{false, true} {
		if p, ok := join(cell, censored); ok {
			out = append(out, p)
		}
	}
	return out
}

// join averages points after leaving out those far from their median, so that
// one wild reading does not carry the others along.
func join(cell []point, censored bool) (point, bool) {
	ys := make([]float64, 0, len(cell))
	for _, p := range cell {
		if p.censored == censored {
			ys = append(ys, p.y)
		}
	}
	if len(ys) == 0 {
		return point{}, false
	}
	slices.Sort(ys)
	median := ys[len(ys)/2]
	for i, y := range ys {
		ys[i] = math.Abs(y - median)
	}
	slices.Sort(ys)
	reach := math.Max(4*1.4826*ys[len(ys)/2], 0.02*math.Abs(median))
	j := point{censored: censored}
	for _, p := range cell {
		if p.censored != censored || math.Abs(p.y-median) > math.Max(reach, 2*p.step) {
			continue
		}
		j.x += p.weight * p.x
		j.y += p.weight * p.y
		j.step += p.weight * p.step
		j.weight += p.weight
		j.count += p.count
	}
	j.x /= j.weight
	j.y /= j.weight
	j.step /= j.weight
	return j, true
}

// smoothScale sets the scale of every point to the monotone fit of the
// readings (pool adjacent violators), so that a low reading does not claim a
// small error for itself.
func smoothScale(pts []point) {
	type block struct {
		sum, weight float64
		n           int
	}
	blocks := make([]block, 0, len(pts))
	for _, p := range pts {
		blocks = append(blocks, block{p.y * p.weight, p.weight, 1})
		for len(blocks) > 1 {
			a, b := blocks[len(blocks)-2], blocks[len(blocks)-1]
			if a.sum*b.weight <= b.sum*a.weight {
				break
			}
			blocks = blocks[:len(blocks)-1]
			blocks[len(blocks)-1] = block{a.sum + b.sum, a.weight + b.weight, a.n + b.n}
		}
	}
	i := 0
	for _, b := range blocks {
		level := math.Max(b.sum/b.weight, leastScale)
		for range b.n {
			pts[i].scale = level
			i++
		}
	}
}

// leastScale is the smallest level, as a share of the limit, that errors
// proportional to resistance are reckoned from.
const leastScale = 0.02
