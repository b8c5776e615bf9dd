package resistance_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"clogwise/internal/resistance"
)

// mids are the geometric means of the size ranges of ISO 16890-2.
var mids = func() (out [12]float64) {
	edges := [13]float64{0.3, 0.4, 0.55, 0.7, 1, 1.3, 1.6, 2.2, 3, 4, 5.5, 7, 10}
	for i := range out {
		out[i] = math.Sqrt(edges[i] * edges[i+1])
	}
	return out
}()

func fractional(f func(d float64) float64) (e resistance.Fractional) {
	for i, d := range mids {
		e[i] = f(d)
	}
	return e
}

func TestEPM(t *testing.T) {
	t.Parallel()
	step := fractional(func(d float64) float64 {
		if d < 1 {
			return 0.5
		}
		return 1
	})
	rising := fractional(func(d float64) float64 { return 1 - math.Exp(-d) })
	cut := rising // the range that 2.5 µm lies in, as the formula has it up to there
	cut[7] = 1 - math.Exp(-math.Sqrt(2.2*2.5))
	urban, rural := resistance.Urban(), resistance.Rural()
	for _, c := range []struct {
		what      string
		got, want float64
		rel       float64
		source    string
	}{
		{"step ePM1", step.EPM(1, urban), 0.500000, 1e-6, computed},
		{"step ePM2.5", step.EPM(2.5, urban), 0.633344, 1e-5, computed},
		{"step ePM2.5 over whole ranges", step.EPM(3, urban), 0.656496, 1e-5, computed},
		{"step ePM10", step.EPM(10, rural), 0.894190, 1e-5, computed},
		{"step ePM2.5, exact integral", step.EPM(2.5, urban), 0.634105, 3e-3, "computed, integral in place of the sum"},
		{"step ePM10, exact integral", step.EPM(10, rural), 0.894008, 1e-3, "computed, integral in place of the sum"},
		{"rising ePM1", rising.EPM(1, urban), 0.403060, 1e-4, computed},
		{"rising ePM2.5", cut.EPM(2.5, urban), 0.506043, 1e-5, computed},
		{"rising ePM10", rising.EPM(10, rural), 0.829798, 1e-4, computed},
	} {
		within(t, c.what, c.got, c.want, c.rel, c.source)
	}
	if !math.IsNaN(step.EPM(0.2, urban)) {
		t.Error("no range reaches down to 0.2 µm")
	}
}

// Shares of the dust of 0.3 to 10 µm, integrated by gonum over ln d.
func TestDistributions(t *testing.T) {
	t.Parallel()
	mass := func(s resistance.Distribution, to float64) float64 {
		return quad.Fixed(func(l float64) float64 { return s.At(math.Exp(l)) }, math.Log(0.3), math.Log(to), 60, nil, 0)
	}
	for _, c := range []struct {
		name     string
		s        resistance.Distribution
		pm1, pm2 float64
	}{
		{"urban", resistance.Urban(), 0.415344, 0.567574}, {"rural", resistance.Rural(), 0.211985, 0.407477},
	} {
		within(t, c.name+" share below 1 µm", mass(c.s, 1)/mass(c.s, 10), c.pm1, 1e-5, computed)
		within(t, c.name+" share below 2.5 µm", mass(c.s, 2.5)/mass(c.s, 10), c.pm2, 1e-5, computed)
		whole := quad.Fixed(func(l float64) float64 { return c.s.At(math.Exp(l)) }, math.Log(1e-4), math.Log(1e5), 400, nil, 0)
		within(t, c.name+" whole", whole, 1, 1e-6, "a density")
	}
}

func TestClassesFromEfficiency(t *testing.T) {
	t.Parallel()
	level := func(e float64) resistance.Fractional { return fractional(func(float64) float64 { return e }) }
	for _, c := range []struct {
		name                  string
		untreated, discharged resistance.Fractional
		want                  []string
	}{
		{"fine", level(0.84), level(0.64), []string{"ISO ePM1 70%", "ISO ePM2.5 70%", "ISO ePM10 70%"}},
		{"charged only", level(0.9), level(0.4), []string{"ISO ePM10 65%"}},
		{"coarse", level(0.45), level(0.45), []string{"ISO coarse"}},
		{"very fine", level(0.99), level(0.97), []string{"ISO ePM1 >95%", "ISO ePM2.5 >95%", "ISO ePM10 >95%"}},
		{"edge", level(0.5), level(0.5), []string{"ISO ePM1 50%", "ISO ePM2.5 50%", "ISO ePM10 50%"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := resistance.EPMOf(c.untreated, c.discharged).Classes()
			if len(got) != len(c.want) {
				t.Fatalf("%v, want %v (ISO 16890-1:2016)", got, c.want)
			}
			for i := range got {
				if got[i].String() != c.want[i] {
					t.Errorf("%v, want %v (ISO 16890-1:2016)", got, c.want)
				}
			}
		})
	}
}

func TestMERV(t *testing.T) {
	t.Parallel()
	const source = "ASHRAE 52.2-2017 minima, as reprinted"
	for _, c := range []struct {
		e1, e2, e3, arrestance float64
		want                   int
	}{
		{0, 0, 10, 60, 1}, {0, 0, 10, 65, 2}, {0, 0, 19.9, 70, 3}, {0, 0, 19.9, 75, 4},
		{0, 0, 20, 0, 5}, {0, 0, 35, 0, 6}, {0, 0, 50, 0, 7}, {0, 20, 70, 0, 8}, {0, 19, 70, 0, 7}, {0, 35, 75, 0, 9},
		{0, 50, 80, 0, 10}, {20, 65, 85, 0, 11}, {35, 80, 90, 0, 12}, {75, 90, 95, 0, 14}, {85, 90, 95, 0, 15}, {95, 95, 95, 0, 16},
		{94, 95, 95, 0, 15}, {100, 100, 100, 100, 16},
	} {
		if got := resistance.MERV(c.e1, c.e2, c.e3, c.arrestance); got != c.want {
			t.Errorf("E1 %g, E2 %g, E3 %g: MERV %d, want %d (%s)", c.e1, c.e2, c.e3, got, c.want, source)
		}
	}
	for _, c := range []struct { // each figure is a minimum: a little less of any is a lower value
		e    [3]float64
		merv int
	}{
		{[3]float64{0, 0, 20}, 5}, {[3]float64{0, 0, 35}, 6}, {[3]float64{0, 0, 50}, 7}, {[3]float64{0, 20, 70}, 8}, {[3]float64{0, 35, 75}, 9},
		{[3]float64{0, 50, 80}, 10}, {[3]float64{20, 65, 85}, 11}, {[3]float64{35, 80, 90}, 12}, {[3]float64{75, 90, 95}, 14}, {[3]float64{85, 90, 95}, 15}, {[3]float64{95, 95, 95}, 16},
	} {
		if got := resistance.MERV(c.e[0], c.e[1], c.e[2], 0); got != c.merv {
			t.Errorf("%v: MERV %d, want %d (%s)", c.e, got, c.merv, source)
		}
		for i := range c.e {
			less := c.e
			if less[i] -= 0.1; less[i] < 0 {
				continue
			}
			if got := resistance.MERV(less[0], less[1], less[2], 75); got >= c.merv {
				t.Errorf("%v: MERV %d, want less than %d (%s)", less, got, c.merv, source)
			}
		}
	}
	// E3 of MERV 13 is 90 from memory, one reprint has 95: 97 is MERV 13 in both.
	if got := resistance.MERV(50, 85, 97, 0); got != 13 {
		t.Errorf("MERV %d, want 13 (from memory)", got)
	}
}
