package forecast

import (
	"math"
	"slices"
)

const (
	firstNodes = 9  // of ln L over where the prior's own nodes find the posterior
	leastNodes = 17 // over where it is
	roughNodes = 6  // and for its evidence alone
	mostNodes  = 130
	dropBelow  = 12 // log density under the peak that is left out of the grid
	peakBelow  = 4  // log density under the peak in which the grid has to follow every bend

	// The most that the log density may exceed, at a node in there, that midway between
	// those beside it, twice: the square of the nodes' distance in SDs, for one normal. At
	// 2 quantiles are 0.01 SD off those of a far finer grid.
	fineBend, roughBend = 2, 4
)

// Fit returns the posterior of a life given the prior. It is a pure function
// of its arguments, gives the same result to the last bit for any order of the
// readings, and takes time linear in their number with a small factor (beyond
// some 16 readings they are merged first). With no readings it answers from
// the prior. A life without a limit takes the prior's; a prior that
// fails its Check is replaced by that of a secondary stage.
//
// A limit other than the prior's is found on the curves that the prior's limit
// anchors, so that a higher limit is never reached sooner. Where the two differ
// much, a class prior is better made for the limit in the first place.
func Fit(prior Prior, life Life) Posterior {
	prior, life = mended(prior, life)
	return fitPoints(prior, life, gather(life.Obs, prior.LimitPa))
}

// mended puts a secondary stage's class prior in the place of a prior that
// fails its Check, and the prior's limit in the place of none.
func mended(prior Prior, life Life) (Prior, Life) {
	if !(life.LimitPa >= 1e-6) || life.LimitPa > 1e9 {
		life.LimitPa = 0
	}
	if !(life.CleanPa > 0) || life.CleanPa > 1e9 {
		life.CleanPa = 0
	}
	if !(math.Abs(life.NowX) <= mostX) {
		life.NowX = 0
	}
	if prior.Check() != nil {
		prior = DefaultFor("secondary").For(life.LimitPa, life.CleanPa).Prior()
	}
	if life.LimitPa == 0 {
		life.LimitPa = prior.LimitPa
	}
	if life.CleanPa > mostLimits*prior.LimitPa {
		life.CleanPa = 0
	}
	return prior, life
}

// fitPoints computes the posterior from points gathered at the prior's limit.
func fitPoints(prior Prior, life Life, pts []point) Posterior {
	readings := len(pts)
	pts = withClean(pts, life.CleanPa/prior.LimitPa)
	nodes := locate(&prior, pts, step{}, leastNodes, fineBend)
	nodes, leap := leapt(&prior, pts, nodes)
	return newPosterior(prior, life, nodes, leap, readings)
}

// withClean puts the known clean resistance, as a share of the limit, before the readings as one more
// point at x = 0.
func withClean(pts []point, y float64) []point {
	if !(y > 0) {
		return pts
	}
	clean := point{y: y, scale: math.Max(y, leastScale), weight: 1, count: 1}
	return slices.Insert(pts, 0, clean)
}

// locate evaluates the posterior on evenly spaced nodes over where it is, after
// finding that place on the prior's own nodes. The nodes are halved until there are at least
// so many, and nowhere near its peak it bends by more than most between them.
func locate(prior *Prior, pts []point, leap step, least int, most float64) []node {
	prior.Noise.size(pts)
	e := evaluator{prior: prior, pts: pts, leap: leap, temper: prior.Noise.temper(pts)}
	nodes := e.all(prior.lifeNodes(pts))
	first, last := massRange(nodes)
	return e.halved(e.all(evenly(nodes[first].logLife, nodes[last].logLife, firstNodes)), least, most)
}

// halved trims evenly spaced nodes to where the posterior is and puts new ones between
// them until they follow it.
func (e *evaluator) halved(nodes []node, least int, most float64) []node {
	for {
		first, last := massRange(nodes)
		nodes = nodes[first : last+1]
		if len(nodes) >= least && (sharpest(nodes) <= most || 2*len(nodes)-1 > mostNodes) || nodes[len(nodes)-1].logLife-nodes[0].logLife < 1e-9 {
			return nodes
		}
		finer := make([]node, 2*len(nodes)-1)
		for i := range nodes {
			finer[2*i] = nodes[i]
			if i > 0 {
				finer[2*i-1] = e.at((nodes[i-1].logLife + nodes[i].logLife) / 2)
			}
		}
		nodes = finer
	}
}

// sharpest is the largest that twice the log density of a node near the peak exceeds the
// sum of those beside it by.
func sharpest(nodes []node) float64 {
	peak := nodes[peakOf(nodes)].logPost
	most := 0.0
	for i := 1; i < len(nodes)-1; i++ {
		if l := nodes[i].logPost; l > peak-peakBelow {
			most = max(most, 2*l-nodes[i-1].logPost-nodes[i+1].logPost)
		}
	}
	return most
}

// lifeNodes returns values of ln L a standard deviation apart over every
// component of the prior, and on to twice the place of the last reading, so
// that a life far longer than the prior holds possible is found too.
func (p *Prior) lifeNodes(pts []point) []float64 {
	const reach = 4
	out := make([]float64, 0, (2*reach+1)*(len(p.Life)+1))
	for i, c := range p.Life {
		if i > 0 && c.SD == p.Life[i-1].SD && math.Abs(c.Mean-p.Life[i-1].Mean) < c.SD/8 {
			continue // the same nodes again
		}
		for k := -reach; k <= reach; k++ {
			out = append(out, c.Mean+float64(k)*c.SD)
		}
	}
	slices.Sort(out)
	out = p.apart(out)
	if len(pts) == 0 || !(pts[len(pts)-1].x > 0) {
		return out
	}
	top, last := out[len(out)-1], math.Log(2*pts[len(pts)-1].x)
	if last <= top {
		return out
	}
	more := math.Min(math.Ceil((last-top)/0.25), 24)
	for k := 1.0; k <= more; k++ {
		out = append(out, top+(last-top)*k/more)
	}
	return out
}

// apart leaves out, of values in order, those that lie nearer to the one before than
// the narrowest component of the prior needs.
func (p *Prior) apart(logLives []float64) []float64 {
	least := math.Inf(1)
	for _, c := range p.Life {
		least = min(least, 0.8*c.SD)
	}
	last := math.Inf(-1)
	return slices.DeleteFunc(logLives, func(l float64) bool {
		if l-last < least {
			return true
		}
		last = l
		return false
	})
}

// evenly returns n values from lo to hi.
func evenly(lo, hi float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = lo + (hi-lo)*float64(i)/float64(n-1)
	}
	return out
}

// node is the posterior at one value of ln L.
type node struct {
	logLife float64
	logPost float64 // unnormalised log density of ln L
	belief  belief
}

// evaluator evaluates the posterior of one life.
type evaluator struct {
	prior  *Prior
	pts    []point
	leap   step
	temper float64
	stems  map[float64]stem // by ln L, where leaps of several sizes are tried
}

// stem is a filter at ln L that has taken the points before the leap.
type stem struct {
	walk   walk
	before float64 // log prior density, less logBend before any reading
	taken  int     // points
}

func (e *evaluator) all(logLives []float64) []node {
	nodes := make([]node, len(logLives))
	for i, l := range logLives {
		nodes[i] = e.at(l)
	}
	return nodes
}

func (e *evaluator) at(logLife float64) node {
	s, known := e.stems[logLife]
	if !known {
		s.walk = e.prior.walk(logLife)
		s.before = e.prior.logLifeDensity(logLife) - logBend(&s.walk.belief)
		if e.stems != nil {
			for s.taken < len(e.pts) && e.pts[s.taken].x < e.leap.x {
				s.taken++
			}
			s.walk.through(e.pts[:s.taken], step{}, e.prior)
			e.stems[logLife] = s
		}
	}
	s.walk.through(e.pts[s.taken:], e.leap, e.prior)
	return node{logLife, e.temper*s.walk.logLik() + s.before + logBend(&s.walk.belief), s.walk.belief}
}

// leastBend is the slope at the limit, as a share of the slope half way there,
// below which a curve counts as levelling off.
const leastBend = 0.5

// logBend is the log probability that the curve does not level off before its
// limit. Fits that reach far because the curve is bent down are thereby
// refused, unless the prior has learnt that curves do bend down: a filter does
// not load more slowly for being loaded.
func logBend(b *belief) float64 {
	limit, half := slopes(1), slopes(0.5)
	for k := range limit {
		limit[k] -= leastBend * half[k]
	}
	mean, variance := b.along(&limit)
	return math.Log(normalCDF(mean/math.Sqrt(variance+1e-9)) + 1e-12)
}

// massRange returns the first and the last node of those that hold the posterior, one
// beyond on each side.
func massRange(nodes []node) (first, last int) {
	peak := nodes[peakOf(nodes)].logPost
	first, last = 0, len(nodes)-1
	for first < last && nodes[first].logPost < peak-dropBelow {
		first++
	}
	for last > first && nodes[last].logPost < peak-dropBelow {
		last--
	}
	return max(first-1, 0), min(last+1, len(nodes)-1)
}

// temper is the power the likelihood of L is raised to: the curve is never quite
// right and errors are alike along a life, so that many readings are worth no
// more than Worth independent ones.
func (n Noise) temper(pts []point) float64 {
	count := 0.0
	for i := range pts {
		count += math.Min(pts[i].weight, 1)
	}
	return math.Min(1, n.Worth/math.Max(count, 1e-9))
}
