package doubt

import (
	"math"
	"slices"
	"time"
)

// flat watches for a value that never changes. Each reading equal to the one
// before adds its surprise: minus the log of the chance that scatter, gauge steps
// and loading would have given the same value again.
type flat struct {
	first    int
	n        int // readings alike, with the first
	surprise float64
	then     memory // after the first
	outs     int    // findings there were then

	pairs, same float64 // of earlier neighbours, and how many were equal
	finding     *Finding
}

const (
	stuckSurprise = 13 // once in half a million runs by chance
	stuckReadings = 4
	stuckSpan     = 72 * time.Hour
)

// unchanged follows the values; true while they are stuck and not to be judged.
func (w *walk) unchanged(i int) bool {
	f := &w.flat
	r := &w.rs[i]
	if r.NoAir || r.Censored || r.Wet || !(r.RawPa > 0) {
		return false
	}
	if f.n == 0 || r.RawPa != w.rs[f.first].RawPa {
		w.unstick()
		if f.n > 0 {
			f.pairs += float64(f.n)
			f.same += float64(f.n - 1)
		}
		f.first, f.n, f.surprise = i, 1, 0
		return false
	}
	if f.n == 1 { // the first has been judged since
		f.then, f.outs = w.memory, len(w.out)
		f.then.held = slices.Clone(w.held)
	}
	f.n++
	f.surprise -= math.Log(w.again(i))
	switch {
	case f.finding != nil:
	case f.surprise > stuckSurprise && f.n >= stuckReadings && r.At.Sub(w.rs[f.first].At) >= stuckSpan:
		w.stick(i)
	default:
		return false
	}
	w.doubtful[i] = true
	w.tellStuck(f.finding, i)
	return true
}

// again is the chance that reading i shows the value of the flat run again.
func (w *walk) again(i int) float64 {
	f, r := &w.flat, &w.rs[i]
	step := max(r.StepPa, 0.001*r.RawPa)
	sd := r.RawPa * f.then.line.scale() * math.Hypot(w.rel, airSD(r.Weight))
	sd = max(sd, 0.3*step)
	slope := max(f.then.line.slope-0.5*math.Sqrt(max(f.then.line.p11, 0)), 0)
	grown := r.RawPa * slope * (r.X/w.life - f.then.line.x) * .5
	still := within(step, 0, sd)
	seen := (f.same + 1) / (f.pairs + 4) // what this gauge is known to do
	return max(still, seen) * within(step, grown, sd) / still
}

// within is the chance of a normal value around mean to lie within half a step
// of zero.
func within(step, mean, sd float64) float64 {
	cdf := func(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
	return max(cdf((step/2-mean)/sd)-cdf((-step/2-mean)/sd), 1e-6)
}

// stick declares the run stuck: the line goes back to its first reading and what
// was said since of its readings is withdrawn.
func (w *walk) stick(i int) {
	f := &w.flat
	w.memory = f.then
	w.out = w.out[:f.outs]
	for k := f.first + 1; k < i; k++ {
		w.doubtful[k] = true
	}
	f.finding = w.add(Stuck, f.first, map[string]float64{})
	f.finding.Blocks = true
}

// unstick ends a stuck run: the value moves again.
func (w *walk) unstick() {
	f := &w.flat
	if f.finding == nil {
		return
	}
	f.finding.Open = false
	w.tellUnstuck(f.finding, f.first, f.n)
	f.finding = nil
	f.n = 0
}
