// Package simulate invents filter lives and gauge readings for tests and load
// trials: curves of several kinds, uneven dust, varying airflow, worn gauges,
// and defects put in on purpose. Every result follows from the random source
// it is given.
package simulate

import (
	"math"
	"math/rand/v2"
	"slices"

	"clogwise/internal/forecast"
)

// Curve is the true loading of one life: resistance in Pa at share u of the
// dust that takes it to the limit.
type Curve struct {
	CleanPa, LimitPa float64
	Straight         float64 // share of the rise that is straight in dust; the rest is a power
	Power            float64 // of the rest
}

// At returns the resistance at dose u, Pa.
func (c Curve) At(u float64) float64 {
	u = math.Max(u, 0)
	return c.CleanPa + (c.LimitPa-c.CleanPa)*(c.Straight*u+(1-c.Straight)*math.Pow(u, c.Power))
}

// Draw returns a curve as filters have them: from straight cake to depth
// filtration with a slow start.
func Draw(rnd *rand.Rand, cleanPa, limitPa float64) Curve {
	return Curve{
		CleanPa: cleanPa * math.Exp(0.1*rnd.NormFloat64()), LimitPa: limitPa,
		Straight: rnd.Float64(), Power: 1.5 + 2.5*rnd.Float64(),
	}
}

// Dust turns axis values into dose: the dust met by x, relative to x at the
// mean rate.
type Dust func(x float64) float64

// Even is dust at an even rate.
func Even(x float64) float64 { return x }

// Steps returns dust whose rate changes at random moments, every so often, by
// a log-normal factor of the given spread; its mean rate over a long time is 1.
func Steps(rnd *rand.Rand, every, spread, until float64) Dust {
	var at, dose, rate []float64
	x, d := 0.0, 0.0
	for x < until {
		r := math.Exp(spread*rnd.NormFloat64() - spread*spread/2)
		at, dose, rate = append(at, x), append(dose, d), append(rate, r)
		step := every * rnd.ExpFloat64()
		x += step
		d += step * r
	}
	return func(x float64) float64 {
		i, found := slices.BinarySearch(at, x)
		if !found {
			i--
		}
		i = max(i, 0)
		return dose[i] + (x-at[i])*rate[i]
	}
}

// Seasons returns dust that swings over the year: rate 1 + swing·sin, from a
// start at the given share of the year.
func Seasons(yearX, swing, start float64) Dust {
	w := 2 * math.Pi / yearX
	phase := 2 * math.Pi * start
	return func(x float64) float64 {
		return x + swing/w*(math.Cos(phase)-math.Cos(phase+w*x))
	}
}

// Life is one true life.
type Life struct {
	Curve Curve
	Dust  Dust
	DoseX float64 // axis units at the mean rate that take the curve to its limit
}

// Pa returns the true resistance at axis value x.
func (l Life) Pa(x float64) float64 { return l.Curve.At(l.Dust(x) / l.DoseX) }

// EndX returns the axis value at which the limit is reached.
func (l Life) EndX() float64 {
	lo, hi := 0.0, l.DoseX
	for l.Pa(hi) < l.Curve.LimitPa {
		lo, hi = hi, 2*hi
	}
	for range 60 {
		mid := (lo + hi) / 2
		if l.Pa(mid) < l.Curve.LimitPa {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// Gauge is how readings are taken.
type Gauge struct {
	Noise  float64 // relative SD of a reading
	StepPa float64 // graduation read to
	TopPa  float64 // range; 0 = never over it
	Flow   float64 // relative SD of airflow known at the reading (VAV); its correction leaves half of this as error
}

// Read returns one reading at axis value x.
func (g Gauge) Read(rnd *rand.Rand, l Life, x float64) forecast.Observation {
	weight := 1.0
	noise := g.Noise
	if g.Flow > 0 {
		share := math.Min(math.Max(1-math.Abs(g.Flow*rnd.NormFloat64()), 0.4), 1)
		weight = share * share
		noise /= share
	}
	return g.Show(l.Pa(x)*(1+noise*rnd.NormFloat64()), x, weight)
}

// Show turns a resistance into what the gauge shows of it.
func (g Gauge) Show(pa, x, weight float64) forecast.Observation {
	if g.StepPa > 0 {
		pa = math.Round(pa/g.StepPa) * g.StepPa
	}
	o := forecast.Observation{X: x, Pa: pa, Weight: weight, StepPa: g.StepPa}
	if g.TopPa > 0 && pa >= g.TopPa {
		o.Pa, o.Censored = g.TopPa, true
	}
	return o
}

// Readings returns readings every so often up to axis value upTo, give or take
// a fifth of the gap.
func (g Gauge) Readings(rnd *rand.Rand, l Life, every, upTo float64) []forecast.Observation {
	var out []forecast.Observation
	for at := every; at <= upTo; at += every {
		x := math.Min(at+every*0.2*(2*rnd.Float64()-1), upTo)
		out = append(out, g.Read(rnd, l, x))
	}
	return out
}

// Finished returns the life as history, read n times to its end.
func (g Gauge) Finished(rnd *rand.Rand, l Life, n int, group string) forecast.FinishedLife {
	end := l.EndX()
	return forecast.FinishedLife{
		Obs: g.Readings(rnd, l, end/float64(n), end), EndX: end, ReachedLimit: true,
		LimitPa: l.Curve.LimitPa, Group: group,
	}
}
