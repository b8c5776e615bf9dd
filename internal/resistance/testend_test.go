package resistance_test

import (
	"testing"

	"clogwise/internal/resistance"
)

func TestMERVFinal(t *testing.T) {
	t.Parallel()
	const source = "ASHRAE 52.2: twice initial, at least 0.3, 0.6, 1.0, 1.4 in wg, as reprinted"
	for _, c := range []struct {
		merv          int
		initial, want float64 // Pa
	}{
		{1, 20, 0.3 * 249.0889}, {4, 20, 0.3 * 249.0889}, {5, 60, 0.6 * 249.0889}, {8, 62.27, 0.6 * 249.0889}, {8, 80, 160},
		{9, 70, 249.0889}, {12, 130, 260}, {13, 100, 1.4 * 249.0889}, {16, 200, 400}, {0, 50, 0}, {17, 50, 0},
	} {
		within(t, "final resistance", resistance.MERVFinalPa(c.merv, c.initial), c.want, 1e-6, source)
	}
}

func TestDustTest(t *testing.T) {
	t.Parallel()
	const (
		en  = "EN 779:2012: 250 Pa coarse, 450 Pa fine, dust L1"
		iso = "ISO 16890-3: 200 Pa coarse, 300 Pa ePM, dust L2"
	)
	for _, c := range []struct {
		class  string
		pa     float64
		dust   string
		source string
	}{
		{"G4", 250, "L1", en}, {"M5", 450, "L1", en}, {"F9", 450, "L1", en},
		{"coarse 60%", 200, "L2", iso}, {"ePM10 50", 300, "L2", iso}, {"ePM1 80", 300, "L2", iso}, {"MERV 8", 0, "", "ends by MERV"},
	} {
		class, err := resistance.ParseClass(c.class)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := resistance.DustTestOf(class)
		if got.EndPa != c.pa || got.Dust != c.dust || ok != (c.pa > 0) {
			t.Errorf("%s: %+v, want %g Pa with %q (%s)", c.class, got, c.pa, c.dust, c.source)
		}
	}
}

func TestEN779(t *testing.T) {
	t.Parallel()
	const source = "EN 779:2012, as reprinted"
	for _, c := range []struct {
		arrestance, efficiency, lowest float64
		want                           string
	}{
		{49.9, 0, 0, ""}, {50, 0, 0, "G1"}, {64.9, 0, 0, "G1"}, {65, 0, 0, "G2"}, {80, 0, 0, "G3"}, {90, 0, 0, "G4"}, {99, 39.9, 0, "G4"},
		{99, 40, 0, "M5"}, {99, 59.9, 20, "M5"}, {99, 60, 0, "M6"}, {99, 80, 34.9, "M6"},
		{99, 80, 35, "F7"}, {99, 89.9, 60, "F7"}, {99, 90, 55, "F8"}, {99, 95, 55, "F8"}, {99, 95, 70, "F9"}, {100, 100, 100, "F9"},
	} {
		got, ok := resistance.EN779Of(c.arrestance, c.efficiency, c.lowest)
		if ok != (c.want != "") || got.Group != c.want {
			t.Errorf("arrestance %g, efficiency %g, lowest %g: %q, want %q (%s)", c.arrestance, c.efficiency, c.lowest, got.Group, c.want, source)
		}
		if parsed, err := resistance.ParseClass(c.want); ok && (err != nil || parsed != got) {
			t.Errorf("%+v is not the class %s as read: %+v", got, c.want, parsed)
		}
	}
}
