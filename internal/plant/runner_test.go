package plant_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"clogwise/internal/plant"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

var (
	roundTheClock = plant.Schedule{}
	office        = plant.Schedule{Hours: map[string]float64{"Mon-Fri": 14, "Sat": 6}, Holidays: []string{"2026-12-25", "2026-12-26"}, OnHoliday: 2}
)

func TestRunnerHours(t *testing.T) {
	t.Parallel()
	london, cairo, sydney := zone(t, "Europe/London"), zone(t, "Africa/Cairo"), zone(t, "Australia/Sydney")
	day := func(loc *time.Location, m time.Month, d int) time.Time {
		return time.Date(2026, m, d, 0, 0, 0, 0, loc)
	}
	for _, c := range []struct {
		name     string
		s        plant.Schedule
		from, to time.Time
		want     float64
	}{
		{"a week", office, day(london, 3, 2), day(london, 3, 9), 76},
		{"half a weekday", office, day(london, 3, 2), time.Date(2026, 3, 2, 12, 0, 0, 0, london), 7},
		{"Sunday", office, day(london, 3, 8), day(london, 3, 9), 0},
		{"Christmas week", office, day(london, 12, 21), day(london, 12, 28), 4*14 + 2 + 2},
		{"backwards", office, day(london, 3, 9), day(london, 3, 2), -76},
		{"nothing", office, day(london, 3, 2), day(london, 3, 2), 0},
		// Clocks of the EU and the UK: last Sunday of March and of October.
		{"23 h day round the clock", roundTheClock, day(london, 3, 29), day(london, 3, 30), 23},
		{"25 h day round the clock", roundTheClock, day(london, 10, 25), day(london, 10, 26), 25},
		{"23 h day, scheduled hours", plant.Schedule{Hours: map[string]float64{"daily": 10}}, day(london, 3, 29), day(london, 3, 30), 10},
		{"25 h day, scheduled hours", plant.Schedule{Hours: map[string]float64{"daily": 10}}, day(london, 10, 25), day(london, 10, 26), 10},
		{"25 h day of the south", roundTheClock, day(sydney, 4, 5), day(sydney, 4, 6), 25},
		// Cairo skips midnight: 24 April 2026 begins at 01:00 (IANA time zone data).
		{"a day without midnight", roundTheClock, time.Date(2026, 4, 24, 1, 0, 0, 0, cairo), day(cairo, 4, 25), 23},
		{"a day without midnight, scheduled", plant.Schedule{Hours: map[string]float64{"Fri": 8}}, day(cairo, 4, 23), day(cairo, 4, 26), 8},
		{"Saturday rules over daily", plant.Schedule{Hours: map[string]float64{"daily": 10, "Sat": 6}}, day(london, 3, 7), day(london, 3, 8), 6},
		{"more than a day has", plant.Schedule{Hours: map[string]float64{"daily": 30}}, day(london, 3, 2), day(london, 3, 3), 24},
		{"less than nothing", plant.Schedule{Hours: map[string]float64{"daily": -3}}, day(london, 3, 2), day(london, 3, 3), 0},
		{"not a number", plant.Schedule{Hours: map[string]float64{"daily": math.NaN()}}, day(london, 3, 2), day(london, 3, 3), 0},
		{"holiday beyond the day", plant.Schedule{Holidays: []string{"2026-03-02"}, OnHoliday: -1}, day(london, 3, 2), day(london, 3, 3), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if got := c.s.Runner(c.from.Location()).Hours(c.from, c.to); math.Abs(got-c.want) > 1e-9 {
				t.Errorf("%v run hours, want %v", got, c.want)
			}
		})
	}
}

// Round the clock, run hours are the hours that pass, whatever the clocks do.
func TestRoundTheClockIsElapsedTime(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Europe/London", "America/New_York", "Africa/Cairo", "America/Havana", "Australia/Lord_Howe", "Atlantic/Azores", "America/Santiago", "Asia/Kolkata"} {
		loc := zone(t, name)
		run := roundTheClock.Runner(loc)
		rng := rand.New(rand.NewPCG(1, 2))
		for range 200 {
			a := time.Date(2026, 1, 1, 0, 0, 0, 0, loc).Add(time.Duration(rng.Int64N(int64(400 * 24 * time.Hour))))
			b := a.Add(time.Duration(rng.Int64N(int64(100 * 24 * time.Hour))))
			if got, want := run.Hours(a, b), b.Sub(a).Hours(); math.Abs(got-want) > 1e-6 {
				t.Fatalf("%s: %v to %v: %v run hours, want %v", name, a, b, got, want)
			}
		}
	}
}

func TestRunnerProperties(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Europe/London", "America/Havana", "Africa/Cairo", "Asia/Tokyo"} {
		loc := zone(t, name)
		for label, s := range map[string]plant.Schedule{"office": office, "round the clock": roundTheClock, "nights": {Hours: map[string]float64{"daily": 9}, From: "22:00"}} {
			t.Run(name+" "+label, func(t *testing.T) {
				t.Parallel()
				run := s.Runner(loc)
				rng := rand.New(rand.NewPCG(3, 4))
				for range 300 {
					a := time.Date(2026, 1, 1, 0, 0, 0, 0, loc).Add(time.Duration(rng.Int64N(int64(500 * 24 * time.Hour))))
					b := a.Add(time.Duration(rng.Int64N(int64(60 * 24 * time.Hour))))
					c := b.Add(time.Duration(rng.Int64N(int64(60 * 24 * time.Hour))))
					if whole, parts := run.Hours(a, c), run.Hours(a, b)+run.Hours(b, c); math.Abs(whole-parts) > 1e-7 {
						t.Fatalf("not additive: %v against %v", whole, parts)
					}
					h := rng.Float64() * 900
					after := run.After(a, h)
					if got := run.Hours(a, after); math.Abs(got-h) > 1e-5 {
						t.Fatalf("After(%v, %v) = %v, where Hours is %v", a, h, after, got)
					}
					if later := run.After(a, h+1); !later.After(after) {
						t.Fatalf("After does not grow: %v then %v", after, later)
					}
				}
			})
		}
	}
}

func TestAfterEnds(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	never := plant.Schedule{Hours: map[string]float64{"daily": 0}}.Runner(time.UTC)
	if got := never.After(at, 1); !got.IsZero() {
		t.Errorf("a fan that never runs gets there at %v", got)
	}
	for _, h := range []float64{0, -5, math.NaN()} {
		if got := office.Runner(time.UTC).After(at, h); !got.Equal(at) {
			t.Errorf("%v hours on: %v", h, got)
		}
	}
}

func TestRuns(t *testing.T) {
	t.Parallel()
	london := zone(t, "Europe/London")
	at := func(m time.Month, d, h, min int) time.Time { return time.Date(2026, m, d, h, min, 0, 0, london) }
	for _, c := range []struct {
		name     string
		s        plant.Schedule
		from, to time.Time
		want     []plant.Run
		stated   bool
	}{
		{"from six", plant.Schedule{Hours: map[string]float64{"Mon-Fri": 14}, From: "06:00"}, at(3, 6, 0, 0), at(3, 10, 0, 0),
			[]plant.Run{{at(3, 6, 6, 0), at(3, 6, 20, 0)}, {at(3, 9, 6, 0), at(3, 9, 20, 0)}}, true},
		{"centred on 13:00", plant.Schedule{Hours: map[string]float64{"daily": 13}}, at(3, 6, 0, 0), at(3, 7, 0, 0),
			[]plant.Run{{at(3, 6, 6, 30), at(3, 6, 19, 30)}}, false},
		{"past midnight, cut at the end", plant.Schedule{Hours: map[string]float64{"Fri": 10}, From: "22:00"}, at(3, 6, 0, 0), at(3, 7, 2, 0),
			[]plant.Run{{at(3, 6, 22, 0), at(3, 7, 2, 0)}}, true},
		{"begun the day before", plant.Schedule{Hours: map[string]float64{"Fri": 10}, From: "22:00"}, at(3, 7, 3, 0), at(3, 8, 0, 0),
			[]plant.Run{{at(3, 7, 3, 0), at(3, 7, 8, 0)}}, true},
		{"the long day", roundTheClock, at(10, 25, 0, 0), at(10, 26, 0, 0),
			[]plant.Run{{at(10, 25, 0, 0), at(10, 26, 0, 0)}}, true},
		{"long hours", plant.Schedule{Hours: map[string]float64{"daily": 23}}, at(3, 6, 0, 0), at(3, 7, 0, 0),
			[]plant.Run{{at(3, 6, 1, 0), at(3, 7, 0, 0)}}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			run := c.s.Runner(london)
			var got []plant.Run
			for r := range run.Runs(c.from, c.to) {
				got = append(got, r)
			}
			if len(got) != len(c.want) {
				t.Fatalf("%v, want %v", got, c.want)
			}
			for i := range got {
				if !got[i].From.Equal(c.want[i].From) || !got[i].To.Equal(c.want[i].To) {
					t.Errorf("run %d: %v, want %v", i, got[i], c.want[i])
				}
			}
			if run.StartStated() != c.stated {
				t.Errorf("start stated: %v, want %v", run.StartStated(), c.stated)
			}
		})
	}
}

// The stretches of Runs add up to the run hours of whole days.
func TestRunsAddUp(t *testing.T) {
	t.Parallel()
	newYork := zone(t, "America/New_York")
	from, to := time.Date(2026, 1, 1, 0, 0, 0, 0, newYork), time.Date(2027, 1, 1, 0, 0, 0, 0, newYork)
	for _, s := range []plant.Schedule{office, roundTheClock, {Hours: map[string]float64{"daily": 12}}} {
		run := s.Runner(newYork)
		sum := 0.0
		for r := range run.Runs(from, to) {
			sum += r.To.Sub(r.From).Hours()
		}
		if want := run.Hours(from, to); math.Abs(sum-want) > 1e-6 {
			t.Errorf("%v: runs of %v h, Hours %v", s.Hours, sum, want)
		}
	}
}

func TestParseClock(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]int{"06:00": 360, "0:00": 0, "22:30": 1350, "24:00": 1440, " 7:05 ": 425} {
		if got, err := plant.ParseClock(s); err != nil || got != want {
			t.Errorf("%q: %d, %v, want %d", s, got, err, want)
		}
	}
	for _, s := range []string{"", "6", "24:01", "06:60", "-1:00", "6:5", "a:00", "06:00:00", "06:-1"} {
		if got, err := plant.ParseClock(s); err == nil {
			t.Errorf("%q read as %d", s, got)
		}
	}
}

func TestParseDays(t *testing.T) {
	t.Parallel()
	for s, want := range map[string][7]bool{ // Sunday first
		"":             {true, true, true, true, true, true, true},
		"Daily":        {true, true, true, true, true, true, true},
		"Mon-Fri":      {false, true, true, true, true, true, false},
		"Sat,Sun":      {true, false, false, false, false, false, true},
		"Fri-Mon":      {true, true, false, false, false, true, true},
		"tuesday":      {false, false, true, false, false, false, false},
		"Mon, Wed-Thu": {false, true, false, true, true, false, false},
	} {
		if got, err := plant.ParseDays(s); err != nil || got != want {
			t.Errorf("%q: %v, %v, want %v", s, got, err, want)
		}
	}
	for _, s := range []string{"x", "Mo", "Mon-", "Mon,,Tue"} {
		if got, err := plant.ParseDays(s); err == nil {
			t.Errorf("%q read as %v", s, got)
		}
	}
}

func TestPerWeek(t *testing.T) {
	t.Parallel()
	if got := office.Runner(time.UTC).PerWeek(); got != 76 {
		t.Errorf("%v h a week, want 76", got)
	}
}

func BenchmarkRunnerYear(b *testing.B) {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		b.Fatal(err)
	}
	run := office.Runner(loc)
	from := time.Date(2026, 1, 1, 0, 0, 0, 0, loc)
	for b.Loop() {
		run.Hours(from, from.AddDate(1, 0, 0))
	}
}

// Hours that were counted stand in the schedule's place on their days; after
// them weekdays run as they did, and holidays by the schedule.
func TestCountedHours(t *testing.T) {
	t.Parallel()
	london := zone(t, "Europe/London")
	day := func(m time.Month, d int) time.Time { return time.Date(2026, m, d, 0, 0, 0, 0, london) }
	counted := map[string]float64{}
	for d := day(11, 2); d.Before(day(11, 30)); d = d.AddDate(0, 0, 1) { // four weeks from a Monday on
		counted[d.Format(time.DateOnly)] = 5 + float64(d.Weekday()) // Sunday 5, Monday 6, …
	}
	delete(counted, "2026-11-04")
	plain := office.Runner(london)
	r := plain.Counted(counted)
	ahead := r.Ahead(day(11, 1))
	for _, c := range []struct {
		name     string
		r        plant.Runner
		from, to time.Time
		want     float64
	}{
		{"a counted week", r, day(11, 9), day(11, 16), 6 + 7 + 8 + 9 + 10 + 11 + 5},
		{"half a counted day", r, day(11, 9), time.Date(2026, 11, 9, 12, 0, 0, 0, london), 3},
		{"a day left out is the schedule's", r, day(11, 4), day(11, 5), 14},
		{"before it is the schedule's", ahead, day(10, 26), day(11, 2), 76},
		{"after it is the schedule's where nobody looks ahead", r, day(11, 30), day(12, 7), 76},
		{"after it weekdays run as they did", ahead, day(11, 30), day(12, 7), 56},
		{"but holidays do not", ahead, day(12, 21), day(12, 28), 6 + 7 + 8 + 9 + 2 + 2 + 5},
		{"too few days tell nothing of what follows", r.Ahead(day(11, 17)), day(11, 30), day(12, 7), 76},
		{"nothing counted", plain.Counted(nil).Ahead(day(11, 1)), day(11, 9), day(11, 16), 76},
	} {
		if got := c.r.Hours(c.from, c.to); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %g h, want %g", c.name, got, c.want)
		}
	}
	if r.PerWeek() != 76 || ahead.PerWeek() != 56 {
		t.Errorf("a week of %g and %g h", r.PerWeek(), ahead.PerWeek())
	}
	if got := ahead.After(day(11, 30), 56); !got.Equal(day(12, 7)) {
		t.Errorf("56 h after 30 November: %s", got)
	}
}
