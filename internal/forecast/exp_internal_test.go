package forecast

import (
	"math"
	"testing"
)

func TestExp(t *testing.T) {
	t.Parallel()
	for x := -699.9; x < 699.9; x += 0.0137 {
		if got, want := exp(x), math.Exp(x); math.Abs(got/want-1) > 1e-15 {
			t.Fatalf("e^%v = %v, want %v", x, got, want)
		}
	}
	for _, x := range []float64{0, 1, -1, math.Ln2, -1e-17, 1e-300, 705, math.Inf(1)} {
		if got, want := exp(x), math.Exp(x); got != want && math.Abs(got/want-1) > 1e-15 {
			t.Errorf("e^%v = %v, want %v", x, got, want)
		}
	}
	for _, x := range []float64{-700, -1e9, math.Inf(-1)} {
		if got := exp(x); got != 0 {
			t.Errorf("e^%v = %v, want 0", x, got)
		}
	}
	if got := exp(math.NaN()); !math.IsNaN(got) {
		t.Errorf("e^NaN = %v", got)
	}
}
