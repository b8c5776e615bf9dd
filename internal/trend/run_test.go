package trend_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"clogwise/internal/trend"
)

// every gives values at steps of some hours, from and to in hours of the day.
func every(step, from, to float64, v func(h float64) float64) []trend.Value {
	var out []trend.Value
	for h := from; h <= to; h += step {
		out = append(out, trend.Value{At: dayBegins.Add(time.Duration(h * float64(time.Hour))), V: v(h)})
	}
	return out
}

var dayBegins = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// ran is the meter of a fan that runs from 7 to 17 each day, from 1000 h on.
func ran(h float64) float64 {
	days := math.Floor(h / 24)
	return 1000 + 10*days + math.Max(0, math.Min(10, h-24*days-7))
}

func on(h float64) float64 {
	if h = math.Mod(h+48, 24); h >= 7 && h < 17 {
		return 1
	}
	return 0
}

func TestMetered(t *testing.T) {
	t.Parallel()
	end := dayBegins.AddDate(0, 0, 1)
	back := slices.Clone(every(1, -1, 25, ran))
	for i := 12; i < len(back); i++ {
		back[i].V -= 1000 // replaced at 11:00
	}
	for name, tc := range map[string]struct {
		meter []trend.Value
		want  float64
		ok    bool
	}{
		"every quarter of an hour": {every(0.25, -1, 25, ran), 10, true},
		"in any order":             {func() []trend.Value { v := every(0.25, -1, 25, ran); slices.Reverse(v); return v }(), 10, true},
		"once a day, at six":       {every(24, -18, 30, ran), 10, true}, // by straight line, each day alike
		"stood all day":            {every(1, -1, 25, func(float64) float64 { return 7 }), 0, true},
		"ran all day":              {every(1, -1, 25, func(h float64) float64 { return h }), 24, true},
		"nothing after dayBegins":  {every(1, -1, 23, ran), 0, false},
		"nothing before":           {every(1, 1, 25, ran), 0, false},
		"two days apart":           {every(48, -20, 28, ran), 0, false},
		"replaced":                 {back, 0, false},
		"minutes for hours":        {every(1, -1, 25, func(h float64) float64 { return 60 * ran(h) }), 0, false},
		"none":                     {nil, 0, false},
	} {
		got, ok := trend.Metered(tc.meter, dayBegins, end)
		if ok != tc.ok || math.Abs(got-tc.want) > 0.01 {
			t.Errorf("%s: %g %v, want %g %v", name, got, ok, tc.want, tc.ok)
		}
	}
}

func TestRan(t *testing.T) {
	t.Parallel()
	end := dayBegins.AddDate(0, 0, 1)
	for name, tc := range map[string]struct {
		status []trend.Value
		want   float64
		ok     bool
	}{
		"every five minutes":    {every(1./12, -1, 25, on), 10, true},
		"hourly":                {every(1, -1, 25, on), 10, true},
		"a gap of four hours":   {append(every(0.25, -1, 18, on), every(0.25, 22, 25, on)...), 10. / 22 * 24, true}, // two hours of it are not covered
		"a gap of eight hours":  {append(every(0.25, -1, 16, on), every(0.25, 24, 25, on)...), 0, false},
		"only where it changes": {[]trend.Value{{At: dayBegins.Add(7 * time.Hour), V: 1}, {At: dayBegins.Add(17 * time.Hour), V: 0}}, 0, false},
		"none":                  {nil, 0, false},
	} {
		got, ok := trend.Ran(tc.status, dayBegins, end)
		if ok != tc.ok || math.Abs(got-tc.want) > 0.1 {
			t.Errorf("%s: %g %v, want %g %v", name, got, ok, tc.want, tc.ok)
		}
	}
}

// A status holds until the next, for two hours, save where one is close by.
func TestStands(t *testing.T) {
	t.Parallel()
	status := []trend.Value{{At: midnight, V: 1}, {At: midnight.Add(5 * time.Hour)}, {At: midnight.Add(6 * time.Hour), V: 1}}
	for minutes, want := range map[int]bool{
		-60: false, 30: false, 295: false, 300: false, 310: false, 311: true, 349: true, 350: false, 390: false,
	} {
		if got := trend.Stands(status, midnight.Add(time.Duration(minutes)*time.Minute)); got != want {
			t.Errorf("minute %d: %t", minutes, got)
		}
	}
	if trend.Stands(status[:2], midnight.Add(7*time.Hour+time.Minute)) || !trend.Stands(status[:2], midnight.Add(7*time.Hour)) {
		t.Error("a status holds for two hours")
	}
}
