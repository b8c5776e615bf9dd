package resistance_test

import (
	"errors"
	"strings"
	"testing"

	"clogwise/internal/resistance"
)

func TestParseClass(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"ISO ePM1 60%": "ISO ePM1 60%", "epm1 60": "ISO ePM1 60%", "ePM10 50": "ISO ePM10 50%", "ISO ePM2,5 65 %": "ISO ePM2.5 65%",
		"ISO 16890 ePM2.5 70%": "ISO ePM2.5 70%", "ePM₂.₅ 50": "ISO ePM2.5 50%", "PM1-55": "ISO ePM1 55%",
		"coarse 60%": "ISO coarse 60%", "ISO Coarse": "ISO coarse", "ISO coarse 45%": "ISO coarse 45%",
		"ePM1 57": "ISO ePM1 55%", "ePM1 >95%": "ISO ePM1 >95%", "ePM1 95": "ISO ePM1 95%", "epm1 98%": "ISO ePM1 >95%", "ePM1": "ISO ePM1",
		"G4": "G4", "f7": "F7", "M5": "M5", "F5": "M5", "EU7": "F7", "F 9": "F9", "H13": "H13", "H11": "E11",
		"MERV 13": "MERV 13", "merv8": "MERV 8", "MERV-14A": "MERV 14",
	} {
		c, err := resistance.ParseClass(typed)
		if err != nil || c.String() != want {
			t.Errorf("%q: %v, %v, want %s", typed, c, err, want)
			continue
		}
		if again, err := resistance.ParseClass(c.String()); err != nil || again != c {
			t.Errorf("%q does not survive its own text: %v, %v", c, again, err)
		}
	}
	for _, typed := range []string{"", "F10", "G0", "MERV 0", "MERV 17", "MERV", "ePM1 45", "ePM10 49%", "ePM1 120", "ePM3 50", "coarse 0", "HEPA", "60%"} {
		if c, err := resistance.ParseClass(typed); !errors.Is(err, resistance.ErrClass) {
			t.Errorf("%q read as %v, %v", typed, c, err)
		}
	}
}

func TestIsCoarse(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]bool{ // ISO 16890-1 and EN 779 by definition, MERV by common practice
		"ISO coarse 60%": true, "ISO ePM10 50%": false, "G4": true, "M5": false, "MERV 8": true, "MERV 9": false, "H13": false,
	} {
		if c, err := resistance.ParseClass(s); err != nil || c.IsCoarse() != want {
			t.Errorf("%s coarse: %v, %v", s, c.IsCoarse(), err)
		}
	}
}

func TestRoundDown5(t *testing.T) {
	t.Parallel()
	for pct, want := range map[float64]int{50: 50, 94.99: 90, 54.9: 50, 55: 55, 64.9999: 60, 95: 95, 95.1: 100, 100: 100, 0: 0, -3: 0, 3: 0} {
		if got := resistance.RoundDown5(pct); got != want {
			t.Errorf("%g %% rounds to %d, want %d (ISO 16890-1: down to steps of five)", pct, got, want)
		}
	}
}

func TestMeets(t *testing.T) {
	t.Parallel()
	const (
		vdi      = "grouping after VDI 6022"
		eurovent = "overlap table of Eurovent 4/23"
		same     = "order within one standard"
		apart    = "Eurovent: no conversion by calculation"
	)
	for _, c := range []struct {
		item, required           string
		ok, comparable, guidance bool
		source                   string
	}{
		{"ISO ePM1 60%", "ISO ePM1 60%", true, true, false, same},
		{"ISO ePM1 55%", "ISO ePM1 60%", false, true, false, same},
		{"ISO ePM1 60%", "ISO ePM10 50%", true, true, false, "finer dust holds for coarser"},
		{"ISO ePM1 50%", "ISO ePM10 80%", false, false, false, "the label does not say"},
		{"ISO ePM10 90%", "ISO ePM1 50%", false, true, false, "a coarser group"},
		{"ISO coarse 90%", "ISO ePM10 50%", false, true, false, "a coarser group"},
		{"ISO ePM10 50%", "ISO coarse 60%", true, true, false, "ePM10 is above coarse"},
		{"F7", "F7", true, true, false, same},
		{"M6", "F7", false, true, false, same},
		{"F9", "F7", true, true, false, same},
		{"MERV 13", "MERV 13", true, true, false, same},
		{"MERV 11", "MERV 13", false, true, false, same},
		{"H13", "E11", true, true, false, same},
		{"H13", "F9", true, true, false, "EN 1822 stands above EN 779"},
		{"F9", "H13", false, true, false, "EN 779 stands below EN 1822"},
		{"ISO ePM1 50%", "F7", true, true, true, vdi},
		{"ISO ePM2.5 65%", "F7", true, true, true, vdi},
		{"ISO ePM2.5 60%", "F7", false, true, true, vdi},
		{"ISO ePM10 50%", "M5", true, true, true, vdi},
		{"ISO ePM1 80%", "F9", true, true, true, vdi},
		{"ISO ePM1 75%", "F9", false, true, true, vdi},
		{"ISO ePM1 65%", "F8", true, true, true, eurovent},
		{"ISO ePM10 60%", "G4", true, true, true, "every fine filter is above G4"},
		{"ISO coarse 60%", "G4", false, true, true, "no table"},
		{"F7", "ISO ePM1 50%", false, true, true, eurovent}, // F7 may have 40 %
		{"F8", "ISO ePM1 65%", true, true, true, eurovent},
		{"F7", "ISO ePM10 80%", true, true, true, eurovent},
		{"M5", "ISO ePM10 50%", false, true, true, eurovent}, // M5 may have 40 %
		{"M6", "ISO ePM10 60%", true, true, true, eurovent},
		{"M6", "ISO ePM10 65%", false, true, true, eurovent},
		{"M6", "ISO ePM2.5 50%", false, true, true, eurovent}, // M6 may have 20 %
		{"F7", "ISO ePM2.5 65%", true, true, true, eurovent},
		{"F7", "ISO ePM2.5 70%", false, true, true, eurovent},
		{"F8", "ISO ePM2.5 75%", true, true, true, eurovent},
		{"F8", "ISO ePM10 90%", true, true, true, eurovent},
		{"F8", "ISO ePM1 70%", false, true, true, eurovent},
		{"F7", "ISO ePM10 85%", false, true, true, eurovent},
		{"F8", "ISO ePM2.5 80%", false, true, true, eurovent},
		{"F8", "ISO ePM10 95%", false, true, true, eurovent},
		{"F9", "ISO ePM2.5 90%", false, true, true, eurovent},
		{"F9", "ISO ePM10 95%", false, true, true, eurovent},
		{"F7", "ISO ePM1", false, true, true, "a group begins at 50 %, F7 may have 40 %"},
		{"M6", "ISO ePM2.5", false, true, true, "a group begins at 50 %, M6 may have 20 %"},
		{"F8", "ISO ePM1", true, true, true, "a group begins at 50 %, F8 has 65 % at least"},
		{"F9", "ISO ePM1 80%", true, true, true, eurovent},
		{"F9", "ISO ePM1 85%", false, true, true, eurovent},
		{"F9", "ISO ePM2.5 85%", true, true, true, eurovent},
		{"F9", "ISO ePM10 90%", true, true, true, eurovent},
		{"F7", "ISO coarse 60%", true, true, true, "F7 is above coarse"},
		{"G4", "ISO coarse 60%", false, true, true, "no table"},
		{"MERV 13", "ISO ePM1 50%", false, false, false, apart},
		{"ISO ePM1 80%", "MERV 13", false, false, false, apart},
		{"MERV 13", "F7", false, false, false, apart},
		{"nonsense", "F7", false, false, false, "not a class"},
		{"F7", "nonsense", false, false, false, "not a class"},
	} {
		t.Run(c.item+" for "+c.required, func(t *testing.T) {
			v := resistance.Meets(c.item, c.required)
			if v.OK != c.ok || v.Comparable != c.comparable || v.Guidance != c.guidance {
				t.Errorf("%+v, want ok %v, comparable %v, guidance %v (%s)", v, c.ok, c.comparable, c.guidance, c.source)
			}
			if v.Reason == "" || v.OK && !v.Comparable || v.Guidance != strings.Contains(v.Reason, "guidance") {
				t.Errorf("verdict does not explain itself: %+v", v)
			}
		})
	}
}

// A verdict of OK is kept along each system's order: whatever meets a class meets
// a lower one, and nothing meets its own class and fails a finer filter.
func TestMeetsIsMonotone(t *testing.T) {
	t.Parallel()
	for _, order := range [][]string{
		{"G1", "G2", "G3", "G4", "M5", "M6", "F7", "F8", "F9"},
		{"ISO ePM1 50%", "ISO ePM1 60%", "ISO ePM1 70%", "ISO ePM1 80%"},
		{"ISO coarse 50%", "ISO ePM10 50%", "ISO ePM2.5 50%", "ISO ePM1 50%"},
		{"MERV 1", "MERV 8", "MERV 13", "MERV 16"},
	} {
		for i, have := range order {
			for j, want := range order {
				if got := resistance.Meets(have, want).OK; got != (i >= j) {
					t.Errorf("%s for %s: %v", have, want, got)
				}
			}
		}
	}
}

// Whatever is typed: no panic, and a class that is read survives its own text.
func FuzzParseClass(f *testing.F) {
	for _, s := range []string{"ISO ePM1 60%", "coarse", "G4", "merv 13a", "ePM₂.₅ >95%", "EU7", "\x00", "ePM10 999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := resistance.ParseClass(s)
		if err != nil {
			return
		}
		if again, err := resistance.ParseClass(c.String()); err != nil || again != c {
			t.Errorf("%q: %v, then %v, %v", s, c, again, err)
		}
		if !resistance.Meets(s, s).OK && c.Group != "" {
			t.Errorf("%q does not meet itself: %+v", s, resistance.Meets(s, s))
		}
	})
}
