package forecast

import "math"

// ClassDefault is what is assumed of a stage or filter class before any life
// of the fleet has ended. The figures are settings: common practice, no source.
type ClassDefault struct {
	MedianLife float64 `json:"median_life"` // axis units, run hours by default
	Spread     float64 `json:"spread"`      // SD of ln(life): 0.6 means most lives within a factor of two
	CleanPa    float64 `json:"clean_pa"`    // typical clean resistance, Pa
	LimitPa    float64 `json:"limit_pa"`    // limit the median life refers to, Pa
}

// DefaultFor returns the class default of a stage in run hours: bags three to
// six months and primaries a few months at 12 to 24 hours a day. Common
// practice, no source; every figure is a setting and gives way to finished
// lives. An unknown stage is treated as a secondary.
func DefaultFor(stage string) ClassDefault {
	switch stage {
	case "primary":
		return ClassDefault{MedianLife: 2000, Spread: 0.6, CleanPa: 50, LimitPa: 150}
	case "third":
		return ClassDefault{MedianLife: 7000, Spread: 0.7, CleanPa: 120, LimitPa: 300}
	case "return":
		return ClassDefault{MedianLife: 3500, Spread: 0.7, CleanPa: 50, LimitPa: 150}
	default:
		return ClassDefault{MedianLife: 3500, Spread: 0.6, CleanPa: 80, LimitPa: 200}
	}
}

// For returns the default for a bank of its own limit and clean resistance, Pa;
// 0 leaves the default's. The life stays: a limit goes with the filter.
func (d ClassDefault) For(limitPa, cleanPa float64) ClassDefault {
	if limitPa > 0 {
		d.CleanPa *= limitPa / d.LimitPa
		d.LimitPa = limitPa
	}
	if cleanPa > 0 {
		d.CleanPa = cleanPa
	}
	return d
}

// ClassPrior returns the prior of a stage ("primary", "secondary", "third",
// "return") from its default figures.
func ClassPrior(stage string) Prior { return DefaultFor(stage).Prior() }

// curveKinds are the loading curves thought possible before any life has been
// seen: how the rise from clean to limit divides over the powers of the curve.
func curveKinds() []curveKind {
	return []curveKind{
		{0.05, [terms]float64{0.3, 0.6, 0.1, 0, 0}},     // quick first rise, then cake
		{0.35, [terms]float64{0, 0.9, 0.1, 0, 0}},       // cake
		{0.30, [terms]float64{0, 0.4, 0.4, 0.2, 0}},     // bending upward
		{0.20, [terms]float64{0, 0.15, 0.45, 0.3, 0.1}}, // depth filtration
		{0.10, [terms]float64{0, 0, 0.2, 0.5, 0.3}},     // slow start
	}
}

// curveKind is one way for the rise to divide over the powers.
type curveKind struct {
	weight float64
	share  [terms]float64
}

// Prior turns the default into a prior. Missing figures are taken from the
// secondary stage.
func (d ClassDefault) Prior() Prior {
	d = d.filled()
	clean := math.Min(d.CleanPa/d.LimitPa, 0.9)
	p := Prior{
		Of:      LevelClass,
		LimitPa: d.LimitPa,
		Life: []LifeComponent{
			{Weight: 1, Mean: math.Log(d.MedianLife), SD: d.Spread},
		},
		Within: math.Min(0.25, d.Spread),
		Centre: math.Log(d.MedianLife),
		Reach:  d.Spread,
		Alike:  0.5,
		Noise:  Noise{Rel: 0.04, Abs: 0.005, Misfit: 0.02, Reach: 0.15, Worth: 5},
	}
	p.ShapeMean, p.ShapeCov = kindMoments(clean)
	return p
}

func (d ClassDefault) filled() ClassDefault {
	std := DefaultFor("secondary")
	if !(d.LimitPa > 0) {
		d.LimitPa = std.LimitPa
	}
	if !(d.MedianLife > 0) {
		d.MedianLife = std.MedianLife
	}
	if !(d.Spread > 0) {
		d.Spread = std.Spread
	}
	if !(d.CleanPa > 0) {
		d.CleanPa = 0.4 * d.LimitPa
	}
	return d
}

// kindMoments returns mean and covariance of the curve coefficients over the
// curve kinds, for a clean resistance that is the given share of the limit,
// give or take a quarter.
func kindMoments(clean float64) (mean [terms]float64, cov [terms][terms]float64) {
	rise := 1 - clean
	for _, k := range curveKinds() {
		for i, s := range k.share {
			mean[i] += k.weight * s * rise
		}
	}
	riseVar := square(0.25 * clean / rise)
	for _, k := range curveKinds() {
		for i := range terms {
			for j := range terms {
				cov[i][j] += k.weight * ((k.share[i]*rise-mean[i])*(k.share[j]*rise-mean[j]) +
					riseVar*square(rise)*k.share[i]*k.share[j])
			}
		}
	}
	for i := range terms {
		cov[i][i] += square(0.02)
	}
	return mean, cov
}

func square(x float64) float64 { return x * x }
