package resistance

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// FlowReading is a reading of one life with its airflow.
type FlowReading struct {
	Hours   float64 // run hours since change-out
	FlowM3s float64
	Pa      float64
}

// Exponent is the exponent n of Δp ∝ q^n as read from one life.
type Exponent struct {
	N      float64
	SE     float64 // standard error of N
	Used   int     // readings that took part
	Spread float64 // standard deviation of ln q among them
}

// Usable reports whether the estimate is better than a class default: known to
// ±0.1 and within what filters have.
func (e Exponent) Usable() bool {
	return e.Used >= leastFlowReadings && e.SE <= 0.1 && e.N >= leastExponent && e.N <= mostExponent
}

// Law is the power law with this exponent.
func (e Exponent) Law() Law {
	return Law{N: e.N, Basis: LawLife, Source: fmt.Sprintf("n = %.2f ± %.2f from %d readings at several airflows", e.N, e.SE, e.Used)}
}

const (
	leastFlowReadings = 8
	leastFlowSpread   = 0.05 // of ln q: airflows must differ by some 5 %
)

// EstimateExponent reads n from readings at several airflows in one life. The
// loading of the life is taken as ln Δp quadratic in run hours; n is fitted
// beside it with Tukey's biweight, so that single bad readings do not count. The
// second result is false when there are fewer than eight readings or their
// airflows are too much alike.
func EstimateExponent(readings []FlowReading) (Exponent, bool) {
	rs := make([]FlowReading, 0, len(readings))
	for _, r := range readings {
		if positive(r.Pa) && positive(r.FlowM3s) && r.Hours >= 0 && !math.IsInf(r.Hours, 1) {
			rs = append(rs, r)
		}
	}
	if len(rs) < leastFlowReadings {
		return Exponent{}, false
	}
	spread := flowSpread(rs)
	if spread < leastFlowSpread {
		return Exponent{}, false
	}
	rows, y := loadingRows(rs)
	n, se, ok := biweight(rows, y)
	return Exponent{N: n, SE: se, Used: len(rs), Spread: spread}, ok
}

func flowSpread(rs []FlowReading) float64 {
	var sum, sq float64
	for _, r := range rs {
		l := math.Log(r.FlowM3s)
		sum += l
		sq += l * l
	}
	n := float64(len(rs))
	return math.Sqrt(max(0, sq/n-(sum/n)*(sum/n)))
}

// loadingRows sets up ln Δp = n ln q + a + b h + c h², with hours scaled to the
// life so far. The quadratic is left out while there are few readings.
func loadingRows(rs []FlowReading) (*mat.Dense, *mat.VecDense) {
	last := 0.0
	for _, r := range rs {
		last = max(last, r.Hours)
	}
	cols := 3
	if len(rs) >= 10 {
		cols = 4
	}
	if last == 0 {
		cols, last = 2, 1
	}
	rows := mat.NewDense(len(rs), cols, nil)
	y := mat.NewVecDense(len(rs), nil)
	for i, r := range rs {
		h := r.Hours / last
		rows.SetRow(i, []float64{math.Log(r.FlowM3s), 1, h, h * h}[:cols])
		y.SetVec(i, math.Log(r.Pa))
	}
	return rows, y
}

// biweight fits rows · c ≈ y by iteratively reweighted least squares, first with
// Huber's weights, then with Tukey's biweight, and returns the first coefficient
// and its standard error.
func biweight(rows *mat.Dense, y *mat.VecDense) (n, se float64, ok bool) {
	count, cols := rows.Dims()
	w := make([]float64, count)
	for i := range w {
		w[i] = 1
	}
	var c, res []float64
	var scale float64
	for round := range 40 {
		next, err := weighted(rows, y, w)
		if err != nil {
			return 0, 0, false
		}
		settled := c != nil && math.Abs(next[0]-c[0]) < 1e-10
		c = next
		res = residuals(rows, y, c)
		scale = madScale(res, cols)
		if scale < 1e-12 { // an exact fit
			break
		}
		for i, r := range res {
			w[i] = robustWeight(r/scale, round < 8)
		}
		if settled && round > 10 {
			break
		}
	}
	scale = max(scale, weightedRMS(res, w, cols))
	return c[0], standardError(rows, w, scale), true
}

// weightedRMS is the residual scale from the readings that count. With few of
// them the median alone is too often too small.
func weightedRMS(res, w []float64, cols int) float64 {
	var sq, sum float64
	for i, r := range res {
		sq += w[i] * r * r
		sum += w[i]
	}
	return math.Sqrt(sq / max(1, sum-float64(cols)))
}

func robustWeight(z float64, huber bool) float64 {
	z = math.Abs(z)
	if huber {
		return min(1, 1.345/max(z, 1e-12))
	}
	if z >= 4.685 {
		return 0
	}
	u := z / 4.685
	return (1 - u*u) * (1 - u*u)
}

func weighted(rows *mat.Dense, y *mat.VecDense, w []float64) ([]float64, error) {
	count, cols := rows.Dims()
	wr := mat.NewDense(count, cols, nil)
	wy := mat.NewVecDense(count, nil)
	for i := range count {
		s := math.Sqrt(w[i])
		for j := range cols {
			wr.Set(i, j, s*rows.At(i, j))
		}
		wy.SetVec(i, s*y.AtVec(i))
	}
	return leastSquares(wr, wy)
}

func residuals(rows *mat.Dense, y *mat.VecDense, c []float64) []float64 {
	count, cols := rows.Dims()
	out := make([]float64, count)
	for i := range out {
		out[i] = y.AtVec(i)
		for j := range cols {
			out[i] -= c[j] * rows.At(i, j)
		}
	}
	return out
}

// madScale is the residual scale from the median of absolute residuals, with a
// correction for the coefficients fitted.
func madScale(res []float64, cols int) float64 {
	abs := make([]float64, len(res))
	for i, r := range res {
		abs[i] = math.Abs(r)
	}
	slices.Sort(abs)
	m := abs[len(abs)/2]
	if len(abs)%2 == 0 {
		m = (m + abs[len(abs)/2-1]) / 2
	}
	return 1.4826 * m * math.Sqrt(float64(len(res))/float64(max(1, len(res)-cols)))
}

// standardError is the first diagonal root of scale²·(RᵀWR)⁻¹.
func standardError(rows *mat.Dense, w []float64, scale float64) float64 {
	count, cols := rows.Dims()
	normal := mat.NewSymDense(cols, nil)
	for i := range count {
		for j := range cols {
			for k := j; k < cols; k++ {
				normal.SetSym(j, k, normal.At(j, k)+w[i]*rows.At(i, j)*rows.At(i, k))
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return math.Inf(1)
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return math.Inf(1)
	}
	return scale * math.Sqrt(inverse.At(0, 0))
}
