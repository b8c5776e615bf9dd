package backtest

import (
	"math"

	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"clogwise/internal/forecast"
)

// Method is one way to forecast. Learn sees the finished lives and returns a
// function that forecasts a life.
type Method struct {
	Name  string
	Learn func(history []forecast.FinishedLife) func(forecast.Life) Forecast
}

// Methods returns the loading model and the baselines.
func Methods() []Method {
	return []Method{Clogwise(), FixedInterval(), StraightLine(), Exponential()}
}

// Clogwise is the loading model with the prior learnt from the history. The
// class it starts from knows only the median life, for the axis may be anything.
func Clogwise() Method {
	return Method{"clogwise", func(history []forecast.FinishedLife) func(forecast.Life) Forecast {
		prior := forecast.Learn(classFor(history), history)
		return func(l forecast.Life) Forecast { return forecast.Fit(prior, l).Quantile }
	}}
}

func classFor(history []forecast.FinishedLife) forecast.Prior {
	ends := make([]float64, 0, len(history))
	limit := 0.0
	for _, l := range history {
		ends = append(ends, l.EndX)
		limit = l.LimitPa
	}
	d := forecast.DefaultFor("secondary")
	return forecast.ClassDefault{
		MedianLife: median(ends), Spread: d.Spread,
		CleanPa: d.CleanPa / d.LimitPa * limit, LimitPa: limit,
	}.Prior()
}

// FixedInterval forecasts the usual life: the history's median with its
// spread, given that the life has come as far as it has.
func FixedInterval() Method {
	return Method{"fixed interval", func(history []forecast.FinishedLife) func(forecast.Life) Forecast {
		var logs []float64
		for _, l := range history {
			if l.ReachedLimit {
				logs = append(logs, math.Log(l.EndX))
			}
		}
		slices.Sort(logs)
		n := float64(len(logs))
		law := distuv.StudentsT{
			Mu: median(logs), Sigma: stat.StdDev(logs, nil) * math.Sqrt(1+1/n), Nu: n - 1,
		}
		return func(l forecast.Life) Forecast {
			gone := 0.0
			if l.NowX > 0 {
				gone = law.CDF(math.Log(l.NowX))
			}
			return func(q float64) float64 {
				return math.Exp(law.Quantile(math.Min(gone+q*(1-gone), 1-1e-12)))
			}
		}
	}}
}

// StraightLine extends a least-squares line through this life's readings.
func StraightLine() Method {
	return Method{"straight line", func([]forecast.FinishedLife) func(forecast.Life) Forecast {
		return func(l forecast.Life) Forecast {
			return extend(l, func(pa float64) float64 { return pa })
		}
	}}
}

// Exponential extends a least-squares line through the logarithms.
func Exponential() Method {
	return Method{"exponential", func([]forecast.FinishedLife) func(forecast.Life) Forecast {
		return func(l forecast.Life) Forecast {
			return extend(l, func(pa float64) float64 { return math.Log(math.Max(pa, 1)) })
		}
	}}
}

// extend fits transform(Pa) = a + b x and forecasts where it crosses the
// limit, with the spread that the delta method gives to the crossing.
func extend(l forecast.Life, transform func(float64) float64) Forecast {
	never := func(float64) float64 { return math.NaN() }
	n := len(l.Obs)
	if n < 3 {
		return never
	}
	x, y := make([]float64, n), make([]float64, n)
	for i, o := range l.Obs {
		x[i], y[i] = o.X, transform(o.Pa)
	}
	fit, err := LeastSquares(Vandermonde(x, 1), y)
	if err != nil || !(fit.Beta[1] > 0) {
		return never
	}
	cross := (transform(l.LimitPa) - fit.Beta[0]) / fit.Beta[1]
	g := mat.NewVecDense(2, []float64{1, cross})
	sd := math.Sqrt(mat.Inner(g, fit.Cov, g)+fit.S*fit.S) / fit.Beta[1]
	law := distuv.StudentsT{Mu: cross, Sigma: sd + 1e-9*math.Abs(cross), Nu: float64(n - 2)}
	return func(q float64) float64 { return math.Max(law.Quantile(q), l.NowX) }
}
