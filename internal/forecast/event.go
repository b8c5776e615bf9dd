package forecast

import (
	"cmp"
	"math"
	"slices"
)

// Event is a time in which dust came at another rate than usual: smoke,
// building work nearby, a sand storm.
type Event struct {
	FromX, ToX float64 // axis values since change-out
	Rate       float64 // dust rate as a multiple of the usual one; 0 = unknown, taken as 1
}

func (e Event) rate() float64 {
	if e.Rate > 0 {
		return e.Rate
	}
	return 1
}

// Dose turns an axis value into what it would have been at the usual dust
// rate: hours of an event count as many times as its rate says. Give Fit the
// readings at Dose, and turn its answers back with FromDose. Events that
// overlap add up.
func Dose(x float64, events []Event) float64 {
	dose := x
	for _, e := range events {
		dose += (e.rate() - 1) * math.Max(0, math.Min(x, e.ToX)-e.FromX)
	}
	return dose
}

// FromDose is the inverse of Dose: the axis value at which the dose is reached.
// It is found piece by piece between the ends of events. Where overlapping
// events add up to no dust at all the end of that piece is returned.
func FromDose(dose float64, events []Event) float64 {
	ends := []float64{0}
	for _, e := range events {
		ends = append(ends, math.Max(e.FromX, 0), math.Max(e.ToX, 0))
	}
	slices.Sort(ends)
	for i := 1; i < len(ends); i++ {
		if Dose(ends[i], events) >= dose {
			lo, hi := ends[i-1], ends[i]
			d0, d1 := Dose(lo, events), Dose(hi, events)
			if d1 <= d0 {
				return hi
			}
			return lo + (hi-lo)*math.Max(dose-d0, 0)/(d1-d0)
		}
	}
	last := ends[len(ends)-1]
	return last + dose - Dose(last, events)
}

// EventRate estimates the rate of an event whose rate nobody knows from the
// readings of the life: the expected ln(rate), rates between a half and eight
// times being thought of beforehand with the weight of a log-normal of median
// 1.5 and spread 0.7. Readings need not reach past the event; without any it
// answers 1.5.
func EventRate(prior Prior, life Life, e Event) float64 {
	if !(life.LimitPa > 0) {
		life.LimitPa = prior.LimitPa
	}
	type trial struct{ logRate, score float64 }
	var trials []trial
	for l := math.Log(0.5); l <= math.Log(8)+1e-9; l += math.Log(2) / 4 {
		with := life
		with.Obs = slices.Clone(life.Obs)
		ev := []Event{{FromX: e.FromX, ToX: e.ToX, Rate: math.Exp(l)}}
		for i := range with.Obs {
			with.Obs[i].X = Dose(with.Obs[i].X, ev)
		}
		score := Fit(prior, with).evidence - square((l-math.Log(1.5))/0.7)/2
		trials = append(trials, trial{l, score})
	}
	best := slices.MaxFunc(trials, func(a, b trial) int { return cmp.Compare(a.score, b.score) }).score
	sum, mean := 0.0, 0.0
	for _, t := range trials {
		w := math.Exp(t.score - best)
		sum += w
		mean += w * t.logRate
	}
	return math.Exp(mean / sum)
}
