package forecast

import "math"

// ForBank returns the prior of one bank: the fleet's, moved towards the bank's
// own finished lives by as much as lives of one bank are alike. No usable life
// returns the prior unchanged.
func (p Prior) ForBank(own []FinishedLife) Prior {
	own = usable(own)
	if len(own) == 0 {
		return p
	}
	fleet := p.AtLimit(commonLimit(own))
	pupils := prepare(fleet, own)
	study(&fleet, pupils)
	bank := fleet
	bank.Of = LevelBank
	bank.Lives = p.Lives + len(own)
	bank.Life = fleet.bankLives(pupils)
	bank.shiftShape(pupils)
	return bank
}

// bankLives conditions the mixture on the bank's lives. The bank's level has
// the fleet's distribution less what varies within a bank; each component is
// conjugate to the bank's mean, and is weighted by how well it foresaw it.
func (p Prior) bankLives(pupils []pupil) []LifeComponent {
	m, within, mean := 0.0, square(p.Within), 0.0
	for i := range pupils {
		w := pupils[i].certainty(within)
		m += w
		mean += w * pupils[i].log
	}
	mean /= m
	out := make([]LifeComponent, len(p.Life))
	total, peak := 0.0, math.Inf(-1)
	logW := make([]float64, len(p.Life))
	for i, c := range p.Life {
		between := math.Max(square(c.SD)-within, square(c.SD)/4)
		v := between + within/m
		logW[i] = math.Log(c.Weight+math.SmallestNonzeroFloat64) - square(mean-c.Mean)/(2*v) - math.Log(v)/2
		peak = math.Max(peak, logW[i])
		k := between / v
		out[i] = LifeComponent{
			Mean: c.Mean + k*(mean-c.Mean),
			SD:   math.Sqrt(between*(1-k) + math.Min(within, square(c.SD))),
		}
	}
	for i := range out {
		out[i].Weight = math.Exp(logW[i] - peak)
		total += out[i].Weight
	}
	for i := range out {
		out[i].Weight /= total
	}
	return out
}

// certainty is the worth of the pupil's ln L in lives: 1 when known, less when
// its own uncertainty adds to what varies within a bank.
func (p *pupil) certainty(within float64) float64 {
	if p.pinned {
		return 1
	}
	sum, mean, sq := 0.0, 0.0, 0.0
	for _, a := range p.atoms {
		sum += a.weight
		mean += a.weight * a.log
		sq += a.weight * a.log * a.log
	}
	mean /= sum
	return within / (within + math.Max(sq/sum-mean*mean, 0))
}

// shiftShape moves the mean shape towards the bank's own and takes the part of
// the covariance that is thereby explained.
func (p *Prior) shiftShape(pupils []pupil) {
	n := float64(len(pupils))
	w := p.Alike * n / (p.Alike*n + 1 - p.Alike)
	for k := range terms {
		off := 0.0
		for i := range pupils {
			off += (pupils[i].belief.m[k] - p.meanShape(pupils[i].log)[k]) / n
		}
		p.ShapeMean[k] += w * off
		for j := range terms {
			p.ShapeCov[k][j] *= 1 - p.Alike*w
		}
	}
}
