package forecast

import (
	"cmp"
	"math"
	"slices"
)

const (
	roughNodes = 20 // of ln L, to find where the posterior is
	fineNodes  = 48 // of ln L over where it is
	dropBelow  = 16 // log density under the peak that is left out of the fine grid
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
	nodes := locate(&prior, pts, fineNodes)
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

// locate evaluates the posterior on n evenly spaced nodes over where it is,
// after finding that place on the prior's own nodes and then on a few between.
func locate(prior *Prior, pts []point, n int) []node {
	nodes := evaluate(prior, pts, prior.lifeNodes(pts))
	lo, hi := massRange(nodes)
	nodes = evaluate(prior, pts, evenly(lo, hi, roughNodes))
	lo, hi = massRange(nodes)
	return evaluate(prior, pts, evenly(lo, hi, n))
}

// lifeNodes returns values of ln L half a standard deviation apart over every
// component of the prior, and on to twice the place of the last reading, so
// that a life far longer than the prior holds possible is found too.
func (p *Prior) lifeNodes(pts []point) []float64 {
	const reach, perSD = 4, 2
	out := make([]float64, 0, (2*reach*perSD+1)*(len(p.Life)+1))
	for i, c := range p.Life {
		if i > 0 && c.SD == p.Life[i-1].SD && math.Abs(c.Mean-p.Life[i-1].Mean) < c.SD/8 {
			continue // the same nodes again
		}
		for k := -reach * perSD; k <= reach*perSD; k++ {
			out = append(out, c.Mean+float64(k)/perSD*c.SD)
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
		least = min(least, 0.4*c.SD)
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

func evaluate(prior *Prior, pts []point, logLives []float64) []node {
	nodes := make([]node, len(logLives))
	temper := prior.Noise.temper(pts)
	for i, l := range logLives {
		logLik, b := prior.run(pts, l)
		before := prior.start(l)
		bends := logBend(&b) - logBend(&before)
		nodes[i] = node{l, temper*logLik + bends + prior.logLifeDensity(l), b}
	}
	return nodes
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
	mean, variance := 0.0, 1e-9
	for i := range terms {
		hi := limit[i] - leastBend*half[i]
		mean += hi * b.m[i]
		for j := range terms {
			variance += hi * (limit[j] - leastBend*half[j]) * b.p[i][j]
		}
	}
	return math.Log(normalCDF(mean/math.Sqrt(variance)) + 1e-12)
}

// massRange returns the range of ln L that holds the posterior, one node
// beyond on each side.
func massRange(nodes []node) (lo, hi float64) {
	peak := slices.MaxFunc(nodes, func(a, b node) int { return cmp.Compare(a.logPost, b.logPost) }).logPost
	first, last := 0, len(nodes)-1
	for first < last && nodes[first].logPost < peak-dropBelow {
		first++
	}
	for last > first && nodes[last].logPost < peak-dropBelow {
		last--
	}
	return nodes[max(first-1, 0)].logLife, nodes[min(last+1, len(nodes)-1)].logLife
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
