package energy_test

import (
	"testing"

	"clogwise/internal/energy"
	"clogwise/internal/resistance"
)

func class(t *testing.T, s string) resistance.Class {
	t.Helper()
	c, err := resistance.ParseClass(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestEuroventLimits(t *testing.T) {
	t.Parallel()
	const (
		classB = "class B of Eurovent RS 4/C/001-2019, as required of public buyers in Sweden (Upphandlingsmyndigheten)"
		public = "Eurovent 4/21-2019, as used in open building software"
		memory = "Eurovent 4/21-2019, from memory"
	)
	for _, c := range []struct {
		class  string
		column int // A+, A, B, C, D
		kWh    float64
		tol    float64
		source string
	}{
		{"ePM1 50", 2, 1050, 0, classB}, {"ePM1 55", 2, 1050, 0, classB}, {"ePM1 60", 2, 1100, 0, classB}, {"ePM1 65", 2, 1100, 0, classB},
		{"ePM1 70", 2, 1250, 0, classB}, {"ePM1 75", 2, 1250, 0, classB}, {"ePM1 80", 2, 1450, 0, classB}, {"ePM1 85", 2, 1450, 0, classB},
		{"ePM1 90", 2, 1550, 0, classB}, {"ePM1 >95%", 2, 1550, 0, classB},
		{"ePM2.5 50", 2, 950, 0, classB}, {"ePM2.5 60", 2, 1000, 0, classB}, {"ePM2.5 70", 2, 1050, 0, classB}, {"ePM2.5 80", 2, 1200, 0, classB}, {"ePM2.5 95", 2, 1300, 0, classB},
		{"ePM10 50", 2, 650, 0, classB}, {"ePM10 65", 2, 700, 0, classB}, {"ePM10 75", 2, 800, 0, classB}, {"ePM10 85", 2, 900, 0, classB}, {"ePM10 95", 2, 1050, 0, classB},
		{"ePM1 50", 0, 800, 0, public}, {"ePM1 50", 1, 900, 0, public}, {"ePM1 60", 0, 850, 0, public}, {"ePM1 60", 1, 950, 0, public},
		{"ePM1 70", 0, 950, 0, public}, {"ePM1 70", 1, 1100, 0, public}, {"ePM1 80", 0, 1050, 0, public}, {"ePM1 80", 1, 1250, 0, public},
		{"ePM2.5 50", 0, 700, 0, public}, {"ePM2.5 50", 1, 800, 0, public}, {"ePM10 50", 0, 450, 0, public}, {"ePM10 50", 1, 550, 0, public},
		{"ePM1 90", 0, 1200, 0.15, memory}, {"ePM1 50", 3, 1400, 0.15, memory}, {"ePM1 50", 4, 2000, 0.15, memory}, {"ePM1 90", 4, 2500, 0.15, memory},
		{"ePM2.5 70", 0, 800, 0.15, memory}, {"ePM2.5 80", 3, 1500, 0.15, memory}, {"ePM10 70", 1, 700, 0.15, memory}, {"ePM10 50", 4, 1100, 0.15, memory},
	} {
		limits, rated := energy.EuroventLimits(class(t, c.class))
		if !rated {
			t.Errorf("%s is not rated", c.class)
			continue
		}
		within(t, c.class, limits[c.column], c.kWh, c.tol, c.source)
	}
	for _, s := range []string{"coarse 60%", "F7", "MERV 13", "ISO ePM1"} {
		if limits, rated := energy.EuroventLimits(class(t, s)); rated {
			t.Errorf("%s is rated: %v", s, limits)
		}
	}
}

// Limits rise along a row, and never fall as filters get finer.
func TestEuroventLimitsRise(t *testing.T) {
	t.Parallel()
	for _, group := range []string{"ePM1", "ePM2.5", "ePM10"} {
		var last [5]float64
		for _, pct := range []string{" 50", " 60", " 70", " 80", " 90"} {
			limits, _ := energy.EuroventLimits(class(t, group+pct))
			for i := range limits {
				if i > 0 && limits[i] <= limits[i-1] || limits[i] < last[i] {
					t.Errorf("%s%s: %v after %v", group, pct, limits, last)
				}
			}
			last = limits
		}
	}
}

func TestEuroventClass(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		class string
		kWh   float64
		want  string
	}{
		{"ePM1 60", 850, "A+"}, {"ePM1 60", 850.1, "A"}, {"ePM1 60", 1100, "B"}, {"ePM1 60", 1369.98, "C"}, {"ePM1 60", 9000, "E"},
		{"coarse 60%", 300, ""}, {"F7", 900, ""},
	} {
		if got := energy.EuroventClass(class(t, c.class), c.kWh); got != c.want {
			t.Errorf("%s with %g kWh: %q, want %q (limits above)", c.class, c.kWh, got, c.want)
		}
	}
}

func TestEuroventDust(t *testing.T) {
	t.Parallel()
	const source = "Eurovent RS 4/C/001-2019, test dust M_x, as required of public buyers in Sweden (Upphandlingsmyndigheten)"
	for group, want := range map[string]float64{resistance.EPM1: 200, resistance.EPM25: 250, resistance.EPM10: 400, resistance.Coarse: 0} {
		if got := energy.EuroventDustG(group); got != want {
			t.Errorf("%s: %g g, want %g (%s)", group, got, want, source)
		}
	}
}
