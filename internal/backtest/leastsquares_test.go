package backtest_test

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"clogwise/internal/backtest"
)

// rows reads a data file of numbers in columns.
func rows(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out [][]float64
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		var row []float64
		for _, field := range strings.Fields(lines.Text()) {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		out = append(out, row)
	}
	return out
}

// wampler is x = 0…20 with its y.
func wampler(y func(x float64) float64) [][]float64 {
	var out [][]float64
	for x := range 21 {
		out = append(out, []float64{y(float64(x)), float64(x)})
	}
	return out
}

func powers(x float64, n int) float64 {
	sum := 0.0
	for k := range n + 1 {
		sum += math.Pow(x, float64(k))
	}
	return sum
}

// disturbance is what Wampler 5 adds to Wampler 1, in units of 10 000.
var disturbance = [21]float64{759, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 1838, -2048, 2048,
	-2048, 1838, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 759}

// Certified values: NIST Statistical Reference Datasets (StRD), linear
// regression.
func TestLeastSquaresAgainstNISTStRD(t *testing.T) {
	t.Parallel()
	ones := []float64{1, 1, 1, 1, 1, 1}
	tests := []struct {
		name   string
		data   [][]float64
		degree int // of a polynomial; 0 = intercept and the columns as they are
		beta   []float64
		sd     []float64
		s, r2  float64
		tol    float64 // relative
	}{
		{"Norris", rows(t, "norris.txt"), 1, []float64{-0.262323073774029, 1.00211681802045},
			[]float64{0.232818234301152, 0.429796848199937e-3}, 0.884796396144373, 0.999993745883712, 1e-10},
		{"Pontius", rows(t, "pontius.txt"), 2, []float64{0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14},
			[]float64{0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16},
			math.Sqrt(0.155761768796992e-5 / 37), 0, 1e-9},
		{"Longley", rows(t, "longley.txt"), 0, []float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-01,
			-2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355},
			nil, 304.854073561965, 0.995479004577296, 1e-8},
		{"Wampler 1", wampler(func(x float64) float64 { return powers(x, 5) }), 5, ones, nil, 0, 0, 1e-6},
		{"Wampler 2", wampler(func(x float64) float64 { return powers(0.1*x, 5) }), 5,
			[]float64{1, 0.1, 0.01, 1e-3, 1e-4, 1e-5}, nil, 0, 0, 1e-7},
		{"Wampler 5", wampler(func(x float64) float64 { return powers(x, 5) + 1e4*disturbance[int(x)] }), 5, ones,
			[]float64{21523262.4678170}, 23601450.2379268, 0, 1e-3},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			y := make([]float64, len(tt.data))
			x := make([]float64, len(tt.data))
			for i, row := range tt.data {
				y[i], x[i] = row[0], row[1]
			}
			design := backtest.Vandermonde(x, tt.degree)
			if tt.degree == 0 {
				design = mat.NewDense(len(y), len(tt.data[0]), nil)
				for i, row := range tt.data {
					design.SetRow(i, append([]float64{1}, row[1:]...))
				}
			}
			fit, err := backtest.LeastSquares(design, y)
			if err != nil {
				t.Fatal(err)
			}
			near := func(what string, got, want, tol float64) {
				t.Helper()
				if math.Abs(got-want) > tol*math.Abs(want) {
					t.Errorf("%s = %.15g, certified %.15g", what, got, want)
				}
			}
			for k, want := range tt.beta {
				near("B"+strconv.Itoa(k), fit.Beta[k], want, tt.tol)
			}
			for k, want := range tt.sd {
				near("sd(B"+strconv.Itoa(k)+")", fit.SD[k], want, math.Min(tt.tol, 1e-7))
			}
			if tt.s > 0 {
				near("s", fit.S, tt.s, 1e-9)
			}
			if tt.r2 > 0 {
				near("R²", fit.R2, tt.r2, 1e-9)
			}
		})
	}
}

// The closed form against a minimiser that knows nothing of it.
func TestLeastSquaresAgainstMinimiser(t *testing.T) {
	t.Parallel()
	x := []float64{0, 1, 2, 3, 4, 5, 6}
	y := []float64{1, 1.4, 2.9, 3.1, 5.2, 5.9, 8.4}
	fit, err := backtest.LeastSquares(backtest.Vandermonde(x, 2), y)
	if err != nil {
		t.Fatal(err)
	}
	rss := func(b []float64) float64 {
		sum := 0.0
		for i := range x {
			e := y[i] - b[0] - b[1]*x[i] - b[2]*x[i]*x[i]
			sum += e * e
		}
		return sum
	}
	found, err := optimize.Minimize(optimize.Problem{Func: rss}, []float64{0, 0, 0}, nil, &optimize.NelderMead{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(found.F-fit.RSS) > 1e-6 || found.F < fit.RSS-1e-9 {
		t.Errorf("residual sum %.9f, minimiser reaches %.9f", fit.RSS, found.F)
	}
}

func TestLeastSquaresRefusesWhatHasNoAnswer(t *testing.T) {
	t.Parallel()
	if _, err := backtest.LeastSquares(backtest.Vandermonde([]float64{1}, 1), []float64{1}); err == nil {
		t.Error("one row for two coefficients: no error")
	}
	if _, err := backtest.LeastSquares(mat.NewDense(3, 1, nil), []float64{1, 2, 3}); err == nil {
		t.Error("a column of zeros: no error")
	}
}
