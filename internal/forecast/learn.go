package forecast

import (
	"cmp"
	"math"
	"slices"
)

const (
	rounds        = 10   // of expectation and maximisation
	mostShape     = 300  // lives used for the shape; more add nothing but time
	shapeStrength = 4.0  // over the number of lives: lives that the class's shape counts as
	endError      = 0.02 // SD of ln L of a life whose limit was reached at EndX
)

// Learn returns the fleet prior: the class prior moved towards what the
// finished lives show, by as much as their number allows. Lives without an end
// are ignored; none at all returns the class prior. Of more than some hundred
// those are taken that a Sample keeps. The result does not depend on the order
// of the lives.
//
// The distribution of ln L is a mixture of normals fitted to the lives, so that
// a fleet of several duties keeps its several typical lives; mean and
// covariance of the curve coefficients, and the sizes of reading error and
// smooth misfit, are found by expectation–maximisation.
func Learn(class Prior, lives []FinishedLife) Prior {
	class, _ = mended(class, Life{})
	lives = sampled(usable(lives))
	if len(lives) == 0 {
		return class
	}
	prior := class.AtLimit(commonLimit(lives))
	pupils := prepare(prior, lives)
	prior.Of = LevelFleet
	prior.Lives = class.Lives + len(lives)
	prior.learn(pupils)
	prior.Noise.Worth = crossWorth(class.AtLimit(prior.LimitPa), lives)
	return prior
}

// learn is the expectation–maximisation over the pupils, from the class prior
// that p is at first.
func (p *Prior) learn(pupils []pupil) {
	base := *p
	for round := range rounds {
		study(p, pupils)
		some := thin(pupils, mostShape)
		p.learnShape(base, some)
		if round%3 == 0 || round == rounds-1 { // these change little from round to round
			p.learnLives(base, pupils)
			p.learnNoise(base, some)
		}
	}
	p.learnBanks(base, pupils)
}

// usable drops lives without an end or a limit and puts the others in a fixed
// order.
func usable(lives []FinishedLife) []FinishedLife {
	out := make([]FinishedLife, 0, len(lives))
	for _, l := range lives {
		if l.EndX > 0 && finite(l.EndX) && l.LimitPa > 0 && finite(l.LimitPa) {
			out = append(out, l)
		}
	}
	slices.SortFunc(out, compareLives)
	return out
}

// compareLives is a total order, so that sorting leaves no freedom.
func compareLives(a, b FinishedLife) int {
	if c := cmp.Or(cmp.Compare(a.Group, b.Group), cmp.Compare(a.EndX, b.EndX),
		cmp.Compare(len(a.Obs), len(b.Obs)), cmp.Compare(a.LimitPa, b.LimitPa),
		cmp.Compare(a.CleanPa, b.CleanPa), compareTruth(a.ReachedLimit, b.ReachedLimit)); c != 0 {
		return c
	}
	return slices.CompareFunc(a.Obs, b.Obs, func(a, b Observation) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Pa, b.Pa), cmp.Compare(a.Weight, b.Weight),
			cmp.Compare(a.StepPa, b.StepPa), compareTruth(a.Censored, b.Censored), compareTruth(a.Doubtful, b.Doubtful))
	})
}

// compareTruth puts false before true.
func compareTruth(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// commonLimit is the median limit of the lives.
func commonLimit(lives []FinishedLife) float64 {
	limits := make([]float64, len(lives))
	for i, l := range lives {
		limits[i] = l.LimitPa
	}
	slices.Sort(limits)
	return limits[(len(limits)-1)/2]
}

// pupil is a finished life while it is being learnt from.
type pupil struct {
	points []point
	group  string
	pinned bool    // ln L is known: the limit that the prior refers to was reached at EndX
	log    float64 // ln L, known or expected
	belief belief  // about the curve at that L
	atoms  []atom  // likelihood over ln L, when not pinned
}

// atom is the likelihood of a life at one ln L.
type atom struct{ log, weight float64 }

func prepare(prior Prior, lives []FinishedLife) []pupil {
	out := make([]pupil, len(lives))
	for i, l := range lives {
		pts := gather(l.Obs, prior.LimitPa)
		pts = withClean(pts, l.CleanPa/prior.LimitPa)
		out[i] = pupil{group: l.Group}
		end := l.LimitPa / prior.LimitPa
		switch {
		case l.ReachedLimit && l.LimitPa == prior.LimitPa:
			out[i].pinned = true
			out[i].log = math.Log(l.EndX)
		case l.ReachedLimit: // another limit: it was reached there, surely
			at, _ := slices.BinarySearchFunc(pts, l.EndX, func(p point, x float64) int { return cmp.Compare(p.x, x) })
			pts = slices.Insert(pts, at, point{x: l.EndX, y: end, scale: end, weight: 20})
		}
		out[i].points = pts
	}
	return out
}

// study fits every pupil with the prior as it stands.
func study(prior *Prior, pupils []pupil) {
	for i := range pupils {
		p := &pupils[i]
		if p.pinned {
			_, p.belief = prior.run(p.points, p.log)
			continue
		}
		nodes := locate(prior, p.points, step{}, leastNodes, roughBend)
		p.weigh(prior, nodes)
	}
}

// weigh keeps the likelihood over ln L, the expected ln L and the belief there.
func (p *pupil) weigh(prior *Prior, nodes []node) {
	peak := math.Inf(-1)
	for i := range nodes {
		peak = math.Max(peak, nodes[i].logPost)
	}
	p.atoms = p.atoms[:0]
	sum, mean := 0.0, 0.0
	for i := range nodes {
		w := math.Exp(nodes[i].logPost - peak)
		sum += w
		mean += w * nodes[i].logLife
		lik := math.Exp(nodes[i].logPost - peak - prior.logLifeDensity(nodes[i].logLife))
		p.atoms = append(p.atoms, atom{nodes[i].logLife, lik})
	}
	p.log = mean / sum
	nearest := slices.MinFunc(nodes, func(a, b node) int {
		return cmp.Compare(math.Abs(a.logLife-p.log), math.Abs(b.logLife-p.log))
	})
	p.belief = nearest.belief
}

// thin returns at most n of the pupils, evenly taken.
func thin(pupils []pupil, n int) []pupil {
	if len(pupils) <= n {
		return pupils
	}
	out := make([]pupil, n)
	for i := range out {
		out[i] = pupils[i*len(pupils)/n]
	}
	return out
}

// learnShape sets mean, slope and covariance of the curve coefficients.
func (p *Prior) learnShape(base Prior, pupils []pupil) {
	n := float64(len(pupils))
	strength := shapeStrength / (1 + n) // an odd class must not widen what many lives agree on
	p.Centre = 0
	for i := range pupils {
		p.Centre += pupils[i].log / n
	}
	spread := 0.0
	for i := range pupils {
		spread += square(pupils[i].log - p.Centre)
	}
	for k := range terms {
		sum := strength * base.ShapeMean[k]
		for i := range pupils {
			sum += pupils[i].belief.m[k]
		}
		p.ShapeMean[k] = sum / (strength + n)
	}
	p.Reach = 2 * math.Sqrt(spread/n)
	ridge := spread/n + 1e-6 // one life's worth of no slope
	for k := range terms {
		sum := 0.0
		for i := range pupils {
			sum += (pupils[i].log - p.Centre) * (pupils[i].belief.m[k] - p.ShapeMean[k])
		}
		p.ShapeSlope[k] = sum / (spread + 2*ridge)
	}
	for j := range terms {
		for k := range terms {
			dj, dk := base.ShapeMean[j]-p.ShapeMean[j], base.ShapeMean[k]-p.ShapeMean[k]
			p.ShapeCov[j][k] = strength * (base.ShapeCov[j][k] + dj*dk)
		}
	}
	for i := range pupils {
		b := &pupils[i].belief
		c := p.meanShape(pupils[i].log)
		for j := range terms {
			for k := range terms {
				p.ShapeCov[j][k] += b.p[at(min(j, k), max(j, k))] + (b.m[j]-c[j])*(b.m[k]-c[k])
			}
		}
	}
	for j := range terms {
		for k := range terms {
			p.ShapeCov[j][k] /= strength + n
		}
	}
}

// learnNoise sets the error sizes to those under which the readings of the
// pupils are most probable, a factor from the class's values costing as much
// as a log-normal belief of SD 0.7 says.
func (p *Prior) learnNoise(base Prior, pupils []pupil) {
	score := func(n Noise) float64 {
		q := *p
		q.Noise = n
		sum := 0.0
		for i := range pupils {
			l, _ := q.run(pupils[i].points, pupils[i].log)
			sum += l
		}
		for _, r := range [...]float64{n.Rel / base.Noise.Rel, n.Abs / base.Noise.Abs,
			n.Misfit / base.Noise.Misfit, n.Reach / base.Noise.Reach} {
			sum -= square(math.Log(r)/0.7) / 2
		}
		return sum
	}
	best := score(p.Noise)
	for _, field := range [...]func(*Noise) *float64{
		func(n *Noise) *float64 { return &n.Rel },
		func(n *Noise) *float64 { return &n.Abs },
		func(n *Noise) *float64 { return &n.Misfit },
		func(n *Noise) *float64 { return &n.Reach },
	} {
		for _, factor := range [...]float64{1.25, 0.8, 1.06, 0.94} {
			for range 3 {
				trial := p.Noise
				*field(&trial) *= factor
				s := score(trial)
				if s <= best {
					break
				}
				best, p.Noise = s, trial
			}
		}
	}
}

// learnBanks sets how alike the lives of one bank are.
func (p *Prior) learnBanks(base Prior, pupils []pupil) {
	const strength = 4
	within, dof := strength*square(base.Within), float64(strength)
	shapeIn, shapeAll := 0.0, 0.0
	for start := 0; start < len(pupils); {
		end := start + 1
		for end < len(pupils) && pupils[end].group == pupils[start].group && pupils[start].group != "" {
			end++
		}
		if m := float64(end - start); m > 1 {
			mean, centre := 0.0, shape{}
			for i := start; i < end; i++ {
				mean += pupils[i].log / m
				for k := range terms {
					centre[k] += pupils[i].belief.m[k] / m
				}
			}
			for i := start; i < end; i++ {
				within += square(pupils[i].log - mean)
				for k := range terms {
					shapeIn += square(pupils[i].belief.m[k]-centre[k]) * m / (m - 1)
					shapeAll += square(pupils[i].belief.m[k] - p.ShapeMean[k])
				}
			}
			dof += m - 1
		}
		start = end
	}
	p.Within = math.Sqrt(within / dof)
	lives := dof - strength
	if shapeAll > 0 {
		share := math.Min(math.Max(1-shapeIn/shapeAll, 0.05), 0.9)
		p.Alike = (strength*base.Alike + lives*share) / (strength + lives)
	}
}
