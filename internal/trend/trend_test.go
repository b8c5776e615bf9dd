package trend_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/points"
	"clogwise/internal/trend"
)

var midnight = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// day makes a sample every 15 minutes.
func day(of func(i int, s *trend.Sample)) []trend.Sample {
	out := make([]trend.Sample, 96)
	for i := range out {
		out[i] = trend.Sample{At: midnight.Add(time.Duration(i) * 15 * time.Minute), Pa: 120}
		of(i, &out[i])
	}
	return out
}

func hz(v float64) points.Air { return points.Air{FanHz: &v} }

func TestDay(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name    string
		of      func(i int, s *trend.Sample)
		pa      float64
		used    int
		suspect bool
	}{
		{"nothing known of the air", func(i int, s *trend.Sample) { s.Pa = 100 + float64(i%3) }, 101, 96, false},
		// 06:00 to 20:00 is 56 values; the first after the start has not settled.
		{"fan on by day", func(i int, s *trend.Sample) {
			s.Air.Off = i < 24 || i >= 80
			if s.Air.Off {
				s.Pa = 0
			}
		}, 120, 56, false},
		// The gauge of a standing fan shows a little; the first after the start has not settled.
		{"fan on by day, which nothing tells but the pressure", func(i int, s *trend.Sample) {
			if i < 24 || i >= 80 {
				s.Pa = 0.5
			}
		}, 120, 56, false},
		{"turned down by night", func(i int, s *trend.Sample) {
			if i < 30 {
				s.Pa = 30
			}
		}, 120, 96, true},
		{"zero and negative", func(i int, s *trend.Sample) {
			if i%2 == 0 {
				s.Pa = float64(-i)
			}
		}, 120, 48, false},
		{"suspect ones", func(i int, s *trend.Sample) { s.Suspect = i >= 90 }, 120, 90, false},
		{"two speeds: the usual one", func(i int, s *trend.Sample) {
			s.Air = hz(45)
			if i < 40 {
				s.Air, s.Pa = hz(30), 60
			}
		}, 120, 56, false},
		{"too few", func(i int, s *trend.Sample) { s.Suspect = i >= 5 }, 120, 5, true},
		{"far apart", func(i int, s *trend.Sample) { s.Pa = 20 + 2*float64(i) }, 115, 96, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			in := day(tc.of)
			at, r, ok := trend.Day(in)
			if !ok || r.Pa != tc.pa || r.Window.Used != tc.used || r.Window.Count != 96 || r.Suspect != tc.suspect {
				t.Fatalf("%v %+v %+v %v", at, r, r.Window, ok)
			}
			low, high := in[0].Pa, in[0].Pa
			for _, s := range in {
				low, high = min(low, s.Pa), max(high, s.Pa)
			}
			if r.Window.MinPa != low || r.Window.MaxPa != high {
				t.Errorf("extremes %g–%g, want %g–%g", r.Window.MinPa, r.Window.MaxPa, low, high)
			}
			rand.Shuffle(len(in), func(i, j int) { in[i], in[j] = in[j], in[i] })
			at2, r2, _ := trend.Day(in)
			if d := cmp.Diff(r, r2); d != "" || !at.Equal(at2) {
				t.Errorf("another order of the same: %s", d)
			}
		})
	}
	for name, of := range map[string]func(int, *trend.Sample){
		"fan off": func(_ int, s *trend.Sample) { s.Air.Off = true }, "all suspect": func(_ int, s *trend.Sample) { s.Suspect = true },
		"fan at nothing": func(_ int, s *trend.Sample) { s.Air = hz(0) },
	} {
		if _, r, ok := trend.Day(day(of)); ok {
			t.Errorf("%s: %+v", name, r)
		}
	}
	if _, _, ok := trend.Day(nil); ok {
		t.Error("a reading of nothing")
	}
}

// The values just after the fan has started do not count.
func TestSettling(t *testing.T) {
	t.Parallel()
	var in []trend.Sample
	for i := range 60 {
		s := trend.Sample{At: midnight.Add(time.Duration(i) * 5 * time.Minute), Pa: 120}
		s.Air.Off = i < 10
		if i >= 10 && i < 12 { // 5 and 10 minutes after it was last seen standing
			s.Pa = 30
		}
		in = append(in, s)
	}
	_, r, ok := trend.Day(in)
	if !ok || r.Pa != 120 || r.Window.LowPa != 120 || r.Window.Used != 48 || r.Window.MinPa != 30 {
		t.Errorf("%+v %+v", r, r.Window)
	}
}
