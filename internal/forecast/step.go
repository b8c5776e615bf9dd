package forecast

import (
	"math"
	"slices"
)

// Readings that agree with each other at a level far above the curve are no wild
// readings: wild ones are wild each for itself. They say that dust came at once,
// or something that counts as dust: a room below was sanded, bags fell together, wet
// filters stayed clogged. A step is such a leap along the curve, by a share of the life, between two
// readings. It is looked for where a fit leaves readings high above its curve,
// and taken where it makes the readings so much more probable that it is, for
// all that steps are rare.

const (
	stepProb   = 0.05 // of a step in a life, before any reading: common practice, no source
	stepZ      = 4    // SDs above what was expected that a step is thought of
	stepRel    = 0.15 // and how far above the reading before it at least, as a share
	stepAgree  = 0.85 // share of the reading before it that one may come to, and agree
	stepTrials = 8    // sizes tried, evenly over a life
	stepMost   = 1    // places looked at

	latticeNodes = 17 // of ln L, on which sizes are compared
)

// step is a leap of the curve by a share of the life just before axis value x;
// none where the share is 0.
type step struct {
	x, share float64
}

// u returns where on its curve a life, one over whose length is perLife, is at x.
func (s step) u(x, perLife float64) float64 {
	if s.share > 0 && x >= s.x {
		return x*perLife + s.share
	}
	return x * perLife
}

// leapt returns the step that explains the points better than nodes, the posterior without one, does,
// and the posterior with it; the same nodes and no step where there is none.
//
// What comes before the leap is filtered once for all its sizes.
func leapt(prior *Prior, pts []point, nodes []node) ([]node, step) {
	places := leapsAt(prior, pts, nodes)
	if len(places) == 0 {
		return nodes, step{}
	}
	lives := prior.lifeNodes(pts)
	lattice := evenly(lives[0], lives[len(lives)-1], latticeNodes)
	best, top := step{}, evidenceOf(nodes)
	var where []float64 // ln L, evenly over the posterior with the best step
	temper := prior.Noise.temper(pts)
	penalty := temper * math.Log(stepProb/float64(max(len(pts)-1, 1))) // like that which it is weighed against
	for _, x := range places {
		e := evaluator{prior: prior, pts: pts, temper: temper, stems: map[float64]stem{}}
		try := func(nodes []node) {
			if evidence := evidenceOf(nodes) + penalty; evidence > top {
				best, top, where = e.leap, evidence, logLives(nodes)
			}
		}
		var rough [stepTrials][]node
		high := math.Inf(-1)
		for k := 2; k < stepTrials; k++ {
			e.leap = step{x, float64(k) / stepTrials}
			rough[k] = e.all(lattice)
			high = max(high, rough[k][peakOf(rough[k])].logPost)
		}
		for k := 2; k < stepTrials; k++ {
			if rough[k][peakOf(rough[k])].logPost > high-dropBelow { // else it cannot win
				e.leap = step{x, float64(k) / stepTrials}
				try(e.halved(rough[k], roughNodes, roughBend))
			}
		}
		if best.x != x {
			continue
		}
		for width := 0.5 / stepTrials; width > 0.01; width /= 2 {
			mid, around := best, widened(where)
			for _, share := range [...]float64{mid.share - width, mid.share + width} {
				e.leap = step{x, share}
				try(e.all(around))
			}
		}
	}
	if best.share == 0 {
		return nodes, best
	}
	return locate(prior, pts, best, leastNodes, fineBend), best
}

func logLives(nodes []node) []float64 {
	out := make([]float64, len(nodes))
	for i := range nodes {
		out[i] = nodes[i].logLife
	}
	return out
}

// widened returns the evenly spaced values with a quarter as many more on each side.
func widened(values []float64) []float64 {
	n, by := len(values), values[1]-values[0]
	more := n / 4
	out := make([]float64, 0, n+2*more)
	for i := -more; i < 0; i++ {
		out = append(out, values[0]+float64(i)*by)
	}
	out = append(out, values...)
	for i := range more {
		out = append(out, values[n-1]+float64(i+1)*by)
	}
	return out
}

// leapsAt returns the axis values of the points that lie far above what those
// before them led to expect, in the most probable of lives, or above it where the one
// before lay far below, and are borne out by the next reading or one merged with them; the farthest first, stepMost at most.
func leapsAt(prior *Prior, pts []point, nodes []node) []float64 {
	if len(pts) < 2 {
		return nil
	}
	logLife := nodes[peakOf(nodes)].logLife
	w := prior.walk(logLife)
	type place struct{ x, z float64 }
	var found []place
	before := 0.0
	for i := range pts {
		p := &pts[i]
		z := w.surprise(p, prior)
		if i > 0 && p.x > pts[0].x && p.y > (1+stepRel)*pts[i-1].y && max(z, min(z-before, z+stepZ)) > stepZ && stays(pts[i:]) {
			found = append(found, place{p.x, max(z, z-before)})
		}
		before = z
		w.through(pts[i:i+1], step{}, prior)
	}
	slices.SortStableFunc(found, func(a, b place) int {
		switch {
		case a.z > b.z:
			return -1
		case a.z < b.z:
			return 1
		}
		return 0
	})
	var out []float64
	for _, f := range found[:min(len(found), stepMost)] {
		out = append(out, f.x)
	}
	return out
}

// surprise returns how many SDs the point lies above what the walk so far leads to
// expect.
func (w walk) surprise(p *point, prior *Prior) float64 {
	u := min(p.x*w.perLife, mostU)
	if u > w.last {
		w.belief.relax(math.Exp((w.last-u)/prior.Noise.Reach), prior.Noise.Misfit)
	}
	mean, v := w.belief.curve(u)
	slope := math.Sqrt(math.Abs(1-u)) * max(w.usual.slope(u), leastSlope)
	mean += slope * w.belief.m[mis]
	v += slope*slope*w.belief.p[at(mis, mis)] + square(prior.Noise.Rel*p.scale) + square(prior.Noise.Abs) + square(p.step)/12
	return (p.y - mean) / math.Sqrt(v)
}

// stays reports whether the first of the points is borne out.
func stays(pts []point) bool {
	return pts[0].count > 1 || len(pts) > 1 && pts[1].y > stepAgree*pts[0].y && pts[0].y > stepAgree*pts[1].y
}

// evidenceOf is the log of what the posterior density integrates to.
func evidenceOf(nodes []node) float64 {
	peak := nodes[peakOf(nodes)].logPost
	sum := 0.0
	for i := range nodes {
		sum += math.Exp(nodes[i].logPost - peak)
	}
	return peak + math.Log(sum*(nodes[1].logLife-nodes[0].logLife))
}

func peakOf(nodes []node) int {
	at := 0
	for i := range nodes {
		if nodes[i].logPost > nodes[at].logPost {
			at = i
		}
	}
	return at
}
