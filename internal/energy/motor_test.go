package energy_test

import (
	"errors"
	"fmt"
	"testing"

	"clogwise/internal/energy"
)

// Nominal efficiencies of four-pole motors at 50 Hz. IE4 beyond 5.5 to 11 kW was
// seen only in software tables that agree with memory, hence the tolerance.
func TestMotorEfficiency(t *testing.T) {
	t.Parallel()
	const (
		iec     = "IEC 60034-30-1, four poles, 50 Hz, as reprinted at energie.ch"
		iec4    = "IEC 60034-30-1, four poles, 50 Hz, from memory"
		exactly = 1e-12
		widely  = 0.005
	)
	for _, c := range []struct {
		class  string
		kw     []float64
		pct    []float64
		tol    float64
		source string
	}{
		{"IE1", []float64{0.75, 1.5, 3, 5.5, 7.5, 11, 15, 22, 30, 45, 75, 110, 160, 200},
			[]float64{72.1, 77.2, 81.5, 84.7, 86.0, 87.6, 88.7, 89.9, 90.7, 91.7, 92.7, 93.3, 93.8, 94.0}, exactly, iec},
		{"IE2", []float64{0.75, 1.1, 2.2, 4, 5.5, 7.5, 11, 15, 18.5, 22, 30, 37, 45, 55, 75, 90, 132, 200},
			[]float64{79.6, 81.4, 84.3, 86.6, 87.7, 88.7, 89.8, 90.6, 91.2, 91.6, 92.3, 92.7, 93.1, 93.5, 94.0, 94.2, 94.7, 95.1}, exactly, iec},
		{"ie3 ", []float64{0.75, 1.5, 2.2, 3, 4, 5.5, 7.5, 11, 15, 18.5, 22, 30, 37, 45, 55, 75, 110, 160},
			[]float64{82.5, 85.3, 86.7, 87.7, 88.6, 89.6, 90.4, 91.4, 92.1, 92.6, 93.0, 93.6, 93.9, 94.2, 94.6, 95.0, 95.4, 95.8}, exactly, iec},
		{"IE4", []float64{5.5, 7.5, 11}, []float64{91.9, 92.6, 93.3}, exactly, iec},
		{"IE4", []float64{0.75, 2.2, 4, 15, 22, 37, 55, 90, 200}, []float64{85.7, 89.5, 91.1, 93.9, 94.5, 95.2, 95.7, 96.1, 96.7}, widely, iec4},
	} {
		for i, kw := range c.kw {
			got, err := energy.MotorEfficiency(c.class, kw)
			if err != nil {
				t.Fatal(err)
			}
			within(t, fmt.Sprintf("%s, %g kW", c.class, kw), got, c.pct[i]/100, c.tol, c.source)
		}
	}
}

// Bigger motors and higher classes are never worse.
func TestMotorEfficiencyRises(t *testing.T) {
	t.Parallel()
	below := func(float64) float64 { return 0 }
	for _, class := range []string{"IE1", "IE2", "IE3", "IE4"} {
		last := 0.0
		for kw := 0.75; kw <= 200; kw *= 1.03 {
			got, err := energy.MotorEfficiency(class, kw)
			if err != nil || got < last || got <= below(kw) || got >= 1 {
				t.Fatalf("%s, %g kW: %g after %g, the class below has %g, %v", class, kw, got, last, below(kw), err)
			}
			last = got
		}
		below = func(kw float64) float64 { eta, _ := energy.MotorEfficiency(class, kw); return eta }
	}
}

func TestMotorEfficiencyRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		class string
		kw    float64
	}{{"IE3", 0.74}, {"IE3", 201}, {"IE3", 0}, {"IE5", 7.5}, {"", 7.5}} {
		if got, err := energy.MotorEfficiency(c.class, c.kw); !errors.Is(err, energy.ErrMotor) {
			t.Errorf("%s %g kW: %g, %v, want ErrMotor", c.class, c.kw, got, err)
		}
	}
}
