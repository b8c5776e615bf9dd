package forecast

import (
	"cmp"
	"math"
	"slices"
)

const (
	coarseNodes = 40 // of ln L over the whole prior
	fineNodes   = 64 // of ln L over where the posterior is
	dropBelow   = 16 // log density under the peak that is left out of the fine grid
)

// Fit returns the posterior of a life given the prior. It is a pure function
// of its arguments, gives the same result to the last bit for any order of the
// readings, and takes time linear in their number with a small factor (beyond
// some 40 readings they are merged first). With no readings it answers from
// the prior. A life without a limit takes the prior's.
func Fit(prior Prior, life Life) Posterior {
	if !(life.LimitPa > 0) {
		life.LimitPa = prior.LimitPa
	}
	prior = prior.AtLimit(life.LimitPa)
	return fitPoints(prior, life, gather(life.Obs, life.LimitPa))
}

// fitPoints computes the posterior from gathered points. The prior is at the
// life's limit already.
func fitPoints(prior Prior, life Life, pts []point) Posterior {
	readings := len(pts)
	pts = withClean(pts, life)
	lo, hi := prior.lifeSupport()
	lo, hi = reachFor(pts, lo, hi)
	nodes := evaluate(&prior, pts, lo, hi, coarseNodes)
	for range 2 {
		lo, hi = massRange(nodes)
		nodes = evaluate(&prior, pts, lo, hi, fineNodes)
		if spread(nodes) {
			break
		}
	}
	return newPosterior(prior, life, nodes, readings)
}

// withClean puts the known clean resistance before the readings as one more
// point at x = 0.
func withClean(pts []point, life Life) []point {
	if !(life.CleanPa > 0) {
		return pts
	}
	y := life.CleanPa / life.LimitPa
	clean := point{y: y, scale: math.Max(y, leastScale), weight: 1}
	return slices.Insert(pts, 0, clean)
}

// reachFor widens the range of ln L so that a life far longer than the prior
// holds possible still has nodes.
func reachFor(pts []point, lo, hi float64) (float64, float64) {
	if len(pts) == 0 {
		return lo, hi
	}
	last := pts[len(pts)-1].x
	if last > 0 {
		hi = math.Max(hi, math.Log(last)+0.7)
	}
	return lo, hi
}

// node is the posterior at one value of ln L.
type node struct {
	logLife float64
	logPost float64 // unnormalised log density of ln L
	belief  belief
}

func evaluate(prior *Prior, pts []point, lo, hi float64, n int) []node {
	nodes := make([]node, n)
	step := (hi - lo) / float64(n-1)
	for i := range nodes {
		l := lo + float64(i)*step
		logLik, b := prior.run(pts, l)
		nodes[i] = node{l, logLik + prior.logLifeDensity(l), b}
	}
	return nodes
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

// spread reports whether enough nodes carry weight for the density to be
// integrated well.
func spread(nodes []node) bool {
	peak := math.Inf(-1)
	for i := range nodes {
		peak = math.Max(peak, nodes[i].logPost)
	}
	n := 0
	for i := range nodes {
		if nodes[i].logPost > peak-4.5 {
			n++
		}
	}
	return n >= 9
}
