package units_test

import (
	"math"
	"testing"

	"clogwise/internal/units"
)

const (
	sp811    = "NIST SP 811 (2008), Appendix B.8"
	rec20    = "UN/ECE Recommendation 20"
	byDef    = "exact by definition"
	computed = "computed from 1 inH2O = 249.08891 Pa"
)

func TestPressureToPa(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		v      float64
		unit   units.PressureUnit
		pa     float64
		rel    float64
		source string
	}{
		{1, units.InH2O, 249.0889, 1e-6, sp811},
		{1, units.MmH2O, 9.80665, 0, sp811},
		{1, units.Psi, 6894.757293168, 1e-12, sp811 + ", more digits computed"},
		{1, units.HPa, 100, 0, byDef},
		{1, units.Mbar, 100, 0, byDef},
		{1, units.KPa, 1000, 0, byDef},
		{1, units.InH2O, 249.08891, 1e-9, "25.4 mm × 9.80665, " + byDef},
		{0.582121, units.InH2O, 145, 1e-6, computed},
		{14.78589, units.MmH2O, 145, 1e-6, computed},
		{0.802926, units.InH2O, 200, 1e-6, computed},
		{1.003658, units.InH2O, 250, 1e-6, computed},
		{1.806584, units.InH2O, 450, 1e-6, computed},
	} {
		t.Run(string(c.unit), func(t *testing.T) {
			if got := c.unit.ToPa(c.v); math.Abs(got-c.pa) > c.rel*c.pa {
				t.Errorf("%g %s = %.7g Pa, want %.7g (%s)", c.v, c.unit, got, c.pa, c.source)
			}
			if back := c.unit.FromPa(c.pa); math.Abs(back-c.v) > c.rel*c.v+1e-15 {
				t.Errorf("%g Pa = %.7g %s, want %.7g (%s)", c.pa, back, c.unit, c.v, c.source)
			}
		})
	}
	if u := units.PressureUnit("furlong"); !math.IsNaN(u.ToPa(1)) || !math.IsNaN(u.FromPa(1)) {
		t.Error("an unknown unit must give NaN")
	}
}

func TestOtherColumnsOfWater(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		pa     float64
		want   float64
		spread float64 // per cent against the conventional inch
		source string
	}{
		{"39.2 °F", units.PaPerInH2O4C, 249.082, -0.0028, sp811 + "; " + rec20 + ", code N18"},
		{"60 °F", units.PaPerInH2O60, 248.84, -0.0999, sp811 + "; " + rec20 + ", code N19"},
	} {
		if c.pa != c.want {
			t.Errorf("%s: %g, want %g (%s)", c.name, c.pa, c.want, c.source)
		}
		if got := 100 * (c.pa/units.PaPerInH2O - 1); math.Abs(got-c.spread) > 1e-4 {
			t.Errorf("%s: spread %.4f %%, want %.4f (computed)", c.name, got, c.spread)
		}
	}
	if mm := units.PaPerInH2O4C / 25.4; math.Abs(mm-9.80638) > 5e-6 {
		t.Errorf("a millimetre at 4 °C: %.6f Pa, want 9.80638 (%s)", mm, sp811)
	}
}

func TestFlow(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		got  float64
		want float64
	}{ // exact by definition: 1 ft = 0.3048 m
		{"1 m³/s in cfm", units.Cfm.FromM3s(1), 2118.880003},
		{"1 cfm in m³/s", units.Cfm.ToM3s(1), 4.719474432e-4},
		{"1 cfm in m³/h", units.M3h.FromM3s(units.Cfm.ToM3s(1)), 1.699010796},
		{"1 cfm in L/s", units.Ls.FromM3s(units.Cfm.ToM3s(1)), 0.4719474432},
		{"2000 cfm in m³/h", units.M3h.FromM3s(units.Cfm.ToM3s(2000)), 3398.021592},
		{"500 fpm in m/s", 500 * units.MsPerFpm, 2.54},
		{"2.5 m/s in fpm", 2.5 / units.MsPerFpm, 492.1259843},
		{"1 hp in W", units.WPerHp, 745.6998716},
	} {
		if math.Abs(c.got/c.want-1) > 1e-9 {
			t.Errorf("%s: %.10g, want %.10g", c.name, c.got, c.want)
		}
	}
	if u := units.FlowUnit("x"); !math.IsNaN(u.ToM3s(1)) || !math.IsNaN(u.FromM3s(1)) {
		t.Error("an unknown unit must give NaN")
	}
}

func TestParseUnits(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]units.PressureUnit{
		"Pa": units.Pa, "in. w.c.": units.InH2O, "inH₂O": units.InH2O, "IWG": units.InH2O, `"`: units.InH2O,
		"mm WG": units.MmH2O, "hPa": units.HPa, "mbar": units.Mbar, "KPA": units.KPa, "psi": units.Psi, "in-wc": units.InH2O,
	} {
		if got, ok := units.ParsePressureUnit(s); !ok || got != want {
			t.Errorf("%q: %q, %v, want %q", s, got, ok, want)
		}
	}
	for s, want := range map[string]units.FlowUnit{
		"m3/s": units.M3s, "M³/H": units.M3h, "l/s": units.Ls, "CFM": units.Cfm, "cmh": units.M3h,
	} {
		if got, ok := units.ParseFlowUnit(s); !ok || got != want {
			t.Errorf("%q: %q, %v, want %q", s, got, ok, want)
		}
	}
	for _, s := range []string{"", "bar", "kg", "Pa/m", "hz"} {
		if u, ok := units.ParsePressureUnit(s); ok {
			t.Errorf("%q read as pressure unit %q", s, u)
		}
		if u, ok := units.ParseFlowUnit(s); ok {
			t.Errorf("%q read as flow unit %q", s, u)
		}
	}
}

func TestPrint(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ got, want string }{
		{units.Pressure(145, units.SI), "145 Pa (0.58 in wc)"},
		{units.Pressure(14.5, units.SI), "14.5 Pa (0.06 in wc)"},
		{units.Pressure(units.InH2O.ToPa(0.06), units.SI), "15 Pa (0.06 in wc)"},
		{units.Pressure(145, units.IP), "0.58 in wc (145 Pa)"},
		{units.Pressure(-0.3, units.SI), "0 Pa (0.00 in wc)"},
		{units.Pressure(-5, units.SI), "-5 Pa (-0.02 in wc)"},
		{units.ShortPressure(249.0889, units.IP), "1.00 in wc"},
		{units.ShortPressure(99.6, units.SI), "100 Pa"},
		{units.Flow(3, units.SI), "3.00 m³/s (6360 cfm)"},
		{units.Flow(3, units.IP), "6360 cfm (3.00 m³/s)"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}
