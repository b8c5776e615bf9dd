package forecast

import (
	"cmp"
	"math"
	"slices"
)

const (
	mostDuties   = 5    // typical lives looked for in a fleet
	spreadWeight = 0.5  // lives that the usual spread counts as
	usualSpread  = 0.15 // SD of ln L among lives of one duty, before any is seen: common practice, no source
)

// learnLives sets the distribution of ln L: for one to mostDuties typical
// lives of equal spread, a mixture fitted to the pupils; the mixture
// with the best Bayesian information criterion is taken, and the class keeps the
// weight that one unseen life in n deserves, falling with the square of n.
func (p *Prior) learnLives(base Prior, pupils []pupil) {
	n := float64(len(pupils))
	seed := math.Min(base.Life[0].SD/2, usualSpread)
	var fits []dutyMix
	for k := 1; k <= mostDuties && (k == 1 || 4*k <= len(pupils)); k++ {
		fits = append(fits, fitDuties(pupils, k, seed))
	}
	best := slices.MaxFunc(fits, func(a, b dutyMix) int { return cmp.Compare(a.score, b.score) })
	classShare := 2 / ((1 + n) * (2 + n))
	var life []LifeComponent
	for j := range best.mean {
		own := math.Max(n*best.weight[j], 1)
		life = append(life, LifeComponent{
			Weight: best.weight[j],
			Mean:   best.mean[j],
			SD:     best.sd * math.Sqrt((1+1/own)*(1+1/n)),
		})
	}
	sum := 0.0
	for _, c := range life {
		sum += c.Weight
	}
	for i := range life {
		life[i].Weight *= (1 - classShare) / sum
	}
	for _, c := range base.Life {
		c.Weight *= classShare
		life = append(life, c)
	}
	p.Life = life
}

// dutyMix is a mixture of normals of equal spread.
type dutyMix struct {
	weight, mean []float64
	sd           float64
	score        float64 // log likelihood less the criterion's penalty
}

// fitDuties fits k normals of equal spread to the pupils' ln L by
// expectation–maximisation, starting from their quantiles.
func fitDuties(pupils []pupil, k int, seed float64) dutyMix {
	logs := make([]float64, len(pupils))
	for i := range pupils {
		logs[i] = pupils[i].log
	}
	slices.Sort(logs)
	m := dutyMix{weight: make([]float64, k), mean: make([]float64, k), sd: seed}
	for j := range k {
		m.weight[j] = 1 / float64(k)
		m.mean[j] = logs[(2*j+1)*len(logs)/(2*k)]
	}
	logLik := 0.0
	for range 60 {
		logLik = m.step(pupils, seed)
	}
	m.score = logLik - float64(2*k)*math.Log(float64(len(pupils)))/2
	return m
}

// step is one round of expectation and maximisation; it returns the log
// likelihood before it.
func (m *dutyMix) step(pupils []pupil, seed float64) float64 {
	k := len(m.mean)
	weight, first, second := make([]float64, k), make([]float64, k), make([]float64, k)
	logLik := 0.0
	share := make([]float64, k)
	for i := range pupils {
		logLik += pupils[i].spreadOver(m, share, weight, first, second)
	}
	n := float64(len(pupils))
	spread := spreadWeight * seed * seed
	for j := range k {
		if weight[j] < 1e-9 {
			m.weight[j] = 1e-9
			continue
		}
		m.weight[j] = weight[j] / n
		m.mean[j] = first[j] / weight[j]
		spread += second[j] - weight[j]*square(m.mean[j])
	}
	m.sd = math.Sqrt(spread / (n + spreadWeight))
	return logLik
}

// spreadOver adds the pupil's expected moments over the components and returns
// its log likelihood.
func (p *pupil) spreadOver(m *dutyMix, share, weight, first, second []float64) float64 {
	atoms := p.atoms
	if p.pinned {
		atoms = []atom{{p.log, 1}}
	}
	total := 0.0
	for _, a := range atoms {
		total += a.weight * m.density(a.log, share)
	}
	total += math.SmallestNonzeroFloat64
	for _, a := range atoms {
		if len(atoms) > 1 {
			m.density(a.log, share)
		} // else it is there from before
		for j := range share {
			r := a.weight * share[j] / total
			weight[j] += r
			first[j] += r * a.log
			second[j] += r * a.log * a.log
		}
	}
	return math.Log(total)
}

// density returns the mixture's density at l and leaves the parts in share.
func (m *dutyMix) density(l float64, share []float64) float64 {
	sum := 0.0
	for j := range m.mean {
		share[j] = m.weight[j] * normalPDF((l-m.mean[j])/m.sd) / m.sd
		sum += share[j]
	}
	return sum
}
