package resistance

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Wampler1 and Wampler2 of the NIST Statistical Reference Datasets: a polynomial
// of fifth degree, badly conditioned; certified coefficients are exact.
func TestLeastSquaresOnWampler(t *testing.T) {
	t.Parallel()
	for name, certified := range map[string][6]float64{
		"Wampler1": {1, 1, 1, 1, 1, 1},
		"Wampler2": {1, 0.1, 0.01, 0.001, 0.0001, 0.00001},
	} {
		rows, y := mat.NewDense(21, 6, nil), mat.NewVecDense(21, nil)
		for x := range 21 {
			sum := 0.0
			for k, b := range certified {
				p := math.Pow(float64(x), float64(k))
				rows.Set(x, k, p)
				sum += b * p
			}
			y.SetVec(x, sum)
		}
		got, err := leastSquares(rows, y)
		if err != nil {
			t.Fatal(err)
		}
		for k, b := range certified {
			if math.Abs(got[k]/b-1) > 1e-6 {
				t.Errorf("%s B%d: %.12g, certified %g", name, k, got[k], b)
			}
		}
	}
}
