package phrase_test

import (
	"math"
	"slices"
	"testing"

	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/units"
)

func read(t *testing.T, scope, text string) (entry.Reading, phrase.Item) {
	t.Helper()
	m := phrase.Understand(text, scopeNamed(scope))
	if m.Outcome != phrase.Entry || len(m.Items) == 0 {
		t.Fatalf("%q means %s", text, summary(m))
	}
	r, ok := m.Items[0].Body.(entry.Reading)
	if !ok {
		t.Fatalf("%q means %s", text, summary(m))
	}
	return r, m.Items[0]
}

// The rounding of a reading is that of what was typed, but no finer than the
// gauge's division. Expected steps computed from the definition of the units.
func TestStep(t *testing.T) {
	t.Parallel()
	cases := []struct {
		scope, text string
		step        float64
	}{
		{"north", "AHU-3 bag 205 Pa", 1},
		{"north", "AHU-3 bag 205.5 Pa", 0.1},
		{"north", "AHU-3 bag 0.82 in wc", 0.01 * units.PaPerInH2O},
		{"north", "AHU-3 bag 0.8 in wc", 0.1 * units.PaPerInH2O},
		{"north", "AHU-3 bag 2.05 mbar", 1},
		{"north", "AHU-3 bag 0.2 kPa", 100},
		{"north", "AHU-3 bag 21 mmH2O", units.PaPerMmH2O},
		{"north", "AHU-3 bag 21 daPa", 10},
		{"north", "AHU-5 bag 205 Pa", 5},                                // the gauge has divisions of 5 Pa
		{"clinic", "AHU-T1 bag 0.825 in wc", 5},                         // so has this one
		{"north", "AHU-3 pre 0.45 in wc, bag 205 Pa", 0.01 * 249.08891}, // NIST SP 811: 249.08891 Pa
	}
	for _, c := range cases {
		t.Run(c.text, func(t *testing.T) {
			t.Parallel()
			r, _ := read(t, c.scope, c.text)
			if math.Abs(r.StepPa-c.step) > 1e-9 {
				t.Errorf("step %v Pa, want %v", r.StepPa, c.step)
			}
		})
	}
}

func TestUnitIsSaid(t *testing.T) {
	t.Parallel()
	r, it := read(t, "north", "MAU-2 P: 140 S: 230")
	if !r.Assumed || r.Unit != "Pa" || !slices.Contains(it.Flags, "assumed-unit") {
		t.Errorf("a bare number is kept as %+v %v", r, it.Flags)
	}
	r, it = read(t, "north", "AHU-3 bag 0.82 in wc")
	if r.Assumed || r.Unit != "inH2O" || len(it.Flags) > 0 {
		t.Errorf("a typed unit is kept as %+v %v", r, it.Flags)
	}
}

// A bare number is taken only where exactly one unit makes sense of it.
func TestBareNumbers(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name         string
		gauge        plant.Gauge
		habit        units.Habit
		clean, limit float64
		last         float64
		typed        string
		pa           float64 // 0 = asked
	}{
		{"gauge in Pa", plant.Gauge{Unit: units.Pa}, units.SI, 60, 250, 0, "140", 140},
		{"gauge in inches", plant.Gauge{Unit: units.InH2O}, units.IP, 60, 250, 0, "0.5", 0.5 * units.PaPerInH2O},
		{"gauge in inches, point dropped", plant.Gauge{Unit: units.InH2O}, units.IP, 60, 250, 0, "50", 0},
		{"gauge in mbar", plant.Gauge{Unit: units.Mbar}, units.SI, 60, 250, 0, "1.4", 140},
		{"gauge in Pa, typed in inches", plant.Gauge{Unit: units.Pa}, units.SI, 60, 250, 0, "0.5", 0},
		{"no gauge unit, inches at home", plant.Gauge{}, units.IP, 60, 250, 0, "0.5", 0.5 * units.PaPerInH2O},
		{"no gauge unit, many units at home", plant.Gauge{}, units.SI, 60, 250, 0, "0.5", 0},
		{"no gauge unit, the last settles it", plant.Gauge{}, units.SI, 60, 250, 125, "0.5", 0.5 * units.PaPerInH2O},
		{"no gauge unit, only Pa makes sense", plant.Gauge{}, units.SI, 60, 250, 0, "140", 140},
		{"nothing known, Pa alone makes sense", plant.Gauge{}, units.SI, 0, 0, 0, "140", 140},
		{"nothing known, water or Pa", plant.Gauge{}, units.SI, 0, 0, 0, "20", 0},
		{"far below the last", plant.Gauge{Unit: units.Pa}, units.SI, 60, 250, 200, "70", 0},
		{"far above the limit", plant.Gauge{Unit: units.Pa}, units.SI, 60, 250, 0, "480", 0},
		{"over the top of the dial", plant.Gauge{Unit: units.Pa, TopPa: 250}, units.SI, 60, 250, 0, "300", 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := plant.NewRegister(plant.Contents{
				Sites: []plant.Site{{ID: "s", Name: "Site", Zone: "UTC", Units: c.habit}},
				AHUs:  map[plant.BankID]plant.AHU{"s/ahu-1": {ID: "ahu-1", Tag: "AHU-1"}},
				Banks: map[plant.BankID]plant.Bank{"s/ahu-1/primary": {ID: "primary", Stage: plant.Primary, Gauge: c.gauge, CleanPa: c.clean, LimitPa: c.limit}},
			})
			sc := scopeNamed("north")
			sc.Register, sc.Index, sc.Sites = r, phrase.NewIndex(r), []string{"s"}
			last := c.last
			sc.Last = nil
			if last > 0 {
				sc.Last = lastIs(last)
			}
			m := phrase.Understand("AHU-1 pre "+c.typed, sc)
			switch {
			case c.pa == 0 && (m.Outcome != phrase.Ask || m.Ask.Code != phrase.AskUnit):
				t.Errorf("means %s, want a question about the unit", summary(m))
			case c.pa > 0 && m.Outcome != phrase.Entry:
				t.Errorf("means %s, want %v Pa", summary(m), c.pa)
			case c.pa > 0 && math.Abs(m.Items[0].Body.(entry.Reading).Pa-c.pa) > 1e-9:
				t.Errorf("means %s, want %v Pa", summary(m), c.pa)
			}
		})
	}
}

// A high reading that is right can be confirmed, and then is kept as typed.
func TestHighIsConfirmed(t *testing.T) {
	t.Parallel()
	sc := scopeNamed("north")
	m := phrase.Understand("AHU-7 secondary 0.5 kPa", sc)
	if m.Ask == nil || m.Ask.Code != phrase.AskHigh {
		t.Fatalf("means %s", summary(m))
	}
	for _, answer := range []string{"ok", "OK", "yes", "1", "confirmed", "ja", "si"} {
		if phrase.Complete(answer, *m.Ask) != 0 {
			t.Errorf("%q does not confirm", answer)
		}
	}
	for _, answer := range []string{"no", "AHU-7 bag 150 pa", "0.05 kPa", "2", "what?", ""} {
		if got := phrase.Complete(answer, *m.Ask); got != -1 {
			t.Errorf("%q picks %d", answer, got)
		}
	}
	r, it := read(t, "north", m.Ask.Choices[0].Means)
	if r.Pa != 500 || !slices.Contains(it.Flags, "high") {
		t.Errorf("confirmed as %v Pa %v", r.Pa, it.Flags)
	}
}
