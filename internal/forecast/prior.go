package forecast

import (
	"fmt"
	"math"
)

// Level says what a prior has learnt from.
type Level string

// Levels, from the widest to the closest.
const (
	LevelClass Level = "class" // stage and class defaults only
	LevelFleet Level = "fleet" // finished lives of the fleet
	LevelBank  Level = "bank"  // finished lives of this very bank too
)

// LifeComponent is one normal component of the prior on ln(life).
type LifeComponent struct {
	Weight float64 `json:"weight"` // sums to 1 over the components
	Mean   float64 `json:"mean"`   // of ln(life in axis units)
	SD     float64 `json:"sd"`
}

// Noise is the error model of readings. Figures are sizes of one standard
// deviation.
type Noise struct {
	Rel    float64 `json:"rel"`    // independent error, share of the resistance
	Abs    float64 `json:"abs"`    // independent error, share of the limit
	Misfit float64 `json:"misfit"` // smooth departure of the dose from the axis, share of a life
	Reach  float64 `json:"reach"`  // correlation length of the misfit, share of a life
	Worth  float64 `json:"worth"`  // independent readings that many readings of a life are worth at most
}

// Prior is what is believed of a life before its readings. It is plain data:
// it survives JSON unchanged, and a copy is independent of its origin as long as
// nobody writes into Life. Build it with ClassPrior, Learn and ForBank.
type Prior struct {
	Of      Level           `json:"level"`
	Lives   int             `json:"lives"`    // finished lives behind it, over all levels
	LimitPa float64         `json:"limit_pa"` // limit that Life and the shape refer to
	Life    []LifeComponent `json:"life"`     // of ln L
	Within  float64         `json:"within"`   // SD of ln L between lives of one bank

	ShapeMean  [terms]float64        `json:"shape_mean"`  // of the curve coefficients
	ShapeCov   [terms][terms]float64 `json:"shape_cov"`   // their covariance
	ShapeSlope [terms]float64        `json:"shape_slope"` // change of the mean per unit of ln L − Centre
	Centre     float64               `json:"centre"`      // of ln L, for ShapeSlope
	Reach      float64               `json:"reach"`       // distance of ln L from Centre at which ShapeSlope ends: nothing was seen beyond
	Alike      float64               `json:"alike"`       // share of ShapeCov that lives of one bank have in common, 0..1

	Noise Noise `json:"noise"`
}

// Level says what the prior has learnt from.
func (p Prior) Level() Level { return p.Of }

// MedianLife returns the median life of the prior in axis units.
func (p Prior) MedianLife() float64 { return math.Exp(p.lifeQuantile(0.5)) }

// LifeQuantile returns the life in axis units that a share q of lives stays below.
func (p Prior) LifeQuantile(q float64) float64 { return math.Exp(p.lifeQuantile(q)) }

// CleanPa returns the resistance that the prior expects of a clean set, Pa.
func (p Prior) CleanPa() float64 { return math.Max(0, shape(p.ShapeMean).at(0)) * p.LimitPa }

// Rescaled returns the prior for an axis whose units are factor times as many
// per life: 60 turns a prior in hours into one in minutes.
func (p Prior) Rescaled(factor float64) Prior {
	if !(factor > 0) {
		return p
	}
	d := math.Log(factor)
	life := make([]LifeComponent, len(p.Life))
	for i, c := range p.Life {
		c.Mean += d
		life[i] = c
	}
	p.Life = life
	p.Centre += d
	return p
}

// AtLimit carries the prior to another limit along its mean curve: the life to
// the new limit is where the mean curve passes it, and the shape is the same
// curve seen from there. A limit of zero or less returns the prior unchanged.
func (p Prior) AtLimit(limitPa float64) Prior {
	if !(limitPa > 0) || limitPa == p.LimitPa || !(p.LimitPa > 0) {
		return p
	}
	ratio := limitPa / p.LimitPa
	u := math.Max(p.meanShape(p.lifeQuantile(0.5)).crossing(ratio), leastCrossing)
	m := rebase(u, ratio)
	d := math.Log(u)
	life := make([]LifeComponent, len(p.Life))
	for i, c := range p.Life {
		c.Mean += d
		life[i] = c
	}
	p.Life = life
	p.Centre += d
	p.ShapeMean = through(m, p.ShapeMean)
	p.ShapeSlope = through(m, p.ShapeSlope)
	var cov [terms][terms]float64
	for i := range terms {
		for j := range terms {
			for k := range terms {
				for l := range terms {
					cov[i][j] += m[i][k] * p.ShapeCov[k][l] * m[j][l]
				}
			}
		}
	}
	p.ShapeCov = cov
	p.LimitPa = limitPa
	p.Noise.Abs /= ratio
	p.Noise.Misfit /= u
	p.Noise.Reach /= u
	return p
}

// leastCrossing keeps a limit below the clean resistance from sending lives to
// zero: the life is then at most this share of the old one.
const leastCrossing = 1e-3

// meanShape returns the expected shape of a life of e^logLife.
func (p Prior) meanShape(logLife float64) shape {
	var c shape
	off := math.Min(math.Max(logLife-p.Centre, -p.Reach), p.Reach)
	for k := range c {
		c[k] = p.ShapeMean[k] + p.ShapeSlope[k]*off
	}
	return c
}

// logLifeDensity returns the log density of ln L.
func (p Prior) logLifeDensity(l float64) float64 {
	sum := 0.0
	for _, c := range p.Life {
		z := (l - c.Mean) / c.SD
		sum += c.Weight / c.SD * math.Exp(-z*z/2)
	}
	return math.Log(sum/math.Sqrt(2*math.Pi) + math.SmallestNonzeroFloat64)
}

// lifeQuantile returns the q quantile of ln L.
func (p Prior) lifeQuantile(q float64) float64 {
	lo, hi := p.lifeSupport()
	for range 80 {
		mid := (lo + hi) / 2
		below := 0.0
		for _, c := range p.Life {
			below += c.Weight * normalCDF((mid-c.Mean)/c.SD)
		}
		if below < q {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// lifeSupport returns the range of ln L that holds all but some 1e-5 of the prior.
func (p Prior) lifeSupport() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, c := range p.Life {
		lo = math.Min(lo, c.Mean-4.5*c.SD)
		hi = math.Max(hi, c.Mean+4.5*c.SD)
	}
	return lo, hi
}

// Check reports what makes the prior unusable, for priors read from a file.
func (p Prior) Check() error {
	if !(p.LimitPa > 0) {
		return fmt.Errorf("prior: limit %v Pa, want more than 0", p.LimitPa)
	}
	if len(p.Life) == 0 {
		return fmt.Errorf("prior: no life components")
	}
	sum := 0.0
	for i, c := range p.Life {
		if !(c.SD > 0) || !(c.Weight >= 0) || math.IsNaN(c.Mean) {
			return fmt.Errorf("prior: life component %d: weight %v, mean %v, sd %v", i+1, c.Weight, c.Mean, c.SD)
		}
		sum += c.Weight
	}
	if math.Abs(sum-1) > 1e-6 {
		return fmt.Errorf("prior: life component weights add up to %v, want 1", sum)
	}
	if !(p.Noise.Rel > 0) || !(p.Noise.Abs >= 0) || !(p.Noise.Misfit >= 0) || !(p.Noise.Reach > 0) || !(p.Noise.Worth > 0) {
		return fmt.Errorf("prior: noise %+v", p.Noise)
	}
	return nil
}
