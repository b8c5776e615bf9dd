package forecast

import (
	"math"
	"sort"
)

// Posterior is what is believed of a life given its readings: a density of
// ln L on a grid, and for each L a normal belief about the curve. It is
// immutable.
type Posterior struct {
	limitPa  float64
	nowX     float64
	readings int
	level    Level
	evidence float64 // log density of the readings under the prior, tempered as the likelihood is
	noise    Noise

	anchorPa float64   // limit that the nodes are anchored at: the prior's
	anchor   []float64 // nodes: ln of the life to anchorPa, evenly spaced
	perLife  []float64 // nodes: one over that life, had there been no leap
	leap     step      // of the curve, where readings tell of one
	mass     []float64 // of each node, sums to 1
	halfMass []float64 // of the nodes and of one midway between each two, sums to 1
	beliefs  []belief  // about the curve at each node

	logLife []float64 // ln of the life to limitPa, evenly spaced
	density []float64 // at logLife, straight between; nil where limitPa is not anchorPa
	cdf     []float64 // at logLife
}

func newPosterior(prior Prior, life Life, nodes []node, leap step, readings int) Posterior {
	n := len(nodes)
	p := Posterior{
		limitPa: life.LimitPa, nowX: math.Max(life.NowX, 0), readings: readings,
		level: prior.Of, noise: prior.Noise, leap: leap,
		anchorPa: prior.LimitPa, anchor: make([]float64, n), perLife: make([]float64, n), mass: make([]float64, n), beliefs: make([]belief, n),
	}
	peak := nodes[peakOf(nodes)].logPost
	total := 0.0
	for i := range nodes {
		p.anchor[i], p.perLife[i] = nodes[i].logLife+math.Log1p(-leap.share), math.Exp(-nodes[i].logLife)
		p.mass[i] = math.Exp(nodes[i].logPost - peak)
		total += p.mass[i]
		p.beliefs[i] = nodes[i].belief
	}
	for i := range p.mass {
		p.mass[i] /= total
	}
	p.between(nodes, peak)
	p.evidence = peak + math.Log(p.normalise())
	if p.limitPa != p.anchorPa {
		p.cross()
	}
	return p
}

// places is how many straight pieces the density has between two nodes.
const places = 4

// between lays out the density, not yet normalised: its logarithm is a cubic through the
// four nodes around.
func (p *Posterior) between(nodes []node, peak float64) {
	n := len(nodes)
	log := func(i int) float64 {
		return max(nodes[min(max(i, 0), n-1)].logPost-peak, -dropBelow-8)
	}
	p.logLife = evenly(p.anchor[0], p.anchor[n-1], places*(n-1)+1)
	p.density, p.cdf = make([]float64, len(p.logLife)), make([]float64, len(p.logLife))
	for i := range n - 1 {
		a, b, c, d := log(i-1), log(i), log(i+1), log(i+2)
		for k := range places {
			t := float64(k) / places
			l := b + t*(c-b) + t*(1-t)*((t-2)*(a-2*b+c)-(1+t)*(b-2*c+d))/6
			p.density[places*i+k] = math.Exp(min(l, max(b, c)+0.5))
		}
	}
	p.density[len(p.density)-1] = math.Exp(log(n - 1))
	p.halfMass = make([]float64, 2*n-1)
	total := 0.0
	for i := range p.halfMass {
		p.halfMass[i] = p.density[i*places/2]
		total += p.halfMass[i]
	}
	for i := range p.halfMass {
		p.halfMass[i] /= total
	}
}

// normalise turns density into a probability density and returns what it
// integrated to before.
func (p *Posterior) normalise() float64 {
	step := p.logLife[1] - p.logLife[0]
	sum := 0.0
	for i := 1; i < len(p.density); i++ {
		sum += (p.density[i-1] + p.density[i]) / 2 * step
		p.cdf[i] = sum
	}
	for i := range p.density {
		p.density[i] /= sum
		p.cdf[i] /= sum
	}
	return sum
}

// cross replaces the distribution of the life to anchorPa by that of the life
// to limitPa. Each node's belief about the curve is normal at every x, so the
// probability to be past the limit there is too. The grid does not depend on the limit,
// and at each of its places a higher limit is less probably passed.
func (p *Posterior) cross() {
	const steps, below, above = 200, 3, 1.5
	ratio := p.limitPa / p.anchorPa
	n := len(p.anchor)
	mids := p.mids()
	p.logLife = evenly(p.anchor[0]-below, p.anchor[n-1]+above, steps)
	p.density = nil
	p.cdf = make([]float64, steps)
	nodes := make([]crossing, 0, 2*n)
	for i := range mids {
		if mids[i].mass > leastMass {
			nodes = append(nodes, crossingOf(&mids[i], ratio))
		}
	}
	most := 0.0
	for k, l := range p.logLife {
		if most < 1-1e-12 { // else nothing is left to come
			sum, x := 0.0, math.Exp(l)
			for i := range nodes {
				sum += nodes[i].mass * nodes[i].passed(p.leap.u(x, nodes[i].perLife))
			}
			most = max(most, sum)
		}
		p.cdf[k] = most
	}
}

// strand is what is believed of the curve for one L.
type strand struct {
	mass, perLife float64
	belief        belief
}

// mids returns the nodes and one between each two, for figures of which each node alone
// is surer than the nodes are close: they would go in steps.
func (p *Posterior) mids() []strand {
	out := make([]strand, len(p.halfMass))
	for i := range out {
		s := &out[i]
		s.mass = p.halfMass[i]
		a, b := i/2, (i+1)/2
		s.perLife = math.Sqrt(p.perLife[a] * p.perLife[b])
		s.belief = p.beliefs[a]
		if a != b {
			s.belief.between(&p.beliefs[a], &p.beliefs[b])
		}
	}
	return out
}

// crossing is one node's belief about when the curve passes ratio times its anchor.
type crossing struct {
	*strand
	ratio    float64
	mean, sd float64 // of the slope at the anchor
	rising   float64 // probability that it is above 0
}

func crossingOf(s *strand, ratio float64) crossing {
	c := crossing{strand: s, ratio: ratio}
	if ratio > 1 {
		mean, v := s.belief.slope(1)
		c.mean, c.sd = mean, math.Sqrt(max(v, 0)+1e-8)
		c.rising = max(normalCDF(c.mean/c.sd), 1e-300)
	}
	return c
}

// passed returns the probability that the curve has passed by u. The anchor is
// passed at u = 1 by definition; beyond it the curve goes on along its tangent,
// which is taken to rise.
func (c *crossing) passed(u float64) float64 {
	switch {
	case c.ratio < 1 && u >= 1:
		return 1
	case c.ratio > 1 && u <= 1:
		return 0
	}
	if c.ratio < 1 {
		mean, v := c.belief.curve(u)
		return certainly((mean - c.ratio) / math.Sqrt(max(v, 0)+1e-8))
	}
	z := (c.mean - (c.ratio-1)/(u-1)) / c.sd
	if c.rising < 1e-6 { // both are far out, and so is their share
		return normalCDF(z) / c.rising
	}
	return certainly(z) / c.rising
}

// certainly is normalCDF where it is neither 0 nor 1 for all that a forecast cares.
func certainly(z float64) float64 {
	switch {
	case z < -9:
		return 0
	case z > 9:
		return 1
	}
	return normalCDF(z)
}

// Level says what the prior behind the forecast had learnt from.
func (p Posterior) Level() Level { return p.level }

// Readings is the number of readings, merged ones counted once, that moved the forecast.
func (p Posterior) Readings() int { return p.readings }

// LimitPa is the limit the forecast is about, Pa.
func (p Posterior) LimitPa() float64 { return p.limitPa }

// NowX is the axis value the forecast was made at.
func (p Posterior) NowX() float64 { return p.nowX }

// Quantile returns the axis value since change-out by which the limit is
// reached with probability q: the total life. It may lie before NowX: a bank
// nobody has read for long may have passed its limit unseen, and a limit read
// as reached was reached in the past.
func (p Posterior) Quantile(q float64) float64 {
	n := len(p.cdf)
	if q <= 0 {
		return math.Exp(p.logLife[0])
	}
	if q >= 1 {
		return math.Exp(p.logLife[n-1])
	}
	i := sort.SearchFloat64s(p.cdf, q)
	i = min(max(i, 1), n-1)
	if p.density == nil {
		t := (q - p.cdf[i-1]) / math.Max(p.cdf[i]-p.cdf[i-1], 1e-300)
		return math.Exp(p.logLife[i-1] + (p.logLife[i]-p.logLife[i-1])*math.Min(math.Max(t, 0), 1))
	}
	step := p.logLife[1] - p.logLife[0]
	return math.Exp(p.logLife[i-1] + step*invertCell(p.density[i-1]*step, p.density[i]*step, q-p.cdf[i-1]))
}

// invertCell returns t in 0..1 with a·t + (b−a)·t²/2 = area: the place within
// a cell of straight density where the area is reached.
func invertCell(a, b, area float64) float64 {
	disc := math.Max(a*a+2*(b-a)*area, 0)
	den := a + math.Sqrt(disc)
	if !(den > 0) {
		return 0
	}
	return math.Min(math.Max(2*area/den, 0), 1)
}

// Remaining returns what is left from NowX until the limit is reached with
// probability q, axis units, 0 or more.
func (p Posterior) Remaining(q float64) float64 { return math.Max(0, p.Quantile(q)-p.nowX) }

// ProbBy returns the probability that the limit is reached by axis value x.
func (p Posterior) ProbBy(x float64) float64 {
	if !(x > 0) {
		return 0
	}
	l := math.Log(x)
	n := len(p.logLife)
	switch {
	case l <= p.logLife[0]:
		return p.cdf[0]
	case l >= p.logLife[n-1]:
		return 1
	}
	step := p.logLife[1] - p.logLife[0]
	i := min(int((l-p.logLife[0])/step), n-2)
	t := (l - p.logLife[i]) / step
	if p.density == nil {
		return p.cdf[i] + t*(p.cdf[i+1]-p.cdf[i])
	}
	return math.Min(p.cdf[i]+step*(p.density[i]*t+(p.density[i+1]-p.density[i])*t*t/2), 1)
}

// MeanLife returns the mean life in axis units.
func (p Posterior) MeanLife() float64 {
	sum := 0.0
	for i := 1; i < len(p.cdf); i++ {
		sum += (p.cdf[i] - p.cdf[i-1]) * math.Exp((p.logLife[i]+p.logLife[i-1])/2)
	}
	return sum + (1-p.cdf[len(p.cdf)-1])*math.Exp(p.logLife[len(p.cdf)-1])
}

// MeanPa returns the expected resistance of the curve at axis value x, Pa.
func (p Posterior) MeanPa(x float64) float64 {
	sum := 0.0
	for i, m := range p.mass {
		if m > leastMass {
			sum += m * p.beliefs[i].mean(p.leap.u(x, p.perLife[i]))
		}
	}
	return math.Max(sum, 0) * p.anchorPa
}

// ResistancePa returns the q quantile of the curve at axis value x, Pa: the
// band of a chart. Reading error is not part of it.
func (p Posterior) ResistancePa(x, q float64) float64 {
	return math.Max(0, p.mixture(x, 0, 0).quantile(q)) * p.anchorPa
}

// ReadingPa returns the q quantile of a reading at axis value x taken with a
// gauge of the given resolution, Pa: what the next reading is judged by.
func (p Posterior) ReadingPa(x, stepPa, q float64) float64 {
	rel := p.noise.Rel
	abs := math.Hypot(p.noise.Abs, stepPa/p.anchorPa/math.Sqrt(12))
	return p.mixture(x, rel, abs).quantile(q) * p.anchorPa
}

// CleanPa returns the expected resistance of the clean set, Pa.
func (p Posterior) CleanPa() float64 { return p.MeanPa(0) }

// NowPa returns the expected resistance now, Pa.
func (p Posterior) NowPa() float64 { return p.MeanPa(p.nowX) }

// mixture is the distribution of the resistance at one place, as a fraction of
// the limit: one normal for each L.
type mixture struct {
	weight, mean, sd []float64
}

func (p *Posterior) mixture(x, rel, abs float64) mixture {
	n := 2*len(p.mass) - 1
	buf := make([]float64, 2*n)
	m := mixture{p.halfMass, buf[:n], buf[n:]}
	for i := range p.mass {
		mean, v := p.beliefs[i].curve(p.leap.u(x, p.perLife[i]))
		m.mean[2*i] = mean
		m.sd[2*i] = math.Sqrt(math.Max(v, 0) + square(rel*math.Max(mean, leastScale)) + square(abs) + 1e-12)
	}
	for i := range n {
		if i%2 == 1 { // midway
			m.mean[i], m.sd[i] = (m.mean[i-1]+m.mean[i+1])/2, (m.sd[i-1]+m.sd[i+1])/2
		}
	}
	return m
}

func (m mixture) cdf(y float64) float64 {
	sum := 0.0
	for i, w := range m.weight {
		if w > leastMass {
			sum += w * normalCDF((y-m.mean[i])/m.sd[i])
		}
	}
	return sum
}

// quantile inverts cdf by false position with the Illinois step, which needs
// some eight evaluations where halving needs thirty.
func (m mixture) quantile(q float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, w := range m.weight {
		if w > leastMass {
			lo = math.Min(lo, m.mean[i]-6*m.sd[i])
			hi = math.Max(hi, m.mean[i]+6*m.sd[i])
		}
	}
	below, above := m.cdf(lo)-q, m.cdf(hi)-q
	tolerance := 1e-7 * (1 + math.Abs(lo) + math.Abs(hi))
	side := 0
	for range 60 {
		if hi-lo <= tolerance || below >= 0 || above <= 0 {
			break
		}
		y := (lo*above - hi*below) / (above - below)
		switch f := m.cdf(y) - q; {
		case math.Abs(f) < 1e-9:
			return y
		case f < 0:
			lo, below = y, f
			if side < 0 {
				above /= 2
			}
			side = -1
		default:
			hi, above = y, f
			if side > 0 {
				below /= 2
			}
			side = 1
		}
	}
	if below >= 0 {
		return lo
	}
	if above <= 0 {
		return hi
	}
	return (lo + hi) / 2
}

// leastMass is the mass of a node below which a figure leaves it out.
const leastMass = 1e-7
