package forecast

import "math"

// worthTrials are the values of Noise.Worth that are tried.
func worthTrials() []float64 { return []float64{2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 30, 40} }

// worthCuts are the shares of a finished life at which it is forecast to find
// what its readings are worth.
func worthCuts() []float64 { return []float64{0.3, 0.5, 0.7, 0.85} }

const (
	leastForWorth = 4   // finished lives below which the class's Worth stays
	mostForWorth  = 120 // lives used
	worthNodes    = 48  // of ln L
)

// crossWorth finds what many readings are worth by forecasting finished lives
// from their early readings: each half of the lives is forecast with what the
// other half taught, and the Worth under which the true lives were most
// probable wins.
func crossWorth(class Prior, lives []FinishedLife) float64 {
	var known []FinishedLife
	for _, l := range lives {
		if l.ReachedLimit && l.LimitPa == class.LimitPa && len(l.Obs) >= 6 {
			known = append(known, l)
		}
	}
	if len(known) < leastForWorth {
		return class.Noise.Worth
	}
	var halves [2][]pupil
	for i, p := range thin(prepare(class, known), mostForWorth) {
		halves[i%2] = append(halves[i%2], p)
	}
	trials := worthTrials()
	score := make([]float64, len(trials))
	for i, w := range trials {
		score[i] = -square(math.Log(w/class.Noise.Worth)/0.7) / 2
	}
	for i, half := range halves {
		prior := class
		prior.learn(half)
		for _, p := range halves[1-i] {
			for _, cut := range worthCuts() {
				prior.scoreWorth(&p, cut, trials, score)
			}
		}
	}
	best := 0
	for i := range trials {
		if score[i] > score[best] {
			best = i
		}
	}
	return trials[best]
}

// scoreWorth adds to each trial's score the log density its forecast at the
// cut gave to the true life.
func (p *Prior) scoreWorth(life *pupil, cut float64, trials, score []float64) {
	end := math.Exp(life.log)
	n := 0
	for n < len(life.points) && life.points[n].x <= cut*end {
		n++
	}
	pts := life.points[:n]
	lo, hi := p.lifeQuantile(0.001), p.lifeQuantile(0.999)
	step := (hi - lo) / (worthNodes - 1)
	var logLik, logPrior [worthNodes]float64
	for i := range logLik {
		l := lo + float64(i)*step
		logLik[i], _ = p.run(pts, l)
		logPrior[i] = p.logLifeDensity(l)
	}
	truth, _ := p.run(pts, life.log)
	for t, worth := range trials {
		power := Noise{Worth: worth}.temper(pts)
		sum := 0.0
		for i := range logLik {
			sum += math.Exp(power*(logLik[i]-truth)+logPrior[i]) * step
		}
		score[t] += p.logLifeDensity(life.log) - math.Log(sum)
	}
}
