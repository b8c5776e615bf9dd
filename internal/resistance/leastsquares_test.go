package resistance

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// nist reads a data file of the NIST Statistical Reference Datasets: y, then the
// columns.
func nist(t *testing.T, name string) (rows [][]float64) {
	t.Helper()
	raw, err := os.ReadFile("../backtest/testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(raw)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		var row []float64
		for _, f := range strings.Fields(line) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

// wampler is x = 0…20 with the polynomial of fifth degree whose coefficients are
// the powers of b.
func wampler(b float64) (rows [][]float64) {
	for x := range 21 {
		y := 0.0
		for k := range 6 {
			y += math.Pow(b*float64(x), float64(k))
		}
		rows = append(rows, []float64{y, float64(x)})
	}
	return rows
}

// The least squares behind every law and exponent, on data with certified
// answers: NIST Statistical Reference Datasets (StRD), linear regression. From
// the third on they are badly conditioned.
func TestLeastSquaresAgainstNISTStRD(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		data      [][]float64
		degree    int // of a polynomial; 0 = an intercept and the columns as they are
		certified []float64
		tol       float64 // relative
	}{
		{"Norris", nist(t, "norris.txt"), 1, []float64{-0.262323073774029, 1.00211681802045}, 1e-10},
		{"Pontius", nist(t, "pontius.txt"), 2, []float64{0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14}, 1e-8},
		{"Longley", nist(t, "longley.txt"), 0, []float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-01,
			-2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355}, 1e-7},
		{"Wampler 1", wampler(1), 5, []float64{1, 1, 1, 1, 1, 1}, 1e-6},
		{"Wampler 2", wampler(0.1), 5, []float64{1, 0.1, 0.01, 1e-3, 1e-4, 1e-5}, 1e-6},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, y := mat.NewDense(len(c.data), len(c.certified), nil), mat.NewVecDense(len(c.data), nil)
			for i, r := range c.data {
				y.SetVec(i, r[0])
				for k := range c.certified {
					switch {
					case k == 0:
						rows.Set(i, k, 1)
					case c.degree > 0:
						rows.Set(i, k, math.Pow(r[1], float64(k)))
					default:
						rows.Set(i, k, r[k])
					}
				}
			}
			got, err := leastSquares(rows, y)
			if err != nil {
				t.Fatal(err)
			}
			for k, want := range c.certified {
				if math.Abs(got[k]-want) > c.tol*math.Abs(want) {
					t.Errorf("B%d: %.15g, certified %.15g", k, got[k], want)
				}
			}
		})
	}
}

// With all weights alike the robust regression of exponents starts from the same
// answer, and its standard error is the certified one.
func TestWeightedLeastSquaresOnNorris(t *testing.T) {
	t.Parallel()
	data := nist(t, "norris.txt")
	rows, y, w := mat.NewDense(len(data), 2, nil), mat.NewVecDense(len(data), nil), make([]float64, len(data))
	for i, r := range data {
		rows.SetRow(i, []float64{r[1], 1})
		y.SetVec(i, r[0])
		w[i] = 1
	}
	c, err := weighted(rows, y, w)
	if err != nil {
		t.Fatal(err)
	}
	s := weightedRMS(residuals(rows, y, c), w, 2)
	for what, v := range map[string][2]float64{
		"slope":                       {c[0], 1.00211681802045},
		"residual standard deviation": {s, 0.884796396144373},
		"standard error of the slope": {standardError(rows, w, s), 0.429796848199937e-3},
	} {
		if math.Abs(v[0]/v[1]-1) > 1e-8 {
			t.Errorf("%s: %.15g, certified %.15g (NIST StRD, Norris)", what, v[0], v[1])
		}
	}
}
