package energy

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
)

func close6(t *testing.T, what string, got, want, rel float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.9g, want %.9g (%s)", what, got, want, source)
	}
}

// Mean resistance of a life by its shape.
func TestMeanOverALife(t *testing.T) {
	t.Parallel()
	const hours = 4380
	ramp := func(from, to, power float64) Curve {
		return func(h float64) float64 { return from + (to-from)*math.Pow(h/hours, power) }
	}
	exponential := func(from, to float64) Curve {
		return func(h float64) float64 { return from * math.Pow(to/from, h/hours) }
	}
	for _, c := range []struct {
		name  string
		curve Curve
		want  float64
	}{ // computed from the mean of each form
		{"linear 60 to 145", ramp(60, 145, 1), 102.5},
		{"exponential 60 to 145", exponential(60, 145), 96.32938},
		{"quadratic 60 to 145", ramp(60, 145, 2), 88.33333},
		{"linear 60 to 250", ramp(60, 250, 1), 155},
		{"exponential 60 to 250", exponential(60, 250), 133.13561},
		{"quadratic 60 to 250", ramp(60, 250, 2), 123.33333},
		{"square root 60 to 145", ramp(60, 145, 0.5), 60 + 85*2.0/3},
	} {
		close6(t, c.name, excessPaHours(c.curve, 0, 0, hours)/hours, c.want, 1e-7, "computed from the mean of the form")
		gonum := quad.Fixed(c.curve, 0, hours, 400, nil, 0) / hours
		close6(t, c.name+" against gonum", excessPaHours(c.curve, 0, 0, hours)/hours, gonum, 1e-6, "gonum quad.Fixed")
	}
}

func TestExcessThroughIsExact(t *testing.T) {
	t.Parallel()
	pts := []At{{0, 60}, {1000, 50}, {2000, 110}, {2500, 110}, {3000, 90}}
	for _, c := range []struct {
		name            string
		floor, from, to float64
		want            float64
	}{ // areas of triangles and trapezia
		{"above 60", 60, 0, 2000, 50 * (2000 - 1000 - 1000.0/6) / 2},
		{"level", 60, 2000, 2500, 50 * 500},
		{"falling through the floor", 100, 2500, 3000, 10 * 250 / 2},
		{"beyond the last point", 60, 3000, 3100, 30 * 100},
		{"never above", 200, 0, 3000, 0},
		{"nothing", 60, 500, 500, 0},
		{"backwards", 60, 500, 400, 0},
	} {
		got := excessThrough(pts, c.floor, c.from, c.to)
		if math.Abs(got-c.want) > 1e-9*(1+c.want) {
			t.Errorf("%s: %g Pa·h, want %g (computed from the areas)", c.name, got, c.want)
		}
		if near := excessPaHours(Through(pts), c.floor, c.from, c.to); math.Abs(near-got) > 0.005*(1+got) {
			t.Errorf("%s: quadrature %g against exact %g", c.name, near, got)
		}
	}
	rising := Onward(pts[:3])
	for h, want := range map[float64]float64{500: 55, 2000: 110, 2500: 140, 12000: 710} { // 60 Pa each 1000 h
		if got := rising(h); math.Abs(got-want) > 1e-9 {
			t.Errorf("onward at %g h: %g Pa, want %g (straight on)", h, got, want)
		}
	}
	if got := Onward(pts)(9000); got != 90 {
		t.Errorf("onward from a fall: %g Pa, want it level", got)
	}
	if got := Onward(pts[:1])(9000); got != 60 {
		t.Errorf("onward from one point: %g Pa, want it level", got)
	}
	if !math.IsNaN(Through(nil)(3)) {
		t.Error("no points, no curve")
	}
	for _, p := range pts {
		if got := Through(pts)(p.Hours); got != p.Pa {
			t.Errorf("at %g h %g Pa, want its own point %g", p.Hours, got, p.Pa)
		}
	}
}
