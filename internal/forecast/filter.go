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
// and the misfit.
type belief struct {
	m [states]float64
	p [states][states]float64
}

// start returns the belief before any reading of a life of e^logLife.
func (p *Prior) start(logLife float64) belief {
	var b belief
	c := p.meanShape(logLife)
	for i := range terms {
		b.m[i] = c[i]
		for j := range terms {
			b.p[i][j] = p.ShapeCov[i][j]
		}
	}
	b.p[mis][mis] = square(p.Noise.Misfit)
	return b
}

// mean is the mean that curve returns.
func (b *belief) mean(u float64) float64 {
	c := shape(b.m[:terms])
	if u > 1 {
		return 1 + c.slope(1)*(u-1)
	}
	return c.at(u)
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
	mean = 1
	for k := range h {
		h[k] -= 1
		mean += h[k] * b.m[k]
	}
	for i := range h {
		row := 0.0
		for j := range h {
			row += b.p[i][j] * h[j]
		}
		variance += h[i] * row
	}
	return mean, variance
}

// slope returns mean and variance of the curve's derivative at u > 0, limits
// per life.
func (b *belief) slope(u float64) (mean, variance float64) {
	h := slopes(u)
	for i := range h {
		mean += h[i] * b.m[i]
		for j := range h {
			variance += h[i] * b.p[i][j] * h[j]
		}
	}
	return mean, variance
}

// mostU bounds x/L in the filter. A curve is far above its limit there, so that
// a life this much too short is refused all the same, in figures that still
// fit a float64.
const mostU = 3

// run filters the points, in their order along the axis, for a life of
// e^logLife. It returns the log likelihood and the belief at the end.
func (p *Prior) run(pts []point, logLife float64) (float64, belief) {
	b := p.start(logLife)
	usual := p.meanShape(logLife)
	perLife := math.Exp(-logLife)
	logLik, lik, last := 0.0, 1.0, 0.0
	for i := range pts {
		u := min(pts[i].x*perLife+pts[i].leap, mostU)
		if u > last {
			b.relax(math.Exp((last-u)/p.Noise.Reach), p.Noise.Misfit)
			last = u
		}
		one := b.take(&pts[i], u, &usual, &p.Noise)
		if next := lik * one; next > 1e-100 && next < 1e100 {
			lik = next // a logarithm of each would cost as much as the rest
		} else {
			logLik, lik = logLik+math.Log(lik)+math.Log(one), 1
		}
	}
	return logLik + math.Log(lik), b
}

// relax lets the misfit forget all but the share rho of itself.
func (b *belief) relax(rho, sd float64) {
	b.m[mis] *= rho
	for i := range terms {
		b.p[i][mis] *= rho
		b.p[mis][i] *= rho
	}
	b.p[mis][mis] = rho*rho*b.p[mis][mis] + sd*sd*(1-rho*rho)
}

// take updates the belief with one point and returns its likelihood, above 0.
func (b *belief) take(pt *point, u float64, usual *shape, n *Noise) float64 {
	var h [states]float64
	pw := powers(u)
	mean := 1.0
	for k := range terms {
		h[k] = pw[k] - 1
		mean += h[k] * b.m[k]
	}
	h[mis] = math.Sqrt(math.Abs(1-u)) * max(usual.slope(u), leastSlope)
	mean += h[mis] * b.m[mis]

	var g [states]float64 // P h
	s := 0.0
	for i := range states {
		row := &b.p[i]
		g[i] = row[0]*h[0] + row[1]*h[1] + row[2]*h[2] + row[3]*h[3] + row[4]*h[4] + row[5]*h[5]
		s += h[i] * g[i]
	}
	own := (square(n.Rel*pt.scale) + square(n.Abs)) / pt.weight
	switch {
	case pt.censored:
		return b.takeCensored(mean, g, s+own, pt.y)
	case pt.step*pt.step > 4*own:
		return b.takeInterval(mean, g, s+own, pt)
	}
	s += own + square(pt.step)/12
	return b.takeValue(mean, g, s, pt)
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
func (b *belief) takeValue(mean float64, g [states]float64, s float64, pt *point) float64 {
	e := pt.y - mean
	wild := s + square(outlierRel*pt.scale) + square(outlierAbs)
	odd := wildShare(pt)
	good := (1 - odd) * math.Exp(-e*e/(2*s)) / math.Sqrt(s)
	bad := odd * math.Exp(-e*e/(2*wild)) / math.Sqrt(wild)
	total := good + bad + math.SmallestNonzeroFloat64
	share := good / total
	b.move(g, share*e/s, share/s-share*(1-share)*square(e/s))
	return max(total/math.Sqrt(2*math.Pi), math.SmallestNonzeroFloat64)
}

// takeInterval takes a reading of a coarse gauge: the true value is anywhere
// within half a step.
func (b *belief) takeInterval(mean float64, g [states]float64, s float64, pt *point) float64 {
	sd := math.Sqrt(s)
	lo, hi := (pt.y-pt.step/2-mean)/sd, (pt.y+pt.step/2-mean)/sd
	in := normalCDF(hi) - normalCDF(lo)
	if lo > 0 { // the same, without cancellation in the upper tail
		in = normalCDF(-lo) - normalCDF(-hi)
	}
	odd := wildShare(pt)
	good := (1 - odd) * in
	wild := s + square(outlierRel*pt.scale) + square(outlierAbs)
	bad := odd * pt.step * math.Exp(-square(pt.y-mean)/(2*wild)) / math.Sqrt(2*math.Pi*wild)
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
func (b *belief) takeCensored(mean float64, g [states]float64, s, y float64) float64 {
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
func (b *belief) move(g [states]float64, gain, shrink float64) {
	shrink = max(shrink, 0)
	for i := range states {
		b.m[i] += gain * g[i]
		gi := shrink * g[i]
		row := &b.p[i]
		for j := range states {
			row[j] -= gi * g[j]
		}
	}
}
