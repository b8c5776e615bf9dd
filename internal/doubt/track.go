package doubt

import "math"

// Settings of the local line. Lengths are shares of the life expected of such a
// bank, levels natural logarithms of pressure. Our own choice, set by simulation.
const (
	leastRel, mostRel = 0.035, 0.05 // scatter taken before a life has shown its own
	levelWalk         = 0.01        // variance per life: small ups and downs of loading
	slopeWalk         = 1           // variance per life: loading speeds up or slows down
	slopeSD           = 1.5         // of the rate before any reading
	scatterWeight     = 8           // readings that the scatter assumed is worth
	leastScatter      = 0.6         // times the scatter assumed
	mostScatter       = 3
	huber             = 2.5 // sigmas beyond which a reading moves the line no further
)

// track is a local straight line of ln(Pa) over x with its uncertainty: a
// Kalman filter whose variances are scaled by the scatter that it meets.
type track struct {
	x             float64
	level, slope  float64
	p00, p01, p11 float64
	n             float64 // readings taken
	sum           float64 // of their squared standardised deviations
}

// scale is the scatter met over the scatter assumed.
func (t *track) scale() float64 {
	s := math.Sqrt((scatterWeight + t.sum) / (scatterWeight + t.n))
	return min(max(s, leastScatter), mostScatter)
}

// rate is the growth expected: a filter does not get cleaner.
func (t *track) rate() float64 { return max(t.slope, 0) }

// ahead is the line carried on to x.
func (t track) ahead(x float64) track {
	dx := max(x-t.x, 0)
	t.level += t.rate() * dx
	t.p00 += 2*dx*t.p01 + dx*dx*t.p11 + levelWalk*dx
	t.p01 += dx * t.p11
	t.p11 += slopeWalk * dx
	t.x = max(x, t.x)
	return t
}

// take moves the line by ln(Pa) = y at x with reading variance r.
func (t *track) take(x, y, r float64) {
	scale := t.scale()
	*t = t.ahead(x)
	e, s := y-t.level, t.p00+r
	t.sum += min(e*e/s, 9)
	t.n++
	most := huber * scale * math.Sqrt(s)
	e = min(max(e, -most), most)
	k0, k1 := t.p00/s, t.p01/s
	t.level += k0 * e
	t.slope += k1 * e
	t.p11 -= k1 * t.p01
	t.p01 *= 1 - k0
	t.p00 *= 1 - k0
}

// below returns how far y lies under what the filter must at least show, in ln
// and in sigmas, both negative for a fall. Growth counts in part and over a short
// gap only: it may stall.
func (t *track) below(x, y, r float64) (e, z float64) {
	dx := min(max(x-t.x, 0), creditedGap)
	e = y - t.level - creditedGrowth*t.rate()*dx
	return e, e / (t.scale() * math.Sqrt(t.p00+levelWalk*dx+r))
}

// above returns how far y lies over the line carried on, in ln and in sigmas.
// Loading may speed up, so the growth itself counts as scatter.
func (t *track) above(x, y, r float64) (e, z float64) {
	a := t.ahead(x)
	growth := max(t.rate(), usualRate) * (a.x - t.x)
	e = y - a.level
	return e, e / (t.scale() * math.Sqrt(a.p00+r+growth*growth))
}

const (
	creditedGap    = 0.06 // of a life
	creditedGrowth = .8
	usualRate      = 1 // ln of limit over clean, per life
)
