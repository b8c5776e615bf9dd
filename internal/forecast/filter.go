package forecast

import "math"

// The readings of a life, given L, are linear in the curve coefficients and in
// a smooth misfit with exponential correlation along the axis, so a Kalman
// filter over (c₁…c₅, misfit) gives both the likelihood of L and the curve in
// one pass. The misfit stands for dust that comes unevenly: it shifts the curve
// along its axis, so in Pa it is proportional to the slope, and it fades towards
// u = 1, where the curve is at the limit by definition of L. Every reading may be an outlier: its innovation is a mixture
// of the two cases, and the filter moves by the probability that it is none.

const (
	states = terms + 1 // curve coefficients and the misfit
	mis    = terms     // index of the misfit

	leastSlope = 0.2 // limits per life, below which no slope is reckoned with

	outlierShare = 0.02 // prior probability that a reading is wild
	outlierRel   = 0.5  // SD of a wild reading, share of the resistance
	outlierAbs   = 0.15 // and share of the limit
)

// belief is the filter's state: mean and covariance of the curve coefficients
// and the misfit. Of the covariance, which is symmetric, the upper triangle is kept row by
// row: see at.
type belief struct {
	m [states]float64
	p [states * (states + 1) / 2]float64
}

// at returns the place in belief.p of row i and column j ≥ i.
func at(i, j int) int { return i*states - i*(i-1)/2 + j - i }

// start returns the belief before any reading of a life of e^logLife.
func (p *Prior) start(logLife float64) belief {
	var b belief
	c := p.meanShape(logLife)
	for i := range terms {
		b.m[i] = c[i]
		for j := i; j < terms; j++ {
			b.p[at(i, j)] = p.ShapeCov[i][j]
		}
	}
	b.p[at(mis, mis)] = square(p.Noise.Misfit)
	return b
}

// mean is the mean that curve returns.
func (b *belief) mean(u float64) float64 {
	if u > 1 {
		h := slopes(1)
		return 1 + (h[0]*b.m[0]+h[1]*b.m[1]+h[2]*b.m[2]+h[3]*b.m[3]+h[4]*b.m[4])*(u-1)
	}
	h := powers(u)
	return 1 - ((1-h[0])*b.m[0] + (1-h[1])*b.m[1] + (1-h[2])*b.m[2] + (1-h[3])*b.m[3] + (1-h[4])*b.m[4])
}

// along returns mean and variance of Σ hₖcₖ.
func (b *belief) along(h *[terms]float64) (mean, variance float64) {
	for i := range h {
		mean += h[i] * b.m[i]
		row := b.p[at(i, i)] * h[i] / 2
		for j := i + 1; j < terms; j++ {
			row += b.p[at(i, j)] * h[j]
		}
		variance += 2 * h[i] * row
	}
	return mean, variance
}

// between sets the belief to what is midway between two others.
func (b *belief) between(a, c *belief) {
	for i := range b.m {
		b.m[i] = (a.m[i] + c.m[i]) / 2
	}
	for i := range b.p {
		b.p[i] = (a.p[i] + c.p[i]) / 2
	}
}

// curve returns mean and variance of the curve at u, as a fraction of the
// limit, without misfit and reading error. Beyond the limit the curve goes on
// along its tangent.
func (b *belief) curve(u float64) (mean, variance float64) {
	if u > 1 {
		mean, variance = b.slope(1)
		return 1 + mean*(u-1), variance * (u - 1) * (u - 1)
	}
	h := powers(u)
	for k := range h {
		h[k] -= 1
	}
	mean, variance = b.along(&h)
	return 1 + mean, variance
}

// slope returns mean and variance of the curve's derivative at u > 0, limits
// per life.
func (b *belief) slope(u float64) (mean, variance float64) {
	h := slopes(u)
	return b.along(&h)
}

// mostU bounds x/L in the filter. A curve is far above its limit there, so that
// a life this much too short is refused all the same, in figures that still
// fit a float64.
const mostU = 3

// run filters the points, in their order along the axis, for a life of
// e^logLife. It returns the log likelihood and the belief at the end.
func (p *Prior) run(pts []point, logLife float64) (float64, belief) {
	p.Noise.size(pts)
	w := p.walk(logLife)
	w.through(pts, step{}, p)
	return w.logLik(), w.belief
}

// walk is a filter on its way along a life. A copy goes its own way.
type walk struct {
	belief  belief
	usual   shape
	perLife float64
	last    float64 // x/L of the last point

	// The likelihood is e^exponent·√factor: a logarithm for each point would cost as
	// much as the rest.
	exponent, factor float64
}

// walk starts a filter for a life of e^logLife.
func (p *Prior) walk(logLife float64) walk {
	return walk{belief: p.start(logLife), usual: p.meanShape(logLife), perLife: exp(-logLife), factor: 1}
}

// through takes the next points.
func (w *walk) through(pts []point, leap step, p *Prior) {
	for i := range pts {
		u := min(leap.u(pts[i].x, w.perLife), mostU)
		if u > w.last {
			w.belief.relax(exp((w.last-u)/p.Noise.Reach), p.Noise.Misfit)
			w.last = u
		}
		exponent, factor := w.belief.take(&pts[i], u, &w.usual)
		w.exponent += exponent
		if next := w.factor * factor; next > 1e-100 && next < 1e100 {
			w.factor = next
		} else {
			w.exponent += (math.Log(w.factor) + math.Log(factor)) / 2
			w.factor = 1
		}
	}
}

// logLik is the log likelihood of the points so far.
func (w *walk) logLik() float64 { return w.exponent + math.Log(w.factor)/2 }

// size sets the error variances of the points, which a filter that takes them needs.
func (n *Noise) size(pts []point) {
	for i := range pts {
		pts[i].variance = (square(n.Rel*pts[i].scale) + square(n.Abs)) / pts[i].weight
	}
}

// relax lets the misfit forget all but the share rho of itself.
func (b *belief) relax(rho, sd float64) {
	b.m[5] *= rho
	b.p[5] *= rho
	b.p[10] *= rho
	b.p[14] *= rho
	b.p[17] *= rho
	b.p[19] *= rho
	b.p[20] = rho*rho*b.p[20] + sd*sd*(1-rho*rho)
}

// take updates the belief with one point and returns its likelihood, above 0, as
// e^exponent·√factor.
func (b *belief) take(pt *point, u float64, usual *shape) (exponent, factor float64) {
	h := design(u, usual)
	mean := 1 + h[0]*b.m[0] + h[1]*b.m[1] + h[2]*b.m[2] + h[3]*b.m[3] + h[4]*b.m[4] + h[5]*b.m[5]
	g := b.times(&h)
	s := h[0]*g[0] + h[1]*g[1] + h[2]*g[2] + h[3]*g[3] + h[4]*g[4] + h[5]*g[5]
	switch own := pt.variance; {
	case pt.censored:
		return math.Log(b.takeCensored(mean, &g, s+own, pt.y)), 1
	case pt.step*pt.step > 4*own:
		return math.Log(b.takeInterval(mean, &g, s+own, pt)), 1
	}
	return b.takeValue(mean, &g, s+pt.variance+square(pt.step)/12, pt)
}

// design returns what a reading at u says of each coefficient, less 1 as all curves pass
// through the limit at u = 1, and of the misfit.
func design(u float64, usual *shape) [states]float64 {
	root, u2 := math.Sqrt(u), u*u
	u4 := u2 * u2
	slope := 0.0
	if u < leastU {
		slope = usual.slope(u)
	} else {
		slope = 0.5*usual[0]/root + usual[1] + 2*u*usual[2] + 4*u*u2*(usual[3]+2*u4*usual[4])
	}
	return [states]float64{root - 1, u - 1, u2 - 1, u4 - 1, u4*u4 - 1, math.Sqrt(math.Abs(1-u)) * max(slope, leastSlope)}
}

// times returns the covariance times h, written out since it is most of a fit.
func (b *belief) times(h *[states]float64) [states]float64 {
	p := &b.p
	return [states]float64{
		p[0]*h[0] + p[1]*h[1] + p[2]*h[2] + p[3]*h[3] + p[4]*h[4] + p[5]*h[5],
		p[1]*h[0] + p[6]*h[1] + p[7]*h[2] + p[8]*h[3] + p[9]*h[4] + p[10]*h[5],
		p[2]*h[0] + p[7]*h[1] + p[11]*h[2] + p[12]*h[3] + p[13]*h[4] + p[14]*h[5],
		p[3]*h[0] + p[8]*h[1] + p[12]*h[2] + p[15]*h[3] + p[16]*h[4] + p[17]*h[5],
		p[4]*h[0] + p[9]*h[1] + p[13]*h[2] + p[16]*h[3] + p[18]*h[4] + p[19]*h[5],
		p[5]*h[0] + p[10]*h[1] + p[14]*h[2] + p[17]*h[3] + p[19]*h[4] + p[20]*h[5],
	}
}

// wildShare is the prior probability that a point is wild. One merged from
// readings that agree is, only if they all are: wild ones are so each for itself.
func wildShare(pt *point) float64 {
	if pt.count <= 1 {
		return outlierShare
	}
	return outlierShare * outlierShare
}

// takeValue takes a reading as good with the probability that it is none of
// the wild ones.
func (b *belief) takeValue(mean float64, g *[states]float64, s float64, pt *point) (exponent, factor float64) {
	e := pt.y - mean
	perS, perWild := 1/s, 1/(s+square(outlierRel*pt.scale)+square(outlierAbs))
	odd := wildShare(pt)
	good, bad := -e*e/2*perS, -e*e/2*perWild
	if bad-good > 300 { // surely wild; the square of what follows must be a float64
		return bad, odd * odd * perWild / (2 * math.Pi)
	}
	odds := odd / (1 - odd) * math.Sqrt(s*perWild) * exp(bad-good)
	share := 1 / (1 + odds)
	b.move(g, share*e*perS, share*perS*(1-(1-share)*e*e*perS))
	return good, square((1-odd)*(1+odds)) * perS / (2 * math.Pi)
}

// takeInterval takes a reading of a coarse gauge: the true value is anywhere
// within half a step.
func (b *belief) takeInterval(mean float64, g *[states]float64, s float64, pt *point) float64 {
	sd := math.Sqrt(s)
	lo, hi := (pt.y-pt.step/2-mean)/sd, (pt.y+pt.step/2-mean)/sd
	in := normalCDF(hi) - normalCDF(lo)
	if lo > 0 { // the same, without cancellation in the upper tail
		in = normalCDF(-lo) - normalCDF(-hi)
	}
	odd := wildShare(pt)
	good := (1 - odd) * in
	wild := s + square(outlierRel*pt.scale) + square(outlierAbs)
	bad := odd * pt.step * exp(-square(pt.y-mean)/(2*wild)) / math.Sqrt(2*math.Pi*wild)
	total := good + bad + math.SmallestNonzeroFloat64
	share := good / total
	if in > 1e-280 {
		a, c := normalPDF(lo), normalPDF(hi)
		shift := (a - c) / in
		shrink := shift*shift - (lo*a-hi*c)/in
		b.move(g, share*shift/sd, (share*shrink-share*(1-share)*shift*shift)/s)
	}
	return max(total/pt.step, math.SmallestNonzeroFloat64)
}

// takeCensored takes an over-range reading: the true value is at or above y.
func (b *belief) takeCensored(mean float64, g *[states]float64, s, y float64) float64 {
	sd := math.Sqrt(s)
	z := (y - mean) / sd
	above, hazard := upperTail(z)
	good := (1 - outlierShare) * above
	total := good + outlierShare*0.5
	share := good / total
	b.move(g, share*hazard/sd, share*hazard*(hazard-z)/s-share*(1-share)*hazard*hazard/s)
	return total
}

// move shifts the mean by gain·g and takes shrink·g·gᵀ off the covariance. The
// mixture moments can ask for a widening (negative shrink); it is capped at
// none, which keeps the covariance positive and only ever errs to the side of
// an outlier being left out.
func (b *belief) move(g *[states]float64, gain, shrink float64) {
	m, p := &b.m, &b.p
	m[0] += gain * g[0]
	m[1] += gain * g[1]
	m[2] += gain * g[2]
	m[3] += gain * g[3]
	m[4] += gain * g[4]
	m[5] += gain * g[5]
	if !(shrink > 0) {
		return
	}
	s := shrink * g[0]
	p[0] -= s * g[0]
	p[1] -= s * g[1]
	p[2] -= s * g[2]
	p[3] -= s * g[3]
	p[4] -= s * g[4]
	p[5] -= s * g[5]
	s = shrink * g[1]
	p[6] -= s * g[1]
	p[7] -= s * g[2]
	p[8] -= s * g[3]
	p[9] -= s * g[4]
	p[10] -= s * g[5]
	s = shrink * g[2]
	p[11] -= s * g[2]
	p[12] -= s * g[3]
	p[13] -= s * g[4]
	p[14] -= s * g[5]
	s = shrink * g[3]
	p[15] -= s * g[3]
	p[16] -= s * g[4]
	p[17] -= s * g[5]
	s = shrink * g[4]
	p[18] -= s * g[4]
	p[19] -= s * g[5]
	p[20] -= shrink * g[5] * g[5]
}
