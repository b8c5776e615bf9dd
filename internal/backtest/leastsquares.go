package backtest

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// LSFit is a linear least-squares fit.
type LSFit struct {
	Beta []float64     // coefficients
	SD   []float64     // their standard deviations
	Cov  *mat.SymDense // their covariance
	RSS  float64       // residual sum of squares
	S    float64       // residual standard deviation
	R2   float64       // coefficient of determination about the mean
}

// Vandermonde returns the design matrix of a polynomial of the degree in x.
func Vandermonde(x []float64, degree int) *mat.Dense {
	m := mat.NewDense(len(x), degree+1, nil)
	for i, v := range x {
		p := 1.0
		for j := range degree + 1 {
			m.Set(i, j, p)
			p *= v
		}
	}
	return m
}

// LeastSquares solves min ‖y − Xβ‖² by QR decomposition with the columns
// scaled to unit length first. It is an error when there are fewer rows than
// columns or the columns depend on each other.
func LeastSquares(x *mat.Dense, y []float64) (LSFit, error) {
	n, k := x.Dims()
	if n < k || n != len(y) {
		return LSFit{}, fmt.Errorf("least squares: %d rows, %d columns, %d values", n, k, len(y))
	}
	scaled := mat.DenseCopyOf(x)
	scale := make([]float64, k)
	for j := range k {
		scale[j] = mat.Norm(x.ColView(j), 2)
		if !(scale[j] > 0) {
			return LSFit{}, fmt.Errorf("least squares: column %d is zero", j+1)
		}
		for i := range n {
			scaled.Set(i, j, x.At(i, j)/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(scaled)
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, mat.NewVecDense(n, y)); err != nil && math.IsInf(qr.Cond(), 0) {
		return LSFit{}, fmt.Errorf("least squares: columns depend on each other: %w", err)
	}
	fit := LSFit{Beta: make([]float64, k), SD: make([]float64, k), Cov: mat.NewSymDense(k, nil)}
	for j := range k {
		fit.Beta[j] = b.AtVec(j) / scale[j]
	}
	fit.residuals(x, y)
	fit.covariance(&qr, scale)
	return fit, nil
}

func (f *LSFit) residuals(x *mat.Dense, y []float64) {
	n, k := x.Dims()
	mean := 0.0
	for _, v := range y {
		mean += v / float64(n)
	}
	about := 0.0
	for i, v := range y {
		e := v
		for j := range k {
			e = math.FMA(-x.At(i, j), f.Beta[j], e)
		}
		f.RSS += e * e
		about += (v - mean) * (v - mean)
	}
	if n > k {
		f.S = math.Sqrt(f.RSS / float64(n-k))
	}
	f.R2 = 1 - f.RSS/about
}

// covariance is s² (RᵀR)⁻¹, scaled back.
func (f *LSFit) covariance(qr *mat.QR, scale []float64) {
	k := len(scale)
	var r mat.Dense
	qr.RTo(&r)
	tri := mat.NewTriDense(k, mat.Upper, nil)
	for i := range k {
		for j := i; j < k; j++ {
			tri.SetTri(i, j, r.At(i, j))
		}
	}
	var inv mat.TriDense
	// An ill-conditioned inverse is still the best there is; it says so by its size.
	_ = inv.InverseTri(tri)
	for i := range k {
		for j := i; j < k; j++ {
			sum := 0.0
			for l := j; l < k; l++ {
				sum += inv.At(i, l) * inv.At(j, l)
			}
			f.Cov.SetSym(i, j, f.S*f.S*sum/(scale[i]*scale[j]))
		}
	}
	for j := range k {
		f.SD[j] = math.Sqrt(f.Cov.At(j, j))
	}
}
